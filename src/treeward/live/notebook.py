"""From what was heard to notes: journal first, then the answer.

The one place where a note becomes part of the session. Used from the recognizer's
thread; read from others.
"""

from __future__ import annotations

import threading
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from treeward.hunt.journal import event_record
from treeward.hunt_tables import DOUBT_BELOW
from treeward.language.kinds import KINDS, EventKind
from treeward.notes.clock_evidence import apart_s
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode

from .answer import NOT_KEPT, SAY_AGAIN, Answer
from .board import standing, take_back
from .calls import LOOKING, left_words
from .messages import HeardNotes, NoteLine, event_text, spoken_event

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from treeward.hunt.journal import Journal
    from treeward.notes.events import Event

    from .calls import Sky, WalkLaidOut

SAY_AGAIN_S = 20.0  # a note of the same kind this soon after is the repetition; guess
CLOCK_APART_S = 180.0  # a spoken time this far from the computer's is flagged; guess


class Notebook:
    """The notes of a session, in order.

    Parameters
    ----------
    journal
        Where each note goes before it is answered.
    sky_on
        The sun's times on the day of a clock, or None where the place is not known.
    flag_below
        Confidence, 0 to 1, below which a note is asked for again.
    walk
        The walk that was laid out, for an answer to "searched here, nothing".
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
    ) -> tuple[HeardNotes, Answer | None]:
        """Keep the notes of one utterance; return them and the answer to give.

        Parameters
        ----------
        events
            What the parser made of the utterance, with clocks.
        asked_s
            Elapsed second at which the phrase ended.
        """
        with self._lock:
            return self._take(events, asked_s)

    def _take(
        self, events: Sequence[Event], asked_s: float | None
    ) -> tuple[HeardNotes, Answer | None]:
        kept = True
        names: list[str] = []
        words: list[str] = []
        doubtful = False
        taken: list[Event] = []
        gone: Event | None = None
        for heard in events:
            doubt = self._is_doubtful(heard)
            event = self._checked(heard)
            if doubt:
                event = event.flagged(Flag(FlagCode.ASKED_AGAIN))
            away_s = self._away_s(event)
            if event.kind is EventKind.SCRATCH:
                gone = take_back(self._standing)
                words.append(f"taken back: {event_text(gone)}" if gone else "nothing")
            elif doubt:
                words.append("say again")
            else:
                event = self._repetition(event)
                words.append(spoken_event(event, away_s))
                words += filter(None, [self._left_after(event)])
            self.left = self._left_after(event)
            kept = self._journal.write(self._record(event)) and kept
            self._events.append(event)
            taken.append(event)
            if event.kind is not EventKind.SCRATCH:
                self._standing.append(event)
                self._follow(event)
            doubtful = doubtful or doubt
            names.append(event.kind.value)
        if not taken:
            return HeardNotes(events=(), doubtful=False, kept=True), None
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
        if event.has(FlagCode.ASKED_AGAIN):
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

    def last_notes(self, count: int = 5) -> tuple[NoteLine, ...]:
        """Return the last notes, newest first, for the view."""
        with self._lock:
            recent = self._events[-3 * count :]
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
        return tuple(notes[:count])

    def _is_doubtful(self, event: Event) -> bool:
        """Tell whether a note is asked for again: flags say what needs a look."""
        if not KINDS[event.kind].asked_again:
            return False
        flags = [f for f in event.flags if f.code is not FlagCode.TAKEN_BACK]
        return event.confidence < self._flag_below or bool(flags)


def nearest_dial(value: str, clock: datetime) -> tuple[str, float]:
    """Put a spoken time on the 24 h dial, and say how far it is from the clock.

    Returns
    -------
    tuple
        The value nearest to `clock` of those a twelve-hour time may mean, and
        seconds between them; unreadable values come back unchanged with 0.
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
