"""Metric or imperial for display: always the one or the other, never both.

Files carry metres, seconds and degrees; this module is for sentences and pictures.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

FOOT_M = 0.3048  # m, international foot, 1959 agreement (exact)
YARD_M = 3 * FOOT_M
MILE_M = 1760 * YARD_M
ACRE_M2 = 4840 * YARD_M**2
HECTARE_M2 = 10_000.0
_KILOMETRES_FROM_M = 2000.0  # metres below it read better beside one another
_MILES_FROM_M = 1320 * YARD_M  # three quarters of a mile; below it yards read better

UnitSystem = Literal["metric", "imperial"]


def round_figures(value: float, figures: int = 2) -> float:
    """Round to that many significant figures; 0 stays 0."""
    if value == 0 or not math.isfinite(value):
        return value
    return round(value, figures - 1 - math.floor(math.log10(abs(value))))


def _plain(value: float) -> str:
    """Write without exponent, without trailing zeros, thousands apart."""
    text = f"{value:,.2f}" if abs(value) < 10 else f"{value:,.1f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.replace(",", "" if abs(value) < 10_000 else "\u202f")


@dataclass(frozen=True, slots=True)
class Units:
    """The one system a report is written in.

    Examples
    --------
    >>> Units("metric").distance(643.2)
    '640 m'
    >>> Units("imperial").distance(643.2)
    '700 yards'
    >>> Units("metric").area(42_300.0)
    '4.2 ha'
    """

    system: UnitSystem = "metric"

    @property
    def picture_unit_m(self) -> float:
        """How many metres one unit on a picture's distance axis has."""
        return 1.0 if self.system == "metric" else YARD_M

    @property
    def picture_unit(self) -> str:
        """Name of the unit on a picture's distance axis."""
        return "m" if self.system == "metric" else "yards"

    def distance(self, metres: float) -> str:
        """Write a distance, rounded to two significant figures."""
        value, unit = self._distance(metres, metres)
        return f"{_plain(value)} {unit}"

    def distance_range(self, low_m: float, high_m: float) -> str:
        """Write "480 to 810 m", both ends in the unit of the larger."""
        low, unit = self._distance(low_m, high_m)
        high, _ = self._distance(high_m, high_m)
        return f"{_plain(low)} to {_plain(high)} {unit}"

    def _distance(self, metres: float, scale_m: float) -> tuple[float, str]:
        if self.system == "metric":
            if round_figures(scale_m) < _KILOMETRES_FROM_M:
                return round_figures(metres), "m"
            return round_figures(metres / 1000), "km"
        if scale_m < _MILES_FROM_M:
            return round_figures(metres / YARD_M), "yards"
        value = round_figures(metres / MILE_M)
        return value, "mile" if value == 1 and scale_m == metres else "miles"

    def area(self, square_metres: float) -> str:
        """Write an area in hectares (square metres below a tenth) or acres."""
        if self.system == "imperial":
            value = round_figures(square_metres / ACRE_M2)
            if value < 0.1:
                return f"{_plain(round_figures(square_metres / YARD_M**2))} sq yd"
            return f"{_plain(value)} {'acre' if value == 1 else 'acres'}"
        if square_metres < HECTARE_M2 / 10:
            return f"{_plain(round_figures(square_metres))} m²"
        if square_metres >= 100 * HECTARE_M2:
            return f"{_plain(round_figures(square_metres / 1e6))} km²"
        return f"{_plain(round_figures(square_metres / HECTARE_M2))} ha"

    def speed(self, metres_per_s: float) -> str:
        """Write a speed in km/h or mph."""
        if self.system == "metric":
            return f"{_plain(round_figures(metres_per_s * 3.6))} km/h"
        return f"{_plain(round_figures(metres_per_s * 3600 / MILE_M))} mph"


def counted(count: int, thing: str) -> str:
    """Write a count with what is counted: "1 note", "3 notes"."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def duration_text(seconds: float) -> str:
    """Write seconds as "6 min 05 s", "48 s" or "2 h 03 min".

    Examples
    --------
    >>> duration_text(365)
    '6 min 05 s'
    """
    whole = round(seconds)
    if abs(whole) < 60:
        return f"{whole} s"
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes} min {rest:02d} s" if rest else f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min"


_EIGHT_WINDS = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)


def wind_name(bearing_deg: float) -> str:
    """Return the nearest of the eight winds in words: "south-west"."""
    return _EIGHT_WINDS[round(bearing_deg % 360 / 45) % 8]


def bearing_text(bearing_deg: float) -> str:
    """Write a bearing with three digits: "039°"; 360 becomes 000."""
    return f"{round(bearing_deg) % 360:03d}°"
