"""Where to sit next, and when to stop lining and look up trees.

Places to sit within the walk limit are tried in turn. For each, colonies are drawn
from the posterior; what a session there would bring is taken as a mean direction
and a distance with the errors the hunt has shown so far; and the mean time to find
the nest on the map that would be left, searched at best, is averaged. The place and
the minutes that save most are taken, with the walk, the setting up and the sitting
counted; where nothing is saved, looking up trees is better. The likeliest draw of the
new data stands for all of them, so that a place is compared with another in
milliseconds; the figure is an expectation for choosing by, not a promise.

When more of the same stops paying, and other bees or another place would.

Bearings at one station share the deviation of its line and the observer's compass, and
those of one bee its own line; trips of one bee share its in-hive time and speed, and
those of all bees the hunt's. More notes of the same average out only what they do not
share. Facts as numbers; sentences are made elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from . import timing
from .directions import LINE_KINDS
from .frame import inside_ring
from .records import Advice, AdviceKind, Enough, NextStation, SeatReason, Sitting
from .search import expected_effort_m2
from .search_plan import mean_search_s

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .case import CheckedHunt
    from .evidence import Evidence
    from .grid import Grid
    from .records import Bools, Cargo, Floats, Settings, Stations, Trips
    from .search import Searching


LEFT = 1 / 8  # of the variance, that all further notes together could take off; guess


def enough(
    name: str,
    hunt: CheckedHunt,
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
    cargo: str,
    usual_s: float,
    learned: Mapping[str, tuple[float, float]],
    hunt: CheckedHunt,
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


SESSION_BEARINGS = 8  # what an hour at a station brings; common practice
SESSION_BEES = 3
MINUTES = (30.0, 60.0, 90.0, 120.0)  # of sitting, to choose among; choice
SET_UP_S = 900.0  # until bees come to a new place; guess
_USUAL_MIN = 60.0  # by which places are compared with one another
_TRIP_MIN = 7.0  # away and drinking, of one bee; common practice
_BEST_SEATS = 6  # for which the other minutes are tried; choice
_CELLS = 500
_COLONIES = 24
_CLOSEST_M = 60.0  # a shorter move is hardly a new station

Learned: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Outlook:
    """The best place to sit next, in the local frame, and what it should bring."""

    xy: Floats
    area_m2: float
    expected_m2: float
    sitting: Sitting


def best_seat(
    hunt: CheckedHunt,
    evidence: Evidence,
    grid: Grid,
    stations: Stations,
    learned: Mapping[str, Learned],
    *,
    searching: Searching,
    spent: Floats | float = 0.0,
) -> Outlook | None:
    """Return the place to sit, and for how long, that saves most time.

    Parameters
    ----------
    hunt, evidence, grid
        One colony of a hunt, and where it probably is.
    stations
        As given to `locate`; the next one is like the last in what bees carry.
    learned
        Median and sd of the shared unknowns, as in `records.Fix`.
    searching
        How fast one walks and looks.
    spent
        (n,) effort W l / A that the grid's cells got before.

    Returns
    -------
    Outlook or None
        None if no place can be reached.
    """
    seats = _seats(hunt)
    if not len(seats):
        return None
    xy, probability = _coarse(grid)
    # Colonies at even steps of the cumulated probability, west to east.
    order = np.lexsort((xy[:, 1], xy[:, 0]))
    total = np.cumsum(probability[order])
    picks = (np.arange(_COLONIES) + 0.5) / _COLONIES
    truths = xy[order[np.searchsorted(total, picks * total[-1])]]
    settings = evidence.case.settings
    cargo = stations.cargo[_standing(hunt)[1]]

    def after(seat: Floats, minutes: float) -> Floats:
        errors = _session_errors(settings, learned, cargo, minutes)
        return probability * _told(seat, xy, truths, errors, settings)

    # A coarse map tells what share of the time is saved; the whole map, of how much.
    search_s = mean_search_s(grid, searching, spent)
    now = float(expected_effort_m2(probability, 1.0))

    def left_s(weights: Floats) -> float:
        return search_s * float(expected_effort_m2(weights, 1.0).mean()) / now

    walk_s = np.hypot(*(seats - _standing(hunt)[0]).T) / searching.walk_mps
    usual = np.array([left_s(after(seat, _USUAL_MIN)) for seat in seats])
    tried = [
        (
            seats[n],
            Sitting(
                minutes=minutes,
                walk_s=float(walk_s[n]),
                set_up_s=SET_UP_S,
                search_s=search_s,
                after_s=left_s(after(seats[n], minutes)),
            ),
        )
        for n in np.argsort(usual + walk_s, kind="stable")[:_BEST_SEATS]
        for minutes in MINUTES
    ]
    seat, sitting = max(tried, key=lambda one: one[1].saved_s)
    area = float(_area(after(seat, sitting.minutes)).mean())
    whole = area_90_m2(grid)
    share = area / float(_area(probability[None, :])[0])
    return Outlook(seat, whole, whole * share, sitting)


def _told(
    seat: Floats,
    xy: Floats,
    truths: Floats,
    errors: tuple[float, float, float],
    settings: Settings,
) -> Floats:
    """Return (t, n): how likely each place makes what a session says of each truth."""
    line_sd, hive_sd_s, speed_sd = errors
    pace = settings.flight_speed_out_mps * settings.flight_speed_home_mps
    pace /= settings.flight_speed_out_mps + settings.flight_speed_home_mps
    away, turn = _polar(xy - seat)
    away_t, turn_t = _polar(truths - seat)
    error = np.angle(np.exp(1j * (turn[None, :] - turn_t[:, None])))
    # Close to the nest bees leave in any direction: a line is worth less.
    spread = np.hypot(line_sd, np.arctan2(settings.circling_m, away_t))[:, None]
    sd = np.hypot(hive_sd_s * pace, speed_sd * away_t)[:, None]
    value = -0.5 * (error / spread) ** 2
    value -= 0.5 * ((away[None, :] - away_t[:, None]) / sd) ** 2
    return np.asarray(np.exp(value))


def choose(
    hunt: CheckedHunt,
    evidence: Evidence,
    grid: Grid,
    stations: Stations,
    learned: Mapping[str, Learned],
    *,
    searching: Searching,
    spent: Floats | float = 0.0,
) -> tuple[NextStation | None, Sitting | None, Advice]:
    """Return the next station, if one is worth its while, the best sitting, advice."""
    outlook = best_seat(
        hunt, evidence, grid, stations, learned, searching=searching, spent=spent
    )
    if outlook is None:
        return None, None, Advice(kind=AdviceKind.NO_SEAT)
    start, last = _standing(hunt)
    walk, turn = _polar((outlook.xy - start)[None, :])
    walk_m, turn_deg = float(walk[0]), float(np.degrees(turn[0])) % 360.0
    sitting = outlook.sitting
    if sitting.saved_s <= 0:
        stop = Advice(kind=AdviceKind.STOP_LINING, area_m2=outlook.area_m2)
        return None, sitting, stop
    why = SeatReason.SECOND_DISTANCE
    if evidence.has_lines:
        why = _reason(outlook.xy, start, grid)
    place = hunt.frame.to_lonlat(outlook.xy)
    seat = NextStation(
        latitude_deg=float(place[1]),
        longitude_deg=float(place[0]),
        from_station=stations.id[last],
        walk_m=walk_m,
        walk_bearing_true_deg=turn_deg,
        expected_area_90_m2=outlook.expected_m2,
        area_90_m2=outlook.area_m2,
        why=why,
        minutes=sitting.minutes,
    )
    return seat, sitting, Advice(kind=AdviceKind.SIT_NEXT, seat=seat)


def area_90_m2(grid: Grid) -> float:
    """Return the 90 % area in whole cells."""
    return len(grid.inside(0.9)) * grid.cell_m**2


def _reason(seat: Floats, start: Floats, grid: Grid) -> SeatReason:
    """Return what the new line does to the old one."""
    middle = grid.probability @ grid.xy
    (_, old), (_, new) = _polar((middle - start)[None]), _polar((middle - seat)[None])
    turn = abs(float(np.degrees(np.angle(np.exp(1j * (new[0] - old[0]))))))
    nearer = np.hypot(*(middle - seat)) < 0.6 * np.hypot(*(middle - start))
    if turn > 150.0:
        return SeatReason.LOOKING_BACK
    if turn > 30.0:
        return SeatReason.CROSS_LINE
    return SeatReason.NEARER if nearer else SeatReason.ANOTHER_LINE


def _standing(hunt: CheckedHunt) -> tuple[Floats, int]:
    """Return where the person is: at the station that came last."""
    if hunt.stations_used:
        last = hunt.stations_used[-1]
        return hunt.case.station_xy[last], last
    return hunt.case.origin_xy, 0


def _session_errors(
    settings: Settings, learned: Mapping[str, Learned], cargo: Cargo, minutes: float
) -> tuple[float, float, float]:
    """Return sd of a session's mean line [rad], in-hive time [s], log speed."""
    bearings = SESSION_BEARINGS * minutes / 60.0
    trips = SESSION_BEES * minutes / _TRIP_MIN
    spread, _ = learned.get("bearing_sd_deg", (settings.bearing_sd_deg, 0.0))
    _, offset = learned.get("compass_offset_deg", (0.0, settings.compass_sd_deg))
    line = np.sqrt(
        spread**2 / bearings
        + settings.bee_line_sd_deg**2 / SESSION_BEES
        + line_variance_deg2(settings, learned)
        + offset**2
    )
    usual = (settings.in_hive_factor, settings.in_hive_factor_sd)
    hive, hive_sd = learned.get("in_hive_factor", usual)
    usual = (settings.flight_speed_factor, settings.flight_speed_factor_sd)
    speed, speed_sd = learned.get("flight_speed_factor", usual)
    spread, _ = learned.get("trip_spread", (timing.TRIP_SIGMA_MEDIAN, 0.0))
    by_bee = np.hypot(timing.BEE_SIGMA / np.sqrt(SESSION_BEES), spread / np.sqrt(trips))
    base = timing.in_hive_median_s(cargo, settings) * hive
    return (
        float(np.radians(line)),
        float(base * np.hypot(hive_sd / hive, by_bee)),
        float(speed_sd / speed),
    )


def _polar(steps: Floats) -> tuple[Floats, Floats]:
    return np.hypot(*steps.T), np.arctan2(*steps.T)


def _area(weights: Floats) -> Floats:
    """Return the 90 % area of each row of cell weights, in cells."""
    ordered = -np.sort(-weights, axis=1)
    total = np.cumsum(ordered, axis=1)
    return np.asarray((total < 0.9 * total[:, -1:]).sum(axis=1) + 1, dtype=np.float64)


def _coarse(grid: Grid) -> tuple[Floats, Floats]:
    """Return at most about `_CELLS` cells that hold 99 %, by joining cells."""
    chosen = grid.inside(0.99)
    factor = max(1, int(np.ceil(np.sqrt(len(chosen) / _CELLS))))
    key = grid.index[chosen] // factor
    _, place = np.unique(key, axis=0, return_inverse=True)
    place = np.ravel(place)
    probability = np.bincount(place, weights=grid.probability[chosen])
    x = np.bincount(place, weights=grid.xy[chosen, 0]) / np.bincount(place)
    y = np.bincount(place, weights=grid.xy[chosen, 1]) / np.bincount(place)
    return np.stack([x, y], axis=-1), probability / probability.sum()


def _seats(hunt: CheckedHunt) -> Floats:
    """Return reachable places to sit, spread over the walk limit."""
    used = hunt.case.station_xy[list(hunt.stations_used)]
    start, _ = _standing(hunt)
    rings = hunt.case.settings.walk_limit_m * np.array([0.25, 0.5, 0.75, 1.0])
    turns = np.radians(np.arange(0.0, 360.0, 15.0))
    way = np.stack([np.sin(turns), np.cos(turns)], axis=-1)
    seats = (start + rings[:, None, None] * way[None, :, :]).reshape(-1, 2)
    if len(used):
        gap = np.hypot(*(seats[:, None, :] - used[None, :, :]).transpose(2, 0, 1))
        seats = seats[gap.min(axis=1) >= _CLOSEST_M]
    return np.asarray(seats[~left_out(hunt, seats)])


def left_out(hunt: CheckedHunt, xy: Floats) -> Bools:
    """Return which of (n, 2) places lie in the polygons the person left out."""
    result = np.zeros(len(xy), dtype=bool)
    for ring in hunt.case.settings.leave_out:
        flat = hunt.frame.to_xy(np.asarray(ring)[:, 1], np.asarray(ring)[:, 0])
        result |= inside_ring(xy, flat)
    return result
