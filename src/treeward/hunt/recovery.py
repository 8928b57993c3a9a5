"""What earlier sessions left behind: found, put right, handed on, and reported."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from treeward.audio import LONGEST_S
from treeward.errors import TreewardError
from treeward.files import kept_number
from treeward.language.kinds import KINDS, is_value
from treeward.measures import counted
from treeward.notes.events import flag_scratched
from treeward.notes.flags import Flag, FlagCode
from treeward.within import held, open_plain

from .journal import (
    BALLAST_NAME,
    clear_joined,
    event_of,
    is_pieces,
    join_pieces,
    read_journal,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from treeward.notes.events import Event

SAID_AGAIN = "said again"
SAME_MOMENT_S = 1.0  # two passes put a note this near to each other; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionText:
    """What a journal says of one session."""

    path: Path
    events: tuple[Event, ...]
    ended: bool  # False: the listener was killed, or the power went
    merged: bool  # its notes are in review.csv
    own_voice: tuple[tuple[float, float], ...]  # in which seconds the tool spoke
    broken_lines: int
    unheard: int

    @property
    def recordings(self) -> frozenset[str]:
        """Recordings that its notes lie in."""
        return frozenset(event.recording for event in self.events)


@dataclass(slots=True)
class Recovered:
    """What was found at the start, in plain lines."""

    lines: list[str] = field(default_factory=list)
    waiting: list[str] = field(default_factory=list)  # what could not be done yet


def journals_dir(hunt_dir: Path) -> Path:
    """Return the folder that holds the journals of a hunt."""
    return hunt_dir / ".treeward" / "live"


def sessions_of(hunt_dir: Path) -> list[SessionText]:
    """Read the journals of a hunt, oldest first; what is no file is passed over."""
    paths = sorted(journals_dir(hunt_dir).glob("*.jsonl"))
    return [read_session(path) for path in paths if path.is_file()]


def read_session(path: Path) -> SessionText:
    """Read one journal; lines that a crash cut short are left out and counted."""
    text = read_journal(path)
    events: list[Event] = []
    broken = text.broken_lines
    own: list[tuple[float, float]] = []
    kinds: list[str] = []
    for record in text.records:
        kind = str(record.get("type", ""))
        kinds.append(kind)
        try:
            if kind == "event":
                events.append(_sound_event(record))
            elif kind == SAID_AGAIN:
                _mark_said_again(events, record)
            elif kind == "own voice":
                start_s = kept_number(record["start_s"], most=LONGEST_S)
                own.append((start_s, kept_number(record["end_s"], most=LONGEST_S)))
        except (KeyError, TypeError, ValueError, OverflowError):
            broken += 1
    return SessionText(
        path=path,
        events=tuple(events),
        ended="end" in kinds,
        merged="merged" in kinds,
        own_voice=tuple(own),
        broken_lines=broken,
        unheard=kinds.count("unheard"),
    )


def _sound_event(record: dict[str, Any]) -> Event:
    """Return the event of a record, as review.csv can hold it.

    Raises
    ------
    ValueError, KeyError, TypeError, OverflowError
        It is none, or would make review.csv unreadable.
    """
    event = event_of(record)
    if event.value and not is_value(KINDS[event.kind].holds, event.value):
        raise ValueError(event.value)
    return event


def _mark_said_again(events: list[Event], record: dict[str, Any]) -> None:
    for index, event in enumerate(events):
        if (
            event.recording == record["recording"]
            and event.start_s == record["start_s"]
            and event.kind.value == record["kind"]
        ):
            events[index] = event.flagged(Flag(FlagCode.SAID_AGAIN))


def for_review(session: SessionText) -> list[Event]:
    """Return the notes as they go into review.csv.

    A doubtful note that was then said again is left out: the one said again stands,
    with the time of the first. What was taken back stays, flagged, with the taking
    back.
    """
    stand = [e for e in session.events if not e.has(FlagCode.SAID_AGAIN)]
    return [
        replace(event, flags=tuple(dict.fromkeys(event.flags)))
        for event in flag_scratched(stand)
    ]


def without_own_voice(hunt_dir: Path, events: Iterable[Event]) -> list[Event]:
    """Leave out notes that a later pass over a session heard from the tool itself.

    Those of recordings that no session made are kept as they are.
    """
    spans: dict[str, Sequence[tuple[float, float]]] = {}
    kept = []
    for event in events:
        name = event.recording
        if name not in spans:
            session = _session_of(hunt_dir, name)
            spans[name] = session.own_voice if session else ()
        start_s = event.start_s
        if start_s is None or not any(a <= start_s <= b for a, b in spans[name]):
            kept.append(event)
    return kept


def _session_of(hunt_dir: Path, recording: str) -> SessionText | None:
    """Return the session that made a recording; None where none did."""
    path = journals_dir(hunt_dir) / f"{PurePosixPath(recording).stem}.jsonl"
    return read_session(path) if recording and path.is_file() else None


def with_answered(
    hunt_dir: Path, recording: str, events: Sequence[Event]
) -> list[Event]:
    """Add notes that were answered while listening and a later pass did not hear.

    Where the later pass read the same moment differently, its reading stands and a
    flag tells of the other. What was heard comes, and is returned, in order of time.
    """
    session = _session_of(hunt_dir, recording)
    if session is None:
        return list(events)
    found = list(events)
    free = set(range(len(found)))
    added = []
    for live in for_review(session):
        near = [n for n in free if _apart_s(found[n], live) <= SAME_MOMENT_S]
        if not near:
            flags = (*live.flags, Flag(FlagCode.HEARD_ONLY_LIVE))
            added.append(replace(live, clock=None, flags=flags))
            continue
        said = (live.kind, live.mark, live.value)
        best = min(
            near,
            key=lambda n: (
                (found[n].kind, found[n].mark, found[n].value) != said,
                _apart_s(found[n], live),
            ),
        )
        free.discard(best)
        other = found[best]
        if (other.kind, other.mark, other.value) != said:
            words = " ".join(filter(None, (live.mark, live.kind.value, live.value)))
            flag = Flag.of(FlagCode.HEARD_LIVE_AS, repr(words))
            found[best] = other.flagged(flag)
    return sorted([*found, *added], key=lambda event: event.start_s or 0.0)


def _apart_s(one: Event, other: Event) -> float:
    if one.start_s is None or other.start_s is None:
        return float("inf")
    return abs(one.start_s - other.start_s)


def left_behind(hunt_dir: Path) -> bool:
    """Tell whether a session is not in review.csv yet, or its sound is in pieces."""
    in_pieces = any(map(is_pieces, journals_dir(hunt_dir).glob("live-*")))
    return in_pieces or not all(one.merged for one in sessions_of(hunt_dir))


def recover(
    hunt_dir: Path,
    merge: Callable[[Sequence[Event], frozenset[str]], list[str]],
    *,
    sound: bool = True,
    can_wait: bool = False,
) -> Recovered:
    """Finish what a crash left, and bring notes into review.csv that are not there.

    Parameters
    ----------
    merge
        Merges events of the named recordings into review.csv and says what it did.
        What it raises is passed on; nothing is lost by that.
    sound
        Join sound that is in pieces, which takes a minute for a day of it.
    can_wait
        What `merge` raises is told in `waiting` instead: listening goes on without.
    """
    found = Recovered()
    folder = journals_dir(hunt_dir)
    if sound:
        _join_all(hunt_dir, found)
        if folder.is_dir():
            with held(hunt_dir, folder) as live:
                if live.is_file(BALLAST_NAME):
                    live.remove(BALLAST_NAME)
    for session in sessions_of(hunt_dir):
        if session.merged:
            continue
        try:
            found.lines += finish_session(session, merge, within=hunt_dir)
        except Exception as error:
            if not can_wait:
                raise
            said = error.line() if isinstance(error, TreewardError) else repr(error)
            notes = counted(len(session.events), "note")
            found.waiting.append(
                f"{session.path.stem}: {notes} kept, not in review.csv yet "
                f"({said.rstrip('.')})"
            )
            continue
    return found


def _join_all(hunt_dir: Path, found: Recovered) -> None:
    folder = journals_dir(hunt_dir)
    clear_joined(folder, within=hunt_dir)
    for pieces in sorted(p for p in folder.glob("live-*") if is_pieces(p)):
        recording = hunt_dir / "recordings" / f"{pieces.name}.flac"
        try:
            joined = join_pieces(pieces, recording, within=hunt_dir)
        except TreewardError as error:
            found.lines.append(error.line())
            continue
        except OSError as error:
            where = error.filename or pieces
            found.lines.append(
                f"{where}: sound left in pieces ({error.strerror or error}); see that "
                "it may be read and written, and start again"
            )
            continue
        if joined is None:
            continue
        if joined.fault:
            found.lines.append(
                f"{joined.path}: sound left in pieces ({joined.fault}); make room and "
                "start again"
            )
            continue
        if joined.sound_s:
            found.lines.append(f"{joined.path.name}: {joined.sound_s:.1f} s of sound")
        found.lines += joined.remarks


def finish_session(
    session: SessionText,
    merge: Callable[[Sequence[Event], frozenset[str]], list[str]],
    *,
    within: Path,
) -> list[str]:
    """Merge a session's notes and remember that; return what was done."""
    lines = []
    count = len(session.events)
    if not session.ended:
        notes = counted(count, "note")
        lines.append(f"{session.path.stem} was cut short: {notes} recovered")
    if session.broken_lines:
        lines.append(
            f"{session.path.name}: {session.broken_lines} line cut short left out; "
            "it was never answered"
        )
    if session.unheard:
        lines.append(
            f"{session.unheard} stretches of sound were not listened to in time; "
            "treeward transcribe hears them"
        )
    if session.events:
        lines += merge(for_review(session), session.recordings)
    with open_plain(session.path, "ab", within=within) as file:
        # A journal cut short may lack its last line's end.
        file.write(b'\n{"type":"merged"}\n')
    return lines
