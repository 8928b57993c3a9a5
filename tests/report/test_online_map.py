"""The one page that asks the network: only when asked to, and only the named server."""

from __future__ import annotations

import re
import shutil
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import numpy as np
import pytest
from pyproj import Transformer

from treeward.errors import HuntError
from treeward.hunt_file import parse_hunt_table
from treeward.report.figures.map import Form, map_frame, map_place
from treeward.report.map_files import lie_of, mercator, online_page
from treeward.report.writing import write_results

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Route

    from treeward.report.model import HuntResult, WrittenFiles

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ADDRESS = re.compile(r"https?://(?!www\.w3\.org/)[^\s\"'<>)]+")
DRAWINGS = {"map": "<svg></svg>", "map-phone": "<svg></svg>"}
POINT = '<svg xmlns="http://www.w3.org/2000/svg" width="256" height="256"/>'


def result_with(build: Callable[..., HuntResult], **table: str) -> HuntResult:
    raw = {"hunt": {"name": "x", "timezone": "Europe/London"}, "map": table}
    return build(hunt_file=parse_hunt_table(raw, where="hunt.toml"))


@pytest.mark.slow
def test_no_file_holds_an_address_unless_asked(written: WrittenFiles) -> None:
    names = {path.name for path in written.files}
    assert "online-map.html" not in names
    for path in written.files:
        if path.suffix in {".html", ".json", ".geojson", ".csv"}:
            assert ADDRESS.findall(path.read_text("utf-8")) == [], path.name


def test_the_page_names_its_server_and_credits_the_map(
    result: HuntResult,
) -> None:
    page = online_page(result, DRAWINGS)

    assert page is not None
    assert "fetches map pictures from <strong>tile.openstreetmap.org</strong>" in page
    assert "© OpenStreetMap contributors" in page
    assert set(ADDRESS.findall(page)) == {
        "https://tile.openstreetmap.org/{z}/{x}/{y}.png",
        "https://tile.openstreetmap.org",
        "https://www.openstreetmap.org/copyright",
        "https://www.openstreetmap.org/fixthemap",
    }
    rule = re.search(r'Content-Security-Policy" content="([^"]+)"', page)
    assert rule is not None
    assert "default-src 'none'" in rule[1]
    assert rule[1].endswith("img-src https://tile.openstreetmap.org")


@pytest.mark.slow
def test_the_next_run_takes_the_page_away(result: HuntResult, tmp_path: Path) -> None:
    written = write_results(result, tmp_path / "results", online_map=True)
    page = (written.directory / "online-map.html").read_text("utf-8")
    assert "https://tile.openstreetmap.org/{z}" in page
    assert ADDRESS.findall(written.report.read_text("utf-8")) == []
    write_results(result, tmp_path / "results")

    assert not (tmp_path / "results" / "online-map.html").exists()


def test_another_server_with_its_own_credit(
    build: Callable[..., HuntResult],
) -> None:
    tiles = "https://maps.example:8443/topo/{z}/{y}/{x}.png?key=a&b=c"
    other = result_with(build, tiles=tiles, credit="<b>Upland</b> Survey")
    page = online_page(other, DRAWINGS)

    assert page is not None
    assert "img-src https://maps.example:8443" in page
    assert "&lt;b&gt;Upland&lt;/b&gt; Survey" in page
    assert "openstreetmap" not in page.lower()


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"tiles": "ftp://maps.example/{z}/{x}/{y}"}, "begins with https://"),
        ({"tiles": "https://a'; b/{z}/{x}/{y}"}, "begins with https://"),
        ({"tiles": "https://maps.example/{z}/{x}"}, "must hold {z}, {x} and {y}"),
        ({"tiles": "https://maps.example/{z}/{x}/{y}"}, "credit must say whose"),
    ],
)
def test_what_is_no_map_server_is_refused(table: dict[str, str], said: str) -> None:
    raw = {"hunt": {"name": "x", "timezone": "Europe/London"}, "map": table}

    with pytest.raises(HuntError, match=re.escape(said)):
        parse_hunt_table(raw, where="hunt.toml")


def test_the_world_s_map_is_mercator() -> None:
    # EPSG:3857 as PROJ has it; the world is 40075016.6856 m across on its sphere.
    to_metres = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
    for latitude, longitude in ((52.3, -3.61), (-41.3, 174.8), (0.0, -180.0)):
        east, north = to_metres.transform(longitude, latitude)
        expected = east / 40075016.6856 + 0.5, 0.5 - north / 40075016.6856

        assert mercator(latitude, longitude) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("form", ["page", "phone"])
def test_pictures_lie_under_what_they_show(result: HuntResult, form: Form) -> None:
    frame = map_frame(result)
    assert frame is not None
    extent, (left, top, width, _) = map_place(result, frame, form)
    lie = [float(number) for number in lie_of(result, frame, form).split()]
    point_m = extent.width_m / width

    xs, ys = np.meshgrid(
        np.linspace(extent.west_m, extent.east_m, 5),
        np.linspace(extent.south_m, extent.north_m, 5),
    )
    for east, north in zip(xs.ravel(), ys.ravel(), strict=True):
        lon, lat = frame.to_lonlat(np.array([[east, north]]))[0]
        across, down = mercator(lat, lon)
        drawn_x = left + (east - extent.west_m) / point_m
        drawn_y = top + (extent.north_m - north) / point_m

        assert abs(lie[4] + lie[5] * across - drawn_x) * point_m < 1.0  # m
        assert abs(lie[6] + lie[7] * down - drawn_y) * point_m < 1.0


@pytest.mark.slow
@pytest.mark.model
def test_a_browser_fetches_the_pictures_in_sight_and_no_more(
    result: HuntResult, tmp_path: Path
) -> None:
    playwright = pytest.importorskip("playwright.sync_api")
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    written = write_results(result, tmp_path / "results", online_map=True)
    asked: list[str] = []
    faults: list[str] = []

    def answer(route: Route) -> None:
        asked.append(route.request.url)
        route.fulfill(body=POINT, content_type="image/svg+xml")

    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox"]
        )
        page = browser.new_page(viewport={"width": 1200, "height": 1100})
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda message: faults.append(message.text))
        page.route(re.compile("^https:"), answer)
        page.goto((written.directory / "online-map.html").as_uri())
        page.wait_for_timeout(400)
        first = list(asked)
        trouble = page.locator("#trouble").is_visible()
        page.get_by_label("Zoom in").click()
        page.wait_for_timeout(500)
        shown = page.locator("#map-view .on-page image").count()
        browser.close()

    assert faults == []
    assert not trouble
    assert 4 <= len(first) <= 40
    assert len(set(asked)) == len(asked)
    assert 4 <= shown <= 40
    depths = set()
    for url in asked:
        parts = urlsplit(url)
        assert parts.netloc == "tile.openstreetmap.org"
        depth, column, row = (int(p) for p in parts.path[1:-4].split("/"))
        depths.add(depth)
        # The picture that holds station 1, and those about it.
        across, down = mercator(52.3012, -3.6104)
        assert abs(column + 0.5 - across * 2**depth) < 8
        assert abs(row + 0.5 - down * 2**depth) < 8
    assert len(depths) == 2
