"""The distance of each bee, from its own trips alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import timing
from .classical import hand_rules, representative_s
from .evidence import BeeTimes
from .records import BeeDistance, integrate_nodes, log_sum_exp

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .case import CheckedHunt
    from .grid import Grid
    from .records import Floats, Stations, Trips

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
