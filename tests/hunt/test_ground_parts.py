"""The person's own map: how much of it is wanted, which tiles, and their colours."""

from __future__ import annotations

import gzip
import io
import json
import struct
import sys
import zlib
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image
from pyproj import Geod, Transformer

from hunt.found_world import HERE, answer, colony, off
from hunt.pmtiles_by_hand import archive, entry
from treeward.errors import HuntError
from treeward.hunt.ground import (
    MOST_TILES,
    _bands,
    _finest,
    _joined,
    _Part,
    _part,
    _rgba,
    _tiles_of,
    read_ground,
)
from treeward.hunt_file import parse_hunt_table
from treeward.survey.records import NextStation, SeatReason

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from treeward.measures import Position
    from treeward.report.model import Ground, HuntResult

FAULT = HuntError("is no file of tiles")
GLOBE = Geod(ellps="WGS84")
HALF_M = 20037508.342789244  # of the equator, as EPSG:3857 has it


def with_map(**table: object) -> HuntResult:
    told = {"hunt": {"name": "x", "timezone": "Europe/London"}, "map": table}
    return replace(answer(), hunt_file=parse_hunt_table(told, where="hunt.toml"))


def ground(folder: Path, *names: str, **more: object) -> Ground:
    read = read_ground(with_map(ground=names, **more), folder)
    assert read is not None
    return read


def sides_m(part: _Part) -> tuple[float, float]:
    """Return how wide and how high a part is on the ground."""
    lat = (part.south_deg + part.north_deg) / 2
    lon = (part.west_deg + part.east_deg) / 2
    wide = GLOBE.inv(part.west_deg, lat, part.east_deg, lat)[2]
    return float(wide), float(GLOBE.inv(lon, part.south_deg, lon, part.north_deg)[2])


def test_without_a_map_or_a_place_there_is_no_ground(tmp_path: Path) -> None:
    assert read_ground(answer(), tmp_path) is None
    named = with_map(ground=["gone.png"])
    assert read_ground(replace(named, stations=()), tmp_path) is None
    with pytest.raises(HuntError, match=r"\[map\] ground names 'gone\.png'") as told:
        read_ground(named, tmp_path)
    assert told.value.where == "hunt.toml"


@pytest.mark.parametrize(("name", "kind"), [("map.SHP", r"\.shp"), ("m", "no ending")])
def test_maps_of_other_kinds_are_named(tmp_path: Path, name: str, kind: str) -> None:
    (tmp_path / name).write_text("x", "utf-8")
    with pytest.raises(HuntError, match=rf"a map of this kind \({kind}\)") as told:
        ground(tmp_path, name)
    assert told.value.where == name


def holds(part: _Part, place: Position) -> bool:
    return (
        part.west_deg < place.longitude_deg < part.east_deg
        and part.south_deg < place.latitude_deg < part.north_deg
    )


def test_the_country_of_a_hunt_is_wider_than_all_that_is_in_it() -> None:
    found = colony("A", off(2_000, 0), halves_m=(50, 100, 600))
    whole = _part(answer(found))
    wide, high = sides_m(whole)
    # From the station to the far side of the area it is 2.6 km, and as much and
    # more is shown beside it as a map may be wider than it is high.
    assert 3 < high / 2_600 < 4
    assert wide == pytest.approx(high, rel=0.02)
    assert holds(whole, off(2_600, 0))
    middle = (whole.south_deg + whole.north_deg) / 2
    assert middle == pytest.approx(off(1_300, 0).latitude_deg, abs=1e-5)
    # A seat beyond all of it is in it too, and so is the best place alone.
    seat = off(9_000, 180)
    next_one = NextStation(
        latitude_deg=seat.latitude_deg, longitude_deg=seat.longitude_deg,
        from_station="1", walk_m=1.0, walk_bearing_true_deg=1.0,
        expected_area_90_m2=1.0, area_90_m2=1.0, why=SeatReason.NEARER,
    )  # fmt: skip
    farther = _part(answer(replace(found, next_station=next_one)))
    assert holds(farther, seat)
    assert sides_m(farther)[1] > 3 * 11_600
    bare = _part(answer(replace(found, search_areas={})))
    assert 3 < sides_m(bare)[1] / 2_000 < 4


def test_east_and_west_count_in_metres_too() -> None:
    wide, high = sides_m(_part(answer(colony("A", off(2_000, 90), halves_m=(1, 1, 1)))))
    assert 3 < wide / 2_000 < 4
    assert high == pytest.approx(wide, rel=0.02)


def test_about_a_lone_station_some_hundred_metres_are_shown() -> None:
    part = _part(answer())
    wide, high = sides_m(part)
    assert 3 < high / 444 < 4
    assert wide == pytest.approx(high, rel=0.02)
    assert (part.west_deg + part.east_deg) / 2 == pytest.approx(HERE.longitude_deg)


def test_a_hunt_across_the_date_line_is_a_small_one() -> None:
    first, second = answer().stations[0], answer().stations[0]
    for lon, other in ((179.99, -179.99), (-179.99, 179.99)):
        pair = (
            replace(first, longitude_deg=lon, latitude_deg=-17.0),
            replace(second, longitude_deg=other, latitude_deg=-17.0),
        )
        part = _part(replace(answer(), stations=pair))
        assert 0.06 < part.east_deg - part.west_deg < 0.08
        assert abs((part.east_deg + part.west_deg) / 2) == pytest.approx(180)


def test_a_map_ends_where_its_projection_does() -> None:
    (station,) = answer().stations
    for lat in (84.999, -84.999):
        place = (replace(station, latitude_deg=lat),)
        part = _part(replace(answer(), stations=place))
        assert -85 <= part.south_deg < part.north_deg <= 85


@pytest.mark.parametrize(
    ("level", "lon", "lat", "tile"),
    [
        (0, 10.0, 50.0, (0, 0)),
        (1, -1.0, 50.0, (0, 0)),
        (1, 1.0, -50.0, (1, 1)),
        (2, -179.0, 84.9, (0, 0)),
        (2, 179.0, -84.9, (3, 3)),
        (10, -3.6, 52.3, (501, 336)),
    ],
)
def test_a_place_lies_in_one_tile_of_a_level(
    level: int, lon: float, lat: float, tile: tuple[int, int]
) -> None:
    part = _Part(west_deg=lon, east_deg=lon, south_deg=lat, north_deg=lat)
    columns, rows = _tiles_of(part, level)
    assert (list(columns), list(rows)) == ([tile[0]], [tile[1]])
    # By the projection itself: rows are counted from the north.
    to_web = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
    x, y = to_web.transform(lon, lat)
    side = 2 * HALF_M / 2**level
    assert tile == (int((x + HALF_M) // side), int((HALF_M - y) // side))


def test_tiles_of_a_part_go_from_its_north_west_to_its_south_east() -> None:
    part = _Part(west_deg=-91.0, east_deg=1.0, south_deg=-1.0, north_deg=80.0)
    columns, rows = _tiles_of(part, 2)
    assert (list(columns), list(rows)) == ([0, 1, 2], [0, 1, 2])


def drawn(part: _Part, levels: Iterable[object]) -> set[tuple[int, int, int]]:
    """Return which tiles are asked for, of tiles that are not there."""
    asked: set[tuple[int, int, int]] = set()

    def tile(level: int, column: int, row: int) -> None:
        asked.add((level, column, row))

    path: Any = None
    assert list(_finest(path, part, levels, tile, FAULT)) == []
    return asked


def test_the_finest_level_that_wants_few_tiles_is_taken() -> None:
    part = _part(answer())
    levels = list(range(24, -1, -1))
    asked = drawn(part, levels)
    (level,) = {one for one, _, _ in asked}
    assert len(asked) <= MOST_TILES
    columns, rows = _tiles_of(part, level)
    assert asked == {(level, c, r) for c in columns for r in rows}
    finer = _tiles_of(part, level + 1)
    assert len(finer[0]) * len(finer[1]) > MOST_TILES
    assert {one for one, _, _ in drawn(part, [level - 1, level - 2])} == {level - 1}
    assert drawn(part, [24]) == set()  # too many, and there is no other


def test_as_many_tiles_as_are_looked_up_and_not_one_more() -> None:
    # At level 6 tiles are 5.625 degrees wide; eight by eight of them about the equator.
    west = -22.5 + 1
    east, north = west + 7 * 5.625, 20.0
    columns, rows = _tiles_of(
        _Part(west_deg=west, east_deg=east, south_deg=-north, north_deg=north), 6
    )
    assert (len(columns), len(rows)) == (8, 8)
    part = _Part(west_deg=west, east_deg=east, south_deg=-north, north_deg=north)
    assert len(drawn(part, [6])) == 64
    wider = replace(part, east_deg=east + 5.625)
    assert drawn(wider, [6]) == set()


@pytest.mark.parametrize("level", [-1, 25, "12", 3.0, None])
def test_a_level_that_cannot_be_is_a_fault(level: object) -> None:
    with pytest.raises(HuntError, match="is no file of tiles"):
        drawn(_part(answer()), [level])


def png(colour: tuple[int, ...], side: int = 256) -> bytes:
    file = io.BytesIO()
    Image.new("RGBA", (side, side), colour).save(file, "PNG")
    return file.getvalue()


RED, BLUE, GREEN = (255, 0, 0, 255), (0, 0, 255, 255), (0, 255, 0, 255)


def test_tiles_are_put_together_where_they_lie(tmp_path: Path) -> None:
    kept = {
        (501, 337): png(RED),
        (502, 337): png(BLUE, 512),
        (502, 338): png(GREEN, 128),
    }

    def tile(_level: int, column: int, row: int) -> bytes | None:
        return kept.get((column, row))

    path = tmp_path / "a.mbtiles"
    (one,) = _joined(path, 10, range(501, 503), range(337, 339), tile)
    assert one.pixels.shape == (512, 512, 4)
    for (row, column), colour in (
        ((0, 0), RED), ((255, 255), RED), ((0, 256), BLUE), ((255, 511), BLUE),
        ((256, 256), GREEN), ((511, 511), GREEN),
        ((256, 255), (0, 0, 0, 0)), ((511, 0), (0, 0, 0, 0)),
    ):  # fmt: skip
        assert tuple(one.pixels[row, column]) == colour
    # Level 10 has 1024 tiles of 256 pixels round the equator.
    a, b, c, d, e, f = one.affine
    size = 2 * HALF_M / 1024 / 256
    assert (a, b, d, e) == pytest.approx((size, 0.0, 0.0, -size))
    corner = (501 * 256 * size - HALF_M, HALF_M - 337 * 256 * size)
    assert (c, f) == pytest.approx(corner)
    assert one.crs == "EPSG:3857"
    assert list(_joined(path, 10, range(1, 3), range(1, 3), tile)) == []


def test_tiles_beyond_the_date_line_are_those_of_the_other_side(tmp_path: Path) -> None:
    asked = []

    def tile(_level: int, column: int, _row: int) -> None:
        asked.append(column)

    assert list(_joined(tmp_path, 2, range(3, 6), range(1, 2), tile)) == []
    assert asked == [3, 0, 1]


def test_a_picture_may_have_so_many_pixels_and_no_more(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    assert _rgba(path, png(RED, 10), most_pixels=100).shape == (10, 10, 4)
    with pytest.raises(HuntError, match="the picture has 11 by 11 pixels") as told:
        _rgba(path, png(RED, 11), most_pixels=120)
    assert told.value.where == "a.png"


WORLD = "0.001\n0\n0\n-0.001\n-3.6\n52.3\n"


@pytest.mark.parametrize(
    ("picture", "world"),
    [
        ("a.png", "a.pgw"), ("a.png", "a.pngw"), ("a.png", "a.wld"),
        ("a.png", "a.PGW"), ("a.jpg", "a.jgw"), ("a.jpeg", "a.jgw"),
        ("a.bmp", "a.bpw"), ("a.GIF", "a.wld"), ("a.tif", "a.tfw"),
    ],
)  # fmt: skip
def test_a_world_file_has_the_letters_of_its_picture(
    tmp_path: Path, picture: str, world: str
) -> None:
    Image.new("RGB", (4, 2), RED[:3]).save(tmp_path / picture)
    (tmp_path / world).write_text(WORLD, "ascii")
    (one,) = ground(tmp_path, picture).pictures
    assert one.pixels.shape == (2, 4, 4)
    assert one.crs == "EPSG:4326"


def test_a_world_file_tells_of_the_middle_of_the_first_pixel(tmp_path: Path) -> None:
    # ESRI world file: x scale, two turns, y scale, then the first pixel's middle.
    Image.new("RGB", (4, 2), RED[:3]).save(tmp_path / "a.png")
    for numbers in ((3.0, 0.5, 0.25, -2.0, 10.0, 20.0), (0.0, 2.0, 3.0, 0.0, 5.0, 6.0)):
        (tmp_path / "a.pgw").write_text(" ".join(map(str, numbers)), "ascii")
        (one,) = ground(tmp_path, "a.png").pictures
        a, b, c, d, e, f = one.affine
        assert (a, d, b, e) == numbers[:4]
        middle = (a * 0.5 + b * 0.5 + c, d * 0.5 + e * 0.5 + f)
        assert middle == pytest.approx(numbers[4:])


@pytest.mark.parametrize(
    ("text", "good"),
    [
        ("1 0 0 -1 180 90", True),
        ("1 0 0 -1 -180 -90 more", True),
        ("1 0 0 -1 181 0", False),
        ("1 0 0 -1 0 91", False),
        ("1 0 0 -1 0", False),
        ("1 2 2 4 0 0", False),  # all of it on one line
        ("1 0 0 nan 0 0", False),
        ("1 0 0 -1 inf 0", False),
        ("1 0 0 -1 0 é", False),
    ],
)
def test_a_picture_in_degrees_needs_no_grid_and_others_do(
    tmp_path: Path, text: str, *, good: bool
) -> None:
    Image.new("RGB", (4, 2), RED[:3]).save(tmp_path / "a.png")
    (tmp_path / "a.pgw").write_text(text, "utf-8")
    if good:
        assert ground(tmp_path, "a.png").pictures[0].crs == "EPSG:4326"
        return
    with pytest.raises(HuntError, match=r"which grid|is no world file") as told:
        ground(tmp_path, "a.png")
    assert told.value.where in {"a.png", "a.pgw"}


def test_a_prj_file_stands_before_hunt_toml(tmp_path: Path) -> None:
    Image.new("RGB", (4, 2), RED[:3]).save(tmp_path / "a.png")
    (tmp_path / "a.pgw").write_text(WORLD, "ascii")
    (one,) = ground(tmp_path, "a.png", ground_crs=" EPSG:27700 ").pictures
    assert "British National Grid" in one.crs
    (tmp_path / "a.prj").write_text("EPSG:32630", "ascii")
    (one,) = ground(tmp_path, "a.png", ground_crs="EPSG:27700").pictures
    assert "UTM zone 30N" in one.crs
    (tmp_path / "a.prj").write_text("my  own " * 9, "ascii")
    with pytest.raises(HuntError, match="is no reference system") as told:
        ground(tmp_path, "a.png", ground_crs="EPSG:27700")
    assert told.value.where == "a.prj"
    (tmp_path / "a.prj").unlink()
    with pytest.raises(HuntError, match="'mine' is no reference system") as told:
        ground(tmp_path, "a.png", ground_crs="mine")
    assert told.value.where == "hunt.toml"


def test_all_that_is_named_lies_there_in_its_order_with_its_credit(
    tmp_path: Path,
) -> None:
    for name, colour in (("b.png", BLUE), ("a.PNG", RED)):
        Image.new("RGB", (1, 1), colour[:3]).save(tmp_path / name)
        (tmp_path / name).with_suffix(".wld").write_text(WORLD, "ascii")
    read = ground(tmp_path, "b.png", "a.PNG", ground_credit="drawn by hand")
    assert [tuple(one.pixels[0, 0]) for one in read.pictures] == [BLUE, RED]
    assert read.credit == "drawn by hand"
    assert read.lines == ()


def lines(*names: str) -> str:
    ways = "".join(
        f"<trk>{f'<name>{name}</name>' if name else ''}<trkseg>"
        '<trkpt lat="52.3" lon="-3.6"/><trkpt lat="52.4" lon="-3.7"/></trkseg></trk>'
        for name in names
    )
    return (
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        f"{ways}</gpx>"
    )


def test_what_a_line_is_goes_by_the_first_word_that_says_it(tmp_path: Path) -> None:
    said = {
        "Mill-Pond": "water", "the old wood": "wood", "Forest road": "wood",
        "bridleway": "way", "tree_row": "wood", "": "way", "Ann": "way",
    }  # fmt: skip
    (tmp_path / "a.gpx").write_text(lines(*said), "utf-8")
    read = ground(tmp_path, "a.gpx").lines
    assert [line.sort for line in read] == list(said.values())
    assert not any(line.closed for line in read)
    assert read[0].latitude_deg.tolist() == [52.3, 52.4]
    assert read[0].longitude_deg.tolist() == [-3.6, -3.7]


class Data:
    """A GeoTIFF as its reader gives it: bands, a table of colours, what is known."""

    def __init__(self, *bands: Any, table: Any = None, mask: Any = None) -> None:
        self.bands, self.table = [np.array(b) for b in bands], table
        self.mask = np.array(mask) if mask is not None else 255 + 0 * self.bands[0]
        self.count = len(bands)

    def dataset_mask(self, **_: object) -> Any:
        return self.mask

    def read(self, which: int | list[int], **_: object) -> Any:
        if isinstance(which, int):
            return self.bands[which - 1]
        return np.stack([self.bands[one - 1] for one in which])

    def colormap(self, band: int) -> Any:
        assert band == 1
        if self.table is None:
            raise ValueError(band)
        return self.table


def bands(*args: Any, **more: Any) -> Any:
    return _bands(Data(*args, **more), None, (1, 2)).tolist()


def test_three_bands_are_red_green_and_blue() -> None:
    one = [np.array([[n, n + 1]], dtype=np.uint8) for n in (10, 20, 30, 40)]
    assert bands(*one[:3]) == [[[10, 20, 30, 255], [11, 21, 31, 255]]]
    assert bands(*one) == [[[10, 20, 30, 255], [11, 21, 31, 255]]]


def test_one_band_has_the_colours_of_its_table_or_is_grey() -> None:
    one = np.array([[0, 2]], dtype=np.uint8)
    table = {0: (1, 2, 3, 255), 1: (0, 0, 0, 255), 2: (7, 8, 9, 255)}
    assert bands(one, table=table) == [[[1, 2, 3, 255], [7, 8, 9, 255]]]
    assert bands(one) == [[[0, 0, 0, 255], [2, 2, 2, 255]]]
    # A number beyond the table has its last colour.
    beyond = np.array([[0, 200]], dtype=np.uint8)
    assert bands(beyond, table=table)[0][1] == [7, 8, 9, 255]


def test_heights_are_stretched_from_the_lowest_to_the_highest_that_is_known() -> None:
    heights = np.array([[100.0, 300.0, 200.0, -9999.0]])
    mask = np.array([[255, 255, 255, 0]], dtype=np.uint8)
    seen = bands(heights, mask=mask)[0]
    assert [pixel[0] for pixel in seen] == [0, 255, 127, 0]
    assert [pixel[3] for pixel in seen] == [255, 255, 255, 0]
    # Of a plain, or of nothing known, every height is the lowest.
    assert bands(np.array([[50.0, 50.0]]))[0][0][:3] == [0, 0, 0]
    assert bands(heights, mask=0 * mask)[0][0][3] == 0


@pytest.mark.parametrize(
    ("wide", "fault"),
    [
        (60_000_000, "is none that can be read"),  # it holds no pixels
        (60_000_001, "has 60000001 by 1 pixels"),
    ],
)
def test_a_picture_of_sixty_million_pixels_is_the_largest(
    tmp_path: Path, wide: int, fault: str
) -> None:
    head = b"IHDR" + struct.pack(">II", wide, 1) + b"\x08\x06\0\0\0"
    raw = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + head
    raw += struct.pack(">I", zlib.crc32(head)) + struct.pack(">I", 9) + b"IDAT"
    with pytest.raises(HuntError, match=fault):
        _rgba(tmp_path / "a.png", raw)


@pytest.mark.parametrize(
    ("name", "text", "most"), [("a.pgw", WORLD, 10_000), ("a.prj", "EPSG:4326", 10**5)]
)
def test_what_stands_beside_a_picture_is_short(
    tmp_path: Path, name: str, text: str, most: int
) -> None:
    Image.new("RGB", (4, 2), RED[:3]).save(tmp_path / "a.png")
    (tmp_path / "a.pgw").write_text(WORLD, "ascii")
    (tmp_path / name).write_text(text.ljust(most), "ascii")
    assert len(ground(tmp_path, "a.png").pictures) == 1
    (tmp_path / name).write_text(text.ljust(most + 1), "ascii")
    with pytest.raises(HuntError, match="MB large"):
        ground(tmp_path, "a.png")


def test_of_two_world_files_the_shorter_ending_counts(tmp_path: Path) -> None:
    Image.new("RGB", (4, 2), RED[:3]).save(tmp_path / "a.png")
    for size, ending in ((4, "wld"), (3, "pngw"), (2, "pgw")):
        world = f"{size}\n0\n0\n-{size}\n0\n0\n"
        (tmp_path / f"a.{ending}").write_text(world, "ascii")
        assert ground(tmp_path, "a.png").pictures[0].affine[0] == size


def geotiff(path: Path, grid: tuple[float, ...], crs: str | None = "EPSG:4326") -> None:
    """Write 100 by 100 pixels: red tells the column, green the row."""
    rasterio = pytest.importorskip("rasterio")
    row, column = np.indices((100, 100), dtype=np.uint8)
    with rasterio.open(
        path, "w", driver="GTiff", width=100, height=100, count=3, dtype="uint8",
        crs=crs, transform=rasterio.Affine(*grid),
    ) as data:  # fmt: skip
        data.write(np.stack([column, row, 0 * row]))


NORTH_UP = (0.001, 0.0, -3.65, 0.0, -0.001, 52.35)


def test_of_a_geotiff_the_pixels_about_the_hunt_are_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # About a lone station at 52.3 N, 3.6 W are shown 52.29296 to 52.30704 N and, as
    # wide in metres, 3.61151 to 3.58849 W: of pixels of a thousandth of a degree
    # the columns 38 to 61 and the rows 42 to 57.
    geotiff(tmp_path / "a.tif", NORTH_UP)
    (one,) = ground(tmp_path, "a.tif").pictures
    assert one.pixels.shape == (16, 24, 4)
    assert one.pixels[0, 0].tolist() == [38, 42, 0, 255]
    assert one.pixels[-1, -1].tolist() == [61, 57, 0, 255]
    assert one.affine == pytest.approx((0.001, 0, -3.612, 0, -0.001, 52.308))
    # Of a larger one every second pixel is kept, twice as large.
    monkeypatch.setattr("treeward.hunt.ground.MOST_ACROSS", 12)
    (half,) = ground(tmp_path, "a.tif").pictures
    assert half.pixels.shape == (8, 12, 4)
    assert half.affine == pytest.approx((0.002, 0, -3.612, 0, -0.002, 52.308))


def test_a_geotiff_that_lies_on_its_side_is_taken_as_it_lies(tmp_path: Path) -> None:
    # Rows go east and columns go north.
    geotiff(tmp_path / "a.tif", (0.0, 0.001, -3.65, 0.001, 0.0, 52.25))
    (one,) = ground(tmp_path, "a.tif").pictures
    assert one.pixels.shape == (24, 16, 4)
    assert one.pixels[0, 0].tolist() == [42, 38, 0, 255]
    assert one.affine == pytest.approx((0, 0.001, -3.612, 0.001, 0, 52.292))


@pytest.mark.parametrize(("east", "north"), [(1, 0), (-1, 0), (0, 1), (0, -1)])
def test_a_geotiff_of_elsewhere_gives_no_picture(
    tmp_path: Path, east: int, north: int
) -> None:
    a, b, c, d, e, f = NORTH_UP
    geotiff(tmp_path / "a.tif", (a, b, c + east, d, e, f + north))
    assert ground(tmp_path, "a.tif").pictures == ()


def test_a_geotiff_that_does_not_say_where_it_lies_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    geotiff(tmp_path / "a.tif", NORTH_UP, crs=None)
    with pytest.raises(HuntError, match="does not say where it lies") as told:
        ground(tmp_path, "a.tif")
    assert told.value.where == "a.tif"
    monkeypatch.setitem(sys.modules, "rasterio", None)
    with pytest.raises(HuntError, match=r"pip install 'treeward\[ground\]'"):
        ground(tmp_path, "a.tif")


def test_outlines_come_before_lines_and_say_what_they_are(tmp_path: Path) -> None:
    ring = [[-3.6, 52.3], [-3.5, 52.3], [-3.5, 52.4], [-3.6, 52.3]]
    shapes = (
        ({"waterway": "stream"}, "LineString", ring[:2]),
        ({"natural": "wood"}, "Polygon", [ring]),
        ({"name": "old"}, "LineString", ring[:2]),
    )
    features = [
        {"type": "Feature", "properties": p, "geometry": {"type": t, "coordinates": c}}
        for p, t, c in shapes
    ]
    whole = {"type": "FeatureCollection", "features": features}
    (tmp_path / "a.geojson").write_text(json.dumps(whole), "utf-8")
    read = ground(tmp_path, "a.geojson").lines
    assert [(one.sort, one.closed) for one in read] == [
        ("wood", True), ("water", False), ("other", False)
    ]  # fmt: skip
    assert read[0].longitude_deg[:2].tolist() == [-3.6, -3.5]
    assert read[0].latitude_deg[:2].tolist() == [52.3, 52.3]


ALL = 2**40  # tiles of a run: more than there are to level 19


def put(
    path: Path,
    directories: Sequence[bytes],
    data: bytes,
    *,
    zooms: tuple[int, int] = (0, 16),
    packed: int = 1,
) -> None:
    """Write a file of a root, then leaves, then tiles, no directory packed."""
    root, leaves = directories[0], b"".join(directories[1:])
    path.write_bytes(
        archive(
            root, leaves=leaves, data=data, packed=1, tiles_packed=packed, zooms=zooms
        )
    )


@pytest.mark.parametrize(
    ("zooms", "level"),
    [((0, 15), 15), ((16, 17), 16), ((16, 16), 16), ((17, 18), None)],
)
def test_of_pmtiles_the_finest_level_of_few_tiles_is_drawn(
    tmp_path: Path, zooms: tuple[int, int], level: int | None
) -> None:
    # A lone station wants 1.4 km each way: at level 17 some 8 tiles and more each way.
    pytest.importorskip("pmtiles")
    raw = png(RED)
    put(tmp_path / "a.pmtiles", [entry(ALL, len(raw))], raw, zooms=zooms)
    read = ground(tmp_path, "a.pmtiles").pictures
    sizes = [] if level is None else [2 * HALF_M / 2**level / 256]
    assert [one.affine[0] for one in read] == pytest.approx(sizes)
    assert all((one.pixels == RED).all() for one in read)


def test_leaves_of_pmtiles_are_followed_three_deep_and_no_deeper(
    tmp_path: Path,
) -> None:
    pytest.importorskip("pmtiles")
    raw = png(BLUE)
    tiles, before = entry(ALL, len(raw), 5), b"x" * 7
    path = tmp_path / "a.pmtiles"
    # Each lies behind the one that it leads to, and the first behind something else.
    leaves, at = [before, tiles], len(before)
    for deep in (1, 2, 3):
        put(path, [entry(0, len(leaves[-1]), at), *leaves], b"12345" + raw)
        (one,) = ground(tmp_path, "a.pmtiles").pictures
        assert (one.pixels == BLUE).all(), deep
        behind = at + len(leaves[-1])
        leaves.append(entry(0, len(leaves[-1]), at))
        at = behind
    put(path, [entry(0, len(leaves[-1]), at), *leaves], b"12345" + raw)
    with pytest.raises(HuntError, match="is no PMTiles file"):
        ground(tmp_path, "a.pmtiles")


@pytest.mark.parametrize("limit", ["MOST_TILE_BYTES", "MOST_DIRECTORIES_BYTES"])
def test_so_much_of_pmtiles_is_read_and_no_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str
) -> None:
    pytest.importorskip("pmtiles")
    raw = png(RED)
    root = entry(ALL, len(raw))
    put(tmp_path / "a.pmtiles", [root], raw)
    # The one directory is read once for all tiles.
    most = len(raw) if limit == "MOST_TILE_BYTES" else len(root)
    monkeypatch.setattr(f"treeward.hunt.ground.{limit}", most)
    assert len(ground(tmp_path, "a.pmtiles").pictures) == 1
    monkeypatch.setattr(f"treeward.hunt.ground.{limit}", most - 1)
    with pytest.raises(HuntError, match="is no PMTiles file"):
        ground(tmp_path, "a.pmtiles")


def test_packed_tiles_are_unpacked(tmp_path: Path) -> None:
    pytest.importorskip("pmtiles")
    raw = gzip.compress(png(RED))
    put(tmp_path / "a.pmtiles", [entry(ALL, len(raw))], raw, packed=2)
    (one,) = ground(tmp_path, "a.pmtiles").pictures
    assert (one.pixels == RED).all()
