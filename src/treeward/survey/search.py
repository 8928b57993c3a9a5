"""What looking for the tree tells: ground walked, ground weighed, bees overhead.

Search theory (Koopman, Search and Screening, 1946 and 1980): ground of area A through
which l metres were walked with a sweep width W has got the effort e = W l / A; efforts
of several passes add up. Where W is known it hides a nest with exp(-e). W is a guess,
and nests show more or less: with W times a gamma variable of mean one and shape k the
mean of exp(-e) is (1 + e / k)^-k (`hidden`), which falls more slowly: ground looked at
again and again is never as good as ruled out. A map p becomes p times that, and the
chance that the nest would have been found by now is what the map lost.

Search theory: the best division of an effort, and the mean effort until it finds.

Exponential detection throughout: an effort e = W l / A over ground finds a nest in it
with 1 - exp(-e) (Koopman, Search and Screening, 1946 and 1980).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from .frame import inside_ring

if TYPE_CHECKING:
    from .frame import LocalFrame
    from .grid import Grid
    from .records import Bools, Floats


SIGHT_SHAPE = 4.0  # of true sweep width against stated: half to double in 0.8; guess
HALF = 0.5  # of the stated sweep width: eyes as poor as one in ten's; guess
MOST_EFFORT = 6.6  # a nest no look finds, or notes of another place: 2 %; guess
LEAST_WEIGHT = 0.01  # maps err: no ground is ruled out; guess
GPS_SD_M = 6.0  # of a phone under trees; guess (5 to 10 m)
_RANGE_SHARE = 0.4  # sd of the looking aside, as a share of W: 1 / sqrt(2 pi)
_FINEST_M = 3.0  # cells are halved no further; choice
_SIDES = np.array([(0, 0), (0, 1), (1, 0), (1, 1)])  # quarters of a cell
_MOST_CELLS = 150_000  # of a halved map; choice
_MOST_RASTER = 2_000_000  # cells of the square about a map; choice
_OVERHEAD_SHARE = 0.5  # of bees in the air that are of the colony sought; guess
_OVERHEAD_SD_DEG = 25.0  # of their line, seen passing; guess
_DISH_MISS = 0.5  # a dish nobody visits, beside the tree; guess
_DISH_RANGE_M = 80.0  # at which that says little; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class Walked:
    """A line walked while looking; n places, degrees."""

    latitude_deg: Floats
    longitude_deg: Floats
    sweep_width_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedOver:
    """Ground looked over evenly: a ring of (n, 2) longitude, latitude.

    `effort` is W l / A, or what `effort_of` gives of a share.
    """

    ring: Floats
    effort: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedSpot:
    """A tree, or a few metres round about, looked over."""

    latitude_deg: float
    longitude_deg: float
    radius_m: float
    effort: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Overhead:
    """Bees that passed in the air."""

    latitude_deg: float
    longitude_deg: float
    bearing_true_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EmptyDish:
    """A dish that no bee visited."""

    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedGround:
    """A ring of (n, 2) longitude, latitude, and how much likelier nests are in it."""

    ring: Floats
    weight: float
    holes: tuple[Floats, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Trees:
    """Single trees, (n,) degrees, and how much likelier nests are beside one."""

    latitude_deg: Floats
    longitude_deg: Floats
    weight: float = 10.0  # guess
    radius_m: float = 8.0  # a crown, and the position's error; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class Searching:
    """What was looked at, what the ground is like, and how one walks and looks.

    Of rings of ground that overlap the last counts.
    """

    walked: tuple[Walked, ...] = ()
    looked_over: tuple[LookedOver, ...] = ()
    spots: tuple[LookedSpot, ...] = ()
    overhead: tuple[Overhead, ...] = ()
    empty_dishes: tuple[EmptyDish, ...] = ()
    ground: tuple[WeighedGround, ...] = ()
    trees: Trees | None = None
    paths: tuple[Floats, ...] = ()  # (n, 2) longitude, latitude each
    start: tuple[float, float] | None = None  # latitude, longitude: where one stands
    sweep_width_m: float = 15.0  # trees in leaf, by eye; guess
    look_mps: float = 0.25  # walking while looking up trees: 900 m/h; guess
    walk_mps: float = 0.7  # over rough ground, with the kit; guess
    path_mps: float = 1.2  # along a path; common practice
    gps_sd_m: float = GPS_SD_M

    def __post_init__(self) -> None:
        """Refuse what no walk can be."""
        for name in ("sweep_width_m", "look_mps", "walk_mps", "path_mps"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0):
                msg = f"searching.{name}: must be a positive number, not {value}"
                raise ValueError(msg)

    @property
    def tells(self) -> bool:
        """Whether any of it bears on where the colony is."""
        return bool(self.looked or self.overhead or self.empty_dishes) or self.weighs

    @property
    def looked(self) -> bool:
        """Whether any ground was looked at."""
        return bool(self.walked or self.looked_over or self.spots)

    @property
    def weighs(self) -> bool:
        """Whether any ground has a weight."""
        return bool(self.ground) or self.trees is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Update:
    """A map before and after looking.

    Attributes
    ----------
    before
        With what is known of the ground and of bees overhead, and no looking.
    after
        With the looking too.
    effort
        (n,) W l / A of each cell.
    found_by_now
        Chance that the looking would have found the nest.
    found_if_half
        That chance where one sees half as far as the sweep width says.
    ground_used
        False where the ground's weights left nothing of the map, and were not used.
    """

    before: Grid
    after: Grid
    effort: Floats
    found_by_now: float
    found_if_half: float
    ground_used: bool

    @property
    def still_inside(self) -> float:
        """Chance that the nest is inside the 90 % area as it was before looking."""
        return float(self.after.probability[self.before.inside(0.9)].sum())


def updated(grid: Grid, frame: LocalFrame, searching: Searching) -> Update:
    """Return a map with what looking tells.

    Parameters
    ----------
    grid
        Where a colony probably is, by times and bearings.
    frame
        Its local frame.
    searching
        What was looked at and what the ground is like.
    """
    if not searching.tells:
        return Update(
            before=grid,
            after=grid,
            effort=np.zeros(len(grid.xy)),
            found_by_now=0.0,
            found_if_half=0.0,
            ground_used=True,
        )
    cells = halved(grid, max(_FINEST_M, 0.5 * searching.sweep_width_m))
    weight, used = _ground_weight(cells, frame, searching)
    factor = weight * _bees_seen(cells.xy, frame, searching)
    effort = efforts(cells, frame, searching)
    before = _weighed(cells, factor)
    left = hidden(np.minimum(effort, MOST_EFFORT))
    return Update(
        before=before,
        after=_weighed(before, left),
        effort=effort,
        found_by_now=found(before.probability, effort),
        found_if_half=found(before.probability, effort, sight=HALF),
        ground_used=used,
    )


def halved(grid: Grid, cell_m: float) -> Grid:
    """Return the same map on cells no larger than `cell_m`, as far as they are few.

    Between the old cells it is bilinear, so that areas keep smooth edges.
    """
    while grid.cell_m > cell_m and 4 * len(grid.xy) <= _MOST_CELLS:
        low = grid.index.min(axis=0) - 1
        extent = np.ptp(grid.index, axis=0) + 3
        if 4 * int(extent.prod()) > _MOST_RASTER:
            break
        at = grid.index - low
        picture = np.full(extent, np.nan)
        picture[tuple(at.T)] = grid.probability
        parts = []
        for side in _SIDES:
            step = 2 * side - 1
            beside = [
                picture[tuple((at + step * one).T)] for one in ((1, 0), (0, 1), (1, 1))
            ]
            # Beyond the map's rim it goes on as it is.
            beside = [np.where(np.isnan(b), grid.probability, b) for b in beside]
            parts.append(
                9 * grid.probability + 3 * beside[0] + 3 * beside[1] + beside[2]
            )
        probability = np.stack(parts, axis=1).ravel()
        shift = (_SIDES - 0.5) * (grid.cell_m / 2)
        grid = replace(
            grid,
            xy=(grid.xy[:, None, :] + shift).reshape(-1, 2),
            index=(2 * grid.index[:, None, :] + _SIDES).reshape(-1, 2),
            cell_m=grid.cell_m / 2,
            probability=probability / probability.sum(),
        )
    return grid


def _weighed(grid: Grid, factor: Floats) -> Grid:
    weighed = grid.probability * factor
    return replace(grid, probability=weighed / weighed.sum())


def efforts(grid: Grid, frame: LocalFrame, searching: Searching) -> Floats:
    """Return the effort W l / A of each cell.

    What a line walked gives is spread to both sides: one sees W / 2 far, and the phone
    knows its place to a few metres only. The whole of it stays W l.
    """
    total = np.zeros(len(grid.xy))
    low = grid.index.min(axis=0)
    extent = np.ptp(grid.index, axis=0) + 1
    at = grid.index - low
    corner = grid.xy[0] - (at[0] + 0.5) * grid.cell_m
    for width in dict.fromkeys(way.sweep_width_m for way in searching.walked):
        spread = np.hypot(_RANGE_SHARE * width, searching.gps_sd_m) / grid.cell_m
        rim = int(np.ceil(3.0 * spread))
        metres = np.zeros(extent + 2 * rim)
        for way in searching.walked:
            if way.sweep_width_m != width:
                continue
            places, lengths = _paced(
                frame.to_xy(way.latitude_deg, way.longitude_deg), 0.5 * grid.cell_m
            )
            cell = np.floor((places - corner) / grid.cell_m).astype(np.intp) + rim
            near = ((cell >= 0) & (cell < metres.shape)).all(axis=1)
            np.add.at(metres, tuple(cell[near].T), lengths[near])
        if metres.any():
            smooth = _blurred(metres, spread, rim)
            total += width / grid.cell_m**2 * smooth[tuple((at + rim).T)]
    for patch in searching.looked_over:
        ring = frame.to_xy(patch.ring[:, 1], patch.ring[:, 0])
        total[inside_ring(grid.xy, ring)] += patch.effort
    for spot in searching.spots:
        middle = _xy(frame, spot.latitude_deg, spot.longitude_deg)
        away = np.hypot(*(grid.xy - middle).T)
        # Of a cell larger than the spot only that share was looked over.
        near = away <= max(spot.radius_m, 0.71 * grid.cell_m)
        share = np.pi * spot.radius_m**2 / (max(near.sum(), 1) * grid.cell_m**2)
        total[near] += spot.effort * min(1.0, share)
    return total


def _xy(frame: LocalFrame, latitude_deg: float, longitude_deg: float) -> Floats:
    place: Floats = frame.to_xy(np.array([latitude_deg]), np.array([longitude_deg]))[0]
    return place


def _paced(line: Floats, step_m: float) -> tuple[Floats, Floats]:
    """Return (m, 2) places along a line, and the metres each stands for."""
    steps = np.diff(line, axis=0)
    lengths = np.hypot(*steps.T)
    parts = np.maximum(1, np.ceil(lengths / step_m)).astype(np.intp)
    leg = np.repeat(np.arange(len(parts)), parts)
    within = np.arange(len(leg)) - np.repeat(np.cumsum(parts) - parts, parts)
    share = (within + 0.5) / parts[leg]
    return line[leg] + share[:, None] * steps[leg], lengths[leg] / parts[leg]


def _blurred(picture: Floats, sd_cells: float, rim: int) -> Floats:
    """Return a picture blurred by a normal curve; what it holds stays the same."""
    kernel = np.exp(-0.5 * (np.arange(-rim, rim + 1) / max(sd_cells, 1e-6)) ** 2)
    kernel /= kernel.sum()
    for axis in (0, 1):
        wide = np.pad(picture, [(rim, rim) if a == axis else (0, 0) for a in (0, 1)])
        length = picture.shape[axis]
        picture = np.zeros_like(picture)
        for n, share in enumerate(kernel):
            picture += share * np.take(wide, np.arange(n, n + length), axis=axis)
    return picture


def _ground_weight(
    grid: Grid, frame: LocalFrame, searching: Searching
) -> tuple[Floats, bool]:
    """Return (n,) weights of the cells, and whether they left anything of the map."""
    weight = np.ones(len(grid.xy))
    for one in searching.ground:
        inside = inside_ring(grid.xy, frame.to_xy(one.ring[:, 1], one.ring[:, 0]))
        for hole in one.holes:
            inside &= ~inside_ring(grid.xy, frame.to_xy(hole[:, 1], hole[:, 0]))
        weight[inside] = one.weight
    trees = searching.trees
    if trees is not None:
        # Where a tree stands beside a wood's weight, the larger counts.
        near = _near_any(
            grid.xy,
            frame.to_xy(trees.latitude_deg, trees.longitude_deg),
            max(trees.radius_m, 0.71 * grid.cell_m),
        )
        weight[near] = np.maximum(weight[near], trees.weight)
    if not (grid.probability @ weight > 0):
        return np.ones(len(grid.xy)), False
    return np.maximum(weight, LEAST_WEIGHT * weight.max()), True


def _near_any(xy: Floats, places: Floats, radius_m: float) -> Bools:
    """Return which of (n, 2) places have another within a radius."""
    near = np.zeros(len(xy), dtype=bool)
    for some in np.array_split(places, max(1, len(xy) * len(places) // 2_000_000)):
        apart = ((xy[:, None, :] - some[None, :, :]) ** 2).sum(axis=2)
        near |= (apart <= radius_m**2).any(axis=1)
    return near


def _bees_seen(xy: Floats, frame: LocalFrame, searching: Searching) -> Floats:
    """Return how much likelier each place makes the bees seen in the air, or none.

    A bee that passes flies home or from home: the colony lies ahead or behind.
    """
    factor = np.ones(len(xy))
    concentration = 1.0 / np.radians(_OVERHEAD_SD_DEG) ** 2
    mean = np.i0(concentration)
    for bee in searching.overhead:
        seen = _xy(frame, bee.latitude_deg, bee.longitude_deg)
        turn = np.arctan2(*(xy - seen).T) - np.radians(bee.bearing_true_deg)
        line = 0.5 * sum(
            np.exp(concentration * np.cos(turn + behind)) / mean
            for behind in (0.0, np.pi)
        )
        factor *= 1.0 - _OVERHEAD_SHARE + _OVERHEAD_SHARE * line
    for dish in searching.empty_dishes:
        place = _xy(frame, dish.latitude_deg, dish.longitude_deg)
        away = np.hypot(*(xy - place).T)
        factor *= 1.0 - _DISH_MISS * np.exp(-0.5 * (away / _DISH_RANGE_M) ** 2)
    return factor


def hidden(effort: Floats) -> Floats:
    """Return the chance that a nest is missed, by effort W l / A with the stated W."""
    return np.asarray((1.0 + effort / SIGHT_SHAPE) ** -SIGHT_SHAPE)


def found(probability: Floats, effort: Floats, *, sight: float = 1.0) -> float:
    """Return the chance that looking would have found the nest.

    Parameters
    ----------
    probability
        (n,) chances of cells, before looking.
    effort
        (n,) effort W l / A that each got, with the stated W.
    sight
        True sweep width as a share of the stated one; `HALF` for half.
    """
    return float(1.0 - probability @ hidden(np.minimum(sight * effort, MOST_EFFORT)))


def effort_of(share: float) -> float:
    """Return the effort that finds a share of nests, 0 to 1."""
    return float(SIGHT_SHAPE * ((1.0 - share) ** (-1.0 / SIGHT_SHAPE) - 1.0))


def expected_effort_m2(
    probability: Floats,
    cell_m2: float,
    spent: Floats | float = 0.0,
    *,
    shape: float = SIGHT_SHAPE,
) -> Floats:
    """Return the mean area to be swept until the nest is found, searched at best [m2].

    The best search (Koopman 1946; Stone, Theory of Optimal Search, 1975) always sweeps
    where it finds most at once, d = p / A w, with w = 1 + spent / k. At the level at
    which d_1 >= d_2 >= ... d_j are swept the chance not to have found it is
    A T level^(k a) + R, with a = 1 / (k + 1), T the sum of w d^a of the cells swept and
    R the chance in the others; the mean of the effort is its integral over the effort,
    k A (T level^-a - sum of w). For a circular normal of sd s and nothing spent it is
    2 pi s^2 (3 k + 1) / (k - 1), which is 6 pi s^2 where W is known.

    Parameters
    ----------
    probability
        (..., n) chances of cells, not all zero; each row is taken to sum to one.
    cell_m2
        A, the area of a cell [m2].
    spent
        (..., n) effort W l / A that the cells got before.
    shape
        k, of the true sweep width against the stated one.

    Returns
    -------
    ndarray
        (...,) swept area W l [m2]; divided by W and the speed it is the mean time.
    """
    share = np.asarray(probability, dtype=np.float64)
    share = np.maximum(share / share.sum(axis=-1, keepdims=True), 1e-300)
    worn = np.broadcast_to(1.0 + np.asarray(spent) / shape, share.shape)
    order = np.argsort(-share / worn, axis=-1, kind="stable")
    share, worn = (np.take_along_axis(x, order, axis=-1) for x in (share, worn))
    level = share / worn
    power = 1.0 / (shape + 1.0)
    swept = np.cumsum(worn * level**power, axis=-1)
    # Summed from the least, as a difference from one would drown them.
    rest = np.cumsum(share[..., ::-1], axis=-1)[..., ::-1] - share
    fall = level ** ((shape - 1.0) * power)
    fall[..., :-1] -= fall[..., 1:].copy()
    rise = np.zeros_like(level)
    rise[..., :-1] = np.diff(level**-power, axis=-1)
    parts = swept * (swept * fall / (shape - 1.0) + rest * rise)
    return np.asarray(cell_m2 * shape * parts.sum(axis=-1))
