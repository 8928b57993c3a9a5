"""The one entry: stations, trips and bearings in, the whole answer out.

What would help most, as kinds with numbers; sentences are made elsewhere.

The distance of each bee, from its own trips alone.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from . import timing
from .case import CheckedHunt, prepare
from .classical import classical_fixes, hand_rules, representative_s
from .colonies import Group, group_bees
from .evidence import BeeTimes, Case, Evidence
from .grid import (
    Grid,
    density,
    focused_evidence,
    much_data,
    posterior,
    pruned_evidence,
    search_areas,
    shape_of,
)
from .next_station import choose, enough
from .own_prior import learned_of
from .records import (
    Advice,
    AdviceKind,
    BeeDistance,
    Colony,
    Fix,
    NextStation,
    Searched,
    Settings,
    Strip,
    TripWind,
    integrate_nodes,
    log_sum_exp,
)
from .search import Searching, Update, updated
from .search_plan import searched, strips, walk_from

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from .records import Bearings, Floats, Stations, Trips

_FEW_BEARINGS = 6  # common practice
_FEW_TRIPS = 4  # a bee's third or fourth shortest time stands for it
_DOUBT = 0.3  # two marks less likely than this to share a colony are worth a look


def doubtful_pairs(
    colonies: Iterable[Colony], pairs: Mapping[tuple[str, str], float]
) -> list[Advice]:
    """Name marks put in one colony that may well fly from two."""
    return [
        Advice(kind=AdviceKind.MAYBE_TWO_COLONIES, marks=pair, probability=share)
        for colony in colonies
        for pair, share in pairs.items()
        if share < _DOUBT and set(pair) <= set(colony.marks)
    ]


def advice(hunt: CheckedHunt, evidence: Evidence, grid: Grid) -> list[Advice]:
    """Return what one colony's data lack, most wanted first."""
    case = hunt.case
    result = []
    trips = sum(t.trips for t in case.times if t.bee in evidence.bees)
    bearings = int(evidence.use_bearing.sum())
    if not trips:
        result.append(Advice(kind=AdviceKind.NO_TIMES))
    if not bearings:
        result.append(Advice(kind=AdviceKind.NO_BEARINGS))
    elif bearings < _FEW_BEARINGS:
        few = AdviceKind.FEW_BEARINGS
        result.append(Advice(kind=few, count=bearings, wanted=_FEW_BEARINGS))
    if 0 < trips < _FEW_TRIPS:
        result.append(Advice(kind=AdviceKind.FEW_TRIPS, count=trips))
    if len(hunt.stations_used) == 1 and trips and bearings:
        result.append(Advice(kind=AdviceKind.ONE_STATION))
    cut = case.settings.distance_cut_m
    edge = np.hypot(*(grid.xy - case.origin_xy).T) > 0.95 * cut
    if grid.probability[edge].sum() > 0.05:
        result.append(Advice(kind=AdviceKind.MAYBE_BEYOND, distance_m=cut))
    return result


def all_advice(colonies: Sequence[Colony]) -> list[Advice]:
    """Return the advice of all colonies; what is not true of each names its colony."""
    shared = [
        one
        for one in colonies[0].advice
        if all(one in other.advice for other in colonies)
    ]
    own = [
        replace(said, colony=one.id)
        for one in colonies
        for said in one.advice
        if said not in shared
    ]
    return own + shared if len(colonies) > 1 else shared


_SHARE_ODDS = 3.0  # guess; below, an unmarked bearing is given to no colony


def locate(
    stations: Stations,
    trips: Trips,
    bearings: Bearings,
    settings: Settings | None = None,
    *,
    wind: TripWind | None = None,
    searching: Searching | None = None,
    onward: bool = True,
) -> Fix:
    """Say where the colonies probably are, and how sure that is.

    Parameters
    ----------
    stations, trips, bearings
        What was seen; trips and bearings may be empty.
    settings
        Priors, overrides and what the person knows; all optional.
    wind
        Wind during each trip, where it was said.
    searching
        What was looked at, what the ground is like, and how one walks and looks.
    onward
        False leaves out where to sit and where to walk next, and what looking would
        take (`next_station`, `search_plan`, `searched` and the advice about the seat):
        for those who only ask where, since it takes as long as all the rest.

    Raises
    ------
    ValueError
        Naming the argument that cannot be.
    """
    settings = settings or Settings()
    hunt = prepare(stations, trips, bearings, settings, wind)
    groups, pairs, evidences, grids = solve_hunt(hunt, trips.bees)
    taught = [learned_of(*solved) for solved in zip(evidences, grids, strict=True)]
    searching = searching or Searching()
    updates = [updated(grid, hunt.frame, searching) for grid in grids]
    colonies = tuple(
        colony(
            group.id,
            hunt=hunt,
            evidence=evidence,
            update=update,
            searching=searching,
            learned=learned,
            stations=stations,
            trips=trips,
            onward=onward,
        )
        for group, evidence, update, learned in zip(
            groups, evidences, updates, taught, strict=True
        )
    )
    said = all_advice(colonies)
    if hunt.left_out:
        said.append(Advice(kind=AdviceKind.LEFT_OUT, marks=hunt.left_out))
    said += doubtful_pairs(colonies, pairs)
    if settings.calibrations:
        said += calibration_gain(hunt, groups[0], grids[0])
    where = {b: g for group, g in zip(groups, grids, strict=True) for b in group.bees}
    return Fix(
        bees=bee_distances(hunt, stations, trips, where),
        colonies=colonies,
        next_station=colonies[0].next_station,
        search_plan=colonies[0].search_plan,
        advice=tuple(said),
        learned=taught[0],
        same_colony=pairs,
        enough=tuple(
            fact
            for group, evidence, learned in zip(groups, evidences, taught, strict=True)
            for fact in enough(
                group.id,
                hunt,
                evidence,
                stations=stations,
                trips=trips,
                learned=learned,
            )
        ),
    )


def solve_hunt(
    hunt: CheckedHunt, names: tuple[str, ...]
) -> tuple[list[Group], Mapping[tuple[str, str], float], list[Evidence], list[Grid]]:
    """Return the colonies, how likely two marks share one, evidence and posteriors."""
    groups, pairs = group_bees(hunt, names)
    evidences, grids = solve_all(hunt.case, groups)
    if len(groups) > 1 and share_unmarked(hunt, groups, grids):
        evidences, grids = solve_all(hunt.case, groups)
    return groups, pairs, evidences, grids


def calibration_gain(hunt: CheckedHunt, group: Group, grid: Grid) -> list[Advice]:
    """Say by how much calibration shrank the interval of distance."""
    untaught = Evidence(hunt.untaught, group.bees, group.use_bearing)
    if not untaught.has_times:
        return []
    widths = []
    for cells in (solve(untaught)[1], grid):
        away = np.hypot(*(cells.xy - hunt.case.origin_xy).T)
        low, high = weighted_quantiles(away, cells.probability, (0.05, 0.95))
        widths.append(high - low)
    before, now = widths
    return [Advice(kind=AdviceKind.CALIBRATED, from_m=before, to_m=now)]


def solve_all(case: Case, groups: list[Group]) -> tuple[list[Evidence], list[Grid]]:
    """Return the evidence and the posterior of each group."""
    solved = [solve(Evidence(case, g.bees, g.use_bearing)) for g in groups]
    return [evidence for evidence, _ in solved], [grid for _, grid in solved]


def solve(evidence: Evidence) -> tuple[Evidence, Grid]:
    """Return the posterior of one group of bees, and the evidence it is made of."""
    if much_data(evidence.case, evidence.bees, evidence.use_bearing):
        evidence, _ = focused_evidence(evidence)
    else:
        evidence = pruned_evidence(evidence)
    return evidence, posterior(evidence)


def share_unmarked(hunt: CheckedHunt, groups: list[Group], grids: list[Grid]) -> bool:
    """Give bearings of unmarked bees to the colony they point at, if one stands out.

    Returns
    -------
    bool
        Whether any was given.
    """
    given = False
    for n in np.flatnonzero(hunt.case.bearing_bee < 0):
        only = np.zeros(len(hunt.case.bearing_bee), dtype=bool)
        only[n] = True
        alone = Evidence(hunt.case, frozenset(), only)
        fit = []
        for grid in grids:
            likeliest = grid.inside(0.9)[:400]
            share = grid.probability[likeliest] / grid.probability[likeliest].sum()
            by_place = alone.lines_alone(grid.xy[likeliest])
            fit.append(float(share @ np.exp(by_place)))
        order = np.argsort(fit)[::-1]
        if fit[order[0]] > _SHARE_ODDS * fit[order[1]]:
            groups[order[0]].use_bearing[n] = True
            given = True
    return given


def colony(
    name: str,
    *,
    hunt: CheckedHunt,
    evidence: Evidence,
    update: Update,
    searching: Searching,
    learned: Mapping[str, tuple[float, float]],
    stations: Stations,
    trips: Trips,
    onward: bool,
) -> Colony:
    """Return one colony's search areas and distances, and what would help next."""
    grid = update.after
    best = hunt.frame.to_lonlat(grid.best())
    distances = {}
    for station in hunt.stations_used:
        away = np.hypot(*(grid.xy - hunt.case.station_xy[station]).T)
        low, median, high = weighted_quantiles(
            away, grid.probability, (0.05, 0.5, 0.95)
        )
        distances[stations.id[station]] = (low, median, high)
    areas = search_areas(grid, hunt.frame)
    said = advice(hunt, evidence, grid)
    seat: NextStation | None = None
    plan: tuple[Strip, ...] = ()
    looked: Searched | None = None
    if onward and (evidence.has_times or evidence.has_lines):
        seat, sitting, where = choose(
            hunt,
            evidence,
            grid,
            stations,
            learned,
            searching=searching,
            spent=update.effort,
        )
        said.insert(0, where)
        walk = walk_from(hunt, update, searching)
        plan = strips(walk, hunt.frame)
        looked = searched(update, searching, hunt.frame, walk, sitting)
    return Colony(
        id=name,
        marks=tuple(trips.bees[bee] for bee in sorted(evidence.bees)),
        best_latitude_deg=float(best[1]),
        best_longitude_deg=float(best[0]),
        distance_m=distances,
        search_areas=areas,
        density=density(grid, hunt.frame),
        classical=classical_fixes(evidence, hunt.frame),
        shape=shape_of(areas[90], evidence, grid),
        next_station=seat,
        search_plan=plan,
        advice=tuple(said),
        searched=looked,
    )


_SECTORS = 24  # of the circle, in which a colony may lie; choice
_UNLIKELY = 0.01  # a sector with less is left out


def weighted_quantiles(
    values: Floats, weights: Floats, shares: tuple[float, ...]
) -> list[float]:
    """Return quantiles of weighted values."""
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    middle = (total - 0.5 * weights[order]) / total[-1]
    return [float(q) for q in np.interp(shares, middle, values[order])]


def bee_distances(
    hunt: CheckedHunt, stations: Stations, trips: Trips, where: Mapping[int, Grid]
) -> tuple[BeeDistance, ...]:
    """Return the distance of each bee from each station, from its own trips alone.

    In wind the time also hangs on the direction, which is its colony's: `where` gives
    each bee's posterior.
    """
    result = []
    used = hunt.trip_used
    for bee in np.unique(trips.bee[used]):
        for station in np.unique(trips.station[used[trips.bee[used] == bee]]):
            own = used[(trips.bee[used] == bee) & (trips.station[used] == station)]
            x, y = hunt.case.station_xy[station]
            here = [
                i for i, p in enumerate(hunt.case.places) if (p.x_m, p.y_m) == (x, y)
            ]
            tables = [
                BeeTimes(
                    bee=t.bee,
                    cargo=t.cargo,
                    places=(place,),
                    tables=(table,),
                    trips=t.trips,
                    usual_s=t.usual_s,
                )
                for t in hunt.case.times
                if t.bee == bee
                for place, table in zip(t.places, t.tables, strict=True)
                if place in here
            ]
            turns = _directions(where[int(bee)], hunt.case.station_xy[station])
            d, p = distance_posterior(hunt, tables, turns)
            low90, low50, median, high50, high90 = weighted_quantiles(
                d, p, (0.05, 0.25, 0.5, 0.75, 0.95)
            )
            away = trips.away_s[own]
            single = away[~trips.round_trip[own]]
            timed = single if single.size else away
            result.append(
                BeeDistance(
                    bee=trips.bees[bee],
                    station=stations.id[station],
                    trips_used=int(own.size),
                    shortest_away_s=float(timed.min()),
                    median_m=median,
                    low50_m=low50,
                    high50_m=high50,
                    low90_m=low90,
                    high90_m=high90,
                    hand_rules=hand_rules(representative_s(timed)),
                    distance_m=d,
                    density_per_m=p / (d[1] - d[0]),
                )
            )
    return tuple(result)


def _directions(grid: Grid, station_xy: Floats) -> tuple[Floats, Floats]:
    """Return directions [rad] in which a colony may lie, and their probability."""
    turn = np.arctan2(*(grid.xy - station_xy).T)
    sector = np.round(turn / (2 * np.pi) * _SECTORS).astype(np.intp) % _SECTORS
    share = np.bincount(sector, weights=grid.probability, minlength=_SECTORS)
    kept = np.flatnonzero(share > _UNLIKELY)
    return np.asarray(kept * (2 * np.pi / _SECTORS)), share[kept] / share[kept].sum()


def distance_posterior(
    hunt: CheckedHunt, times: list[BeeTimes], directions: tuple[Floats, Floats]
) -> tuple[Floats, Floats]:
    """Return a grid of distances [m] and their probability, from trips alone.

    Parameters
    ----------
    hunt
        A prepared hunt.
    times
        Trips of one bee at one station, under one wind each.
    directions
        Where the colony may lie from there [rad], and how probably.
    """
    case = hunt.case
    settings, nodes = case.settings, case.time_nodes
    fastest = float(
        (
            nodes.slow_out / settings.flight_speed_out_mps
            + nodes.slow_home / settings.flight_speed_home_mps
        ).min()
    )
    # The likelihood is worked out where flight times are told apart, and read between.
    cut = settings.distance_cut_m
    far = timing.flight_nodes(cut * fastest) / fastest
    turns, shares = directions
    windless = all(np.isnan(case.places[t.places[0]].wind_from_rad) for t in times)
    if windless:  # all directions are alike
        turns, shares = np.zeros(1), np.ones(1)
    over = [
        timing.over_bees(
            t.tables[0],
            timing.bee_kernel(
                timing.in_hive_median_s(t.cargo, settings),
                nodes.ln_g,
                case.flight_nodes_s,
            ),
            case.near,
        )
        for t in times
    ]
    by_direction = []
    for turn in turns:
        total = np.zeros((far.size, *nodes.log_weight.shape[1:]), dtype=np.float32)
        for t, table in zip(times, over, strict=True):
            here = case.places[t.places[0]]
            way = np.array([np.sin(turn), np.cos(turn)])
            xy = np.array([here.x_m, here.y_m]) + far[:, None] * way
            position = timing.flight_position(here.flight_s(xy, settings, nodes))
            flat = table.reshape(len(table), -1)
            total += timing.look_up(flat, position).reshape(total.shape)
        by_kind = integrate_nodes(total, nodes.log_weight)
        by_direction.append(log_sum_exp(by_kind, axis=1))
    likelihood = log_sum_exp(np.array(by_direction).T + np.log(shares), axis=1)
    d = np.linspace(0.0, cut, 1501)[1:]
    z = np.log(d / settings.distance_median_m) / settings.distance_sigma
    value = np.interp(d, far, likelihood) - 0.5 * z**2 - np.log(d)
    p = np.exp(value - value.max())
    return d, np.asarray(p / p.sum(), dtype=np.float64)
