"""Which recordings each kind of noise is laid of.

The packages do not say where and how these were recorded; by their sound they are
field recordings, but that is a guess. They are short (see `distinct_s` in the truth):
a bed repeats them in pieces of a few seconds, faded into each other.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from benchmarks.hearing.people import sound
from benchmarks.hearing.people.sources import RATE_HZ, Sound, find, read

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np

AIR, CITY = "flightgear-data-base", "lincity-ng-data"
STAMPS, WOODS = "tuxpaint-stamps-default", "wesnoth-1.16-data"
KINDS: dict[str, tuple[tuple[str, str], ...]] = {  # package, pattern of the file
    "wind": ((AIR, "Sounds/wind1.wav"), (AIR, "Sounds/wind.wav")),
    "water": (
        (AIR, "Sounds/water-still.wav"),
        (CITY, "Water[1-5].wav"),
        (CITY, "ParklandLake[12].wav"),
    ),
    "rain": ((AIR, "Sounds/rain.wav"), (AIR, "Sounds/rain-windshield.wav")),
    "birds-insects": (
        (STAMPS, "birds/blackbird.ogg"),
        (STAMPS, "birds/seagull.ogg"),
        (STAMPS, "insects/bee.ogg"),
        (STAMPS, "insects/mosquito.ogg"),
        (STAMPS, "insects/grasshopper.ogg"),
        (WOODS, "ambient/birds[23].ogg"),
        (WOODS, "ambient/night.ogg"),
        (CITY, "ParklandPlane[1-3].wav"),
    ),
    "town": (
        (CITY, "Trafic*.wav"),
        (CITY, "Market*.wav"),
        (CITY, "Mill[1-3].wav"),
        (CITY, "RailTrain*.wav"),
    ),
}
MIXED = ("wind", "water", "birds-insects")


@lru_cache
def pieces(room: Path, kind: str) -> tuple[Sound, ...]:
    """Return the recordings of a kind."""
    return tuple(
        read(each)
        for package, pattern in KINDS[kind]
        for each in find(room, package, pattern)
    )


def distinct_s(room: Path, kind: str) -> float:
    """Return for how long a kind lasts before it repeats itself."""
    kinds = MIXED if kind == "mixed" else (kind,)
    return sum(len(each) for one in kinds for each in pieces(room, one)) / RATE_HZ


def lay(room: Path, kind: str, length: int, rng: np.random.Generator) -> Sound:
    """Return noise of a kind; "mixed" is wind, water, birds and insects, equally loud."""
    kinds = MIXED if kind == "mixed" else (kind,)
    out = sound.bed(pieces(room, kinds[0]), length, rng)
    for each in kinds[1:]:
        out = out + sound.bed(pieces(room, each), length, rng)
    return out
