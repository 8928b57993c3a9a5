"""When more of the same stops paying, and other bees or another place would.

Bearings at one station share the deviation of its line and the observer's compass, and
those of one bee its own line; trips of one bee share its in-hive time and speed, and
those of all bees the hunt's. More notes of the same average out only what they do not
share. Facts as numbers; sentences are made elsewhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from . import timing
from .directions import LINE_KINDS
from .records import Enough

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .case import Hunt
    from .evidence import Evidence
    from .records import Stations, Trips
    from .settings import Settings

LEFT = 1 / 8  # of the variance, that all further notes together could take off; guess


def enough(
    name: str,
    hunt: Hunt,
    evidence: Evidence,
    *,
    stations: Stations,
    trips: Trips,
    learned: Mapping[str, tuple[float, float]],
) -> list[Enough]:
    """Return, for each station and each bee of one colony, when it has had enough.

    Parameters
    ----------
    name
        The colony's id.
    hunt, evidence
        The hunt, and what its bees say of the colony.
    stations, trips
        As given to `locate`.
    learned
        Median and sd of the shared unknowns, as in `records.Fix`.
    """
    case = hunt.case
    result = []
    for station in np.unique(case.bearing_station[evidence.use_bearing]):
        here = evidence.use_bearing & (case.bearing_station == station)
        bees = case.bearing_bee[here]
        # An unmarked bee is as likely another as the same.
        count = len(np.unique(bees[bees >= 0])) + 0.5 * float((bees < 0).sum())
        single, shared = _line_variances(case.settings, learned, max(1.0, count))
        result.append(
            _fact(
                name,
                stations.id[station],
                "",
                count=len(bees),
                single=single,
                shared=shared,
            )
        )
    used = hunt.trip_used
    for times in case.times:
        if times.bee not in evidence.bees:
            continue
        single, shared = _time_variances(times.cargo, times.usual_s, learned, hunt)
        # The in-hive time is the bee's at all its stations; it is told of the last.
        own = used[trips.bee[used] == times.bee]
        seat = stations.id[trips.station[own[-1]]]
        bee = trips.bees[times.bee]
        result.append(
            _fact(name, seat, bee, count=times.trips, single=single, shared=shared)
        )
    return result


def _fact(
    colony: str,
    station: str,
    bee: str,
    *,
    count: int,
    single: float,
    shared: float,
) -> Enough:
    needed = (1 - LEFT) / LEFT * single / shared
    return Enough(
        kind="trips" if bee else "bearings",
        colony=colony,
        station=station,
        bee=bee,
        count=count,
        enough=max(1, int(np.ceil(needed))),
        sd_now=float(np.sqrt(single / max(count, 1) + shared)),
        sd_least=float(np.sqrt(shared)),
    )


def line_variance_deg2(
    settings: Settings, learned: Mapping[str, tuple[float, float]]
) -> float:
    """Return the variance of a station's line, its tail counted in [degrees^2]."""
    share = sum(kind.tail_share * kind.weights[0] for kind in LINE_KINDS)
    share *= settings.station_tail_share
    wide = settings.station_tail_sd_deg
    usual = np.hypot(*learned.get("station_line_sd_deg", (settings.station_sd_deg, 0)))
    return float((1 - share) * usual**2 + share * max(wide, usual) ** 2)


def _line_variances(
    settings: Settings, learned: Mapping[str, tuple[float, float]], bees: float
) -> tuple[float, float]:
    """Return variance of a single bearing, and what any number shares [degrees^2]."""
    scatter, _ = learned.get("bearing_sd_deg", (settings.bearing_sd_deg, 0.0))
    _, offset = learned.get("compass_offset_deg", (0.0, settings.compass_sd_deg))
    by_bee = settings.bee_line_sd_deg**2 / bees
    return scatter**2, line_variance_deg2(settings, learned) + by_bee + offset**2


def _time_variances(
    cargo: str, usual_s: float, learned: Mapping[str, tuple[float, float]], hunt: Hunt
) -> tuple[float, float]:
    """Return variance of a single away time, and what all of a bee share [s^2]."""
    settings = hunt.case.settings
    speed, speed_sd = learned.get("flight_speed_factor", (1.0, 0.0))
    hive, hive_sd = learned.get("in_hive_factor", (1.0, 0.0))
    spread, _ = learned.get("trip_spread", (timing.TRIP_SIGMA_MEDIAN, 0.0))
    of_cargo = next(one for one in timing.IN_HIVE_S if one == cargo)
    stay = timing.in_hive_median_s(of_cargo, settings) * hive
    flight = max(0.0, usual_s - stay)
    usual = timing.in_hive_median_s(of_cargo, settings) * settings.in_hive_factor
    single = (spread * usual) ** 2 + (timing.FLIGHT_CV * flight) ** 2
    single += 2 * timing.CLOCK_SD_S**2
    shared = (timing.BEE_SIGMA**2 + (hive_sd / hive) ** 2) * stay**2
    shared += (timing.BEE_FLIGHT_CV**2 + (speed_sd / speed) ** 2) * flight**2
    return single, shared
