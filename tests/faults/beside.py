"""Good files of the kinds that lie beside the notes, and the parts of them.

Finds, what they taught, maps under the answer, notes typed with clock times, and the
hunt.toml of one of two hunts that are merged. All invented.
"""

from __future__ import annotations

import io
import json
import sqlite3
from contextlib import closing, suppress
from functools import cache

from hypothesis import strategies as st

from . import seeds

# Kind -> the endings or names with which its files come.
ENDINGS = {
    "found": ("found.toml",),
    "season": ("season.json",),
    "mbtiles": (".mbtiles",),
    "geojson": (".geojson", ".json"),
    "gpx ground": (".gpx",),
    "typed": (".txt",),
    "merged": ("one", "other"),
}
GROUND = frozenset({"mbtiles", "geojson", "gpx ground"})
_FOUND = (
    """\
# my own words
[[find]]
id = "1"
position = "52.304500, -3.613300"
found = 2026-07-14
placed_by = "track"
nest = "tree"
height_m = 6.5
entrance = "south-east, a knot hole"
photos = ["oak.jpg", "hole.jpg"]
may_know = ["Ann"]

[[look]]
find = "1"
seen = 2027-04-02
state = "alive"
remark = "busy"
""",
    """\
[[find]]
id = "1"
position = "-77.1, 179.99"
found = 2026-07-14
[[find]]
id = 2
position = "30U 458400 5794400"
found = 2026-08-01
colony = "B"
""",
)
_LESSON = {
    "hunt": "Fern Bank", "find": "1", "latitude_deg": 52.3, "longitude_deg": -3.6,
    "cargos": ["water"], "trips": 9, "bearings": 3,
    "precision": [[90.0, 12.0], [12.0, 40.0]], "weighted": [4.5, -2.0],
    "offsets": [{"observer": "", "precision": 0.3, "weighted": 0.6}],
}  # fmt: skip
_SEASON = (
    json.dumps({"format": "treeward season 1", "lessons": [_LESSON]}, indent=1),
    json.dumps(
        {
            "format": "treeward season 1",
            "lessons": [
                _LESSON,
                {**_LESSON, "hunt": "Lane End", "cargos": ["syrup"], "offsets": []},
                {**_LESSON, "hunt": "Marl Hollow"},
            ],
        }
    ),
)
_RING = [[-3.62, 52.30], [-3.60, 52.30], [-3.60, 52.31], [-3.62, 52.30]]


def _feature(kind: str, coordinates: object, **properties: object) -> dict[str, object]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


_GEOJSON = (
    json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                _feature("Polygon", [_RING], natural="wood", weight=2),
                _feature("LineString", _RING[:2], highway="track"),
                _feature("Point", [-3.61, 52.305], type="tree", weight=0.5),
                _feature("MultiPolygon", [[_RING], [_RING]], landuse="forest"),
                _feature("MultiPoint", _RING, name="oak"),
                {"type": "Feature", "properties": None, "geometry": None},
            ],
        }
    ),
    json.dumps(
        {
            "type": "GeometryCollection",
            "crs": {"type": "name", "properties": {"name": "EPSG:27700"}},
            "geometries": [
                {
                    "type": "MultiLineString",
                    "coordinates": [[[289500, 268200], [289900, 268600]]],
                }
            ],
        }
    ),
)
_GPX_GROUND = (
    seeds.GPX_HEAD + "<trk><name>wood edge</name><type>wood</type><trkseg>"
    '<trkpt lat="52.300" lon="-3.610"/><trkpt lat="52.301" lon="-3.612"/>'
    '<trkpt lat="52.302" lon="-3.611"/><trkpt lat="52.300" lon="-3.610"/>'
    '</trkseg></trk><rte><name>lane</name><rtept lat="52.3" lon="-3.61"/>'
    '<rtept lat="52.31" lon="-3.62"/></rte><wpt lat="52.303" lon="-3.611">'
    "<name>oak</name><sym>Tree</sym></wpt></gpx>",
    seeds.TEXTS["gpx"][0],
)
_TYPED = (
    ("2026-07-14\nstation 1\n9:05 yellow away, north east\nyellow 9.07 back\n"
    "0912 Y back 0918 Y off 220\n# mine\n9:20 blue and white away after 3 min 20 s\n"
    "wind light from 225\n"),
    ("Heath, 14 July 2026\ntime,mark,event,bearing,remark\n"
    "10:01,yellow,away,210,gusts\n10:06,yellow,back,,\n"),
    "14/7/2026\ntime;yellow;white\n9.05;away;\n9.11;back;away 200\n9.30 pm;off;in\n",
)  # fmt: skip
_MERGED = (
    *seeds.TEXTS["hunt"],
    """\
learned_from = "../season.json"
same_bee = ["Yellow", "red"]
[hunt]
name = "Marl Hollow"
timezone = "Europe/London"
compass = "true"
marks = ["yellow", "red"]
[[station]]
id = "1"
position = "52.301900, -3.610400"
[[station]]
id = "2"
[[recording]]
name = "2026*.vtt"
observer = "Ben"
station = "1"
[[colony]]
id = "A"
marks = ["yellow"]
[start]
"x.wav" = "2026-07-14 10:20"
[search]
tracks = ["walk.gpx"]
[[searched]]
area = ["52.300, -3.612", "52.301, -3.612", "52.301, -3.609"]
""",
)
TEXTS = {
    "found": _FOUND,
    "season": _SEASON,
    "geojson": _GEOJSON,
    "gpx ground": _GPX_GROUND,
    "typed": _TYPED,
    "merged": _MERGED,
}
_NUMBERS = (
    *("1e999", "-1", "NaN", "Infinity", "null", "true", "[]", "{}", "9" * 400, "0"),
    *("1e300", "-1e12", "1e-300", "181", "-91", "9" * 5000),
)
_SIGNS = (":", ",", "[", "]", "{", "}", "\n", *_NUMBERS)
TOKENS = {
    "found": (
        "[[find]]\n", "[[look]]\n", "[find]\n", "find = 3\n", 'id = "1"\n',
        'id = "2"\n',
        'position = "52.3, -3.6"\n', 'position = "89.9, 0"\n',
        'position = "-85, 200"\n',
        "found = 2026-07-14\n", "found = 0001-01-01\n",
        "found = 2026-07-14T10:00:00Z\n",
        'found = "2026-07-14"\n', "height_m = 1e999\n", "height_m = nan\n", "x = 1\n",
        'nest = "tree"\n', 'photos = ["../../outside/kept.wav"]\n', 'find = "1"\n',
        "seen = 2027-01-01\n", 'state = "alive"\n', 'state = "moved in"\n', '"', "'",
        'remark = "\\u001b[2J"\n', "# a remark\n", "'''", '"""', "=", *_NUMBERS,
    ),
    "season": (
        *_SIGNS, *(f'"{key}"' for key in _LESSON), '"lessons"', '"format"',
        '"treeward season 1"', '"water"', '"syrup"',
        '"precision": [[1e12, -1e12], [0, 0]]',
        '"weighted": [1e12, -1e12]', '"observer"', '"\\ud800"', "[[1,2],[3]]",
        '"cargos": []', '"cargos": ["water", "water"]', '"latitude_deg": 90',
    ),
    "geojson": (
        *_SIGNS, '"type"', '"coordinates"', '"features"', '"geometries"', '"crs"',
        '"properties"', '"geometry"', '"weight"', '"Feature"', '"Polygon"', '"Point"',
        '"FeatureCollection"', '"GeometryCollection"', '"LineString"', '"MultiPoint"',
        '{"type":"name","properties":{"name":"EPSG:4326"}}', '"EPSG:0"', "[0, 0]",
        '"+proj=utm +zone=30 +nadgrids=/etc/passwd"', "[[0, 0], [1, 1]]", '"\\ud800"',
        f"[{'9' * 400}, 1]", '{"type": "Point", "coordinates": [0, 0]}', "[true, {}]",
    ),
    "gpx ground": (*seeds.TOKENS["gpx"], "<rte>", "<rtept/>", "<sym>", "<type>"),
    "typed": (
        "9:05 ", "0912 ", "25:99 ", "9.30 pm ", "13 pm", "12:00 am", "24:00 ",
        "yellow ",
        "Y ", "away ", "back ", "off ", "220", "north east", "361", "999 true",
        "after 9999 min", "for 3:20 ", "2026-07-14\n", "31 February 2026\n",
        "1/1/0001\n",
        "31.12.9999\n", "time,mark,event,bearing\n", "time;yellow;white\n",
        "station 2\n",
        "date,time,station,remark\n", ",", ";", "\t", "&", "+", "and ", "\n", "# ",
        "wind calm\n", "[0:01] ", "bearing two ten ", "200 deg magnetic ", "'",
    ),
    "merged": (*seeds.TOKENS["hunt"], '"../season.json"', '"yellow"', "[[searched]]\n"),
}  # fmt: skip


@cache
def picture() -> bytes:
    """Return a tile: a PNG of 8 by 8."""
    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (8, 8), (40, 120, 60)).save(out, "PNG")
    return out.getvalue()


_TILES = (
    "CREATE TABLE tiles (zoom_level INTEGER, tile_column INTEGER, tile_row INTEGER, "
    "tile_data BLOB)"
)
_SCHEMES = (
    *(_TILES,) * 12,  # those without end take a second each
    "CREATE TABLE tiles (zoom_level, tile_column, tile_row, tile_data)",
    "CREATE TABLE tiles (zoom_level)",
    "CREATE TABLE x (y)",
    # Rows without end, and rows that are dear.
    (
        "CREATE VIEW tiles AS WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 "
        "FROM n) SELECT 14 AS zoom_level, x % 3 AS tile_column, x % 5 AS tile_row, "
        "x AS tile_data FROM n"
    ),
    (
        "CREATE VIEW tiles AS SELECT 14 AS zoom_level, 1 AS tile_column, "
        "1 AS tile_row, zeroblob(900000000) AS tile_data"
    ),
)


def tile_file(
    scheme: str = _TILES,
    told: tuple[tuple[object, object], ...] = (("format", "png"),),
    rows: tuple[tuple[object, ...], ...] = (),
) -> bytes:
    """Return an MBTiles file; what SQLite does not take stays out."""
    with closing(sqlite3.connect(":memory:")) as base:
        base.execute("CREATE TABLE metadata (name, value)")
        base.executemany("INSERT INTO metadata VALUES (?, ?)", told)
        base.execute(scheme)
        with suppress(sqlite3.Error):
            base.executemany("INSERT INTO tiles VALUES (?, ?, ?, ?)", rows)
        base.commit()
        return bytes(base.serialize())


# Level, column and row of the tile that holds the hunt of the tests, from the south.
HERE = ((14, 8027, 10994), (10, 501, 687), (3, 3, 5), (0, 0, 0))


@cache
def tile_seeds() -> tuple[bytes, ...]:
    """Return good MBTiles files."""
    rows = tuple((*where, picture()) for where in HERE)
    return (tile_file(rows=rows), tile_file(rows=rows[:1]), tile_file(rows=rows[3:]))


def tile_files() -> st.SearchStrategy[bytes]:
    """MBTiles files with odd values in good tables, and odd tables."""
    value = st.one_of(
        st.none(),
        st.integers(-(2**63), 2**63 - 1),
        st.floats(allow_nan=False),
        st.text(max_size=6).map(lambda text: text.encode("utf-8", "replace").decode()),
        st.binary(max_size=20),
        st.sampled_from([14, 10, 3, 0, -1, 25, "14", "x", b"14", picture()]),
    )
    where = st.sampled_from(HERE) | st.tuples(value, value, value)
    data = st.sampled_from([picture(), picture()[:40], b"\x1f\x8b"]) | value
    rows = st.lists(st.tuples(where, data).map(lambda t: (*t[0], t[1])), max_size=5)
    told = st.lists(
        st.tuples(st.sampled_from(["format", "name", "bounds"]), value), max_size=2
    )
    return st.builds(
        tile_file, st.sampled_from(_SCHEMES), told.map(tuple), rows.map(tuple)
    )
