"""From the notes and hunt.toml to the survey: what turns a number round is noticed.

Declinations are large where these hunts are (Dunedin about 25 degrees east, St John's
about 17 west, by the charts of both countries), so that a wrong sign shows.
"""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from treeward import Hunt, survey
from treeward.survey.frame import geodesic
from treeward.trips.wording import doubt_texts

if TYPE_CHECKING:
    from pathlib import Path

SLOW = pytest.mark.slow
DUNEDIN = ("-45.8700, 170.5000", "Pacific/Auckland", 20.0, 30.0)
ST_JOHNS = ("47.5000, -52.8000", "America/St_Johns", -20.0, -14.0)


def typed(
    folder: Path,
    *,
    place: tuple[str, str, float, float] = DUNEDIN,
    bearings: tuple[str, ...] = ("98", "100", "102", "99", "101"),
    notes: tuple[tuple[str, str, str, str], ...] = (),
    hunt: str = "",
    station: str = "",
    more: str = "",
    away_s: float = 300.0,
) -> Hunt:
    """Write a hunt: one bee from one station, a bearing with each departure."""
    folder.mkdir(exist_ok=True)
    (folder / "hunt.toml").write_text(
        f'[hunt]\nname = "x"\ntimezone = "{place[1]}"\n{hunt}\n'
        f'[[station]]\nid = "1"\nposition = "{place[0]}"\n{station}\n{more}\n',
        "utf-8",
    )
    lines = ["clock,event,mark,value"]

    def row(second: float, *cells: str) -> None:
        minutes, rest = divmod(round(second), 60)
        hours, minutes = divmod(minutes, 60)
        clock = f"2026-01-14 {10 + hours:02d}:{minutes:02d}:{rest:02d}"
        lines.append(",".join((clock, *cells)))

    row(0, "station", "", "1")
    lines.extend(",".join(note) for note in notes)
    for number, bearing in enumerate(bearings):
        start_s = 60 + number * (away_s + 60)
        row(start_s, "away", "yellow", "")
        row(start_s + 3, "bearing", "yellow", bearing)
        row(start_s + away_s, "back", "yellow", "")
    (folder / "review.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return Hunt(folder)


class Told(Exception):  # noqa: N818  (nothing went wrong)
    """The survey core was told what is in it, which is all that was wanted."""


def told(
    monkeypatch: pytest.MonkeyPatch, hunt: Hunt, *, solved: bool = False
) -> dict[str, Any]:
    """Return what the survey core is told, and the result if it is to be solved."""
    plain, seen = survey.locate, dict[str, Any]()

    def locate(*arguments: Any, **named: Any) -> Any:
        names = ("stations", "trips", "bearings", "settings")
        if not seen:  # the calls after it are of single days
            seen.update(dict(zip(names, arguments, strict=True)) | named)
        if not solved:
            raise Told
        return plain(*arguments, **named | {"onward": False})  # only where is asked

    with monkeypatch.context() as patch:
        patch.setattr("treeward.survey.locate", locate)
        with contextlib.suppress(Told):
            seen["result"] = hunt.locate()
    return seen


def azimuth_deg(result: Any) -> float:
    colony, place = result.fix.colonies[0], result.stations[0]
    return geodesic(
        place.latitude_deg,
        place.longitude_deg,
        colony.best_latitude_deg,
        colony.best_longitude_deg,
    )[1]


@pytest.mark.slow
@pytest.mark.parametrize("place", [DUNEDIN, ST_JOHNS])
@pytest.mark.parametrize(
    "case",
    [
        ("magnetic", "", True),
        ("true", "", False),
        ("magnetic", " true", False),
        ("true", " magnetic", True),
    ],
)
def test_declination_is_added_where_the_bearing_is_magnetic(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    place: tuple[str, str, float, float],
    case: tuple[str, str, bool],
) -> None:
    compass, reference, corrected = case
    read = tuple(f"{deg}{reference}" for deg in (98, 100, 102, 99, 101))
    hunt = typed(
        tmp_path / "h", place=place, bearings=read, hunt=f'compass = "{compass}"'
    )

    seen = told(monkeypatch, hunt, solved=True)

    off_deg = seen["bearings"].bearing_true_deg - np.array([98, 100, 102, 99, 101])
    low, high = place[2:] if corrected else (-0.01, 0.01)
    assert np.all((off_deg > low) & (off_deg < high))
    assert (seen["bearings"].declination_sd_deg > 0) is corrected
    assert low - 4 < azimuth_deg(seen["result"]) - 100 < high + 4


def test_a_point_of_the_compass_stays_wide_when_its_row_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = Hunt.create(tmp_path / "t", name="x", timezone="Europe/London")
    (hunt.recordings_dir / "2026-07-14_1000.txt").write_text(
        "[0:02] it's ten oh one in the morning\n[0:10] yellow away\n"
        "[0:12] heading sw\n[4:40] yellow back\n[6:00] yellow away\n"
        "[6:02] bearing two ten true\n[10:20] yellow back\n",
        "utf-8",
    )
    text = (hunt.path / "hunt.toml").read_text("utf-8")
    placed = text.replace('# position = "52.301200', 'position = "52.301200', 1)
    (hunt.path / "hunt.toml").write_text(placed, "utf-8")
    hunt.transcribe()
    rows = hunt.review_path.read_text("utf-8")
    assert ",225 sw," in rows
    assert ",210 true," in rows
    head, *lines = rows.splitlines()
    columns = head.split(",")
    decision = columns.index("decision")
    kept = []
    for line in lines:
        cells = line.split(",")
        cells[decision] = "keep"
        kept.append(",".join(cells))
    hunt.review_path.write_text("\n".join([head, *kept]) + "\n", "utf-8")

    hunt.transcribe()  # and the round trip loses neither
    seen = told(monkeypatch, Hunt(hunt.path))

    assert list(seen["bearings"].rounding_deg) == [45.0, 1.0]
    assert seen["bearings"].bearing_true_deg[1] == pytest.approx(210.0)


@pytest.mark.parametrize(
    ("said", "compass", "off_deg"),
    [
        ("moderate 270", "magnetic", DUNEDIN[2:]),
        ("moderate 270", "true", (-0.01, 0.01)),
        ("moderate 270 true", "magnetic", (-0.01, 0.01)),
        ("moderate 270 w", "magnetic", DUNEDIN[2:]),
    ],
)
def test_a_spoken_wind_direction_is_corrected_like_a_bearing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    said: str,
    compass: str,
    off_deg: tuple[float, float],
) -> None:
    wind = ("2026-01-14 10:00:30", "wind", "", said)
    hunt = typed(tmp_path / "h", notes=(wind,), hunt=f'compass = "{compass}"')

    blown = told(monkeypatch, hunt)["wind"]

    assert np.all(blown.speed_mps == survey.WIND_MPS["moderate"])
    assert np.all(blown.from_true_deg - 270 > off_deg[0])
    assert np.all(blown.from_true_deg - 270 < off_deg[1])


def test_wind_counts_from_when_it_was_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wind = ("2026-01-14 10:12:30", "wind", "", "strong 90")  # before the third trip

    blown = told(monkeypatch, typed(tmp_path / "h", notes=(wind,)))["wind"]

    expected = [np.nan, np.nan, *[survey.WIND_MPS["strong"]] * 3]
    assert np.array_equal(blown.speed_mps, expected, equal_nan=True)


def median_m(hunt: Hunt) -> float:
    fix = hunt.locate().fix
    assert fix is not None
    return fix.colonies[0].distance_m["1"][1]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("low", "high"),
    [
        pytest.param(
            "flight_speed_out_m_per_s = [4.0, 4.4]", "[11.0, 12.0]", marks=SLOW
        ),
        pytest.param(
            "flight_speed_home_m_per_s = [4.0, 4.4]", "[11.0, 12.0]", marks=SLOW
        ),
        ("in_hive_s = [200, 220]", "[60, 70]"),  # longer in the hive is nearer
        pytest.param("prior_distance_median_m = 100", "3000", marks=SLOW),
        pytest.param("prior_distance_max_m = 200", "6000", marks=SLOW),
    ],
)
def test_an_override_moves_the_colony_the_right_way(
    tmp_path: Path, low: str, high: str
) -> None:
    key = low.partition(" = ")[0]
    near = typed(tmp_path / "near", more=f"[model]\n{low}")
    far = typed(tmp_path / "far", more=f"[model]\n{key} = {high}")

    assert median_m(near) < 0.9 * median_m(far)


@pytest.mark.parametrize(
    ("key", "small", "large"),
    [
        pytest.param("compass_sd_deg", "1", "10", marks=SLOW),
        ("prior_distance_sigma", "0.1", "1.5"),
    ],
)
def test_a_wider_prior_gives_a_larger_area(
    tmp_path: Path, key: str, small: str, large: str
) -> None:
    areas = []
    for name in (small, large):
        hunt = typed(tmp_path / name, more=f"[model]\n{key} = {name}")
        fix = hunt.locate().fix
        assert fix is not None
        areas.append(fix.colonies[0].search_areas[90].area_m2)

    assert areas[0] < 0.8 * areas[1]


@pytest.mark.slow
def test_cargo_is_that_of_the_station(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    water = typed(tmp_path / "water", station='cargo = "water"')
    syrup = typed(tmp_path / "syrup", station='cargo = "syrup"')

    assert told(monkeypatch, water)["stations"].cargo == ("water",)
    assert told(monkeypatch, syrup)["stations"].cargo == ("syrup",)
    # Syrup keeps a bee longer in the hive than water, so the colony is nearer.
    assert median_m(syrup) < median_m(water)


def test_walk_hives_and_colonies_arrive_in_the_settings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    more = (
        '[walk]\nlimit_m = 321\nleave_out = [["-45.86, 170.51", "-45.87, 170.51", '
        '"-45.87, 170.52"]]\n[[known_hive]]\nname = "lane"\n'
        'position = "-45.88, 170.49"\nmarks = ["pink"]\n'
        '[[colony]]\nid = "Q"\nmarks = ["yellow"]\n'
    )

    seen = told(monkeypatch, typed(tmp_path / "h", more=more), solved=True)

    settings = seen["settings"]
    assert settings.walk_limit_m == 321
    assert settings.leave_out[0][0] == pytest.approx([170.51, -45.86])
    (hive,) = settings.known_hives
    assert (hive.latitude_deg, hive.longitude_deg) == (-45.88, 170.49)
    assert settings.assigned == {"yellow": "Q"}
    assert seen["result"].settings is settings


@pytest.mark.slow
def test_observers_days_and_doubtful_bees_reach_the_survey(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = typed(tmp_path / "h", place=DUNEDIN, more=TWO_STATIONS)
    lines = ["recording,clock,event,mark,value"]
    for day, recording, station in (
        (14, "ann 1.m4a", "1"),
        (14, "bob 1.m4a", "2"),
        (14, "ann 2.m4a", "2"),
        (15, "ann 3.m4a", "1"),
    ):
        hour = 11 if recording == "ann 2.m4a" else 10
        lines += [
            f"{recording},2026-01-{day} {hour}:{minute:02d}:00,{event},{mark},{value}"
            for minute, event, mark, value in (
                (0, "station", "", station),
                (1, "away", "yellow", ""),
                (1, "bearing", "yellow", "100"),
                (6, "back", "yellow", ""),
                (7, "away", "yellow", ""),
                (12, "back", "yellow", ""),
            )
        ]
    (hunt.path / "review.csv").write_text("\n".join(lines) + "\n", "utf-8")

    seen = told(monkeypatch, hunt)

    trips, bearings = seen["trips"], seen["bearings"]
    names = [trips.bees[bee] for bee in trips.bee]
    by_bee = dict(zip(names, trips.day, strict=True))
    assert by_bee == {
        "yellow 14 Jan of Ann": 0,
        "yellow 14 Jan of Bob": 0,
        "yellow 14 Jan of Ann at 2": 0,
        "yellow 15 Jan of Ann": 1,
    }
    pairs = {(trips.bees[a], trips.bees[b]) for a, b in trips.maybe_same}
    assert pairs == {("yellow 14 Jan of Ann", "yellow 14 Jan of Ann at 2")}
    whose = {
        trips.bees[bee].split(" of ")[1][:3]: observer
        for bee, observer in zip(bearings.bee, bearings.observer, strict=True)
    }
    assert set(whose) == {"Ann", "Bob"}
    assert whose["Ann"] != whose["Bob"]


TWO_STATIONS = (
    '[[station]]\nid = "2"\nposition = "-45.8690, 170.5030"\n'
    '[[recording]]\nname = "ann*"\nobserver = "Ann"\n'
    '[[recording]]\nname = "bob*"\nobserver = "Bob"\n'
)


@pytest.mark.parametrize(
    ("longitude", "said"), [(170.5031, "not what was taken"), (170.6, "")]
)
def test_the_track_offers_the_station_that_nobody_said(
    tmp_path: Path, longitude: float, said: str
) -> None:
    hunt = typed(tmp_path / "h", place=DUNEDIN, more=TWO_STATIONS)
    lines = ["recording,clock,event,mark,value"]
    lines += [
        f"{recording},2026-01-14 {hour}:{minute:02d}:00,{event},{mark},{value}"
        for recording, hour in (("ann 1.m4a", 10), ("ann 2.m4a", 11))
        for minute, event, mark, value in (
            (0, "station", "", "1"),
            (1, "away", "yellow", ""),
            (6, "back", "yellow", ""),
        )
        if event != "station" or recording == "ann 1.m4a"
    ]
    (hunt.path / "review.csv").write_text("\n".join(lines) + "\n", "utf-8")
    points = "".join(
        f'<trkpt lat="-45.8690" lon="{longitude}">'
        f"<time>2026-01-13T22:{minute:02d}:00Z</time></trkpt>"  # 11:00 in Dunedin
        for minute in range(15)
    )
    (hunt.path / "walk.gpx").write_text(
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>",
        "utf-8",
    )

    table = hunt.trips()

    offers = [text for text in doubt_texts(table.doubts) if "GPX track" in text]
    assert len(offers) == bool(said)
    assert all("from station 2" in text and said in text for text in offers)
    assert any(
        "no station was said in ann 2.m4a" in text for text in doubt_texts(table.doubts)
    )
