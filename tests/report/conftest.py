"""Invented results for the report: an upland heath, made-up names, a known place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from pyproj import Geod

from treeward.hunt.partial import days_of
from treeward.hunt_file import parse_hunt_table
from treeward.report.model import (
    DayColony,
    HuntResult,
    NoteRow,
    StationPlace,
    WrittenFiles,
)
from treeward.report.writing import write_results
from treeward.survey.frame import LocalFrame
from treeward.survey.records import (
    Advice,
    AdviceKind,
    AreaShape,
    BeeDistance,
    ClassicalFix,
    Colony,
    Density,
    Fix,
    HandRule,
    HandRuleKind,
    NextStation,
    Polygon,
    SearchArea,
    SeatReason,
    Strip,
)
from treeward.trips.table import (
    Doubt,
    DoubtCode,
    FlightLine,
    Trip,
    TripTable,
    Visit,
    WindSaid,
)

Build = Callable[..., HuntResult]

CREATED = datetime(2026, 7, 14, 18, 5, tzinfo=UTC)
STATIONS = (
    StationPlace(
        id="1",
        name="bog pool",
        latitude_deg=52.3012,
        longitude_deg=-3.6104,
        declination_deg=-0.62,
    ),
    StationPlace(
        id="2",
        name="gate",
        latitude_deg=52.2968,
        longitude_deg=-3.6093,
        declination_deg=-0.62,
        placed_by="track",
    ),
)
PLACE = (52.29735, -3.61708)  # latitude, longitude of the invented colony
GEOD = Geod(ellps="WGS84")
SEAT = NextStation(
    latitude_deg=52.2998,
    longitude_deg=-3.6205,
    from_station="1",
    walk_m=705.0,
    walk_bearing_true_deg=257.0,
    expected_area_90_m2=41_000.0,
    area_90_m2=94_500.0,
    why=SeatReason.CROSS_LINE,
)
STRIPS = (
    Strip(
        start_latitude_deg=52.2970,
        start_longitude_deg=-3.6180,
        end_latitude_deg=52.2982,
        end_longitude_deg=-3.6172,
        probability=0.31,
    ),
    Strip(
        start_latitude_deg=52.2983,
        start_longitude_deg=-3.6166,
        end_latitude_deg=52.2969,
        end_longitude_deg=-3.6174,
        probability=0.24,
    ),
)


def normal_pdf(x: Any, mean: float, sd: float) -> Any:
    return np.exp(-0.5 * ((x - mean) / sd) ** 2) / (sd * np.sqrt(2 * np.pi))


def bee_distance(bee: str, station: str, median_m: float, away_s: float) -> BeeDistance:
    grid = np.linspace(20.0, 3000.0, 400)
    density = normal_pdf(np.log(grid), np.log(median_m), 0.28) / grid
    return BeeDistance(
        bee=bee,
        station=station,
        trips_used=5,
        shortest_away_s=away_s,
        median_m=median_m,
        low50_m=median_m * 0.83,
        high50_m=median_m * 1.21,
        low90_m=median_m * 0.63,
        high90_m=median_m * 1.58,
        hand_rules=(
            HandRule(kind=HandRuleKind.VISSCHER_SEELEY, distance_m=0.8 * median_m),
            HandRule(kind=HandRuleKind.KEPHART, distance_m=1.15 * median_m),
        ),
        distance_m=grid,
        density_per_m=density,
    )


def ellipse(
    frame: LocalFrame, east_m: float, north_m: float, scale: float
) -> np.ndarray[Any, np.dtype[np.float64]]:
    turn = np.linspace(0, 2 * np.pi, 73)
    u, v = 62 * scale * np.cos(turn), 105 * scale * np.sin(turn)
    angle = np.radians(25)
    x = east_m + u * np.cos(angle) - v * np.sin(angle)
    y = north_m + u * np.sin(angle) + v * np.cos(angle)
    return frame.to_lonlat(np.stack([x, y], axis=-1))


def areas(
    frame: LocalFrame, middles: Sequence[tuple[float, float]]
) -> dict[int, SearchArea]:
    made = {}
    for percent, scale in ((50, 1.18), (90, 2.15), (95, 2.45)):
        polygons = tuple(
            Polygon(
                outer=ellipse(frame, x, y, scale),
                holes=(ellipse(frame, x, y, 0.3),) if percent == 95 else (),
            )
            for x, y in middles
        )
        made[percent] = SearchArea(
            probability=percent / 100,
            area_m2=np.pi * 62 * 105 * scale**2 * len(middles),
            polygons=polygons,
        )
    return made


def colony(
    colony_id: str = "A",
    marks: tuple[str, ...] = ("yellow", "blue-white", "white", "red"),
    middles: Sequence[tuple[float, float]] = ((0.0, 0.0),),
    shape: AreaShape = AreaShape.PATCH,
    seat: NextStation | None = SEAT,
) -> Colony:
    frame = LocalFrame(*PLACE)
    axis = np.linspace(-600, 600, 81)
    x, y = np.meshgrid(axis, axis)
    weight = sum(np.exp(-0.5 * (((x - a) / 70) ** 2 + ((y - b) / 100) ** 2))
                 for a, b in middles)  # fmt: skip
    lonlat = frame.to_lonlat(np.stack([x, y], axis=-1))
    best = frame.to_lonlat(np.array([middles[0]]))[0]
    distances = {}
    for place in STATIONS:
        _, _, metres = GEOD.inv(
            place.longitude_deg, place.latitude_deg, best[0], best[1]
        )
        distances[place.id] = (0.75 * metres, metres, 1.3 * metres)
    return Colony(
        id=colony_id,
        marks=marks,
        best_latitude_deg=float(best[1]),
        best_longitude_deg=float(best[0]),
        distance_m=distances,
        search_areas=areas(frame, middles),
        density=Density(
            latitude_deg=lonlat[..., 1],
            longitude_deg=lonlat[..., 0],
            probability=np.asarray(weight / np.sum(weight)),
        ),
        classical=(
            ClassicalFix(
                method="Lenth MLE",
                latitude_deg=float(best[1]) + 0.0004,
                longitude_deg=float(best[0]) - 0.0003,
                ellipse_95=ellipse(frame, 10, 40, 1.6),
                area_95_m2=52_000.0,
                bearings=19,
                crossings=84,
            ),
        ),
        shape=shape,
        next_station=seat,
        search_plan=STRIPS,
    )


def notes_and_table() -> tuple[dict[str, NoteRow], TripTable]:
    """Two stations on one day, four bees, with a missed return and doubts."""
    rng = np.random.default_rng(7)
    rows: dict[str, NoteRow] = {}
    visits: list[Visit] = []
    trips: list[Trip] = []
    lines: list[FlightLine] = []
    began = datetime(2026, 7, 14, 9, 20, tzinfo=UTC)

    def note(said: str, clock: datetime, recording: str) -> str:
        row = str(len(rows) + 1)
        second = (clock - began).total_seconds() % 3600
        rows[row] = NoteRow(
            row=row,
            recording=recording,
            start_s=second,
            end_s=second + 1.2,
            clock=clock,
            said=said,
            heard=said.replace("-", " "),
            confidence=0.5 + 0.5 * float(rng.random()),
            flag="two readings are close" if len(rows) % 9 == 4 else "",
        )
        return row

    for number, place in enumerate(STATIONS):
        start = began + timedelta(hours=1.1 * number)
        recording = f"memo {number + 1}.ogg"
        bees = ("yellow", "blue-white", "white", "red")[: 4 - number]
        for order, mark in enumerate(bees):
            _, _, metres = GEOD.inv(
                place.longitude_deg, place.latitude_deg, PLACE[1], PLACE[0]
            )
            azimuth, _, _ = GEOD.inv(
                place.longitude_deg, place.latitude_deg, PLACE[1], PLACE[0]
            )
            clock = start + timedelta(seconds=70.0 * order)
            back_row = note(f"{mark} back", clock, recording)
            for _ in range(5):
                load = float(rng.normal(62, 12))
                leaves = clock + timedelta(seconds=load)
                away_row = note(f"{mark} away", leaves, recording)
                visits.append(Visit(mark=mark, station=place.id, back_clock=clock,
                                    away_clock=leaves, visit_s=load, used=True,
                                    back_row=back_row, away_row=away_row))  # fmt: skip
                read = round(float(rng.normal(azimuth % 360 + 0.6, 7)) % 360)
                if rng.random() < 0.6:
                    lines.append(FlightLine(mark=mark, bee=mark, station=place.id,
                                            clock=leaves, bearing_read_deg=read,
                                            rounding_deg=1.0, used=True,
                                            row=away_row))  # fmt: skip
                away = 0.287 * metres + 90 + float(rng.exponential(55))
                missed = mark == "white" and len(trips) % 4 == 1
                away_s = away * 2 + 62 if missed else away
                clock = leaves + timedelta(seconds=away_s)
                back_row = note(f"{mark} back", clock, recording)
                doubts = (
                    Doubt(code=DoubtCode.SEVERAL_TRIPS, numbers=(away_s, away, 2)),
                )
                trips.append(Trip(mark=mark, bee=mark, station=place.id,
                                  away_clock=leaves, back_clock=clock, away_s=away_s,
                                  cycles=2 if missed else 1, used=not missed,
                                  doubts=doubts if missed else (),
                                  away_row=away_row, back_row=back_row))  # fmt: skip
    wind = WindSaid(clock=began, strength="light", from_deg=225.0, row="")
    table = TripTable(
        visits=tuple(visits), trips=tuple(trips), lines=tuple(lines), winds=(wind,)
    )
    return rows, table


def make(
    *, units: str = "metric", name: str = "Marl Hollow", **changes: Any
) -> HuntResult:
    """Return a whole result; keyword arguments replace its parts."""
    hunt_file = parse_hunt_table(
        {
            "hunt": {"name": name, "timezone": "Europe/London", "units": units},
            "station": [
                {"id": s.id, "position": f"{s.latitude_deg}, {s.longitude_deg}"}
                for s in STATIONS
            ],
        },
        where="hunt.toml",
    )
    rows, table = notes_and_table()
    fix = Fix(
        bees=(
            bee_distance("yellow", "1", 640, 285),
            bee_distance("blue-white", "1", 700, 301),
            bee_distance("white", "1", 560, 262),
            bee_distance("red", "1", 820, 340),
            bee_distance("yellow", "2", 520, 248),
            bee_distance("blue-white", "2", 560, 259),
            bee_distance("white", "2", 480, 231),
        ),
        colonies=(colony(),),
        next_station=SEAT,
        search_plan=STRIPS,
        advice=(
            Advice(kind=AdviceKind.SIT_NEXT, seat=SEAT),
            Advice(kind=AdviceKind.ONE_STATION),
        ),
        learned={"flight_speed_factor": (1.04, 0.08)},
    )  # fmt: skip
    parts: dict[str, Any] = {
        "hunt_file": hunt_file,
        "stations": STATIONS,
        "table": table,
        "fix": fix,
        "rows": rows,
        "software_version": "0.1.0",
        "created": CREATED,
    }
    return HuntResult(**(parts | changes))


def make_empty(**changes: Any) -> HuntResult:
    """Return a hunt in which nothing was heard and nothing placed."""
    nothing = TripTable(visits=(), trips=(), lines=(), winds=())
    parts: dict[str, Any] = {"stations": (), "table": nothing, "fix": None, "rows": {}}
    return make(**(parts | changes))


def make_two_days(second_middle_m: tuple[float, float] = (60.0, -40.0)) -> HuntResult:
    """Return a hunt with a station a day; the second day's place may lie apart."""
    whole = make()
    assert whole.fix is not None
    trips = tuple(
        replace(
            trip,
            away_clock=trip.away_clock and trip.away_clock + timedelta(days=1),
            back_clock=trip.back_clock and trip.back_clock + timedelta(days=1),
        )
        if trip.station == "2"
        else trip
        for trip in whole.table.trips
    )
    lines = tuple(
        replace(line, clock=line.clock and line.clock + timedelta(days=1))
        if line.station == "2"
        else line
        for line in whole.table.lines
    )
    table = replace(whole.table, trips=trips, lines=lines, visits=())
    counted = days_of(table, whole.hunt_file.hunt.zone)
    alone = [colony(), colony(middles=(second_middle_m,))]
    common = whole.fix.colonies[0]
    days = []
    for day, one in zip(counted, alone, strict=True):
        azimuth, _, off_m = GEOD.inv(
            common.best_longitude_deg,
            common.best_latitude_deg,
            one.best_longitude_deg,
            one.best_latitude_deg,
        )
        holds = 90 if off_m < 150 else None
        days.append(
            replace(
                day,
                bees=whole.fix.bees[:2],
                colonies=(
                    DayColony(
                        colony=one,
                        holds_percent=holds,
                        off_m=off_m,
                        off_bearing_true_deg=azimuth % 360,
                    ),
                ),
            )
        )
    return replace(whole, table=table, days=tuple(days))


def make_two_colonies() -> HuntResult:
    """Return a result with two colonies, one of them in two patches."""
    whole = make()
    assert whole.fix is not None
    first = colony(
        "A", ("yellow", "blue-white"), ((0, 0), (420, 260)), AreaShape.PATCHES
    )
    seat = replace(SEAT, latitude_deg=52.3051, longitude_deg=-3.6171, from_station="2")
    second = colony("B", ("white", "red"), ((-500, 700),), seat=seat)
    return replace(whole, fix=replace(whole.fix, colonies=(first, second)))


@pytest.fixture(scope="session")
def build() -> Build:
    return make


@pytest.fixture(scope="session")
def result() -> HuntResult:
    return make()


@pytest.fixture(scope="session")
def written(
    result: HuntResult, tmp_path_factory: pytest.TempPathFactory
) -> WrittenFiles:
    """Write all of the result, once; it stands alone in its folder."""
    return write_results(result, tmp_path_factory.mktemp("written") / "results")


@pytest.fixture(scope="session")
def empty() -> HuntResult:
    return make_empty()


@pytest.fixture(scope="session")
def two_days() -> HuntResult:
    return make_two_days()


@pytest.fixture(scope="session")
def days_apart() -> HuntResult:
    return make_two_days((700.0, 500.0))


@pytest.fixture(scope="session")
def two_colonies() -> HuntResult:
    return make_two_colonies()
