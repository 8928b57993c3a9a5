"""The one entry: stations, trips and bearings in, the whole answer out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import areas, timing
from .case import Hunt, prepare
from .evidence import BeeTimes, Evidence
from .grid import Grid, refine
from .hand_rules import hand_rules, representative_s
from .records import BeeDistance, Colony, Fix
from .settings import Settings, TripWind

if TYPE_CHECKING:
    from .arrays import Floats
    from .records import Bearings, Stations, Trips


def locate(
    stations: Stations,
    trips: Trips,
    bearings: Bearings,
    settings: Settings | None = None,
    *,
    wind: TripWind | None = None,
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

    Raises
    ------
    ValueError
        Naming the argument that cannot be.
    """
    settings = settings or Settings()
    hunt = prepare(stations, trips, bearings, settings, wind)
    evidence = Evidence(
        hunt.case, frozenset(hunt.bees), np.ones(len(hunt.bearing_used), dtype=bool)
    )
    grid = solve(evidence)
    return Fix(
        bees=bee_distances(hunt, stations, trips),
        colonies=(
            colony(
                "A",
                hunt=hunt,
                evidence=evidence,
                grid=grid,
                stations=stations,
                trips=trips,
            ),
        ),
        next_station=None,
    )


def solve(evidence: Evidence) -> Grid:
    """Return the posterior of one group of bees on a grid."""
    case = evidence.case
    return refine(
        evidence.log_density,
        case.origin_xy,
        case.settings.distance_cut_m,
        case.station_xy,
    )


def colony(
    name: str,
    *,
    hunt: Hunt,
    evidence: Evidence,
    grid: Grid,
    stations: Stations,
    trips: Trips,
) -> Colony:
    """Return one colony's search areas and distances."""
    best = hunt.frame.to_lonlat(grid.xy[int(np.argmax(grid.probability))])
    distances = {}
    for station in hunt.stations_used:
        away = np.hypot(*(grid.xy - hunt.case.station_xy[station]).T)
        low, median, high = weighted_quantiles(
            away, grid.probability, (0.05, 0.5, 0.95)
        )
        distances[stations.id[station]] = (low, median, high)
    return Colony(
        id=name,
        marks=tuple(trips.bees[bee] for bee in sorted(evidence.bees)),
        best_latitude_deg=float(best[1]),
        best_longitude_deg=float(best[0]),
        distance_m=distances,
        search_areas=areas.search_areas(grid, hunt.frame),
        density=areas.density(grid, hunt.frame),
    )


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
    settings, nodes = hunt.case.settings, hunt.case.time_nodes
    d = np.linspace(0.0, settings.distance_cut_m, 1501)[1:]
    per_metre = 1 / settings.flight_speed_out_mps + 1 / settings.flight_speed_home_mps
    position = timing.flight_position(
        d[:, None] * per_metre * np.exp(-nodes.ln_f)[None, :]
    )
    total = np.zeros((d.size, nodes.ln_f.size, nodes.ln_g.size))
    for t in times:
        kernel = timing.bee_kernel(
            timing.in_hive_median_s(t.cargo, settings),
            nodes.ln_g,
            hunt.case.flight_nodes_s,
        )
        table = timing.over_bees(t.tables[0], kernel)
        total += timing.look_up(table, position)
    z = np.log(d / settings.distance_median_m) / settings.distance_sigma
    value = timing.time_evidence(total, nodes) - 0.5 * z**2 - np.log(d)
    p = np.exp(value - value.max())
    return d, p / p.sum()
