"""Events and times in words, as they are shown and as they are read back."""

from __future__ import annotations

from typing import TYPE_CHECKING, assert_never

from treeward.language.kinds import KINDS, EventKind, Holds
from treeward.units import MILE_M, YARD_M

if TYPE_CHECKING:
    from treeward.notes.events import Event

    from .messages import Estimate

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
        return f"{whole} second{'' if whole == 1 else 's'}"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        name = "minute" if minutes == 1 else "minutes"
        return f"{minutes} {name} {rest}" if rest else f"{minutes} {name}"
    hours, minutes = divmod(round(whole / 60), 60)
    name = "hour" if hours == 1 else "hours"
    return f"{hours} {name} {minutes}" if minutes else f"{hours} {name}"


def clock_face(seconds: float) -> str:
    """Return a time as minutes and seconds, "6:10", or hours, "1:05:00"."""
    whole = max(0, round(seconds))
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes}:{rest:02d}"
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}"


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
