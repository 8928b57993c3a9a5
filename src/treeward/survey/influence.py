"""How far the best place would move if some of what was seen were otherwise.

A hunt is solved once, on coarse cells. Another set of trips and bearings is weighed on
these same cells, which takes a small part of what solving anew takes; it is solved anew
only where its place lies at their rim. Which bees share a colony is not asked again.

What was looked at on the ground leaves the survey's own map as it is: it is solved
once, as `locate` does, and each way of looking is laid over it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from .answer import solve_hunt
from .case import prepare
from .colonies import group_bees
from .evidence import Evidence
from .grid import posterior
from .search import updated

if TYPE_CHECKING:
    from .case import CheckedHunt
    from .frame import LocalFrame
    from .records import Bearings, Bools, Floats, Settings, Stations, Trips, TripWind
    from .search import Searching, Update

_CELLS = 60  # wanted in the 90 % area by the rough solution; choice
_INNER = 350  # places weighed again among the cells that hold nearly all; choice
_OUTER = 120  # and among their neighbours; choice
_RIM = 1e-3  # of the probability lies outside of the inner cells; choice
_TOO_MUCH = 0.05  # of it there: then it is solved anew; choice
_STEPS = 100  # of the climb to the top of the smoothed density
_SETTLED = 0.002  # of the radius it is smoothed by


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What the survey is told of a hunt, as `locate` takes it."""

    stations: Stations
    trips: Trips
    bearings: Bearings
    settings: Settings
    wind: TripWind | None = None

    def prepared(self) -> CheckedHunt:
        """Return it checked and in the local frame."""
        return prepare(
            self.stations, self.trips, self.bearings, self.settings, self.wind
        )

    def same_as(self, other: Seen) -> bool:
        """Tell whether another says the same of trips, bearings and wind."""
        return all(
            _alike(getattr(self, part), getattr(other, part))
            for part in ("trips", "bearings", "wind")
        )


def _alike(one: object, two: object) -> bool:
    """Compare records of arrays field by field."""
    if one is None or two is None:
        return one is two
    return all(
        np.array_equal(left, right, equal_nan=left.dtype.kind == "f")
        if isinstance(left, np.ndarray) and isinstance(right, np.ndarray)
        else left is right or (type(left) is type(right) and bool(left == right))
        for left, right in (
            (getattr(one, field.name), getattr(two, field.name))
            for field in fields(one)  # type: ignore[arg-type]
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ground:
    """Places over the map that stand for the cells of a solution.

    Attributes
    ----------
    xy
        (n, 2) places [m].
    area_m2
        (n,) what each stands for.
    outer
        (n,) those that held next to nothing.
    """

    xy: Floats
    area_m2: Floats
    outer: Bools

    @classmethod
    def solved(cls, evidence: Evidence) -> _Ground:
        """Return the ground of a rough solution."""
        grid = posterior(evidence, enough_cells=_CELLS)
        outer = np.ones(len(grid.xy), dtype=bool)
        outer[grid.inside(1.0 - _RIM)] = False
        kept = np.zeros(len(grid.xy), dtype=bool)
        area_m2 = np.full(len(grid.xy), grid.cell_m**2)
        for part, wanted in ((~outer, _INNER), (outer, _OUTER)):
            step = max(1, round(np.sqrt(part.sum() / wanted)))
            chosen = part & (grid.index % step == 0).all(axis=1)
            kept |= chosen
            area_m2[chosen] *= part.sum() / max(chosen.sum(), 1)
        return cls(xy=grid.xy[kept], area_m2=area_m2[kept], outer=outer[kept])

    def weighed(self, evidence: Evidence, xy: Floats) -> Floats:
        """Return the probability of each place, which in its frame is at `xy`."""
        log_density = evidence.log_density(xy)
        share = self.area_m2 * np.exp(log_density - log_density.max())
        return np.asarray(share / share.sum())

    def top(self, share: Floats) -> Floats:
        """Return the place with the most probability round about it; (2,).

        As `Grid.best`, but between the cells: a climb by the mean of what lies about
        (Fukunaga and Hostetler 1975, "The estimation of the gradient of a density
        function", IEEE Transactions on Information Theory 21:32-40).
        """
        order = np.argsort(-share / self.area_m2, kind="stable")
        half = order[: int(np.searchsorted(np.cumsum(share[order]), 0.5)) + 1]
        radius = float(np.sqrt(self.area_m2[half].sum() / np.pi))

        def near(places: Floats) -> Floats:
            apart = places[:, None, :] - self.xy[None, :, :]
            return np.asarray(np.exp(-0.5 * (apart**2).sum(axis=2) / radius**2) * share)

        place = self.xy[half[int(np.argmax(near(self.xy[half]).sum(axis=1)))]]
        for _ in range(_STEPS):
            weight = near(place[None, :])[0]
            further = (weight @ self.xy) / weight.sum()
            step = float(np.hypot(*(further - place)))
            place = further
            if step < _SETTLED * radius:
                break
        return np.asarray(place)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Colony:
    bees: frozenset[str]
    ground: _Ground
    place: Floats  # (2,)


class Influence:
    """A hunt roughly solved, against which others are held.

    Parameters
    ----------
    seen
        The hunt as it stands.

    Raises
    ------
    ValueError
        As `locate` does.
    """

    def __init__(self, seen: Seen) -> None:
        self._seen = seen
        hunt = seen.prepared()
        self._frame: LocalFrame = hunt.frame
        groups, _ = group_bees(hunt, seen.trips.bees)
        self._colonies = []
        for group in groups:
            evidence = Evidence(hunt.case, group.bees, group.use_bearing)
            if not (evidence.has_times or evidence.has_lines):
                continue
            ground = _Ground.solved(evidence)
            self._colonies.append(
                _Colony(
                    bees=frozenset(seen.trips.bees[bee] for bee in group.bees),
                    ground=ground,
                    place=ground.top(ground.weighed(evidence, ground.xy)),
                )
            )

    def moves_m(self, other: Seen) -> float | None:
        """Return how far the best place moves if `other` is what was seen [m].

        Of several colonies it is the one that moves farthest. None where nothing is
        left to tell of a colony.
        """
        if self._colonies and other.same_as(self._seen):
            return 0.0
        hunt = other.prepared()
        farthest = 0.0
        for colony in self._colonies:
            bees = frozenset(
                bee for bee in hunt.bees if other.trips.bees[bee] in colony.bees
            )
            use = np.isin(hunt.case.bearing_bee, list(bees))
            if len(self._colonies) == 1:
                bees, use = frozenset(hunt.bees), np.ones(len(use), dtype=bool)
            evidence = Evidence(hunt.case, bees, use)
            if not (evidence.has_times or evidence.has_lines):
                return None
            here = self._place(hunt, evidence, colony.ground)
            farthest = max(farthest, float(np.hypot(*(here - colony.place))))
        return farthest if self._colonies else None

    def _place(self, hunt: CheckedHunt, evidence: Evidence, ground: _Ground) -> Floats:
        """Return the best place in the frame of the hunt as it stands; (2,)."""
        lonlat = self._frame.to_lonlat(ground.xy)
        share = ground.weighed(evidence, hunt.frame.to_xy(lonlat[:, 1], lonlat[:, 0]))
        if share[ground.outer].sum() <= _TOO_MUCH:
            return ground.top(share)
        anew = _Ground.solved(evidence)
        top = hunt.frame.to_lonlat(anew.top(anew.weighed(evidence, anew.xy)))
        place: Floats = self._frame.to_xy(top[1:], top[:1])[0]
        return place


@dataclass(frozen=True, slots=True, kw_only=True)
class LookMoved:
    """What looking otherwise does to a hunt.

    Attributes
    ----------
    moves_m
        How far the best place moves; of several colonies, the farthest [m].
    used_up
        Chance that this looking would have found the nest, less that of the looking as
        it stands; of several colonies the largest.
    """

    moves_m: float
    used_up: float


class LookingInfluence:
    """A hunt solved once, to hold other looking against what is known of it.

    Parameters
    ----------
    seen
        Trips and bearings as they stand.
    searching
        What was looked at, as it stands.

    Raises
    ------
    ValueError
        As `locate` does.
    """

    def __init__(self, seen: Seen, searching: Searching) -> None:
        hunt = seen.prepared()
        self._frame: LocalFrame = hunt.frame
        *_, self._grids = solve_hunt(hunt, seen.trips.bees)
        self._as_is = self._laid_over(searching)

    def _laid_over(self, searching: Searching) -> list[Update]:
        return [updated(grid, self._frame, searching) for grid in self._grids]

    def moved(self, other: Searching) -> LookMoved:
        """Return what `other` does if it is what was looked at."""
        both = list(zip(self._as_is, self._laid_over(other), strict=True))
        return LookMoved(
            moves_m=max(
                float(np.hypot(*(new.after.best() - old.after.best())))
                for old, new in both
            ),
            used_up=max(new.found_by_now - old.found_by_now for old, new in both),
        )
