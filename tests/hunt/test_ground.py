"""The person's own map under the answer: where each format's pixels come to lie.

Places are held against pyproj and, for GeoTIFF, against what rasterio writes; tiles
against the worked example of the "Slippy map tilenames" convention.
"""

from __future__ import annotations

import gzip
import io
import json
import sqlite3
import struct
import sys
import zlib
from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pytest
from PIL import Image
from pyproj import Transformer

from cli.in_this_process import here
from hunt.pmtiles_by_hand import archive, entry, varints
from treeward import Hunt
from treeward.errors import HuntError
from treeward.hunt.ground import _Part, _tiles_of, read_ground
from treeward.report.figures.map import map_figure
from treeward.report.figures.map_frame import Extent
from treeward.report.figures.map_layers import resampled
from treeward.report.model import StationPlace
from treeward.survey.frame import LocalFrame

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.report.model import Ground, GroundPicture

HERE = (52.3012, -3.6104)  # latitude, longitude
RED, BLUE = (255, 0, 0, 255), (0, 0, 255, 255)
TOML = """\
[hunt]
name = "x"
timezone = "Europe/London"
compass = "true"
[[station]]
id = "1"
position = "52.301200, -3.610400"
[map]
ground = [{names}]
{more}
"""
OFF_THE_GLOBE = b'{"type": "LineString", "coordinates": [[1, 999], [1, 2]]}'
NOTES = """\
clock,event,mark,value
2026-07-14 10:00:00,station,,1
2026-07-14 10:01:00,away,yellow,
2026-07-14 10:01:05,bearing,yellow,210
2026-07-14 10:06:10,back,yellow,
"""


def hunt_of(folder: Path, *names: str, more: str = "") -> Hunt:
    text = TOML.format(names=", ".join(json.dumps(name) for name in names), more=more)
    (folder / "hunt.toml").write_text(text, "utf-8")
    (folder / "review.csv").write_text(NOTES, "utf-8")
    return Hunt(folder)


def ground_of(hunt: Hunt, here: tuple[float, float] = HERE) -> Ground:
    place = StationPlace(
        id="1", latitude_deg=here[0], longitude_deg=here[1], declination_deg=0.0
    )
    ground = read_ground(replace(hunt.paired(), stations=(place,)), hunt.path)
    assert ground is not None
    return ground


def picture(path: Path, side: int = 100) -> None:
    """Draw red west of the middle and blue east of it."""
    pixels = np.zeros((side, side, 3), dtype=np.uint8)
    pixels[:, : side // 2] = RED[:3]
    pixels[:, side // 2 :] = BLUE[:3]
    Image.fromarray(pixels).save(path)


def red_and_blue(path: Path, crs: str, grid: Any) -> None:
    """Write a GeoTIFF, red in the west and blue in the east."""
    import rasterio

    pixels = np.zeros((3, 400, 400), dtype=np.uint8)
    pixels[0, :, :200] = 255
    pixels[2, :, 200:] = 255
    with rasterio.open(
        path, "w", driver="GTiff", width=400, height=400, count=3,
        dtype="uint8", crs=crs, transform=grid,
    ) as data:  # fmt: skip
        data.write(pixels)


def seen(
    one: GroundPicture,
    east_m: float,
    north_m: float = 0.0,
    *,
    here: tuple[float, float] = HERE,
) -> tuple[int, ...]:
    """Return the colour at a place, metres from the station."""
    frame = LocalFrame(*here)
    extent = Extent(
        west_m=east_m - 0.5, east_m=east_m + 0.5,
        south_m=north_m - 0.5, north_m=north_m + 0.5,
    )  # fmt: skip
    return tuple(int(v) for v in resampled(one, frame, extent, across=1)[0, 0])


def test_a_picture_with_a_world_file_lies_where_that_says(tmp_path: Path) -> None:
    # 100 pixels of 10 m, the station in the middle, in the British National Grid.
    to_grid = Transformer.from_crs("EPSG:4326", "EPSG:27700", always_xy=True)
    east, north = to_grid.transform(HERE[1], HERE[0])
    picture(tmp_path / "ground.png")
    numbers = (10.0, 0.0, 0.0, -10.0, east - 495.0, north + 495.0)
    world = "\n".join(f"{number:.4f}" for number in numbers)
    (tmp_path / "ground.pgw").write_text(world, "ascii")
    hunt = hunt_of(tmp_path, "ground.png", more='ground_crs = "EPSG:27700"')

    (one,) = ground_of(hunt).pictures

    assert seen(one, -3.0) == RED
    assert seen(one, 3.0) == BLUE
    assert seen(one, -480.0) == RED
    assert seen(one, 480.0) == BLUE
    assert seen(one, 530.0) == (0, 0, 0, 0)


def test_a_world_file_in_degrees_needs_no_crs(tmp_path: Path) -> None:
    picture(tmp_path / "ground.jpg", side=64)
    side = 0.001
    numbers = (side, 0, 0, -side, HERE[1] - 31.5 * side, HERE[0] + 31.5 * side)
    (tmp_path / "ground.jgw").write_text("\n".join(map(repr, numbers)), "ascii")

    (one,) = ground_of(hunt_of(tmp_path, "ground.jpg")).pictures

    assert seen(one, -150.0)[0] > 200  # JPEG blurs the border
    assert seen(one, 150.0)[2] > 200


AT_180 = [(-16.8, 179.9999), (-16.8, -179.9999)]


@pytest.mark.parametrize("here", AT_180)
@pytest.mark.parametrize("middle", [180.0, -180.0])
def test_a_picture_runs_on_beyond_180_degrees(
    here: tuple[float, float], middle: float, tmp_path: Path
) -> None:
    picture(tmp_path / "ground.png", side=64)
    side = 0.001
    numbers = (side, 0, 0, -side, middle - 31.5 * side, here[0] + 31.5 * side)
    (tmp_path / "ground.wld").write_text("\n".join(map(repr, numbers)), "ascii")
    hunt = hunt_of(tmp_path, "ground.png", more='ground_crs = "EPSG:4326"')

    (one,) = ground_of(hunt, here).pictures

    for off_m in (20.0, 3000.0):
        assert seen(one, -off_m, here=here) == RED
        assert seen(one, off_m, here=here) == BLUE


@pytest.mark.parametrize("here", AT_180)
def test_tiles_on_both_sides_of_180_degrees_lie_side_by_side(
    here: tuple[float, float], tmp_path: Path
) -> None:
    last, row = 2**14 - 1, 8967  # of 16.8 degrees south, from the north
    with sqlite3.connect(tmp_path / "ground.mbtiles") as base:
        base.execute("CREATE TABLE metadata (name text, value text)")
        base.execute(
            "CREATE TABLE tiles (zoom_level integer, tile_column integer,"
            " tile_row integer, tile_data blob)"
        )
        for column, colour in ((last, RED), (0, BLUE)):
            for at in (row - 1, row, row + 1):
                flat = io.BytesIO()
                Image.new("RGBA", (256, 256), colour).save(flat, "PNG")
                cells = (14, column, last - at, flat.getvalue())
                base.execute("INSERT INTO tiles VALUES (?, ?, ?, ?)", cells)
    base.close()

    (one,) = ground_of(hunt_of(tmp_path, "ground.mbtiles"), here).pictures

    assert seen(one, -300.0, here=here) == RED
    assert seen(one, 300.0, here=here) == BLUE


@pytest.mark.parametrize("here", AT_180)
def test_a_geotiff_runs_on_beyond_180_degrees(
    here: tuple[float, float], tmp_path: Path
) -> None:
    rasterio = pytest.importorskip("rasterio")
    grid = rasterio.Affine(0.0001, 0, 179.98, 0, -0.0001, here[0] + 0.02)
    red_and_blue(tmp_path / "ground.tif", "EPSG:4326", grid)

    (one,) = ground_of(hunt_of(tmp_path, "ground.tif"), here).pictures

    assert seen(one, -300.0, here=here) == RED
    assert seen(one, 300.0, here=here) == BLUE


def test_tiles_are_numbered_as_everywhere() -> None:
    # OpenStreetMap wiki, "Slippy map tilenames": the tile of 35.6590699, 139.7006793 at
    # zoom 18 is 232798, 103246.
    part = _Part(west_deg=139.7006793, east_deg=139.7006793,
                 south_deg=35.6590699, north_deg=35.6590699)  # fmt: skip
    columns, rows = _tiles_of(part, 18)
    assert (list(columns), list(rows)) == ([232798], [103246])


def tiles_about(level: int) -> dict[tuple[int, int], bytes]:
    """Draw the tiles about the station, red west of it and blue east of it."""
    side = 2 * 20037508.342789244 / 2**level
    to_web = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
    x, y = to_web.transform(HERE[1], HERE[0])
    column = int((x + 20037508.342789244) // side)
    row = int((20037508.342789244 - y) // side)
    drawn: dict[tuple[int, int], bytes] = {}
    for i in range(column - 3, column + 4):
        left = i * side - 20037508.342789244
        middles = left + (np.arange(256) + 0.5) * side / 256
        pixels = np.zeros((256, 256, 3), dtype=np.uint8)
        pixels[:, middles < x] = RED[:3]
        pixels[:, middles >= x] = BLUE[:3]
        file = io.BytesIO()
        Image.fromarray(pixels).save(file, "PNG")
        drawn |= {(i, j): file.getvalue() for j in range(row - 3, row + 4)}
    return drawn


def tiles(path: Path, level: int, kind: str = "png") -> None:
    """Write the tiles about the station as MBTiles."""
    with sqlite3.connect(path) as base:
        base.execute("CREATE TABLE metadata (name text, value text)")
        base.execute(
            "CREATE TABLE tiles (zoom_level integer, tile_column integer,"
            " tile_row integer, tile_data blob)"
        )
        base.execute("INSERT INTO metadata VALUES ('format', ?)", (kind,))
        for (i, j), picture_bytes in tiles_about(level).items():
            base.execute(
                "INSERT INTO tiles VALUES (?, ?, ?, ?)",
                (level, i, 2**level - 1 - j, picture_bytes),
            )
    base.close()


def test_mbtiles_lie_where_their_numbers_say(tmp_path: Path) -> None:
    tiles(tmp_path / "ground.mbtiles", 15)
    (one,) = ground_of(hunt_of(tmp_path, "ground.mbtiles")).pictures
    pixel_m = 156543.034 * np.cos(np.radians(HERE[0])) / 2**15
    assert seen(one, -2 * pixel_m) == RED
    assert seen(one, 2 * pixel_m) == BLUE
    assert seen(one, 300.0, 300.0) == BLUE


def pmtiles(path: Path, level: int, kind: str = "PNG", **changed: Any) -> None:
    """Write the tiles about the station as PMTiles, by the package's own writer."""
    pytest.importorskip("pmtiles")
    from pmtiles.tile import Compression, TileType, zxy_to_tileid
    from pmtiles.writer import Writer

    drawn = {
        zxy_to_tileid(level, i, j): raw for (i, j), raw in tiles_about(level).items()
    }
    with path.open("wb") as file:
        writer: Any = cast("Any", Writer)(file)
        for number in sorted(drawn):
            writer.write_tile(number, changed.get("picture", drawn[number]))
        writer.finalize(
            {
                "tile_compression": Compression.NONE,
                "tile_type": TileType[kind],
                "min_zoom": level,
                "max_zoom": level,
            },
            {},
        )


def test_pmtiles_lie_where_their_numbers_say(tmp_path: Path) -> None:
    pmtiles(tmp_path / "ground.pmtiles", 15)
    (one,) = ground_of(hunt_of(tmp_path, "ground.pmtiles")).pictures
    pixel_m = 156543.034 * np.cos(np.radians(HERE[0])) / 2**15
    assert seen(one, -2 * pixel_m) == RED
    assert seen(one, 2 * pixel_m) == BLUE
    assert seen(one, 300.0, 300.0) == BLUE


def one_entry(run_length: int, length: int, offset: int = 0) -> bytes:
    """Write a directory of one entry, from tile 0 on: a leaf, or a run of tiles."""
    return gzip.compress(entry(run_length, length, offset))


WHOLE = one_entry(2**40, 70)
LEAF = one_entry(0, len(one_entry(0, 60)))
FLAT = struct.pack(">II", 100_000, 100_000) + b"\x08\x06\0\0\0"


def png_of(head: bytes) -> bytes:
    """Write a PNG's beginning: it says its size, and holds no pixels."""
    chunks = (b"IHDR" + head, b"IDAT")
    return b"\x89PNG\r\n\x1a\n".ljust(8) + b"".join(
        struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
        for chunk in chunks
    ).ljust(62, b"\0")


WIDE = struct.pack(">II", 10_000, 500) + b"\x08\x06\0\0\0"


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        (b"PMTiles", "is no PMTiles file"),
        (b"", "is no PMTiles file"),
        (b"\xff" * 200, "is no PMTiles file"),
        (archive(WHOLE)[:7] + b"\x02" + archive(WHOLE)[8:], "is no PMTiles file"),
        (archive(WHOLE, kind=1), "vector tiles"),
        (archive(WHOLE, kind=6), "vector tiles"),
        (archive(WHOLE, kind=77), "is no PMTiles file"),
        (archive(WHOLE, packed=3), "with brotli, .* again with gzip or no compression"),
        (archive(WHOLE, packed=4), "with zstd, .* again with gzip or no compression"),
        # A directory that leads to itself, and one that says it has entries for ever.
        (archive(LEAF, leaves=one_entry(0, len(one_entry(0, 60)))), "is no PMTiles"),
        (archive(gzip.compress(varints(2**60))), "is no PMTiles file"),
        (archive(gzip.compress(b"\x80" * 900_000)), "is no PMTiles file"),
        (archive(gzip.compress(b"\0" * 50_000_000)), "is no PMTiles file"),
        (archive(gzip.compress(b"") + WHOLE), "is no PMTiles file"),
        (archive(WHOLE[:-9]), "is no PMTiles file"),
        # A tile beyond the file's end, one that is no picture, and vast ones.
        (archive(one_entry(2**40, 2**50)), "is no PMTiles file"),
        (archive(WHOLE, data=b"x" * 70), "a tile is none that can be read"),
        (archive(WHOLE, data=png_of(FLAT)), "a tile has far too many pixels"),
        (archive(WHOLE, data=png_of(WIDE)), "a tile has 10000 by 500 pixels"),
    ],
)  # fmt: skip
def test_hostile_pmtiles_are_refused_in_one_line(
    tmp_path: Path, content: bytes, fault: str
) -> None:
    pytest.importorskip("pmtiles")
    (tmp_path / "a.pmtiles").write_bytes(content)
    with pytest.raises(HuntError, match=fault) as caught:
        ground_of(hunt_of(tmp_path, "a.pmtiles"))
    assert "\n" not in str(caught.value)


def test_without_its_package_pmtiles_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.pmtiles").write_bytes(b"PMTiles")
    monkeypatch.setitem(sys.modules, "pmtiles", None)
    with pytest.raises(HuntError, match=r"pip install 'treeward\[ground\]'"):
        ground_of(hunt_of(tmp_path, "a.pmtiles"))


ENDLESS = (
    "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)"
    " SELECT 15 zoom_level, i tile_column, 1 tile_row, x'00' tile_data FROM n"
)
HUGE = (
    "SELECT 15 zoom_level, value tile_column, 0 tile_row, zeroblob(300000000)"
    " tile_data FROM json_each('[1]')"
)


@pytest.mark.parametrize(
    "made_up",
    [
        "SELECT 15 zoom_level, 1 tile_column, 1 tile_row, 9999999999 tile_data",
        ENDLESS,
        HUGE,
    ],
)
def test_hostile_mbtiles_are_refused_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, made_up: str
) -> None:
    monkeypatch.setattr("treeward.hunt.ground.MOST_LOOK_UPS", 3)
    column, row = min(tiles_about(15))
    made_up = made_up.replace("1 tile_column", f"{column + 3} tile_column")
    made_up = made_up.replace("1 tile_row", f"{2**15 - 4 - row} tile_row")
    made_up = made_up.replace("0 tile_row", f"{2**15 - 4 - row} tile_row")
    made_up = made_up.replace("[1]", f"[{column + 3}]")
    with sqlite3.connect(tmp_path / "a.mbtiles") as base:
        base.execute("CREATE TABLE metadata (name text, value text)")
        base.execute(f"CREATE VIEW tiles AS {made_up}")
    base.close()
    with pytest.raises(HuntError, match="is no MBTiles file"):
        ground_of(hunt_of(tmp_path, "a.mbtiles"))


def test_a_geotiff_lies_where_it_says(tmp_path: Path) -> None:
    rasterio = pytest.importorskip("rasterio")
    to_grid = Transformer.from_crs("EPSG:4326", "EPSG:32630", always_xy=True)
    east, north = to_grid.transform(HERE[1], HERE[0])
    grid = rasterio.Affine(5, 0, east - 1000, 0, -5, north + 1000)
    red_and_blue(tmp_path / "ground.tif", "EPSG:32630", grid)

    (one,) = ground_of(hunt_of(tmp_path, "ground.tif")).pictures

    assert seen(one, -10.0) == RED
    assert seen(one, 10.0) == BLUE
    assert seen(one, 300.0, -300.0) == BLUE


def test_a_geotiff_of_heights_is_stretched_from_black_to_white(tmp_path: Path) -> None:
    rasterio = pytest.importorskip("rasterio")
    to_grid = Transformer.from_crs("EPSG:4326", "EPSG:32630", always_xy=True)
    east, north = to_grid.transform(HERE[1], HERE[0])
    heights_m = np.full((1, 400, 400), 300.0, dtype=np.float32)
    heights_m[0, :, :150] = 200.0
    heights_m[0, :, 250:] = 400.0
    with rasterio.open(
        tmp_path / "ground.tif", "w", driver="GTiff", width=400, height=400, count=1,
        dtype="float32", crs="EPSG:32630",
        transform=rasterio.Affine(5, 0, east - 1000, 0, -5, north + 1000),
    ) as data:  # fmt: skip
        data.write(heights_m)

    (one,) = ground_of(hunt_of(tmp_path, "ground.tif")).pictures

    assert seen(one, -400.0) == (0, 0, 0, 255)
    assert seen(one, 0.0) == (127, 127, 127, 255)
    assert seen(one, 400.0) == (255, 255, 255, 255)


@pytest.mark.slow
def test_geojson_and_gpx_give_paths_woods_and_water(tmp_path: Path) -> None:
    box = [[-3.611, 52.3], [-3.609, 52.3], [-3.609, 52.301], [-3.611, 52.3]]
    features = [
        ({"natural": "wood"}, {"type": "Polygon", "coordinates": [box]}),
        ({"waterway": "stream"}, {"type": "LineString", "coordinates": box[:2]}),
        ({"name": "old"}, {"type": "MultiLineString", "coordinates": [box[:2]]}),
        ({}, {"type": "Point", "coordinates": box[0]}),
    ]
    table = {
        "type": "FeatureCollection",
        "features": [
            {"type": "Feature", "properties": p, "geometry": g} for p, g in features
        ],
    }
    (tmp_path / "paths.geojson").write_text(json.dumps(table), "utf-8")
    (tmp_path / "lanes.gpx").write_text(
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        '<trk><trkseg><trkpt lat="52.3" lon="-3.61"/><trkpt lat="52.301" lon="-3.61"/>'
        "</trkseg></trk></gpx>",
        "utf-8",
    )
    hunt = hunt_of(tmp_path, "paths.geojson", "lanes.gpx")

    lines = ground_of(hunt).lines

    assert [(line.sort, line.closed) for line in lines] == [
        ("wood", True),
        ("water", False),
        ("other", False),
        ("way", False),
    ]
    assert lines[0].longitude_deg[0] == -3.611
    assert hunt.locate().fix is not None  # the lanes are no track of that day


@pytest.mark.parametrize(
    ("name", "content", "fault"),
    [
        ("gone.png", None, "which is not in the hunt's folder"),
        ("../x.png", None, "which is not in the hunt's folder"),
        ("a.png", b"no picture", "has no world file"),
        ("a.tif", b"no picture", "GeoTIFF"),
        ("a.mbtiles", b"no base" * 99, "is no MBTiles file"),
        ("a.geojson", b"{", "is no GeoJSON"),
        ("a.geojson", b'{"type": "FeatureCollection", "features": []}', ""),
        ("a.geojson", OFF_THE_GLOBE, "no longitude and latitude"),
        ("a.gpx", b"<gpx", "is no GPX"),
        ("a.shp", b"x", "is not read"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_told_in_one_line(
    tmp_path: Path, name: str, content: bytes | None, fault: str
) -> None:
    folder = tmp_path / "hunt"
    folder.mkdir()
    if content is not None:
        (folder / name).write_bytes(content)
    hunt = hunt_of(folder, name)
    if not fault:
        assert ground_of(hunt).lines == ()
        return
    with pytest.raises(Exception, match=fault) as caught:
        ground_of(hunt)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("world", "more", "fault"),
    [
        ("1 0 0 -1 5 x", "", "is no world file"),
        ("1 0 0 0 5 5", "", "is no world file"),
        ("1 0 0 -1 458000 5794000", "", "which grid"),
        ("1 0 0 -1 458000 5794000", 'ground_crs = "my grid"', "no reference system"),
        ("1 0 0 -1 4 5", "", "picture is none that can be read"),
    ],
)
def test_a_faulty_world_file_is_told(
    tmp_path: Path, world: str, more: str, fault: str
) -> None:
    (tmp_path / "a.png").write_bytes(b"no picture")
    (tmp_path / "a.wld").write_text(world.replace(" ", "\n"), "ascii")
    with pytest.raises(HuntError, match=fault):
        ground_of(hunt_of(tmp_path, "a.png", more=more))


@pytest.mark.parametrize(
    ("name", "content", "fault"),
    [
        ("gone.png", None, "which is not in the hunt's folder"),
        ("a.png", b"no picture", "has no world file"),
        ("a.geojson", b"{", "is no GeoJSON"),
        ("a.shp", b"x", "is not read"),
    ],
)
def test_a_faulty_map_is_told_before_the_colony_is_worked_out(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    content: bytes | None,
    fault: str,
) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    hunt_of(tmp_path, name)
    located: list[Hunt] = []
    monkeypatch.setattr(Hunt, "locate", located.append)

    run = here("locate", cwd=tmp_path)

    assert run.returncode == 1
    assert located == []
    assert run.stdout == ""
    assert run.stderr.startswith("treeward: ")
    assert fault in run.stderr
    assert run.stderr.count("\n") == 1


def test_vector_tiles_are_told_of(tmp_path: Path) -> None:
    tiles(tmp_path / "a.mbtiles", 15, kind="pbf")
    with pytest.raises(HuntError, match="vector tiles"):
        ground_of(hunt_of(tmp_path, "a.mbtiles"))
    pmtiles(tmp_path / "a.pmtiles", 15, kind="MVT")
    with pytest.raises(HuntError, match="vector tiles"):
        ground_of(hunt_of(tmp_path, "a.pmtiles"))


@pytest.mark.slow
def test_the_ground_is_in_report_and_pictures(tmp_path: Path) -> None:
    tiles(tmp_path / "ground.mbtiles", 14)
    credit = "Survey of the made-up heath"
    hunt = hunt_of(tmp_path, "ground.mbtiles", more=f'ground_credit = "{credit}"')
    result = hunt.locate()

    written = hunt.write_results(result, online_map=True)

    page = written.report.read_text("utf-8")
    assert page.count("data:image/png;base64") >= 2
    online = (written.directory / "online-map.html").read_text("utf-8")
    assert "data:image/png;base64" not in online
    pixels = np.asarray(Image.open(written.directory / "map.png").convert("RGB"))
    reddish = (pixels[..., 0] > 200) & (pixels[..., 1] < 130) & (pixels[..., 2] < 130)
    assert reddish.mean() > 0.05
    figure: Any = map_figure(replace(result, ground=ground_of(hunt)), "page")
    assert credit in [text.get_text() for text in figure.axes[0].texts]
