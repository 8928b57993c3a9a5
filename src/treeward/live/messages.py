"""What the threads of a listening session hand to each other.

Events and times in words, as they are shown and as they are read back.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol, assert_never

from treeward.language.kinds import KINDS, EventKind, Holds
from treeward.measures import MILE_M, YARD_M, clock_face, counted

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    import numpy as np
    from numpy.typing import NDArray

    from treeward.notes.events import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """A little sound as it arrived.

    `arrival_s` is the WatchClock second at which its last sample arrived. `lost`
    says in words why sound is missing before it ("the microphone was away"), ""
    when it follows on.
    """

    samples: NDArray[np.float32]  # shape (n,), 16 kHz mono
    arrival_s: float
    lost: str = ""


class Source(Protocol):
    """Anything that sound comes from."""

    name: str
    live: bool  # sound comes at its own pace and cannot be told to wait

    def chunks(self) -> Iterator[Chunk]:
        """Yield sound until it ends or `stop` is called."""

    def stop(self) -> None:
        """Make `chunks` end soon; may be called from another thread."""


class Alarm(StrEnum):
    """What the tool says unasked."""

    DUE = "due"
    FAULT = "fault"  # microphone, disk: something needs the person
    MENDED = "mended"
    SUNSET = "sunset"
    GET_UP = "get up"  # more notes here hardly help


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """How loud the sound is and whether anything is wrong with it."""

    rms_dbfs: float
    peak_dbfs: float
    warning: str = ""  # "too loud: clipping", "silence: ..." or ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteLine:
    """One line of the list of last notes."""

    clock: datetime
    text: str  # "yellow back"
    doubtful: bool = False
    scratched: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BeeState:
    """One row of the board: a marked bee, and when it is due."""

    mark: str
    where: str  # "here", "away", "seen" (painted, not yet away)
    since: datetime
    for_s: float
    trips: int
    usual_away_s: float | None = None
    due_from: datetime | None = None
    due_until: datetime | None = None
    due: str = ""  # "", "soon", "due", "overdue"
    bearing_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """The running distance, and what more trips would do for it."""

    station: str
    bees: int
    trips: int
    median_m: float
    low90_m: float
    high90_m: float
    trips_to_halve: int | None  # None: more trips alone will not halve it
    # When to get up: bees of whom more trips hardly help, whether more bearings here
    # do not either, and the way to the next station once nothing here does.
    enough_of: tuple[str, ...] = ()
    bearings_enough: bool = False
    move_m: float | None = None
    move_true_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """All that the view shows at one moment."""

    now: datetime
    hunt: str
    station: str
    bees: tuple[BeeState, ...]
    notes: tuple[NoteLine, ...]
    level: Level
    estimate: Estimate | None
    sunset: datetime | None
    kept_s: float  # sound on disk
    events: int
    watching: bool = True  # False between "pause" and "resume"
    faults: tuple[str, ...] = ()
    units: str = "metric"
    next_steps: tuple[str, ...] = ()  # after "colony found", or the chance left


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardNotes:
    """The events of one utterance, as answered."""

    events: tuple[Event, ...]
    doubtful: bool
    kept: bool  # on disk before the answer
    taken_back: Event | None = None


@dataclass(slots=True)
class Tally:
    """Counts of a session, for its last line and for the benches."""

    segments: int = 0
    unheard: int = 0  # stretches left to the second pass
    events: int = 0
    doubtful: int = 0
    latencies_s: list[float] = field(default_factory=list)
    decode_s: float = 0.0


MOST_NAMED = 3  # bees on a line; choice


def event_text(event: Event) -> str:
    """Return an event as a short line: "yellow back", "white bearing 210°"."""
    mark = event.mark
    match event.kind:
        case EventKind.MARK:
            text = f"marked {mark}"
        case EventKind.BEARING:
            degrees, *more = event.value.split() or [""]
            text = f"{mark} bearing {degrees}° {' '.join(more)}"
        case EventKind.DURATION:
            text = f"{mark} {_stated(event.value)}"
        case EventKind.SCRATCH:
            text = "scratch that"
        case EventKind.REMARK:
            text = f"note: {event.value}"
        case EventKind.OVERHEAD:
            degrees, *more = event.value.split() or [""]
            which = f"{degrees}° {' '.join(more)}" if degrees else ""
            text = f"bees overhead {which}"
        case EventKind.SEARCHED:
            text = f"searched, nothing {event.value}"
        case EventKind.FOUND:
            text = f"colony found {event.value}"
        case (
            EventKind.BACK
            | EventKind.AWAY
            | EventKind.TIME
            | EventKind.STATION
            | EventKind.DATE
            | EventKind.WIND
            | EventKind.MISSED
            | EventKind.PAUSE
            | EventKind.RESUME
        ):
            text = f"{mark} {event.kind} {event.value}"
        case _:
            assert_never(event.kind)
    return " ".join(text.split())


def _stated(value: str) -> str:
    kind, _, seconds = value.partition(" ")
    try:
        return f"{kind} {clock_face(float(seconds))}"
    except ValueError:
        return value


def spoken_event(event: Event, away_s: float | None) -> str:
    """Return what is read back: "yellow back, six minutes ten"."""
    if KINDS[event.kind].holds is Holds.DEGREES and event.value:
        degrees, *more = event.value.split()
        said = " ".join([*degrees.zfill(3), *more])
        what = "overhead" if event.kind is EventKind.OVERHEAD else "bearing"
        return f"{event.mark} {what} {said}".strip()
    text = event_text(event).replace("-", " ")
    if event.kind is EventKind.BACK and away_s is not None:
        return f"{text}, {spoken_time(away_s)}"
    return text


def spoken_time(seconds: float) -> str:
    """Return a time as it is said: "6 minutes 10", "45 seconds", "1 hour 5"."""
    whole = round(seconds)
    if whole < 60:
        return counted(whole, "second")
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return counted(minutes, "minute") + (f" {rest}" if rest else "")
    hours, minutes = divmod(round(whole / 60), 60)
    return counted(hours, "hour") + (f" {minutes}" if minutes else "")


def distance_text(metres: float, units: str = "metric") -> str:
    """Return a distance rounded as its use allows: "640 m", "1.2 km", "0.7 mi"."""
    if units == "imperial":
        yards = metres / YARD_M
        if yards < 880:
            return f"{_round(yards):,.0f} yd"
        return f"{metres / MILE_M:.1f} mi"
    return f"{_round(metres):.0f} m" if metres < 1000 else f"{metres / 1000:.1f} km"


def get_up_text(estimate: Estimate, units: str = "metric") -> str:
    """Say which notes no longer help here, where to move when none does, or ""."""
    if estimate.move_m is not None and estimate.move_true_deg is not None:
        far = distance_text(estimate.move_m, units)
        return f"enough here; move: {far} on {estimate.move_true_deg:03.0f} true"
    if estimate.enough_of:
        names = ", ".join(estimate.enough_of[:MOST_NAMED])
        more = " ..." if len(estimate.enough_of) > MOST_NAMED else ""
        return f"more of {names}{more} won't help"
    return "more bearings here won't help" if estimate.bearings_enough else ""


def spoken_move(metres: float, true_deg: float, units: str = "metric") -> str:
    """Return the way to the next station as it is said."""
    far, unit = distance_text(metres, units).split()
    names = {"m": "metres", "km": "kilometres", "yd": "yards", "mi": "miles"}
    digits = " ".join(f"{round(true_deg) % 360:03d}")
    return f"enough here. move {far} {names[unit]} on {digits} true"


def _round(value: float) -> float:
    step = 10 if value >= 100 else 5
    return round(value / step) * step
