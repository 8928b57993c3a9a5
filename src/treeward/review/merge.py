"""A new run of the machine beside what the person changed since the last one.

What the machine wrote last is kept apart from review.csv. The cells in which the two
differ are the person's; those always stay. All the rest follows the machine.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind
from treeward.measures import counted
from treeward.notes.flags import Flag, FlagCode

from .row import PERSON_COLUMNS, ReviewRow, cells_of, with_cells

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from treeward.notes.events import Event

_TOUCHED = "touched"  # column of the machine's copy: cells the person once changed
_CONFIRMED = ("event", "mark", "value")  # what "keep" says yes to


@dataclass(frozen=True, slots=True, kw_only=True)
class MergeReport:
    """What a merge did, as names of rows."""

    added: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()  # no longer heard, and nobody had changed them
    updated: tuple[str, ...] = ()
    kept_changes: tuple[str, ...] = ()  # rows with a change of the person's
    conflicts: tuple[str, ...] = ()  # changed on both sides
    no_longer_heard: tuple[str, ...] = ()  # but kept, being changed
    stay_deleted: tuple[str, ...] = ()
    also_heard: tuple[str, ...] = ()  # rows added by hand that are now heard as well

    def lines(self) -> list[str]:
        """Say it in plain lines, only what happened."""
        said = (
            (self.added, "added"),
            (self.updated, "heard differently and brought up to date"),
            (self.removed, "no longer heard and taken out"),
            (self.kept_changes, "with your changes kept"),
            (self.conflicts, "changed by you and heard anew: yours stands, see flag"),
            (self.no_longer_heard, "no longer heard but kept, since you changed them"),
            (self.stay_deleted, "stay out, since you had deleted them"),
            (self.also_heard, "that you added are now heard as well"),
        )
        return [f"{counted(len(names), 'row')} {what}" for names, what in said if names]


@dataclass(frozen=True, slots=True, kw_only=True)
class MergeResult:
    """Rows for review.csv, rows for the machine's own copy, and what was done."""

    rows: tuple[ReviewRow, ...]
    machine: tuple[ReviewRow, ...]
    report: MergeReport


def merge_review(
    previous: Sequence[ReviewRow],
    current: Sequence[ReviewRow] | None,
    new: Sequence[Event],
    *,
    transcribed: Collection[str] | None = None,
) -> MergeResult:
    """Bring what the machine hears now together with what the person changed.

    Parameters
    ----------
    previous
        The machine's copy of the last run; empty at the first.
    current
        review.csv as it stands (read with `machine=previous`); None where there is
        none.
    new
        Events of this run, with their clocks.
    transcribed
        Recordings that this run heard, also those in which it heard nothing. Rows of
        all others stay. By default the recordings that occur in `new`.

    Returns
    -------
    MergeResult
        Both files' rows, sorted by time. With nothing changed on either side, both
        come out as they went in.
    """
    heard = set(transcribed if transcribed is not None else (e.recording for e in new))
    before = {row.name: row for row in previous}
    if current is None:
        current = [replace(row, extra=()) for row in previous]
    mine = {row.name: row for row in current}
    again = [row for row in previous if row.event.recording in heard]
    pairs = match_events([row.event for row in again], new)
    pairs |= _moved(again, mine, new, pairs)
    new_names = {j: again[i].name for i, j in pairs.items()}

    by_hand = [row for row in mine.values() if row.name not in before]
    attached = _attach(by_hand, new, taken=set(new_names))
    names = _fresh_names(
        {*before, *mine},
        (j for j in _in_time(new) if j not in new_names),
    )
    books = defaultdict[str, list[str]](list)  # field of the report -> rows
    rows: dict[str, ReviewRow] = dict(mine)
    machine: dict[str, ReviewRow] = {
        row.name: row for row in previous if row.event.recording not in heard
    }
    for j, event in enumerate(new):
        name = new_names.get(j) or names[j]
        fresh = ReviewRow(event=replace(event, row=name))
        old = before.get(name)
        if j in attached:  # the person had written it down already
            machine[name] = fresh
            rows[attached[j].name] = _with_sound(attached[j], event)
            books["also_heard"].append(attached[j].name)
        elif old is None:
            machine[name] = rows[name] = fresh
            books["added"].append(name)
        elif name not in mine:
            machine[name] = fresh
            books["stay_deleted"].append(name)
        else:
            rows[name], machine[name] = _merge_row(old, mine[name], fresh, books)
    kept = set(new_names.values())
    for row in again:
        if row.name not in kept:
            _vanished(row, mine, rows, machine, books)
    return MergeResult(
        rows=tuple(sorted(rows.values(), key=by_time)),
        machine=tuple(sorted(machine.values(), key=by_time)),
        report=MergeReport(**{what: tuple(names) for what, names in books.items()}),
    )


def changed_columns(machine: ReviewRow, row: ReviewRow) -> frozenset[str]:
    """Return the columns of a row that are the person's, now or at an earlier run."""
    written, cells = cells_of(machine), cells_of(row)
    touched = set(written.get(_TOUCHED, "").split())
    touched |= {c for c in PERSON_COLUMNS if cells[c] != written[c]}
    touched |= {"extra"} if any(cell for _, cell in row.extra) else set()
    if row.decision == "keep":
        touched |= set(_CONFIRMED)
    return frozenset(touched)


def put_back(rows: Sequence[ReviewRow], gone: Sequence[ReviewRow]) -> list[ReviewRow]:
    """Return rows with others among them, in order of time."""
    found = list(rows)
    for row in gone:
        clock = row.event.clock
        place = next(
            (
                index
                for index, other in enumerate(found)
                if clock and other.event.clock and other.event.clock > clock
            ),
            len(found),
        )
        found.insert(place, row)
    return found


def all_of_the_persons(row: ReviewRow) -> ReviewRow:
    """Return a row for the machine's copy whose every cell counts as the person's."""
    return _remember(replace(row, extra=()), (*PERSON_COLUMNS[:4], "remark"))


def heed_corrected_times(
    new: Sequence[Event], previous: Sequence[ReviewRow], current: Sequence[ReviewRow]
) -> list[Event]:
    """Return new events with the person's word on spoken times and dates.

    A corrected time takes the person's value, and one that was dropped, deleted or
    turned into something else loses its value, so that it anchors nothing. The
    events keep their number and order; all but the times are as they were.
    """
    mine = {row.name: row for row in current}
    pairs = match_events([row.event for row in previous], new)
    heeded = list(new)
    for i, j in pairs.items():
        if new[j].kind not in {EventKind.TIME, EventKind.DATE}:
            continue
        row = mine.get(previous[i].name)
        if row is None or row.decision == "drop" or row.event.kind != new[j].kind:
            heeded[j] = replace(new[j], value="")
        elif "value" in changed_columns(previous[i], row):
            heeded[j] = replace(new[j], value=row.event.value)
    return heeded


def _merge_row(
    old: ReviewRow, row: ReviewRow, fresh: ReviewRow, books: dict[str, list[str]]
) -> tuple[ReviewRow, ReviewRow]:
    """Merge one row that both sides know; return it, and the machine's copy."""
    touched = changed_columns(old, row)
    written = _remember(fresh, touched)
    if touched:
        books["kept_changes"].append(row.name)
    was, now, mine = (cells_of(r) for r in (old, fresh, row))
    if all(was[c] == now[c] for c in now):
        no_longer = Flag(FlagCode.NO_LONGER_HEARD)
        flags = tuple(f for f in row.event.flags if f != no_longer)
        return replace(row, event=replace(row.event, flags=flags)), written
    event = with_cells(fresh.event, row.event, touched)
    conflict = [
        c for c in _CONFIRMED if c in touched and now[c] not in {was[c], mine[c]}
    ]
    earlier = tuple(f for f in row.event.flags if f.code is FlagCode.HEARD_ANEW)
    if conflict:
        said = " ".join(now[c] for c in _CONFIRMED if now[c])
        event = replace(event, flags=(*event.flags, Flag.of(FlagCode.HEARD_ANEW, said)))
        books["conflicts"].append(row.name)
    else:
        event = replace(event, flags=(*event.flags, *earlier))
        books["updated"].append(row.name)
    return replace(row, event=event), written


def _vanished(
    old: ReviewRow,
    mine: Mapping[str, ReviewRow],
    rows: dict[str, ReviewRow],
    machine: dict[str, ReviewRow],
    books: dict[str, list[str]],
) -> None:
    """Deal with a row that the machine no longer hears."""
    row = mine.get(old.name)
    if row is None:  # deleted by the person: remember, should it be heard again
        machine[old.name] = old
        return
    touched = changed_columns(old, row)
    if not touched:
        del rows[old.name]
        books["removed"].append(old.name)
        return
    machine[old.name] = _remember(old, touched)
    no_longer = Flag(FlagCode.NO_LONGER_HEARD)
    if no_longer not in row.event.flags:
        flags = (*row.event.flags, no_longer)
        rows[old.name] = replace(row, event=replace(row.event, flags=flags))
    books["no_longer_heard"].append(old.name)


def _remember(row: ReviewRow, touched: Collection[str]) -> ReviewRow:
    """Note in the machine's copy which cells are the person's, for all later runs.

    Without it a change that the machine once agreed with would be forgotten.
    """
    if not touched:
        return row
    return replace(row, extra=((_TOUCHED, " ".join(sorted(touched))),))


def _attach(
    by_hand: Sequence[ReviewRow], new: Sequence[Event], *, taken: Collection[int]
) -> dict[int, ReviewRow]:
    """Find new events that say what a row added by hand says already."""
    found: dict[int, ReviewRow] = {}
    alike: dict[tuple[str, str, str], list[int]] = {}
    for j, event in enumerate(new):
        alike.setdefault((event.kind, event.mark, event.value), []).append(j)
    for row in by_hand:
        for j in alike.get((row.event.kind, row.event.mark, row.event.value), ()):
            if j in taken or j in found:
                continue
            if _same_moment(row.event, new[j]):
                found[j] = row
                break
    return found


def _with_sound(row: ReviewRow, event: Event) -> ReviewRow:
    """Tell a row added by hand where in which recording it is heard."""
    heard = replace(
        row.event,
        recording=event.recording,
        start_s=event.start_s,
        end_s=event.end_s,
        heard=event.heard,
    )
    return replace(row, event=heard)


def _in_time(events: Sequence[Event]) -> list[int]:
    return sorted(range(len(events)), key=lambda j: by_time(ReviewRow(event=events[j])))


def _fresh_names(taken: Collection[str], indices: Iterable[int]) -> dict[int, str]:
    """Name new rows in order of time, above every number that was ever used."""
    first = last_number(taken, "r") + 1
    return {index: f"r{number:04d}" for number, index in enumerate(indices, first)}


def last_number(names: Collection[str], letters: str) -> int:
    """Return the highest number of the names that begin with one of these letters."""
    numbers = [int(n[1:]) for n in names if n[:1] in letters and n[1:].isdigit()]
    return max((n for n in numbers if n < 10**9), default=0)


def by_time(row: ReviewRow) -> tuple[bool, float, str, float, str]:
    """Return what rows are ordered by; those without a clock come last."""
    event = row.event
    return (
        event.clock is None,
        event.clock.timestamp() if event.clock else 0.0,
        event.recording,
        event.start_s if event.start_s is not None else -1.0,
        row.name,
    )


def _moved(
    again: Sequence[ReviewRow],
    mine: Mapping[str, ReviewRow],
    new: Sequence[Event],
    pairs: Mapping[int, int],
) -> dict[int, int]:
    """Pair what is left with the same note at almost the same time, of an edited line.

    A row that was dropped stays by itself, for the line may be right by now.
    """
    left = [
        (i, row.event)
        for i, row in enumerate(again)
        if i not in pairs and row.name in mine and mine[row.name].decision != "drop"
    ]
    taken = set(pairs.values())
    of_kind: dict[tuple[str, ...], list[int]] = defaultdict(list)
    for j, event in enumerate(new):
        if j not in taken:
            of_kind[whose(event)].append(j)
    near = sorted(
        (apart_s, i, j)
        for i, old in left
        for j in of_kind.get(whose(old), ())
        if (apart_s := seconds_apart(old, new[j])) is not None
    )
    found: dict[int, int] = {}
    for _, i, j in near:
        if i not in found and j not in found.values():
            found[i] = j
    return found


def whose(event: Event) -> tuple[str, ...]:
    """Return what two notes of one thing share; without a bee that is all they say."""
    return event.recording, event.kind, event.mark, "" if event.mark else event.value


def seconds_apart(one: Event, other: Event) -> float | None:
    """Return how far apart two notes are that may be one; None where they are two.

    Typed times are good to a minute, and a bee is out for longer than two.
    """
    if one.clock is None or other.clock is None:
        return None
    typed = one.start_s is None or other.start_s is None
    apart_s = abs(one.clock.timestamp() - other.clock.timestamp())
    return apart_s if apart_s <= (MOVED_TYPED_S if typed else SAME_NOTE_S) else None


NEAR_S = 1.0  # two hearings of one note begin within this; guess
SAME_NOTE_S = 5.0  # a note typed by hand beside the one that is heard; guess
MOVED_TYPED_S = 120.0  # a typed time that was corrected moves by less; guess
_SCORES = {"kind": 4.0, "mark": 2.0, "value": 1.0}


def match_events(old: Sequence[Event], new: Sequence[Event]) -> dict[int, int]:
    """Pair old with new events of the same recording that lie on the same sound.

    Both must overlap, or begin within a second of each other. A shared kind counts
    most, then mark, value and nearness. An event without seconds (typed, or from an
    untimed transcript) pairs by equal clock, kind, mark and value.

    Returns
    -------
    dict
        Index of the old event to index of the new one; each at most once.
    """
    by_recording: dict[str, list[int]] = {}
    for j, event in enumerate(new):
        by_recording.setdefault(event.recording, []).append(j)
    for indices in by_recording.values():
        indices.sort(key=lambda j: _start(new[j]))
    scored: list[tuple[float, int, int]] = []
    for i, event in enumerate(old):
        for j in by_recording.get(event.recording, []):
            if _start(new[j]) > _end(event) + NEAR_S:
                break
            score = _score(event, new[j])
            if score > 0:
                scored.append((-score, i, j))
    pairs: dict[int, int] = {}
    used: set[int] = set()
    for _, i, j in sorted(scored):
        if i not in pairs and j not in used:
            pairs[i] = j
            used.add(j)
    return pairs


def _same_moment(hand: Event, heard: Event) -> bool:
    """Tell whether an event typed by hand is of the moment of one that was heard."""
    if hand.start_s is not None and hand.recording == heard.recording:
        return abs(hand.start_s - _start(heard)) <= SAME_NOTE_S
    if hand.clock is None or heard.clock is None:
        return False
    apart_s = abs(hand.clock.timestamp() - heard.clock.timestamp())
    return apart_s <= SAME_NOTE_S


def _start(event: Event) -> float:
    return -1.0 if event.start_s is None else event.start_s


def _end(event: Event) -> float:
    return _start(event) if event.end_s is None else max(event.end_s, _start(event))


def _score(old: Event, new: Event) -> float:
    """Return how well two events of one recording fit; 0 where they do not."""
    agree = {name: getattr(old, name) == getattr(new, name) for name in _SCORES}
    said = sum(_SCORES[name] for name, same in agree.items() if same)
    if old.start_s is None or new.start_s is None:
        same_clock = (
            old.clock is not None
            and new.clock is not None
            and old.clock.timestamp() == new.clock.timestamp()
        )
        untimed = old.start_s is None and new.start_s is None
        return 1.0 + said if untimed and same_clock and all(agree.values()) else 0.0
    shared_s = min(_end(old), _end(new)) - max(old.start_s, new.start_s)
    apart_s = abs(old.start_s - new.start_s)
    if shared_s < 0 and apart_s > NEAR_S:
        return 0.0
    return said + 1.0 / (1.0 + apart_s)
