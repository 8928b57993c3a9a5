"""Pictures: drawn without a warning, the same on every run, nothing overlapping."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from lxml import etree  # type: ignore[import-untyped]
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import rgb_to_hsv, to_rgb
from matplotlib.text import Text
from PIL import Image

from treeward.report.figures import (
    AREA,
    INK,
    drawable,
    drawing,
    mark_colours,
    pdf_bytes,
    png_bytes,
    svg_text,
)
from treeward.report.figures.distance import (
    away_figure,
    distance_figure,
    distance_from_station,
)
from treeward.report.figures.map import map_figure
from treeward.report.figures.map_frame import (
    Extent,
    arc_text,
    emptiest_corner,
    extent_about,
    nice_step,
    scale_length,
)
from treeward.report.figures.map_layers import GROUND_COLOUR
from treeward.report.figures.timeline import clock_ticks, timeline_figure
from treeward.report.model import Ground, GroundLine, TrackLine
from treeward.report.page import map_key

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.figure import Figure

    from treeward.report.model import HuntResult, Sort

HOSTILE = '--><script>alert("$x^2$")</script> \u4e2d'
FIGURES: list[Callable[[HuntResult], Figure | None]] = [
    lambda result: map_figure(result, "sheet"),
    lambda result: map_figure(result, "page"),
    lambda result: map_figure(result, "phone"),
    timeline_figure,
    away_figure,
    distance_figure,
]
NAMES = ["sheet", "map", "phone", "timeline", "away", "distance"]


def drawn(draw: Callable[[HuntResult], Figure | None], result: HuntResult) -> Figure:
    figure = draw(result)
    assert figure is not None
    return figure


@pytest.fixture(scope="session")
def crowded(two_colonies: HuntResult) -> HuntResult:
    """Return five stations with nine bees each, long names, and the way walked."""
    ids = ("1", "2", "old oak", "4", "5")
    stations = tuple(
        replace(
            two_colonies.stations[0],
            id=name,
            name="the long name of a place by the water",
            latitude_deg=52.2968 + 0.002 * number,
        )
        for number, name in enumerate(ids)
    )
    marks = ("red", "blue", "green", "yellow", "white", "pink", "orange", "purple",
             "blue-white abdomen")  # fmt: skip
    lines = tuple(
        replace(two_colonies.table.lines[0], mark=mark, bee=mark, station=name,
                bearing_read_deg=200.0 + 8 * number)
        for name in ids for number, mark in enumerate(marks)
    )  # fmt: skip
    track = TrackLine(latitude_deg=(52.296, 52.305), longitude_deg=(-3.61, -3.612))
    table = replace(two_colonies.table, lines=lines)
    return replace(two_colonies, stations=stations, table=table, tracks=(track,))


@pytest.mark.slow
@pytest.mark.parametrize("draw", FIGURES, ids=NAMES)
@pytest.mark.parametrize(
    "name",
    [
        "result",
        pytest.param("two_colonies", marks=pytest.mark.slow),  # crowded has both
        pytest.param("two_days", marks=pytest.mark.slow),
        pytest.param("days_apart", marks=pytest.mark.slow),
        "crowded",
    ],
)
def test_labels_do_not_overlap(
    draw: Callable[[HuntResult], Figure | None],
    name: str,
    request: pytest.FixtureRequest,
) -> None:
    with drawing():
        figure = drawn(draw, request.getfixturevalue(name))
        figure.draw_without_rendering()
        canvas = figure.canvas
        assert isinstance(canvas, FigureCanvasAgg)
        renderer = canvas.get_renderer()  # type: ignore[no-untyped-call]
        boxes = [
            (text.get_text(), text.get_window_extent(renderer))
            for text in figure.findobj(Text)
            if text.get_visible() and text.get_text().strip()
        ]
        width, height = canvas.get_width_height()

    for number, (text, box) in enumerate(boxes):
        assert box.x0 >= 0, text
        assert box.y0 >= 0, text
        assert box.x1 <= width, text
        assert box.y1 <= height, text
        for other, second in boxes[number + 1 :]:
            across = min(box.x1, second.x1) - max(box.x0, second.x0)
            along = min(box.y1, second.y1) - max(box.y0, second.y0)
            assert across <= 1 or along <= 1, f"{text!r} lies on {other!r}"


@pytest.mark.parametrize(
    "draw",
    [
        # The quick round has one way of drawing each: a map, and a chart of times.
        pytest.param(draw, id=name, marks=[] if name == "map" else pytest.mark.slow)
        for name, draw in zip(NAMES, FIGURES, strict=True)
    ],
)
def test_the_same_result_makes_the_same_bytes(
    draw: Callable[[HuntResult], Figure | None], result: HuntResult
) -> None:
    with drawing():
        first, second = (
            (png_bytes(f, 40), svg_text(f, "map", "a map"))
            for f in (drawn(draw, result), drawn(draw, result))
        )

    assert first == second


@pytest.mark.slow
def test_the_sheet_is_a4_on_its_side(result: HuntResult) -> None:
    with drawing():
        sheet = drawn(FIGURES[0], result)
        pdf = pdf_bytes(sheet)
        assert pdf == pdf_bytes(sheet)
        png = png_bytes(sheet, 100)

    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+)", pdf)
    assert box is not None
    # ISO 216: A4 is 297 mm by 210 mm; a point is 1/72 inch of 25.4 mm.
    assert float(box[1]) == pytest.approx(297 / 25.4 * 72, abs=0.5)
    assert float(box[2]) == pytest.approx(210 / 25.4 * 72, abs=0.5)
    picture = Image.open(io.BytesIO(png))
    assert picture.size == (1169, 827)
    assert len(set(np.asarray(picture.convert("RGB")).reshape(-1, 3).max(axis=1))) > 50


@pytest.mark.slow
@pytest.mark.parametrize("draw", FIGURES, ids=NAMES)
def test_hostile_names_are_drawn_as_letters(
    draw: Callable[[HuntResult], Figure | None], build: Callable[..., HuntResult]
) -> None:
    whole = build(name=HOSTILE)
    trips = tuple(replace(t, bee=HOSTILE, mark=HOSTILE) for t in whole.table.trips)
    visits = tuple(replace(v, mark=HOSTILE) for v in whole.table.visits)
    lines = tuple(replace(x, mark=HOSTILE, bee=HOSTILE) for x in whole.table.lines)
    table = replace(whole.table, trips=trips, visits=visits, lines=lines)

    with drawing():
        svg = svg_text(drawn(draw, replace(whole, table=table)), "map", HOSTILE)

    root = etree.fromstring(svg.encode())
    tags = {etree.QName(node).localname for node in root.iter() if node.tag}
    assert "script" not in tags
    assert "alert" not in etree.tostring(root, method="text", encoding="unicode")


def test_svg_ids_are_its_own_and_colours_follow_the_page(result: HuntResult) -> None:
    with drawing():
        one = svg_text(drawn(timeline_figure, result), "timeline", "x")
        two = svg_text(drawn(away_figure, result), "away", "x")

    ids_one = set(re.findall(r'id="([^"]+)"', one))
    ids_two = set(re.findall(r'id="([^"]+)"', two))
    assert not ids_one & ids_two
    used = set(re.findall(r'href="#([^"]+)"', one)) | set(
        re.findall(r"url\(#([^)]+)\)", one)
    )
    assert used <= ids_one
    assert "var(--ink)" in one
    assert "#1b2026" not in one


def test_a_drawing_in_the_page_is_no_finer_than_a_hundredth_of_a_point(
    result: HuntResult,
) -> None:
    svg = svg_text(drawn(timeline_figure, result), "timeline", "x")
    paths = re.findall(r' d="([^"]*)"', svg)

    assert any("." in path for path in paths)
    assert not [path for path in paths if re.search(r"\.\d{3}|\n", path)]


def test_nothing_to_draw_gives_no_picture(empty: HuntResult) -> None:
    assert [draw(empty) for draw in FIGURES] == [None] * 6


@pytest.mark.slow
def test_stations_without_a_fix_are_drawn(build: Callable[..., HuntResult]) -> None:
    with drawing():
        for count in (1, 2):
            whole = build(fix=None)
            some = replace(whole, stations=whole.stations[:count])
            assert len(png_bytes(drawn(FIGURES[0], some), 50)) > 5000


def grounded(result: HuntResult) -> HuntResult:
    place = result.stations[0]

    def line(sort: Sort, *, closed: bool = False) -> GroundLine:
        off = np.array([0.0, 0.001, 0.001, 0.0])
        return GroundLine(
            latitude_deg=place.latitude_deg + off,
            longitude_deg=place.longitude_deg + off[::-1],
            closed=closed,
            sort=sort,
        )

    lines = (line("water", closed=True), line("water"), line("way"))
    return replace(result, ground=Ground(lines=lines))


def test_the_key_tells_what_of_the_ground_is_drawn(result: HuntResult) -> None:
    figure = map_figure(grounded(result), "sheet")
    assert figure is not None
    said = [text.get_text() for text in figure.findobj(Text)]

    at = said.index("Ground, from your own map")
    assert said[at + 1 : at + 3] == ["water", "path or road"]
    assert [one["name"] for one in map_key(grounded(result))["ground"]] == [
        "water",
        "path or road",
    ]
    bare = map_figure(result, "sheet")
    assert bare is not None
    assert not [
        text for text in bare.findobj(Text) if text.get_text().startswith("Ground")
    ]
    assert map_key(result)["ground"] == []


def test_water_is_told_from_the_areas_of_chance(result: HuntResult) -> None:
    figure = map_figure(grounded(result), "page")
    assert figure is not None
    water = [patch for patch in figure.axes[0].patches if patch.get_hatch()]
    blue, own = (rgb_to_hsv(to_rgb(c))[0] for c in (AREA, GROUND_COLOUR["water"]))

    assert len(water) == 1  # by lines
    assert abs(blue - own) * 360 > 25  # and by its hue, degrees


def test_trips_without_clocks_have_no_timeline(result: HuntResult) -> None:
    trips = tuple(
        replace(t, away_clock=None, back_clock=None) for t in result.table.trips
    )
    table = replace(result.table, trips=trips, visits=())

    with drawing():
        assert timeline_figure(replace(result, table=table)) is None
        assert away_figure(replace(result, table=table)) is not None


def test_several_days_have_a_strip_each(result: HuntResult) -> None:
    day = timedelta(days=1)
    later = tuple(
        replace(v, back_clock=v.back_clock + day, away_clock=v.away_clock + day)
        for v in result.table.visits
    )
    table = replace(result.table, visits=result.table.visits + later)

    with drawing():
        figure = drawn(timeline_figure, replace(result, table=table))

    titles = [axes.get_title(loc="left") for axes in figure.axes]
    assert titles == ["Tuesday 14 July 2026", "Wednesday 15 July 2026"]


def dots(figure: Figure, shape: str) -> list[tuple[float, float]]:
    """Return where the rims of trips of that shape stand."""
    return [
        (round(float(line.get_xdata()[0]), 6), round(float(line.get_ydata()[0]), 6))  # type: ignore[index, arg-type]
        for line in figure.axes[0].get_lines()
        if line.get_marker() == shape and line.get_color() == INK
    ]


@pytest.mark.slow
def test_trips_timed_with_the_loading_have_a_shape_of_their_own(
    result: HuntResult,
) -> None:
    first, *rest = result.table.trips
    used = sum(trip.used for trip in result.table.trips)
    turned = replace(first, timing="round")
    table = replace(result.table, trips=(turned, *rest))
    with drawing():
        plain = drawn(away_figure, result)
        other = drawn(away_figure, replace(result, table=table))

    assert (len(dots(plain, "o")), len(dots(plain, "D"))) == (used, 0)
    assert (len(dots(other, "o")), len(dots(other, "D"))) == (used - 1, 1)
    key = [text.get_text() for text in other.axes[1].texts]
    assert "with the loading" in key
    assert "with the loading" not in [text.get_text() for text in plain.axes[1].texts]


def test_trips_of_one_length_are_two_dots(result: HuntResult) -> None:
    first = result.table.trips[0]
    alike = tuple(replace(first, away_s=away_s) for away_s in (300.0, 300.0, 301.0))
    table = replace(result.table, trips=alike)
    with drawing():
        figure = drawn(away_figure, replace(result, table=table))

    places = dots(figure, "o")
    assert len(places) == 3
    assert len({y for _, y in places}) == 3


def test_the_distance_of_all_together_follows_the_map(result: HuntResult) -> None:
    assert result.fix is not None
    colony = result.fix.colonies[0]

    curve = distance_from_station(colony, result.stations[0])

    assert curve is not None
    metres, density = curve
    share = density / density.sum()
    # The map's posterior is centred 627 m from station 1, sd 70 to 100 m.
    assert float(np.sum(metres * share)) == pytest.approx(635, abs=15)


def test_clock_ticks_follow_the_clocks_back() -> None:
    # The clocks of London go back on 2026-10-25 at 02:00 (European Union directive
    # 2000/84/EC, kept by the United Kingdom: last Sunday in October, 01:00 UTC).
    low = datetime(2026, 10, 25, 0, 0, tzinfo=UTC).timestamp()

    ticks = clock_ticks(low, low + 3 * 3600, ZoneInfo("Europe/London"))

    assert [text for _, text in ticks] == [
        "01:00", "01:30", "01:00", "01:30", "02:00", "02:30", "03:00"
    ]  # fmt: skip


def test_frame_arithmetic() -> None:
    assert nice_step(1090, 5) == 500
    assert nice_step(900, 5) == 200
    assert scale_length(1000, "metric") == (200, "200 m")
    assert scale_length(9000, "metric") == (2000, "2 km")
    assert scale_length(1000, "imperial")[1] == "200 yards"
    assert scale_length(9000, "imperial")[1] == "1 mile"
    assert arc_text(-3.6104, "EW", seconds=True) == "3°36\u203237\u2033W"
    assert arc_text(52.5, "NS", seconds=False) == "52°30\u2032N"
    points: Any = np.array([[0.0, 0.0], [100.0, 400.0]])
    extent = extent_about(points, shape=1.5)
    assert extent.width_m == pytest.approx(1.5 * extent.height_m)
    assert extent.south_m < 0
    assert extent.north_m > 400
    box = Extent(west_m=0, east_m=10, south_m=0, north_m=10)
    crowded: Any = np.array([[1, 1], [9, 1], [1, 9]])
    assert emptiest_corner(box, crowded, 0.3, 0.3) == (True, True, 0)


def test_marks_keep_their_paint() -> None:
    yellow = "#f0e442"  # Okabe and Ito 2008
    assert mark_colours("blue-white abdomen") == ("#0072b2", "#ffffff")
    assert mark_colours("yellow (2)") == (yellow, yellow)
    assert mark_colours("turquoise") == mark_colours("unmarked") == mark_colours("")
    assert drawable("a\n b") == "a b"
    assert drawable("\u4e2d") == "\u25a1"
    assert len(drawable("x" * 99)) == 40
