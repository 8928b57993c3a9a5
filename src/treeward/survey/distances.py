"""The distance of each bee, from its own trips alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import timing
from .arrays import integrate_nodes, log_sum_exp
from .evidence import BeeTimes
from .hand_rules import hand_rules, representative_s
from .records import BeeDistance

if TYPE_CHECKING:
    from .arrays import Floats
    from .case import Hunt
    from .records import Stations, Trips


def weighted_quantiles(
    values: Floats, weights: Floats, shares: tuple[float, ...]
) -> list[float]:
    """Return quantiles of weighted values."""
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    middle = (total - 0.5 * weights[order]) / total[-1]
    return [float(q) for q in np.interp(shares, middle, values[order])]


def bee_distances(
    hunt: Hunt, stations: Stations, trips: Trips
) -> tuple[BeeDistance, ...]:
    """Return the distance of each bee from each station, from its own trips alone."""
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
            d, p = distance_posterior(hunt, tables)
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


def distance_posterior(hunt: Hunt, times: list[BeeTimes]) -> tuple[Floats, Floats]:
    """Return a grid of distances [m] and their probability, from trips alone."""
    case = hunt.case
    settings, nodes = case.settings, case.time_nodes
    per_metre = (
        nodes.slow_out / settings.flight_speed_out_mps
        + nodes.slow_home / settings.flight_speed_home_mps
    )
    # The likelihood is worked out where flight times are told apart, and read between.
    cut = settings.distance_cut_m
    far = timing.flight_nodes(cut * float(per_metre.min())) / float(per_metre.min())
    position = timing.flight_position(far[:, None] * per_metre)
    total = np.zeros((far.size, *nodes.log_weight.shape[1:]), dtype=np.float32)
    for t in times:
        kernel = timing.bee_kernel(
            timing.in_hive_median_s(t.cargo, settings), nodes.ln_g, case.flight_nodes_s
        )
        table = timing.over_bees(t.tables[0], kernel, case.near)
        total += timing.look_up(table.reshape(len(table), -1), position).reshape(
            total.shape
        )
    likelihood = log_sum_exp(integrate_nodes(total, nodes.log_weight), axis=1)
    d = np.linspace(0.0, cut, 1501)[1:]
    z = np.log(d / settings.distance_median_m) / settings.distance_sigma
    value = np.interp(d, far, likelihood) - 0.5 * z**2 - np.log(d)
    p = np.exp(value - value.max())
    return d, p / p.sum()
