"""A bearing as it stands in an event and in review.csv: degrees, width, reference.

"210" was read to a degree; "225 sw" was said as a point of the compass and is good to
half the way to the next ones; "210 true" was read against true north whatever the
hunt's compass is; "210 +-10" says itself how well it is known. A person may type the
same, or a point alone: "sw", "south west".
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

Reference = Literal["", "true", "magnetic"]

_NAMES = (
    *("n", "nne", "ne", "ene", "e", "ese", "se", "sse"),
    *("s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw"),
)
POINTS_DEG = {name: index * 22.5 for index, name in enumerate(_NAMES)}
_POINT_WORDS = {"north": "n", "east": "e", "south": "s", "west": "w"}
DEGREES_WIDTH_DEG = 1.0  # a number is taken as read to one degree
_EIGHT_WIDTH_DEG, _SIXTEEN_WIDTH_DEG = 45.0, 22.5  # from one point to the next
_NUMBER = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:°|degrees?\b)?")
_WIDTH = re.compile(r"(?:\+\s*/?\s*-|±)\s*(\d+(?:[.,]\d+)?)\s*°?")


@dataclass(frozen=True, slots=True, kw_only=True)
class BearingCell:
    """What a bearing's text says.

    `precision_deg` is the width of the interval that the bearing was rounded to, all
    of it; `reference` is "" where the hunt's compass is meant.
    """

    deg: float  # 0 to 360, 360 not included
    precision_deg: float
    reference: Reference = ""


def point_width_deg(name: str) -> float:
    """Return the width of a point: 45 for the eight winds, 22.5 between them."""
    return _EIGHT_WIDTH_DEG if len(name) < 3 else _SIXTEEN_WIDTH_DEG


def point_at(deg: float) -> str:
    """Return the short name of the point at whole degrees: "sw" for 225."""
    return _NAMES[round(deg / 22.5) % 16]


@lru_cache(maxsize=4096)
def read_bearing_cell(text: str) -> BearingCell | None:
    """Read a bearing's text; None where it is none, or says two things.

    Examples
    --------
    >>> read_bearing_cell("225 sw")
    BearingCell(deg=225.0, precision_deg=45.0, reference='')
    >>> read_bearing_cell("210 true").reference
    'true'
    """
    rest = " ".join(text.lower().split())
    reference: Reference = ""
    norths: tuple[Reference, Reference] = ("true", "magnetic")
    for word in norths:
        stripped = re.sub(rf"\b{word}\b", " ", rest)
        if stripped != rest:
            if reference:
                return None
            reference, rest = word, stripped
    width: float | None = None
    if match := _WIDTH.search(rest):
        width = 2 * float(match[1].replace(",", "."))
        rest = rest[: match.start()] + rest[match.end() :]
    deg: float | None = None
    if match := _NUMBER.match(rest.strip()):
        deg = float(match[1].replace(",", "."))
        rest = rest.strip()[match.end() :]
        if deg > 360:
            return None
    words = re.sub(r"[\s,-]+", " ", rest).split()
    point = "".join(_POINT_WORDS.get(w, w) for w in _spelt_out(words))
    if point:
        if point not in POINTS_DEG:
            return None
        exact = POINTS_DEG[point]
        wide = point_width_deg(point)
        if deg is None or abs((deg - exact + 180) % 360 - 180) <= 0.5:
            deg = exact  # 203 is 202.5 written in whole degrees
        elif abs((deg - exact + 180) % 360 - 180) > wide / 2:
            return None
        width = wide if width is None else width
    if deg is None or (width is not None and not 0 < width <= 360):
        return None
    return BearingCell(
        deg=deg % 360,
        precision_deg=DEGREES_WIDTH_DEG if width is None else width,
        reference=reference,
    )


def _spelt_out(words: list[str]) -> list[str]:
    """Part "southwest" into "south" and "west"."""
    found: list[str] = []
    for word in words:
        parts = re.findall(r"north|south|east|west", word)
        found += parts if "".join(parts) == word else [word]
    return found
