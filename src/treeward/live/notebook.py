"""From what was heard to notes: journal first, then the answer.

The one place where a note becomes part of the session. Used from the recognizer's
thread; read from others.

`Calls` is what is said unasked: bees due, when to get up, sunset, and faults.

Looking for the tree while listening: the chance that is left, and what follows.

Nobody says where they are; so the walk of the last `treeward locate` is taken to be
walked, for as long as notes say that ground was looked at. The phone's track, added
afterwards, tells what was walked indeed.
"""

from __future__ import annotations

import json
import math
import threading
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from treeward.errors import TreewardError
from treeward.files import read_whole
from treeward.hunt.journal import event_record
from treeward.hunt_tables import DOUBT_BELOW
from treeward.language.kinds import KINDS, EventKind, ends_a_walk
from treeward.notes.clock_evidence import apart_s
from treeward.notes.flags import Flag, FlagCode

from .answer import NOT_KEPT, SAY_AGAIN, Answer
from .board import standing
from .messages import (
    Alarm,
    HeardNotes,
    NoteLine,
    event_text,
    get_up_text,
    spoken_event,
    spoken_move,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import date, tzinfo
    from pathlib import Path

    from treeward.hunt.journal import Journal
    from treeward.measures import Position
    from treeward.notes.events import Event

    from .messages import BeeState, Estimate


SAY_AGAIN_S = 20.0  # a note of the same kind this soon after is the repetition; guess
_SHOWN = 5  # notes in the view
CLOCK_APART_S = 180.0  # a spoken time this far from the computer's is flagged; guess


class Notebook:
    """The notes of a session, in order; each is in `journal` before it is answered.

    `sky_on` gives the sun's times on the day of a clock, None where the place is not
    known. Below `flag_below`, a confidence of 0 to 1, a note is asked for again.
    `walk` was laid out, for an answer to "searched here, nothing".
    """

    def __init__(
        self,
        journal: Journal,
        sky_on: Callable[[datetime], Sky | None],
        *,
        flag_below: float = DOUBT_BELOW,
        walk: WalkLaidOut | None = None,
    ) -> None:
        self._journal = journal
        self._sky_on = sky_on
        self._flag_below = flag_below
        self._walk = walk
        self._lock = threading.Lock()
        self._events: list[Event] = []
        self._standing: list[Event] = []
        self._next = 1
        self._asked: Event | None = None  # the doubtful note that awaits repetition
        self.station = ""
        self.watching = True
        self.left = ""  # the chance left, in words, after a note of looking

    @property
    def events(self) -> tuple[Event, ...]:
        """Every note, those that were taken back and the taking back included."""
        with self._lock:
            return tuple(self._events)

    @property
    def standing(self) -> tuple[Event, ...]:
        """The notes that stand."""
        with self._lock:
            return tuple(self._standing)

    def continue_from(self, events: Sequence[Event]) -> None:
        """Take over the notes of earlier sessions of the day, for the board."""
        with self._lock:
            self._standing = list(standing(events))
            for event in self._standing:
                self._follow(event)

    def take(
        self, events: Sequence[Event], *, asked_s: float | None = None
    ) -> tuple[HeardNotes, Answer]:
        """Keep the notes of one utterance, with clocks; return them and the answer.

        `asked_s` is the elapsed second at which the phrase ended.
        """
        kept, doubtful = True, False
        names: list[str] = []
        words: list[str] = []
        taken: list[Event] = []
        gone: Event | None = None
        with self._lock:
            for heard in events:
                doubt = self._is_doubtful(heard)
                event = self._checked(heard)
                if doubt:
                    event = event.flagged(Flag(FlagCode.ASKED_AGAIN))
                away_s = self._away_s(event)
                self.left = ""
                if event.kind is EventKind.SCRATCH:
                    gone = self._standing.pop() if self._standing else None
                    text = f"taken back: {event_text(gone)}" if gone else "nothing"
                    words.append(text)
                elif not doubt:
                    event = self._repetition(event)
                    self.left = self._left_after(event)
                    words += filter(None, [spoken_event(event, away_s), self.left])
                kept = self._journal.write(self._record(event)) and kept
                self._events.append(event)
                taken.append(event)
                if event.kind is not EventKind.SCRATCH:
                    self._standing.append(event)
                    self._follow(event)
                doubtful = doubtful or doubt
                names.append(event.kind.value)
        if not kept:
            names, words = [NOT_KEPT], ["not saved. the disk is full"]
        elif doubtful:
            names, words = [SAY_AGAIN], ["say again"]
        said = ". ".join(dict.fromkeys(words))
        answer = Answer(tones=tuple(names[:2]), words=said, asked_s=asked_s)
        result = HeardNotes(
            events=tuple(taken), doubtful=doubtful, kept=kept, taken_back=gone
        )
        return result, answer

    def _left_after(self, event: Event) -> str:
        if event.kind not in LOOKING or self._walk is None:
            return ""
        return left_words(self._walk.left([*self._standing, event]))

    def put(self, event: Event) -> bool:
        """Keep an event that nobody spoke (a gap); return whether it is on disk."""
        with self._lock:
            self._events.append(event)
            self._standing.append(event)
            return self._journal.write(self._record(event))

    def _record(self, event: Event) -> dict[str, Any]:
        record = event_record(event, self._next)
        self._next += 1
        return record

    def _checked(self, event: Event) -> Event:
        flags = list(event.flags)
        if event.clock is not None:
            sky = self._sky_on(event.clock)
            if sky is not None and sky.is_dark(event.clock):
                flags.append(Flag(FlagCode.AFTER_DARK))
            if event.kind is EventKind.TIME:
                value, off_s = nearest_dial(event.value, event.clock)
                event = replace(event, value=value)
                if off_s > CLOCK_APART_S:
                    there = f"{event.clock:%H:%M}"
                    flags.append(Flag.of(FlagCode.OTHER_CLOCK, there))
        return replace(event, flags=tuple(flags))

    def _away_s(self, event: Event) -> float | None:
        if event.kind is not EventKind.BACK or event.clock is None:
            return None
        for earlier in reversed(self._standing):
            if earlier.mark != event.mark or earlier.clock is None:
                continue
            if earlier.kind is EventKind.AWAY:
                return apart_s(event.clock, earlier.clock)
            if earlier.kind is EventKind.BACK:
                return None
        return None

    def _repetition(self, event: Event) -> Event:
        """Let a note that was asked for again stand at its first saying."""
        asked, self._asked = self._asked, None
        if (
            asked is None
            or asked.kind is not event.kind
            or asked.clock is None
            or event.clock is None
            or not 0 <= apart_s(event.clock, asked.clock) <= SAY_AGAIN_S
            or asked not in self._standing
        ):
            return event
        self._standing.remove(asked)
        at = self._events.index(asked)
        self._events[at] = asked.flagged(Flag(FlagCode.SAID_AGAIN))
        self._journal.write(
            {"type": "said again", "recording": asked.recording,
             "start_s": asked.start_s, "kind": asked.kind.value}
        )  # fmt: skip
        return replace(event, clock=asked.clock)

    def _follow(self, event: Event) -> None:
        if event.has(FlagCode.ASKED_AGAIN):
            self._asked = event
        elif event.kind is EventKind.STATION:
            self.station = event.value
        elif event.kind is EventKind.PAUSE:
            self.watching = False
        elif event.kind is EventKind.RESUME:
            self.watching = True

    def last_notes(self) -> tuple[NoteLine, ...]:
        """Return the last few notes, newest first, for the view."""
        with self._lock:
            recent = self._events[-3 * _SHOWN :]
            stands = {id(event) for event in self._standing}
        notes = [
            NoteLine(
                clock=event.clock,
                text=event_text(event),
                doubtful=event.has(FlagCode.ASKED_AGAIN),
                scratched=id(event) not in stands
                and event.kind is not EventKind.SCRATCH,
            )
            for event in reversed(recent)
            if event.clock is not None
        ]
        return tuple(notes[:_SHOWN])

    def _is_doubtful(self, event: Event) -> bool:
        """Tell whether a note is asked for again: flags say what needs a look."""
        if not KINDS[event.kind].asked_again:
            return False
        flags = [f for f in event.flags if f.code is not FlagCode.TAKEN_BACK]
        return event.confidence < self._flag_below or bool(flags)


def nearest_dial(value: str, clock: datetime) -> tuple[str, float]:
    """Put a spoken time on the 24 h dial, and say how far it is from the clock.

    Gives the value nearest to `clock` of those a twelve-hour time may mean, and seconds
    between them; unreadable values come back unchanged with 0.
    """
    try:
        hour, minute, *rest = (int(part) for part in value.split(":"))
    except ValueError:
        return value, 0.0
    second = rest[0] if rest else 0
    now_s = clock.hour * 3600 + clock.minute * 60 + clock.second
    best = min(
        {hour % 24, (hour + 12) % 24} if hour <= 12 else {hour % 24},
        key=lambda h: _dial_apart_s(h * 3600 + minute * 60 + second, now_s),
    )
    text = f"{best:02d}:{minute:02d}" + (f":{second:02d}" if rest else "")
    off_s = _dial_apart_s(best * 3600 + minute * 60 + second, now_s)
    # A time without seconds names the whole minute.
    return text, off_s if rest else max(0.0, off_s - 60.0)


def _dial_apart_s(one_s: int, other_s: int) -> float:
    apart = abs(one_s - other_s) % 86_400
    return float(min(apart, 86_400 - apart))


REPEAT_FAULT_S = 120.0  # a fault that stays is said again after this; choice
MOVED_M = 150.0  # a next station that shifts by more is said again; choice


class Calls:
    """Decides what is called out, each thing once."""

    def __init__(self, *, due: bool) -> None:
        self._due = due
        self._called: dict[str, datetime] = {}  # mark -> the leaving it was called for
        self._faults: dict[str, float] = {}  # fault -> elapsed second last said
        self._sky_at: datetime | None = None
        self._enough: set[tuple[str, str]] = set()  # station, bee ("": bearings)
        self._moves: dict[str, tuple[float, float]] = {}  # station -> east, north [m]

    def due(self, bees: Sequence[BeeState]) -> list[Answer]:
        """Return a soft call for each bee whose due time has come."""
        if not self._due:
            return []
        calls = []
        for bee in bees:
            if bee.due not in ("due", "overdue"):
                continue
            if self._called.get(bee.mark) != bee.since:
                self._called[bee.mark] = bee.since
                if bee.due == "due":
                    words = f"{bee.mark.replace('-', ' ')} due"
                    calls.append(Answer(tones=(Alarm.DUE,), words=words))
        return calls

    def get_up(self, estimate: Estimate | None, units: str) -> list[Answer]:
        """Return a call when more notes at a station begin to help hardly any more.

        Each bee and the bearings are named once at a station, and so is the next
        station unless it shifts.
        """
        if estimate is None:
            return []
        here = estimate.station
        full = list(estimate.enough_of) + [""] * estimate.bearings_enough
        new = [one for one in full if (here, one) not in self._enough]
        self._enough |= {(here, one) for one in full}
        if estimate.move_m is not None and estimate.move_true_deg is not None:
            turn = math.radians(estimate.move_true_deg)
            to = estimate.move_m * math.sin(turn), estimate.move_m * math.cos(turn)
            before = self._moves.get(here)
            if before is not None and math.dist(before, to) <= MOVED_M:
                return []
            self._moves[here] = to
            words = spoken_move(estimate.move_m, estimate.move_true_deg, units)
        elif bees := [one.replace("-", " ") for one in new if one]:
            words = f"more of {' and '.join(bees)} won't help"
        elif new:
            words = "more bearings here won't help"
        else:
            return []
        shown = get_up_text(estimate, units)
        return [Answer(tones=(Alarm.GET_UP,), words=words, shown=shown)]

    def sky(self, sky: Sky | None, now: datetime) -> list[Answer]:
        """Return what is to be said of the sun."""
        before, self._sky_at = self._sky_at, now
        if sky is None or before is None:
            return []
        words = announcement(sky, before, now)
        return [Answer(tones=(Alarm.SUNSET,), words=words)] if words else []

    def faults(self, faults: Iterable[str], now_s: float) -> list[Answer]:
        """Return a call for each new fault, and one when all is mended."""
        current = list(faults)
        calls = []
        for fault in current:
            said_s = self._faults.get(fault)
            if said_s is None or now_s - said_s > REPEAT_FAULT_S:
                self._faults[fault] = now_s
                words = fault.partition(":")[0]
                call = Answer(tones=(Alarm.FAULT,), words=words, shown=fault)
                calls.append(call)
        for gone in [fault for fault in self._faults if fault not in current]:
            del self._faults[gone]
            if not current:
                calls.append(Answer(tones=(Alarm.MENDED,), words="mended"))
        return calls[:2]


CIVIL_TWILIGHT_DEG = 6.0  # sun's depth below the horizon at its end; definition
SOON = timedelta(minutes=30)  # before sunset, when the person is told; choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Sky:
    """The sun's times on one day at one place; None where it does not rise or set."""

    sunset: datetime | None
    dusk: datetime | None  # end of civil twilight
    dawn: datetime | None

    def is_dark(self, clock: datetime) -> bool:
        """Return whether it is dark: before civil dawn or after civil dusk."""
        if self.dusk is not None and clock > self.dusk:
            return True
        return self.dawn is not None and clock < self.dawn


def sky_of(place: Position, day: date, zone: tzinfo) -> Sky:
    """Return the sun's times at `place` on `day`, local to `zone` (astral)."""
    from astral import Observer
    from astral.sun import dawn, dusk, sunset

    at = Observer(latitude=place.latitude_deg, longitude=place.longitude_deg)
    times: dict[str, datetime | None] = {}
    for name, function, options in (
        ("sunset", sunset, {}),
        ("dusk", dusk, {"depression": CIVIL_TWILIGHT_DEG}),
        ("dawn", dawn, {"depression": CIVIL_TWILIGHT_DEG}),
    ):
        try:
            times[name] = function(at, date=day, tzinfo=zone, **options)
        except ValueError:  # astral's word for a sun that stays up or down
            times[name] = None
    return Sky(**times)


def announcement(sky: Sky, before: datetime, now: datetime) -> str:
    """Return what is to be said about the sun between two moments, or ""."""
    if sky.sunset is not None:
        if before < sky.sunset - SOON <= now:
            return f"sunset in half an hour, at {sky.sunset:%H:%M}"
        if before < sky.sunset <= now:
            return "sunset, end of flight: the bees are going home"
    return ""


BOUT = timedelta(minutes=30)  # a note reaches back no further, as in hunt/searching
# Notes that are answered with the chance left.
LOOKING = (EventKind.SEARCHED, EventKind.OVERHEAD)
# Read aloud after "colony found"; the screen shows `found_steps`.
FOUND_WORDS = (
    "found, kept. let the phone's track run on. afterwards treeward found takes the "
    "place from it. keep back, stay on the ground, and ask whose it is"
)
_MOST_BYTES = 64 * 2**20  # of a result; a season's has a tenth of it


@dataclass(frozen=True, slots=True)
class WalkLaidOut:
    """The first colony's walk: by when what chance of finding is used up.

    `done_s` and `found` belong to the strips in their order; `since` is when it was
    laid out.
    """

    done_s: tuple[float, ...]
    found: tuple[float, ...]
    since: datetime

    def left(self, events: Sequence[Event]) -> float:
        """Return the chance left after the notes that stand, in the order said."""
        looked = timedelta(0)
        began = self.since
        for event in events:
            if event.clock is None or event.clock <= self.since:
                continue
            if not ends_a_walk(event.kind, event.value or event.heard):
                continue  # one looks on
            if event.kind is EventKind.SEARCHED:
                looked += min(BOUT, event.clock - began)
            began = event.clock
        spent_s = looked.total_seconds()
        found, last_s = 0.0, 0.0
        for done_s, share in zip(self.done_s, self.found, strict=True):
            part = (spent_s - last_s) / max(done_s - last_s, 1e-9)
            found += share * min(1.0, max(0.0, part))
            last_s = done_s
        return 1.0 - found


def walk_laid_out(hunt_dir: Path) -> WalkLaidOut | None:
    """Return the walk of the last result; None where there is none to be read."""
    try:
        raw = read_whole(
            hunt_dir / "results" / "result.json",
            most_bytes=_MOST_BYTES,
            error=TreewardError,
            too_large="",
        )
        table = json.loads(raw)
        strips = table["search_plan"]
        return WalkLaidOut(
            done_s=tuple(float(strip["done_s"]) for strip in strips),
            found=tuple(float(strip["probability"]) for strip in strips),
            since=datetime.fromisoformat(table["hunt"]["created"]),
        )
    except (TreewardError, ValueError, TypeError, KeyError, RecursionError):
        return None  # an old result, or one somebody wrote in: there is no answer


def found_steps(clock: datetime) -> tuple[str, ...]:
    """Return what a note that says found keeps, and what to do next, as shown."""
    return (
        f"Found at {clock:%H:%M}: the note and its sound are kept, the place not yet.",
        (
            "Let the phone's track run on here for a minute. Afterwards put its GPX "
            "file into tracks/, then: treeward found --from-note"
        ),
        (
            "Keep back: stings can kill. Stay on the ground, open and take nothing, "
            "ask whose it is, and do not publish its place without consent."
        ),
    )


def left_words(left: float) -> str:
    """Return what is said: "62 percent left, if you kept to the walk"."""
    return f"{max(1, round(100 * left))} percent left, if you kept to the walk"
