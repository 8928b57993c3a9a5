"""What the tool says unasked: bees due, when to get up, sunset, and faults.

Looking for the tree while listening: the chance that is left, and what follows.

Nobody says where they are; so the walk of the last `treeward locate` is taken to be
walked, for as long as notes say that ground was looked at. The phone's track, added
afterwards, tells what was walked indeed.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from treeward.errors import TreewardError
from treeward.files import read_whole
from treeward.language.kinds import EventKind
from treeward.language.value_cells import ends_a_walk

from .answer import Answer
from .messages import Alarm, get_up_text, spoken_move

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date, tzinfo
    from pathlib import Path

    from treeward.notes.events import Event
    from treeward.positions import Position

    from .messages import BeeState, Estimate


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

    sunrise: datetime | None
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
    from astral.sun import dawn, dusk, sunrise, sunset

    at = Observer(latitude=place.latitude_deg, longitude=place.longitude_deg)
    times: dict[str, datetime | None] = {}
    for name, function, options in (
        ("sunrise", sunrise, {}),
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
        """Return the chance that is left after the notes of a session.

        Parameters
        ----------
        events
            The notes that stand, in the order in which they were said.
        """
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
    """Return what is said: "62 percent left by the walk laid out"."""
    return f"{max(1, round(100 * left))} percent left by the walk laid out"
