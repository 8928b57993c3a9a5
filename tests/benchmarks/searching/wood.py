"""Trees, of which a few are lived in, and people who walk and look, for a benchmark.

Written apart from `treeward.survey`: trees stand in woods and hedges, a nest is seen by
glimpses whose chance falls with the distance, some nests hardly ever; people stray from
the way they mean to walk, and their phone strays from them. The bees, dishes and notes
are those of `benchmarks.survey.world`. Guesses say so.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.survey import world

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

REACH_M = 1700.0  # of the country about the first dish
TREES = 4000
LIVED_IN = 4  # one in a thousand
GLIMPSE_PER_M = 0.055  # hazard per metre looked along, beneath the nest; guess
GLIMPSE_M = 11.0  # at which it has fallen to a third; guess
IN_PASSING = 0.25  # of the hazard while walking from place to place; guess
STRAY_M, STRAY_OVER_M = 5.0, 60.0  # of a walker off the way meant; guess
GPS_M, GPS_OVER_S = 6.0, 90.0  # of a phone under trees; 5 to 10 m
STEP_M = 4.0


@dataclass
class Country:
    """Trees, and those lived in; metres about the first dish."""

    trees: Floats
    lived_in: Floats
    shown: Floats  # how well each nest shows, 1 on average

    @classmethod
    def grown(cls, rng: np.random.Generator) -> Country:
        """Let woods and hedges grow, and swarms choose."""
        trees = np.empty((0, 2))
        while len(trees) < TREES:
            middle = REACH_M * np.sqrt(rng.random()) * _way(rng.uniform(0, 2 * np.pi))
            count = int(rng.gamma(1.5, 60.0)) + 5
            if rng.random() < 0.3:  # a hedge, else a wood
                along = _way(rng.uniform(0, np.pi))
                places = middle + rng.uniform(-250, 250, (count, 1)) * along
                places += rng.normal(0, 2.0, (count, 2))
            else:
                wide = rng.uniform(25.0, 110.0)
                places = middle + rng.normal(0, wide, (count, 2))
            trees = np.vstack([trees, places])
        trees = trees[np.hypot(*trees.T) > 80.0][:TREES]
        lived = trees[rng.choice(len(trees), LIVED_IN, replace=False)]
        lived = lived[np.argsort(np.hypot(*lived.T))]
        return cls(trees, lived, rng.gamma(3.0, 1 / 3.0, LIVED_IN) + 0.05)


@dataclass
class Watch:
    """A hunt that goes on: one may sit down at another place."""

    rng: np.random.Generator
    conditions: world.Conditions
    tree: Floats
    notes: world._Notes = field(default_factory=world._Notes)
    bees: list[world._Bee] = field(default_factory=list)
    dishes: list[Floats] = field(default_factory=list)
    clock_s: float = 0.0

    def __post_init__(self) -> None:
        """Choose the day."""
        self.day = world._Day(self.rng, self.conditions)
        self.cargo = str(self.rng.choice(["water", "syrup"]))
        self.spread = float(self.rng.uniform(*self.conditions.spread))

    def sit(self, dish: Floats, minutes: float) -> None:
        """Watch two or three new bees at a place."""
        rng, seat = self.rng, len(self.dishes)
        self.dishes.append(dish)
        spot = world._spot(self.day, dish, self.tree, seat=seat, cargo=self.cargo)
        for _ in range(int(rng.integers(2, 4))):
            self.bees.append(
                world._Bee(
                    colony=0,
                    pace=1.0 + 0.05 * float(rng.uniform(-1.5, 1.5)),
                    stay=float(rng.gamma(25.0, 1 / 25.0)),
                    spread=self.spread * float(rng.uniform(0.85, 1.15)),
                )
            )
            world._sit(
                self.day,
                self.notes,
                number=len(self.bees) - 1,
                bee=self.bees[-1],
                seat=seat,
                spot=spot,
                start_s=self.clock_s,
                watch_s=60.0 * minutes,
            )
        self.clock_s += 60.0 * minutes + 900.0

    def brought_home(self) -> world.WorldHunt:
        """Return the notes so far."""
        return world._brought_home(
            self.day,
            self.notes,
            names=[f"bee{n}" for n in range(len(self.bees))],
            bees=self.bees,
            dishes=self.dishes,
            trees=self.tree[None, :],
            cargo=self.cargo,
        )


@dataclass
class Walker:
    """Somebody who walks, looks, and carries a phone.

    `seen` adds up what every nest showed of itself: exp(-seen) is the chance that it
    was missed.
    """

    rng: np.random.Generator
    country: Country
    at: Floats
    sight: float = 1.0  # how far one sees, against GLIMPSE_M; the sweep width with it
    counting: bool = False  # goes on past every nest, and counts what was seen
    clock_s: float = 0.0
    track: list[Floats] = field(default_factory=list)  # as the phone recorded it
    seen: Floats = field(default_factory=lambda: np.zeros(1))  # hazard, nest by nest
    found_s: float | None = None
    stray: Floats = field(default_factory=lambda: np.zeros(2))
    off: Floats = field(default_factory=lambda: np.zeros(2))

    def walk(self, to: Floats, pace_mps: float, *, looking: bool) -> None:
        """Walk straight to a place as meant; ends where a nest is seen."""
        way = to - self.at
        far = float(np.hypot(*way))
        steps = max(1, int(np.ceil(far / STEP_M)))
        length = far / steps
        share = IN_PASSING * (not looking) or 1.0
        places = self.at + np.arange(1, steps + 1)[:, None] / steps * way
        keep_s = np.exp(-length / STRAY_OVER_M)
        keep_g = np.exp(-length / pace_mps / GPS_OVER_S)
        strays, offs = np.empty((steps, 2)), np.empty((steps, 2))
        for n in range(steps):
            self.stray = keep_s * self.stray + STRAY_M * np.sqrt(
                1 - keep_s**2
            ) * self.rng.normal(size=2)
            self.off = keep_g * self.off + GPS_M * np.sqrt(
                1 - keep_g**2
            ) * self.rng.normal(size=2)
            strays[n], offs[n] = self.stray, self.off
        true = places + strays
        to_nests = true[:, None] - self.country.lived_in[None]
        apart = np.hypot(*to_nests.transpose(2, 0, 1))
        apart /= self.sight * GLIMPSE_M
        hazard = share * GLIMPSE_PER_M / self.sight * length * np.exp(-(apart**2))
        hazard *= self.country.shown
        self.seen = self.seen + hazard.sum(axis=0)
        seen = self.rng.random(hazard.shape) < -np.expm1(-hazard)
        if self.found_s is None and seen.any() and not self.counting:
            first = int(np.argmax(seen.any(axis=1)))
            self.found_s = self.clock_s + (first + 1) * length / pace_mps
        if looking:
            self.track.append(np.vstack([self.at + self.off, true + offs]))
        self.clock_s += far / pace_mps
        self.at = to


def sweep_width_m() -> float:
    """Return the true sweep width of a straight pass, over all nests."""
    rng = np.random.default_rng(0)
    shown = rng.gamma(3.0, 1 / 3.0, 4000) + 0.05
    aside = np.linspace(-60, 60, 601)
    total = GLIMPSE_PER_M * GLIMPSE_M * np.sqrt(np.pi)
    seen = 1 - np.exp(-shown[:, None] * total * np.exp(-((aside / GLIMPSE_M) ** 2)))
    return float(seen.mean(axis=0).sum() * (aside[1] - aside[0]))


def _way(turn: float) -> Floats:
    return np.array([np.sin(turn), np.cos(turn)])
