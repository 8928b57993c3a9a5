"""Places and measures as people write them.

Positions are read and written in decimal degrees, degrees-minutes-seconds or UTM.
Distances, areas, times and bearings are shown metric or imperial: always the one or the
other, never both. Files carry metres, seconds and degrees; these are for sentences and
pictures.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_DECIMAL = re.compile(rf"^\s*({_NUMBER})\s*°?\s*[,;\s]\s*({_NUMBER})\s*°?\s*$")
_UTM = re.compile(
    r"^\s*(\d{1,2})\s*([C-HJ-NP-X])\s+(\d{5,7}(?:\.\d+)?)\s*m?\s*[,\s]\s*"
    r"(\d{1,8}(?:\.\d+)?)\s*m?\s*$",
    re.IGNORECASE,
)
_DMS_TOKEN = re.compile(r"[NSEW]|\d+(?:\.\d+)?")
# Everything else that may stand in degrees-minutes-seconds: the marks and commas.
_DMS_FILLING = re.compile(r"[\s°º'\"\u2032\u2033\u2019\u201d,;]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """A point on WGS84.

    Raises
    ------
    ValueError
        If latitude is outside -90..90 or longitude outside -180..180 degrees, or
        either is not finite.
    """

    latitude_deg: float
    longitude_deg: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.latitude_deg) and math.isfinite(self.longitude_deg)):
            msg = "a position needs finite numbers"
            raise ValueError(msg)
        if not -90 <= self.latitude_deg <= 90:
            hint = (
                "; latitude comes first, it looks as if longitude was written first"
                if abs(self.latitude_deg) <= 180 and abs(self.longitude_deg) <= 90
                else ""
            )
            msg = f"latitude {self.latitude_deg:g} is not between -90 and 90{hint}"
            raise ValueError(msg)
        if not -180 <= self.longitude_deg <= 180:
            msg = f"longitude {self.longitude_deg:g} is not between -180 and 180"
            raise ValueError(msg)


def parse_position(text: str) -> Position:
    r"""Read a position.

    Parameters
    ----------
    text
        "52.301200, -3.610400" (latitude first), "52°18'04.3\"N 3°36'37.4\"W" (either
        order, the letters decide), or UTM "30U 458400 5794400" (zone, latitude band,
        easting and northing in metres, WGS84).

    Raises
    ------
    ValueError
        If the text is none of these, or the place is not on the globe.

    Examples
    --------
    >>> parse_position("52.3012, -3.6104")
    Position(latitude_deg=52.3012, longitude_deg=-3.6104)
    """
    if match := _DECIMAL.match(text):
        return Position(latitude_deg=float(match[1]), longitude_deg=float(match[2]))
    if match := _UTM.match(text):
        return _from_utm(
            int(match[1]), match[2].upper(), float(match[3]), float(match[4])
        )
    return _from_dms(text)


def position_in(text: str) -> Position | None:
    """Read a position as `parse_position` does; None for words."""
    try:
        return parse_position(text)
    except ValueError:
        return None


def format_position(position: Position) -> str:
    """Write a position as decimal degrees that `parse_position` reads back.

    Six decimals are 0.1 m.
    """
    return f"{position.latitude_deg:.6f}, {position.longitude_deg:.6f}"


def utm_text(position: Position) -> str:
    """Write a position as UTM, to the metre: "30U 458400 5794400".

    The zone is the plain six-degree one; the exceptions of the grid round Norway
    and Svalbard are not made, as positions are read back with their zone.

    Raises
    ------
    ValueError
        If the latitude is beyond UTM's 80 S to 84 N.
    """
    latitude = position.latitude_deg
    if not -80 <= latitude <= 84:
        msg = f"UTM ends at 80 S and 84 N, the latitude is {latitude:g}"
        raise ValueError(msg)
    from pyproj import Transformer

    zone = min(int((position.longitude_deg + 180) // 6) + 1, 60)
    band = "CDEFGHJKLMNPQRSTUVWXX"[int((latitude + 80) // 8)]
    epsg = (32600 if band >= "N" else 32700) + zone
    easting, northing = Transformer.from_crs(
        "EPSG:4326", f"EPSG:{epsg}", always_xy=True
    ).transform(position.longitude_deg, latitude)
    return f"{zone}{band} {round(easting)} {round(northing)}"


def _from_utm(zone: int, band: str, easting_m: float, northing_m: float) -> Position:
    if not 1 <= zone <= 60:
        msg = f"UTM zone {zone} is not between 1 and 60"
        raise ValueError(msg)
    from pyproj import Transformer

    epsg = (32600 if band >= "N" else 32700) + zone
    longitude, latitude = Transformer.from_crs(
        f"EPSG:{epsg}", "EPSG:4326", always_xy=True
    ).transform(easting_m, northing_m)
    if not (math.isfinite(latitude) and math.isfinite(longitude)):
        msg = f"UTM {zone}{band} {easting_m:g} {northing_m:g} is not on the globe"
        raise ValueError(msg)
    position = Position(latitude_deg=latitude, longitude_deg=longitude)
    south = -80 + 8 * "CDEFGHJKLMNPQRSTUVWX".index(band)
    # A metre of rounding at a band's edge must not refuse an honest position.
    if not south - 0.01 <= latitude <= south + (12.01 if band == "X" else 8.01):
        msg = f"northing {northing_m:g} does not lie in UTM band {band}"
        raise ValueError(msg)
    return position


def _from_dms(text: str) -> Position:
    tokens = _DMS_TOKEN.findall(text.upper())
    filling = _DMS_TOKEN.sub("", text.upper())
    letters = [i for i, token in enumerate(tokens) if token.isalpha()]
    if len(letters) != 2 or not _DMS_FILLING.fullmatch(filling):
        raise ValueError(_not_a_position(text))
    if letters[0] == 0:  # "N 52 18 04 W 3 36 37": the letter comes first
        groups = [tokens[1 : letters[1]], tokens[letters[1] + 1 :]]
    else:
        groups = [tokens[: letters[0]], tokens[letters[0] + 1 : letters[1]]]
    values: dict[str, float] = {}
    for letter, group in zip((tokens[i] for i in letters), groups, strict=True):
        numbers = [float(number) for number in group]
        if not 1 <= len(numbers) <= 3 or any(part >= 60 for part in numbers[1:]):
            raise ValueError(_not_a_position(text))
        degrees = sum(part / 60**power for power, part in enumerate(numbers))
        axis = "latitude" if letter in "NS" else "longitude"
        values[axis] = -degrees if letter in "SW" else degrees
    if len(values) != 2 or sum(map(len, groups)) + 2 != len(tokens):
        raise ValueError(_not_a_position(text))
    return Position(latitude_deg=values["latitude"], longitude_deg=values["longitude"])


def _not_a_position(text: str) -> str:
    return (
        f"{text!r} is not a position like 52.301200, -3.610400 or "
        "52°18'04.3\"N 3°36'37.4\"W or 30U 458400 5794400"
    )


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


def clock_face(seconds: float) -> str:
    """Return a time as minutes and seconds, "6:10", or hours, "1:05:00"."""
    whole = max(0, round(seconds))
    minutes, rest = divmod(whole, 60)
    if minutes < 60:
        return f"{minutes}:{rest:02d}"
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}"


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
