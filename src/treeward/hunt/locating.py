"""From paired trips and hunt.toml to the arrays the survey core takes, and back."""

from __future__ import annotations

import math
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward import survey
from treeward.errors import HuntError, TreewardError
from treeward.report.flight_lines import to_true_deg
from treeward.report.model import Missing, MissingKind, StationPlace
from treeward.survey.influence import Seen
from treeward.trips.table import trip_day

from .found_told import learned_for
from .places import declination_at, place_stations

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.hunt_file import HuntFile, Pair
    from treeward.hunt_tables import ModelTable
    from treeward.language.bearings import Reference
    from treeward.measures import Position
    from treeward.report.model import OwnPriorUse
    from treeward.survey.records import Fix
    from treeward.trips.table import FlightLine, Trip, TripTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Surveyed:
    """What the survey core said, with what it was told."""

    stations: tuple[StationPlace, ...]
    fix: Fix | None
    missing: tuple[Missing, ...]
    settings: survey.Settings
    own_prior: OwnPriorUse | None = None


def survey_hunt(
    hunt_file: HuntFile,
    table: TripTable,
    positions: Mapping[str, tuple[Position, str]],
    *,
    today: datetime,
    assigned: Mapping[str, str] | None = None,
    searching: survey.Searching | None = None,
    onward: bool = True,
) -> Surveyed:
    """Locate the colonies of a hunt.

    Parameters
    ----------
    table
        Trips and flight lines; those not `used` are left out here too.
    positions
        Station id -> its position and where that came from ("hunt.toml", "track").
    today
        Date for the magnetic model where no note has a clock.
    assigned
        Bee -> colony, in place of what hunt.toml says.
    searching
        What was looked at, and how one walks and looks.
    onward
        False where only the place is wanted, not where to sit or walk next.

    Raises
    ------
    HuntError
        When the magnetic model does not reach to the hunt's place or date.
    """
    ready = prepare_hunt(hunt_file, table, positions, today=today, assigned=assigned)
    seen = ready.seen()
    surveyed = Surveyed(
        stations=ready.places,
        fix=None,
        missing=_missing(hunt_file, table, {place.id: place for place in ready.places}),
        settings=seen.settings,
        own_prior=ready.own_prior,
    )
    if not len(seen.trips.bee) and not len(seen.bearings.bee):
        return surveyed
    with refusals_told("hunt.toml and review.csv", "Correct that value."):
        fix = survey.locate(
            seen.stations,
            seen.trips,
            seen.bearings,
            seen.settings,
            wind=seen.wind,
            searching=searching,
            onward=onward,
        )
    return replace(surveyed, fix=fix)


@contextmanager
def refusals_told(where: str, mend: str) -> Iterator[None]:
    """Say in a line to the person what the survey refuses."""
    try:
        yield
    except ValueError as error:
        what = f"the survey cannot take this: {error}"
        raise HuntError(what, where=where, mend=mend) from error


def prepare_hunt(
    hunt_file: HuntFile,
    table: TripTable,
    positions: Mapping[str, tuple[Position, str]],
    *,
    today: datetime,
    assigned: Mapping[str, str] | None = None,
) -> Prepared:
    """Make the survey's arrays and settings of a hunt; see `survey_hunt`."""
    when = _first_clock(table) or today
    places, declination_sd_deg = _station_places(hunt_file, positions, when)
    known = {place.id: place for place in places}
    trips = [trip for trip in table.trips if trip.used and trip.station in known]
    lines = [line for line in table.lines if line.used and line.station in known]
    compass = hunt_file.hunt.compass
    if all((line.reference or compass) == "true" for line in lines):
        declination_sd_deg = 0.0
    with refusals_told("hunt.toml", "Correct that value under [model] or [walk]."):
        ready = Prepared(
            hunt_file,
            table,
            places=places,
            trips=trips,
            lines=lines,
            declination_sd_deg=declination_sd_deg,
        )
    if assigned is not None:
        known_bees = {bee: assigned[bee] for bee in ready.bees if bee in assigned}
        ready.settings = replace(ready.settings, assigned=known_bees)
    if learned := learned_for(hunt_file, places):
        ready.settings = learned.applied(
            ready.settings, hunt_file.model, ready.observers
        )
        ready.own_prior = learned.used(hunt_file.model, ready.observers)
        ready.turned_deg = dict(ready.own_prior.turned_deg)
    return ready


class Prepared:
    """A hunt as the survey takes it: arrays, and the names their indices stand for.

    `turned_deg` is how much too far clockwise an observer is known to read.
    """

    def __init__(
        self,
        hunt_file: HuntFile,
        table: TripTable,
        *,
        places: Sequence[StationPlace],
        trips: Sequence[Trip],
        lines: Sequence[FlightLine],
        declination_sd_deg: float,
    ) -> None:
        self._hunt_file = hunt_file
        self._declination_sd_deg = declination_sd_deg
        self.turned_deg: Mapping[str, float] = {}
        self.observers = tuple(dict.fromkeys(x.observer for x in lines))
        self.places = tuple(places)
        self._places = {place.id: place for place in places}
        self._trips = trips
        self._lines = lines
        self._winds = table.winds
        self._maybe_same = table.maybe_same
        named = [(t.bee, t.mark) for t in trips]
        named += [(line.bee, line.mark) for line in lines if line.bee]
        self.mark_of = dict(named)
        self.bees = tuple(self.mark_of)
        used = [self._seat(t.station, t.mark) for t in trips]
        used += [self._seat(line.station, line.mark) for line in lines]
        self._ids = tuple(dict.fromkeys([*self._places, *used]))
        self.settings = settings_from(hunt_file, self.bees, self.mark_of)
        self.own_prior: OwnPriorUse | None = None

    def seen(self) -> Seen:
        """Give what the survey is told."""
        return Seen(
            stations=self.stations(),
            trips=self.trips(),
            bearings=self.bearings(),
            settings=self.settings,
            wind=self.wind(),
        )

    def _seat(self, station: str, mark: str) -> str:
        """Station id, set apart where this mark's trips there are a calibration."""
        calibration = self._hunt_file.calibration
        apart = (
            calibration is not None
            and calibration.station == station
            and mark in calibration.marks
        )
        return station + CALIBRATION_SEAT if apart else station

    def _place(self, seat: str) -> StationPlace:
        return self._places[seat.removesuffix(CALIBRATION_SEAT)]

    def stations(self) -> survey.Stations:
        """Give the stations, those of a calibration apart."""
        places = [self._place(seat) for seat in self._ids]
        return survey.Stations(
            id=self._ids,
            latitude_deg=np.array([place.latitude_deg for place in places]),
            longitude_deg=np.array([place.longitude_deg for place in places]),
            cargo=tuple(place.cargo for place in places),
        )

    def trips(self) -> survey.Trips:
        """Give the trips used."""
        trips = self._trips
        seats = [self._ids.index(self._seat(t.station, t.mark)) for t in trips]
        return survey.Trips(
            bees=self.bees,
            bee=np.array([self.bees.index(t.bee) for t in trips], dtype=np.intp),
            station=np.array(seats, dtype=np.intp),
            away_s=np.array([t.away_s for t in trips], dtype=np.float64),
            round_trip=np.array([t.timing == "round" for t in trips], dtype=np.bool_),
            rounding_s=np.array([t.rounding_s for t in trips], dtype=np.float64),
            cycles=np.array([t.cycles for t in trips], dtype=np.intp),
            day=self._days(),
            maybe_same=tuple(
                (self.bees.index(one), self.bees.index(two))
                for one, two in self._maybe_same
                if one in self.bees and two in self.bees
            ),
        )

    def _days(self) -> NDArray[np.intp]:
        """Give each trip the number of its day; without a clock it is the first."""
        zone = self._hunt_file.hunt.zone
        days = [trip_day(trip, zone) for trip in self._trips]
        order = sorted({day for day in days if day is not None})
        return np.array([order.index(d) if d else 0 for d in days], dtype=np.intp)

    def bearings(self) -> survey.Bearings:
        """Give the bearings used, true and as a right compass would read them."""
        lines = self._lines
        seats = [self._ids.index(self._seat(x.station, x.mark)) for x in lines]
        true_deg = [
            self._true_deg(x.bearing_read_deg, x.reference, x.station)
            - self.turned_deg.get(x.observer, 0.0)
            for x in lines
        ]
        return survey.Bearings(
            bee=np.array(
                [self.bees.index(x.bee) if x.bee else -1 for x in lines], dtype=np.intp
            ),
            station=np.array(seats, dtype=np.intp),
            bearing_true_deg=np.array(true_deg, dtype=np.float64) % 360.0,
            rounding_deg=np.array([x.rounding_deg for x in lines], dtype=np.float64),
            declination_sd_deg=self._declination_sd_deg,
            observer=np.array(
                [self.observers.index(x.observer) for x in lines], dtype=np.intp
            ),
        )

    def wind(self) -> survey.TripWind | None:
        """Give the wind last spoken of on the day, for each trip."""
        spoken = sorted(
            (w for w in self._winds if w.clock is not None),
            key=lambda w: w.clock.timestamp() if w.clock else 0.0,
        )
        if not spoken:
            return None
        speed_mps = np.full(len(self._trips), math.nan)
        from_deg = np.full(len(self._trips), math.nan)
        for index, trip in enumerate(self._trips):
            clock = trip.away_clock or trip.back_clock
            if clock is None:
                continue
            before = [
                w
                for w in spoken
                if w.clock and w.clock <= clock and w.clock.date() == clock.date()
            ]
            if before:
                last = before[-1]
                speed_mps[index] = survey.WIND_MPS.get(last.strength, math.nan)
                if last.from_deg is not None:
                    # Said at no station, it was said near this one.
                    here = last.station if last.station in self._places else ""
                    from_deg[index] = self._true_deg(
                        last.from_deg, last.reference, here or trip.station
                    )
        return survey.TripWind(speed_mps=speed_mps, from_true_deg=from_deg)

    def _true_deg(self, read_deg: float, reference: Reference, station: str) -> float:
        compass = self._hunt_file.hunt.compass
        declination_deg = self._places[station].declination_deg
        return to_true_deg(read_deg, reference, compass, declination_deg)


def stations_of(
    hunt_file: HuntFile, path: Path, table: TripTable, *, today: datetime
) -> tuple[StationPlace, ...]:
    """Return the stations whose place is known, for trips that are shown unlocated.

    None where the places or the declination there cannot be told; `Hunt.locate` says
    why.
    """
    try:
        positions = place_stations(hunt_file, path, table).positions
        return _station_places(hunt_file, positions, _first_clock(table) or today)[0]
    except TreewardError:
        return ()


def _station_places(
    hunt_file: HuntFile,
    positions: Mapping[str, tuple[Position, str]],
    when: datetime,
) -> tuple[tuple[StationPlace, ...], float]:
    """Give the stations that have a position, and how sure declination is there."""
    places, declination_sd_deg = [], 0.0
    for station in hunt_file.station:
        if station.id not in positions:
            continue
        position, placed_by = positions[station.id]
        declination_deg, sd_deg = declination_at(
            position, when, hunt_file.hunt, f"station {station.id}"
        )
        places.append(
            StationPlace(
                id=station.id,
                latitude_deg=position.latitude_deg,
                longitude_deg=position.longitude_deg,
                declination_deg=declination_deg,
                cargo=station.cargo,
                name=station.name,
                placed_by=placed_by,
            )
        )
        declination_sd_deg = max(declination_sd_deg, sd_deg)
    return tuple(places), declination_sd_deg


def _missing(
    hunt_file: HuntFile, table: TripTable, known: Mapping[str, StationPlace]
) -> tuple[Missing, ...]:
    seen = {t.station for t in table.trips} | {line.station for line in table.lines}
    lacking = [
        Missing(kind=MissingKind.NO_POSITION, stations=(station.id,))
        for station in hunt_file.station
        if station.id not in known and (station.id in seen or not known)
    ]
    if strange := sorted(seen - {s.id for s in hunt_file.station} - {""}):
        unknown = MissingKind.UNKNOWN_STATION
        lacking.append(Missing(kind=unknown, stations=tuple(strange)))
    return tuple(lacking)


def _first_clock(table: TripTable) -> datetime | None:
    clocks = [t.away_clock or t.back_clock for t in table.trips]
    clocks += [line.clock for line in table.lines]
    return min((clock for clock in clocks if clock is not None), default=None)


CALIBRATION_SEAT = " (calibration)"  # of trips set apart for calibration
Z_95 = 1.6449  # 95 % point of the standard normal distribution


def settings_from(
    hunt_file: HuntFile, bees: Sequence[str], mark_of: Mapping[str, str]
) -> survey.Settings:
    """Turn hunt.toml into the survey's settings.

    A 90 % range of `[model]` becomes the median and spread of a lognormal with those
    5 % and 95 % points; the two ways of a flight have each their own. `bees` are those
    of the survey's arrays.
    """
    model = hunt_file.model
    chosen = _speeds(model) | _in_hive(model)
    for value, name in (
        (model.compass_sd_deg, "compass_sd_deg"),
        (model.prior_distance_median_m, "distance_median_m"),
        (model.prior_distance_sigma, "distance_sigma"),
        (model.prior_distance_max_m, "distance_cut_m"),
        (hunt_file.walk.limit_m, "walk_limit_m"),
    ):
        if value is not None:
            chosen[name] = max(value, 0.01) if name == "compass_sd_deg" else value

    def bees_of(marks: Sequence[str]) -> tuple[str, ...]:
        return tuple(bee for bee in bees if mark_of[bee] in marks or bee in marks)

    calibration = hunt_file.calibration
    if calibration is not None:
        suffix = CALIBRATION_SEAT if calibration.marks else ""
        chosen["calibrations"] = (
            survey.Calibration(
                station=calibration.station + suffix,
                hive_latitude_deg=calibration.hive.latitude_deg,
                hive_longitude_deg=calibration.hive.longitude_deg,
            ),
        )
    return survey.Settings(
        known_hives=tuple(
            survey.KnownHive(
                name=hive.name,
                latitude_deg=hive.position.latitude_deg,
                longitude_deg=hive.position.longitude_deg,
                marks=bees_of(hive.marks),
            )
            for hive in hunt_file.known_hive
        ),
        assigned={
            bee: colony.id
            for colony in hunt_file.colony
            for bee in bees_of(colony.marks)
        },
        leave_out=tuple(
            np.array([[p.longitude_deg, p.latitude_deg] for p in ring])
            for ring in hunt_file.walk.leave_out
        ),
        **chosen,
    )


def _speeds(model: ModelTable) -> dict[str, Any]:
    """Return the settings of the ways of a flight of which a range is given."""
    chosen: dict[str, Any] = {}
    for pair, way in (
        (model.flight_speed_out_m_per_s, "out"),
        (model.flight_speed_home_m_per_s, "home"),
    ):
        if pair is not None:
            median, spread = _lognormal(pair)
            chosen |= {
                f"flight_speed_{way}_mps": median,
                f"flight_speed_{way}_sd": spread,
            }
    return chosen


def _in_hive(model: ModelTable) -> dict[str, Any]:
    if model.in_hive_s is None:
        return {}
    median, spread = _lognormal(model.in_hive_s)
    return {
        "in_hive_s": dict.fromkeys(("water", "syrup", "nectar"), median),
        "in_hive_factor": 1.0,
        "in_hive_factor_sd": spread,
    }


def _lognormal(pair: Pair) -> tuple[float, float]:
    """Return median and log spread of a lognormal with these 5 % and 95 % points."""
    low, high = pair
    return math.sqrt(low * high), math.log(high / low) / (2 * Z_95)
