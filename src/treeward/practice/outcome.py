"""What a practice came to, in words and as a dictionary."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from .advice import (
    CAUGHT_SHARE,
    judge_sound,
    loudness_of,
    readings_without,
    suggest_sensitivity,
    words_to_avoid,
)
from .scoring import tally_parts, tally_shapes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.language.phrasebook import PhraseBook

    from .advice import Avoid, Sensitivity, SoundAdvice
    from .scoring import Aligned, Attempt, PartTally

_WIDTH = 80  # columns of a terminal
_RIGHT, _FLAGGED, _WRONG, _MISSED = "right", "flagged", "WRONG", "missed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Everything that is told at the end."""

    attempts: tuple[Attempt, ...]
    unreached: int
    strays: int
    invented: int  # notes made of what answers no prompt
    shapes: tuple[PartTally, ...]
    parts: tuple[PartTally, ...]
    avoid: tuple[Avoid, ...]
    sound: SoundAdvice
    sensitivity: Sensitivity
    sensitivity_avoiding: Sensitivity | None  # once words to avoid are given up
    engine: str

    @property
    def right(self) -> int:
        """How many prompts were read right."""
        return sum(attempt.right for attempt in self.attempts)


def outcome_of(
    aligned: Aligned,
    book: PhraseBook,
    *,
    background_dbfs: float,
    flag_below: float,
    engine: str,
    share: float = CAUGHT_SHARE,
) -> Outcome:
    """Draw the conclusions.

    Parameters
    ----------
    aligned
        What came of each prompt.
    book
        The phrase book, for words of the same meaning.
    background_dbfs
        Level of the sound between phrases, dB of full scale.
    flag_below
        What the hunt flags below at present.
    engine
        What heard it.
    share
        Share of wrong readings that shall be flagged.
    """
    attempts = aligned.attempts
    parts = tally_parts(attempts)
    avoid = words_to_avoid(parts, book)
    invented = [(event.confidence, False) for event in aligned.invented]
    every = [each for attempt in attempts for each in attempt.readings()] + invented
    kept = readings_without(attempts, avoid) + invented
    return Outcome(
        attempts=attempts,
        unreached=aligned.unreached,
        strays=aligned.strays,
        invented=len(invented),
        shapes=tuple(tally_shapes(attempts)),
        parts=tuple(parts),
        avoid=tuple(avoid),
        sound=judge_sound(loudness_of(attempts), background_dbfs),
        sensitivity=suggest_sensitivity(every, now=flag_below, share=share),
        sensitivity_avoiding=(
            suggest_sensitivity(kept, now=flag_below, share=share)
            if len(kept) < len(every)
            else None
        ),
        engine=engine,
    )


def state_of(attempt: Attempt) -> str:
    """Say in a word how an attempt went."""
    if not attempt.events:
        return _MISSED
    if not attempt.right:
        return _WRONG
    return _FLAGGED if any(event.flags for event in attempt.events) else _RIGHT


def attempt_line(attempt: Attempt) -> str:
    """Say how an attempt went: what was asked, and what was heard instead."""
    state, rest = state_of(attempt), _result(attempt)
    return f"{state:<8}{attempt.prompt.text:<30} {rest}".rstrip()


def answer_line(attempt: Attempt) -> str:
    """Say how an attempt went to who has just read the prompt."""
    return f"{state_of(attempt):<8}{_result(attempt)}".rstrip()


def _result(attempt: Attempt) -> str:
    parts = []
    if attempt.events:
        least = min(event.confidence for event in attempt.events)
        parts.append(f"confidence {least:.2f}")
    if not attempt.right:
        parts.append(f"heard {attempt.heard}")
    return ", ".join(parts)


def outcome_lines(outcome: Outcome) -> list[str]:
    """Tell everything but the single attempts, for the terminal."""
    return [
        *_count_lines(outcome),
        "",
        "Hit rate by phrase",
        *_tally_lines(outcome.shapes),
        "Hit rate by word",
        *_tally_lines([p for p in outcome.parts if p.role != "value"]),
        "",
        *_avoid_lines(outcome.avoid),
        *_sound_lines(outcome.sound),
        *_sensitivity_lines(outcome.sensitivity, outcome.sensitivity_avoiding),
    ]


def _count_lines(outcome: Outcome) -> list[str]:
    states = [state_of(attempt) for attempt in outcome.attempts]
    total, right = len(states), outcome.right
    lines = [f"{right} of {total} prompts were read right ({_percent(right, total)})."]
    if flagged := states.count(_FLAGGED):
        lines.append(f"{flagged} of those would be flagged for a look.")
    wrong = [a for a in outcome.attempts if state_of(a) == _WRONG]
    if wrong:
        unseen = sum(not any(e.flags for e in a.events) for a in wrong)
        lines.append(f"{len(wrong)} read wrong, {unseen} of them unflagged.")
    if missed := states.count(_MISSED):
        lines.append(f"{missed} gave no note.")
    if outcome.unreached:
        lines.append(f"{outcome.unreached} at the end were not reached.")
    if outcome.strays:
        lines.append(
            f"Other sounds or words, answering no prompt: {outcome.strays}; "
            f"notes invented from them: {outcome.invented}."
        )
    return lines


def _percent(part: int, whole: int) -> str:
    return f"{part / whole:.0%}" if whole else "none tried"


def _tally_lines(tallies: Sequence[PartTally]) -> list[str]:
    """One line each; words that were always heard share one."""
    lines = []
    for tally in (t for t in tallies if t.hits < t.tries):
        instead = ", ".join(
            f"{words} ({count})" if count > 1 else words
            for words, count in tally.instead.most_common(3)
        )
        rate = f"{tally.hits} of {tally.tries}"
        lines.append(f"  {tally.words:<22}{rate:<10}instead: {instead}")
    always = [f"{t.words} ({t.tries})" for t in tallies if t.hits == t.tries]
    if always:
        text = f"always heard: {', '.join(always)}"
        lines += wrap(
            text, _WIDTH, initial_indent="  ", subsequent_indent="    ",
            break_on_hyphens=False,
        )  # fmt: skip
    return lines


def _avoid_lines(avoid: Sequence[Avoid]) -> list[str]:
    if not avoid:
        return ["Words to avoid: none that was missed twice.", ""]
    lines = ["Words to avoid"]
    lines += [
        f"  '{each.words}', heard {each.hits} of {each.tries} times: {each.advice}"
        for each in avoid
    ]
    return [*lines, ""]


def _sound_lines(sound: SoundAdvice) -> list[str]:
    if sound.speech_dbfs is None or sound.over_background_db is None:
        return ["Sound", *(f"  {fault}" for fault in sound.faults), ""]
    return [
        f"Sound: speech {sound.speech_dbfs:.0f} dBFS, "
        f"background {sound.background_dbfs:.0f} dBFS, "
        f"{sound.over_background_db:.0f} dB apart" + ("" if sound.faults else ": good"),
        *(f"  {fault}" for fault in sound.faults),
        "",
    ]


def _sensitivity_lines(every: Sensitivity, avoiding: Sensitivity | None) -> list[str]:
    lines = [f"Sensitivity: rows are flagged below a confidence of {every.now:.2f}"]
    if avoiding is None:
        lines += _advised(every)
    else:
        lines += ["  with the words to avoid given up:", *_advised(avoiding)]
        lines += ["  with all the words that were tried:", *_advised(every)]
    return lines


def _advised(found: Sensitivity) -> list[str]:
    advised = (
        f"keep {found.now:.2f}"
        if found.flag_below == found.now
        else f"hunt.toml [speech] flag_below = {found.flag_below:.2f}"
    )
    counts = (
        f"flags {found.wrong_flagged} of {found.wrong} wrong readings "
        f"and {found.right_flagged} of {found.right} right ones"
    )
    lines = [f"  {advised}: {found.why}", f"    {counts}"]
    if found.flag_below > found.now and found.right_flagged > found.right / 2:
        lines.append(
            "    most rows would be flagged: other words or less noise help more"
        )
    return lines


def outcome_dict(outcome: Outcome) -> dict[str, Any]:
    """Return everything for JSON, with units in the names."""
    sound, sensitivity = outcome.sound, outcome.sensitivity
    return {
        "engine": outcome.engine,
        "prompts": len(outcome.attempts),
        "right": outcome.right,
        "unreached": outcome.unreached,
        "strays": outcome.strays,
        "invented": outcome.invented,
        "attempts": [_attempt_dict(attempt) for attempt in outcome.attempts],
        "phrases": [_tally_dict(tally) for tally in outcome.shapes],
        "words": [_tally_dict(tally) for tally in outcome.parts],
        "avoid": [
            {
                "words": each.words,
                "tries": each.tries,
                "hits": each.hits,
                "heard_as": list(each.heard_as),
                "instead": list(each.instead),
                "advice": each.advice,
            }
            for each in outcome.avoid
        ],
        "sound": {
            "speech_dbfs": _round(sound.speech_dbfs),
            "background_dbfs": _round(sound.background_dbfs),
            "clipped_phrases": sound.clipped_phrases,
            "faults": list(sound.faults),
        },
        "sensitivity": asdict(sensitivity),
        "sensitivity_avoiding": (
            asdict(outcome.sensitivity_avoiding)
            if outcome.sensitivity_avoiding is not None
            else None
        ),
    }


def _attempt_dict(attempt: Attempt) -> dict[str, Any]:
    return {
        "prompt": attempt.prompt.text,
        "state": state_of(attempt).lower(),
        "heard": attempt.heard,
        "start_s": _round(attempt.phrases[0].start_s) if attempt.phrases else None,
        "confidence": min((e.confidence for e in attempt.events), default=None),
        "flags": [f.sentence for event in attempt.events for f in event.flags],
    }


def _tally_dict(tally: PartTally) -> dict[str, Any]:
    return {
        "words": tally.words,
        "role": tally.role,
        "tries": tally.tries,
        "hits": tally.hits,
        "instead": dict(tally.instead),
    }


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
