"""Notes that are put up for review for what they do not fit, not for how they sounded.

Two departures of one bee in a row: an "away" that was a "back", or a landing that
nobody noted. A recording in which no station was said: its notes may be of any.

Doubtful values read again in the light of those beside them.

Bees of one colony leave one way, and times run with the recording. A bearing or a time
that was hardly heard, and stands by itself, is taken for another of its readings where
that one lies among its neighbours. What was plainly heard is never touched, and a row
that was read again says so and keeps what was heard first among its alternatives.

Doubtful notes read again by what a bee can do.

A bee that has left can only come back, one that is here can only leave, and a mark that
nobody has painted or named before is hardly said. Each doubtful note is weighed against
its own other readings, with the sure notes around it as given. A reading may be turned
round; a sure note is never touched, and none is made or taken away.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.language.bearings import read_bearing_cell
from treeward.language.kinds import KINDS, UNMARKED, EventKind
from treeward.language.note_graph import NoteGraph
from treeward.language.number_words import plain_words
from treeward.speech.utterances import Alternative

from .flags import OF_SECOND_LOOK, Flag, FlagCode
from .values import bearing_value, time_value

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence

    from treeward.language.note_graph import GraphNote
    from treeward.language.phrasebook import PhraseBook

    from .events import Event


SAID_AGAIN_S = 10.0  # the same note again within this was said twice; guess


def look_twice(
    events: Sequence[Event],
    *,
    without_station: Collection[str] = (),
    stations: Sequence[str] = (),
) -> list[Event]:
    """Flag notes that do not fit those beside them.

    Parameters
    ----------
    events
        Of any number of recordings, with their clocks where these are known.
    without_station
        Recordings in which a station is wanted, should none be said.
    stations
        All stations that there are, by numbers and names; none where it is not known.

    Returns
    -------
    list of Event
        As many, in the same order; flags of an earlier look are gone from them.
    """
    found = [
        replace(
            event,
            flags=tuple(f for f in event.flags if f.code not in OF_SECOND_LOOK),
        )
        for event in events
    ]
    for first, second in _departures_in_a_row(found):
        apart_s = _time_s(found[second]) - _time_s(found[first])
        minutes = f"{apart_s // 60:.0f}:{apart_s % 60:02.0f}"
        for index, which in ((first, "the first"), (second, "the second")):
            mark = found[index].mark
            flag = Flag.of(FlagCode.DEPARTURES_IN_A_ROW, which, mark, minutes)
            found[index] = found[index].flagged(flag)
    for index in _first_without_station(found, without_station):
        found[index] = found[index].flagged(Flag(FlagCode.STATION_UNSAID))
    known = {name.casefold() for name in stations}
    for index, event in enumerate(found):
        strange = event.value and event.value.casefold() not in known
        if known and event.kind is EventKind.STATION and strange:
            listed = ", ".join(stations)
            flag = Flag.of(FlagCode.STATION_UNLISTED, event.value, listed)
            found[index] = event.flagged(flag)
    return found


def _time_s(event: Event) -> float:
    return event.clock.timestamp() if event.clock else event.start_s or 0.0


def _departures_in_a_row(events: Sequence[Event]) -> list[tuple[int, int]]:
    """Return the pairs of departures without a landing or a marking between."""
    in_order = sorted(
        (
            index
            for index, event in enumerate(events)
            if KINDS[event.kind].then
            and event.mark not in {"", UNMARKED}
            and (event.clock is not None or event.start_s is not None)
        ),
        key=lambda index: (_time_s(events[index]), index),
    )
    last: dict[tuple[str, str], int] = {}
    pairs = []
    for index in in_order:
        event = events[index]
        key = event.recording, event.mark
        before = last.get(key)
        last[key] = index
        if (
            before is not None
            and events[before].kind is event.kind is EventKind.AWAY
            and _time_s(event) - _time_s(events[before]) > SAID_AGAIN_S
        ):
            pairs.append((before, index))
    return pairs


def _first_without_station(
    events: Sequence[Event], wanted: Collection[str]
) -> list[int]:
    said = {e.recording for e in events if e.kind is EventKind.STATION and e.value}
    first: dict[str, int] = {}
    for index, event in enumerate(events):
        if KINDS[event.kind].seen_here and event.recording in wanted:
            earliest = first.get(event.recording, index)
            if _time_s(event) <= _time_s(events[earliest]):
                first[event.recording] = index
    return [index for recording, index in first.items() if recording not in said]


BEARINGS_NEAR_DEG = 15.0  # of one line: reading errors have a spread of 5 to 10; guess
LEAST_BEARINGS = 2  # beside a reading, to be preferred for; guess
CLOCK_NEAR_S = 90.0  # of a spoken minute from where others put it; guess
LEAST_TIMES = 1  # a minute out of 720 does not fit by chance
_DIAL_S = 12 * 3600.0  # spoken times do not tell the half of the day


def read_again(events: Sequence[Event], *, flag_below: float) -> list[Event]:
    """Take the readings that suit the rest of a recording.

    Parameters
    ----------
    events
        Of one recording, in order of time, without clock times.
    flag_below
        Confidence, 0 to 1, from which a note counts as plainly heard.

    Returns
    -------
    list of Event
        The same events; of some the value is another.
    """
    found = list(events)
    times = [e for e in events if e.kind is EventKind.TIME and e.start_s is not None]
    offsets = [
        (one.start_s or 0.0, seconds - (one.start_s or 0.0))
        for one in times
        if one.confidence >= flag_below
        if (seconds := _seconds(one.value)) is not None
    ]
    for place, event in enumerate(events):
        if event.confidence >= flag_below or not event.value:
            continue
        if event.kind is EventKind.BEARING:
            stay = _same_station(events, place, flag_below)
            sure = [one.bearing.deg for one in stay if one.bearing is not None]
            found[place] = _best(event, _bearing, _near_bearing(sure), LEAST_BEARINGS)
        elif event.kind is EventKind.TIME and event.start_s is not None:
            near = _near_time(offsets, event.start_s)
            found[place] = _best(event, _time, near, LEAST_TIMES)
    return found


def _best(
    event: Event,
    value_of: Callable[[str], str | None],
    neighbours: Callable[[str], int],
    least: int,
) -> Event:
    """Give the event with the reading that has neighbours, if its own has none."""
    if neighbours(event.value):
        return event
    readings = []
    for other in event.alternatives:
        value = value_of(other.text)
        if value and value != event.value and neighbours(value) >= least:
            readings.append((neighbours(value), other.confidence, value, other))
    if not readings:
        return event
    _, _, value, chosen = max(readings, key=lambda reading: reading[:2])
    first = Alternative(text=event.heard, confidence=event.confidence)
    kept = tuple(other for other in event.alternatives if other is not chosen)
    flag = Flag.of(FlagCode.TAKEN_AS_OTHERS, event.value, value)
    return replace(
        event, value=value, alternatives=(first, *kept), flags=(*event.flags, flag)
    )


def _same_station(
    events: Sequence[Event], place: int, flag_below: float
) -> list[Event]:
    """Give the plainly heard bearings read at the station where `place` is."""
    moves = [n for n, event in enumerate(events) if event.kind is EventKind.STATION]
    low = max((n for n in moves if n < place), default=-1)
    high = min((n for n in moves if n > place), default=len(events))
    return [
        event
        for event in events[low + 1 : high]
        if event.kind is EventKind.BEARING and event.confidence >= flag_below
    ]


def _bearing(text: str) -> str | None:
    """Read "heading one forty" or "bearing 140"; None for anything else."""
    words = plain_words(text)
    for start in range(1, len(words)):
        value = bearing_value(words[start:])
        if value is not None and start + value.used == len(words):
            return value.text or None
    return None


def _time(text: str) -> str | None:
    """Read "clock ten fourteen" or "time 10:14"; None for anything else."""
    words = text.split()
    if len(words) == 2 and _seconds(words[1]) is not None:
        return words[1]
    said = plain_words(text)[1:]
    value = time_value(said)
    if value is None or value.used < len(said):
        return None
    return value.text or None


def _near_bearing(sure_deg: Sequence[float]) -> Callable[[str], int]:
    def count(value: str) -> int:
        if (cell := read_bearing_cell(value)) is None:
            return 0
        return sum(
            abs((cell.deg - other + 180) % 360 - 180) <= BEARINGS_NEAR_DEG
            for other in sure_deg
        )

    return count


def _near_time(
    offsets: Sequence[tuple[float, float]], start_s: float
) -> Callable[[str], int]:
    """Count the sure times that lie near a reading, if it lies in their order.

    A recorder that was paused makes a clock only later against its seconds: a reading
    that is later than the next sure time allows, or earlier than the last, is none.
    """
    before = max((one for one in offsets if one[0] < start_s), default=None)
    after = min((one for one in offsets if one[0] > start_s), default=None)

    def later_s(offset: float, than: float) -> float:
        half = _DIAL_S / 2
        return (offset - than + half) % _DIAL_S - half

    def count(value: str) -> int:
        seconds = _seconds(value)
        if seconds is None:
            return 0
        own = seconds - start_s
        if before is not None and later_s(own, before[1]) < -CLOCK_NEAR_S:
            return 0
        if after is not None and later_s(own, after[1]) > CLOCK_NEAR_S:
            return 0
        return sum(abs(later_s(own, other)) <= CLOCK_NEAR_S for _, other in offsets)

    return count


def _seconds(value: str) -> float | None:
    """Give the seconds since midnight of "10:22" or "10:22:30"."""
    parts = value.split(":")
    if len(parts) not in (2, 3) or not all(part.isdigit() for part in parts):
        return None
    hour, minute, *second = (int(part) for part in parts)
    return hour * 3600.0 + minute * 60 + sum(second)


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
            found[place] = _likeliest(event, graph, state, after[place], named)
        _step(state, found[place])
    return found


def _open_to_doubt(event: Event, flag_below: float) -> bool:
    """Tell whether a note is a doubtful coming or going with other readings."""
    doubtful = event.confidence < flag_below and KINDS[event.kind].then
    return bool(doubtful and event.alternatives)


def _likeliest(
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
