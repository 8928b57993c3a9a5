"""Doubtful notes read again by what a bee can do.

A bee that has left can only come back, one that is here can only leave, and a mark that
nobody has painted or named before is hardly said. Each doubtful note is weighed against
its own other readings, with the sure notes around it as given. A reading may be turned
round; a sure note is never touched, and none is made or taken away.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, EventKind
from treeward.language.note_graph import NoteGraph
from treeward.speech.utterances import Alternative

from .flags import Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from treeward.language.note_graph import GraphNote
    from treeward.language.phrasebook import PhraseBook

    from .events import Event

# How likely a note is, by what is known of the bee; all guesses.
EXPECTED = 1.0  # away from a bee that is here, back from one that is out
UNKNOWN = 0.6  # nothing is known of her, or a note between may have been missed
STRANGE = 0.15  # back from one that is here: her leaving must have gone unnoted
NEVER_NAMED = 0.25  # of a mark that no sure note names
BETTER = 2.0  # times as likely another reading must be, to be taken


def weigh_by_bees(
    events: Sequence[Event], book: PhraseBook, *, flag_below: float
) -> list[Event]:
    """Turn doubtful readings round where the bees around them say so.

    Parameters
    ----------
    events
        Of one recording, in order of time.
    book
        The phrase book, to understand the other readings.
    flag_below
        Confidence, 0 to 1, from which a note counts as sure.

    Returns
    -------
    list of Event
        The same events; of some, kind or mark is another, and the row says so.
    """
    if not any(_open_to_doubt(event, flag_below) for event in events):
        return list(events)
    graph = NoteGraph(replace(book, marks_in_use=frozenset()))
    named = Counter(
        event.mark for event in events if event.mark and event.confidence >= flag_below
    )
    found = list(events)
    after = _states_after(events, flag_below)
    state: dict[str, str] = {}
    for place, event in enumerate(events):
        if _open_to_doubt(event, flag_below):
            found[place] = _best(event, graph, state, after[place], named)
        _step(state, found[place])
    return found


def _open_to_doubt(event: Event, flag_below: float) -> bool:
    """Tell whether a note is a doubtful coming or going with other readings."""
    doubtful = event.confidence < flag_below and KINDS[event.kind].then
    return bool(doubtful and event.alternatives)


def _best(
    event: Event,
    graph: NoteGraph,
    before: Mapping[str, str],
    after: Mapping[str, str],
    named: Mapping[str, int],
) -> Event:
    own = event.confidence * _plausible(event.kind, event.mark, before, after, named)
    ways: list[tuple[float, GraphNote, Alternative]] = []
    for other in event.alternatives:
        note = graph.longest(other.text.split())
        if note is None or not KINDS[EventKind(note.part("kind"))].then:
            continue
        kind, mark = EventKind(note.part("kind")), note.part("mark")
        weight = _plausible(kind, mark, before, after, named)
        ways.append((other.confidence * weight, note, other))
    best = max(ways, key=lambda way: way[0], default=None)
    if best is None or best[0] <= BETTER * own:
        return event
    weight, note, taken = best
    first = Alternative(text=event.heard, confidence=event.confidence)
    kept = tuple(other for other in event.alternatives if other is not taken)
    flag = Flag.of(FlagCode.TAKEN_AS_BEES_GO, event.heard, note.text)
    return replace(
        event,
        kind=EventKind(note.part("kind")),
        mark=note.part("mark"),
        confidence=round(weight / (weight + own) * event.confidence, 4),
        alternatives=(first, *kept),
        flags=(*event.flags, flag),
    )


def _plausible(
    kind: EventKind,
    mark: str,
    before: Mapping[str, str],
    after: Mapping[str, str],
    named: Mapping[str, int],
) -> float:
    """Say how likely a coming or going is, from 0 to 1, up to a constant."""
    share = 1.0 if named.get(mark) or not named else NEVER_NAMED
    if kind is EventKind.MARK:
        return share
    wanted = "out" if kind is EventKind.BACK else "here"
    known = before.get(mark)
    share *= UNKNOWN if known is None else EXPECTED if known == wanted else STRANGE
    # What comes next tells too: after her coming she can only leave.
    then = after.get(mark)
    if then is not None:
        share *= EXPECTED if then != KINDS[kind].then else STRANGE
    return share


def _states_after(events: Sequence[Event], flag_below: float) -> list[dict[str, str]]:
    """Give, for each place, where the next sure note of each bee leads her to."""
    found: list[dict[str, str]] = []
    ahead: dict[str, str] = {}
    for event in reversed(events):
        found.append(dict(ahead))
        if event.confidence >= flag_below:
            _step(ahead, event)
    return found[::-1]


def _step(state: dict[str, str], event: Event) -> None:
    then = KINDS[event.kind].then
    if then and event.mark:
        state[event.mark] = then
    elif event.kind in {EventKind.PAUSE, EventKind.STATION}:
        state.clear()  # nobody watched, or other bees are watched
