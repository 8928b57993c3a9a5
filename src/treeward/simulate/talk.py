"""What the observer and a friend chat about between notes.

None of it says that a bee came or went, what time it is, or a bearing just read;
some of it holds words of notes all the same, as talk does.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

from .invented import SpokenLine

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np

TALK = (
    "Did you bring the flask, or is it still in the car?",
    "There was frost on this side of the hill in May.",
    "My brother used to walk up here with the dogs.",
    "That yellow paint dries faster than I thought it would.",
    "Shall we have the sandwiches before the next move?",
    "I keep thinking it will rain, and then it doesn't.",
    "You can see right down to the reservoir from here.",
    "What was the bearing on the last one?",
    "They never stop, do they?",
    "I would put the next dish behind that wall.",
    "The white pen is nearly empty, by the way.",
    "We should be home by half past five.",
    "It might be an old ash, there are not many trees left on this side.",
    "I like the blue one best, she is so steady.",
    "Mind your foot, that stone moves.",
    "Is there any tea left?",
    "Somebody mended the gate since last year.",
    "How much time do you want to spend at this place?",
    "The heather will be out in a week or two.",
    "My back hurts from sitting on this bucket.",
    "I can hear a curlew somewhere over there.",
    "We can go back to the car along the stream.",
)
PAUSE_BEFORE_S = 6.0  # a note may follow in this time; talk keeps clear of it
LENGTH_S = 5.5  # one sentence, at most; measured on the voices


def with_talk(
    script: Sequence[SpokenLine],
    rng: np.random.Generator,
    *,
    share: float,
    barred: dict[str, list[float]] | None = None,
) -> tuple[SpokenLine, ...]:
    """Put talk into quiet stretches of the script.

    Parameters
    ----------
    script
        The notes, in order.
    rng
        Where the randomness comes from.
    share
        Chance that a quiet stretch holds talk.
    barred
        Recording to seconds at which the recorder was stopped; talk keeps off.
    """
    out: list[SpokenLine] = []
    order = [str(text) for text in rng.permutation(TALK)]
    for said, after in zip(script, (*script[1:], None), strict=True):
        out.append(said)
        if after is None or after.recording != said.recording or rng.random() > share:
            continue
        stops = [
            at_s
            for at_s in (barred or {}).get(said.recording, [])
            if said.start_s < at_s < after.start_s
        ]
        if stops:
            continue
        start_s = said.start_s + PAUSE_BEFORE_S + float(rng.uniform(0.0, 4.0))
        while start_s + LENGTH_S + 1.0 < after.start_s and order:
            out.append(
                SpokenLine(
                    start_s=start_s,
                    text=order[0],
                    recording=said.recording,
                    clock=said.clock + timedelta(seconds=start_s - said.start_s),
                    speaker="friend" if rng.random() < 0.65 else "observer",
                )
            )
            order = order[1:] or [str(text) for text in rng.permutation(TALK)]
            start_s += LENGTH_S + float(rng.uniform(0.0, 3.0))
            if rng.random() < 0.6:
                break
    return tuple(out)


def moved_line(said: SpokenLine, start_s: float, length_s: float) -> SpokenLine:
    """Return the line as it was really placed in the sound."""
    clock = said.clock + timedelta(seconds=start_s - said.start_s)
    event = said.event
    if event is not None:
        event = replace(
            event,
            start_s=round(start_s, 3),
            end_s=round(start_s + length_s, 3),
            clock=clock,
        )
    return replace(said, start_s=start_s, clock=clock, event=event)
