"""Which recordings each kind of noise is laid of.

The packages do not say where and how these were recorded; that they are field
recordings is a guess from what they are for. A bed takes them in pieces of a few
seconds, faded into each other, and repeats them in time (see `distinct_s` in the truth
of noise alone).
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from . import sound
from .sources import RATE_HZ, Sound, find, read

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np

GAME, WOODS = "0ad-data", "megaglest-data"
CITY, STAMPS = "lincity-ng-data", "tuxpaint-stamps-default"
KINDS: dict[str, tuple[tuple[str, str], ...]] = {  # package, pattern of the file
    "wind": (
        (GAME, "weather/wind_11.ogg"),
        (GAME, "weather/windstorm_11.ogg"),
        (GAME, "weather/windleaves_1[01].ogg"),
        (WOODS, "winter/sounds/wind.ogg"),
    ),
    "water": (
        (GAME, "water/river_*.ogg"),
        (GAME, "water/waterfall_31.ogg"),
    ),
    "rain": (
        (GAME, "weather/rain_1[12].ogg"),
        (WOODS, "autumn/sounds/rain.ogg"),
        (WOODS, "birch_forest/sounds/rain.ogg"),
        (WOODS, "desert2/sounds/rain.wav"),
    ),
    "birds-insects": (
        (GAME, "dayscape/day_temperate_*.ogg"),
        (WOODS, "birch_forest/sounds/[dn]*.ogg"),
        (WOODS, "dark_forest/sounds/[dn]*.ogg"),
        (WOODS, "fernland/sounds/[dn]*.ogg"),
        (WOODS, "spring/sounds/day.ogg"),
        (WOODS, "mediterran/sounds/night.ogg"),
        (STAMPS, "insects/bee.ogg"),
        (STAMPS, "insects/mosquito.ogg"),
        (STAMPS, "insects/grasshopper.ogg"),
    ),
    "town": (
        (GAME, "building/amb_trade_*.ogg"),
        (GAME, "building/amb_port_*.ogg"),
        (CITY, "Trafic*.wav"),
        (CITY, "Market*.wav"),
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
    """Return noise of a kind; "mixed" is wind, water and birds, equally loud."""
    kinds = MIXED if kind == "mixed" else (kind,)
    out = sound.bed(pieces(room, kinds[0]), length, rng)
    for each in kinds[1:]:
        out = out + sound.bed(pieces(room, each), length, rng)
    return out
