"""Reads the person's own map: pictures with a place, tiles, lines of paths and water.

Whatever is named under `[map] ground` in hunt.toml lies in the hunt's folder; nothing
is fetched. Formats: the ESRI world file beside a picture; GeoTIFF (OGC 19-008r4) by the
package rasterio; MBTiles 1.3 with pictures; PMTiles 3 with pictures by the package
pmtiles; GeoJSON (RFC 7946); GPX 1.1.
"""

from __future__ import annotations

import gzip
import io
import math
import re
import sqlite3
import warnings
import zlib
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from treeward.errors import HuntError
from treeward.files import read_whole
from treeward.report.model import Ground, GroundLine, GroundPicture
from treeward.within import file_within

from .places import read_shapes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping
    from pathlib import Path

    from numpy.typing import NDArray
    from pmtiles.tile import Entry

    from treeward.hunt_tables import MapTable
    from treeward.report.model import HuntResult, Sort

PICTURES = frozenset({".png", ".jpg", ".jpeg", ".webp", ".gif", ".bmp"})
TIFF = frozenset({".tif", ".tiff"})
MOST_PIXELS = 60_000_000  # of a picture: 240 MB while it is read; choice
MOST_BYTES = 200_000_000  # of a picture; choice
MOST_TILES = 64  # looked up of a file of tiles: some 2,000 by 2,000 pixels; choice
MOST_TILE_BYTES = 20_000_000  # of a tile; a large one has a twentieth of it; choice
MOST_TILE_PIXELS = 2048**2  # of a tile; 256 or 512 each way are usual; choice
MOST_LOOK_UPS = 2000  # millions of steps of SQLite, some twenty seconds; choice
MOST_DIRECTORY_BYTES = 1_000_000  # of a PMTiles directory, inflated; choice
MOST_DIRECTORIES_BYTES = 8_000_000  # of all that are read of one file; choice
_DEEPEST = 4  # directories in one another, as readers of PMTiles go; its package's
MOST_ACROSS = 2000  # pixels kept of a GeoTIFF, each way; choice
_TILE = 256  # pixels of a tile
_AROUND = 0.6  # of the hunt's size, shown about it on every side; as wide as maps get
_LEAST_DEG = 0.004  # about the hunt; some 400 m
_ORIGIN_M = 20037508.342789244  # half the equator in EPSG:3857 (pi x 6378137 m)
# Words of OpenStreetMap's keys and values, and of everyday English.
_SORTS: Mapping[str, Sort] = {
    **dict.fromkeys(("water", "waterway", "river", "stream", "lake", "pond"), "water"),
    **dict.fromkeys(("spring", "wetland", "reservoir", "ditch", "canal"), "water"),
    **dict.fromkeys(("wood", "forest", "woodland", "trees", "scrub"), "wood"),
    **dict.fromkeys(("hedge", "tree_row", "plantation", "orchard"), "wood"),
    **dict.fromkeys(("highway", "path", "track", "footway", "road", "way"), "way"),
    **dict.fromkeys(("bridleway", "steps", "lane", "trail"), "way"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """What of the globe is wanted, degrees; longitudes may run on beyond 180."""

    west_deg: float
    east_deg: float
    south_deg: float
    north_deg: float


def read_ground(result: HuntResult, hunt_dir: Path) -> Ground | None:
    """Read what hunt.toml names under `[map] ground`; None where that is nothing.

    Raises
    ------
    HuntError
        Naming the first file that is missing or cannot be read, and how to mend it.
    """
    table = result.hunt_file.map
    if not table.ground or not result.stations:
        return None
    part = _part(result)
    pictures: list[GroundPicture] = []
    lines: list[GroundLine] = []
    for name in table.ground:
        path = file_within(hunt_dir, name)
        if path is None:
            raise HuntError(
                f"[map] ground names {name!r}, which is not in the hunt's folder",
                where="hunt.toml",
                mend="Put the file there, or take its name away.",
            )
        ending = path.suffix.lower()
        if ending in PICTURES or (ending in TIFF and _world_file(path) is not None):
            pictures.append(_picture(path, table))
        elif ending in TIFF:
            pictures += _geotiff(path, part)
        elif ending == ".mbtiles":
            pictures += _mbtiles(path, part)
        elif ending == ".pmtiles":
            pictures += _pmtiles(path, part)
        elif ending in {".geojson", ".json", ".gpx"}:
            lines += _lines(path)
        else:
            raise HuntError(
                f"a map of this kind ({ending or 'no ending'}) is not read",
                where=name,
                mend="Save it as a picture with a world file, as GeoTIFF, MBTiles, "
                "PMTiles, GeoJSON or GPX.",
            )
    return Ground(
        pictures=tuple(pictures), lines=tuple(lines), credit=table.ground_credit
    )


def _part(result: HuntResult) -> _Part:
    """Return the country round a hunt that a map may show."""
    first = result.stations[0].longitude_deg
    places = [(p.longitude_deg, p.latitude_deg) for p in result.stations]
    for colony in result.fix.colonies if result.fix else ():
        places.append((colony.best_longitude_deg, colony.best_latitude_deg))
        for area in colony.search_areas.values():
            for polygon in area.polygons:
                places += [(float(lon), float(lat)) for lon, lat in polygon.outer]
        if (seat := colony.next_station) is not None:
            places.append((seat.longitude_deg, seat.latitude_deg))
    lon = np.array([first + (p[0] - first + 180) % 360 - 180 for p in places])
    lat = np.array([p[1] for p in places])
    shrunk = max(math.cos(math.radians(float(lat.mean()))), 0.05)
    high = max(float(np.ptp(lat)), float(np.ptp(lon)) * shrunk, _LEAST_DEG)
    off = high * (0.5 + _AROUND)  # a map may be wider than high
    middle_lon = (lon.max() + lon.min()) / 2
    middle_lat = (lat.max() + lat.min()) / 2
    return _Part(
        west_deg=float(middle_lon - 1.6 * off / shrunk),
        east_deg=float(middle_lon + 1.6 * off / shrunk),
        south_deg=float(max(middle_lat - 1.6 * off, -85.0)),
        north_deg=float(min(middle_lat + 1.6 * off, 85.0)),
    )


def _rgba(
    path: Path, raw: bytes, *, what: str = "the picture", most_pixels: int = MOST_PIXELS
) -> NDArray[np.uint8]:
    """Decode a picture; Pillow comes with matplotlib."""
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(raw))
        with image:
            if image.width * image.height > most_pixels:
                raise HuntError(
                    f"{what} has {image.width} by {image.height} pixels",
                    where=path.name,
                    mend="Cut it to the country of the hunt.",
                )
            return np.asarray(image.convert("RGBA"))
    except Image.DecompressionBombError as error:
        raise HuntError(
            f"{what} has far too many pixels",
            where=path.name,
            mend="Cut it to the country of the hunt.",
        ) from error
    except (
        UnidentifiedImageError,
        OSError,
        SyntaxError,
        ValueError,
    ) as error:
        raise HuntError(
            f"{what} is none that can be read",
            where=path.name,
            mend="Save it again as PNG or JPEG.",
        ) from error


def _world_file(path: Path) -> Path | None:
    """Return the world file beside a picture: ground.pgw, .pngw or .wld."""
    ending = path.suffix[1:]
    endings = (f"{ending[0]}{ending[-1]}w", f"{ending}w", "wld")
    for one in (*endings, *(e.upper() for e in endings)):
        beside = path.with_suffix(f".{one}")
        if file_within(path.parent, beside.name) is not None:
            return beside
    return None


def _picture(path: Path, table: MapTable) -> GroundPicture:
    beside = _world_file(path)
    if beside is None:
        raise HuntError(
            "has no world file beside it, which says where it lies",
            where=path.name,
            mend=f"Export it with one, {path.stem}.wld, in the folder of the picture.",
        )
    raw = _whole(beside, 10_000)
    try:
        a, d, b, e, c, f = (float(part) for part in raw.decode("ascii").split()[:6])
    except (ValueError, UnicodeDecodeError):
        a = b = c = d = e = f = math.nan
    if not all(map(math.isfinite, (a, b, c, d, e, f))) or a * e - b * d == 0:
        raise HuntError(
            "is no world file: it should hold six numbers, one on a line",
            where=beside.name,
            mend="Export the picture again with its world file.",
        )
    crs = _crs_beside(path, table, (c, f))
    # A world file tells of the middle of the first pixel.
    corner = (c - a / 2 - b / 2, f - d / 2 - e / 2)
    return GroundPicture(
        pixels=_rgba(path, _whole(path, MOST_BYTES)),
        crs=crs,
        affine=(a, b, corner[0], d, e, corner[1]),
    )


def _crs_beside(path: Path, table: MapTable, corner: tuple[float, float]) -> str:
    """Return the reference system: a .prj beside, hunt.toml's, or plain degrees."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    beside = file_within(path.parent, path.with_suffix(".prj").name)
    text = table.ground_crs
    where = "hunt.toml"
    if beside is not None:
        text, where = _whole(beside, 100_000).decode("utf-8", "replace"), beside.name
    if not text:
        if abs(corner[0]) <= 180 and abs(corner[1]) <= 90:
            return "EPSG:4326"
        raise HuntError(
            "nothing says which grid its world file is in",
            where=path.name,
            mend='Write ground_crs = "EPSG:27700", or what it is, under [map] in '
            "hunt.toml, or put a .prj file beside it.",
        )
    try:
        return str(CRS.from_user_input(text.strip()).to_wkt())
    except CRSError as error:
        raise HuntError(
            f"{' '.join(text.split())[:40]!r} is no reference system",
            where=where,
            mend='Write one such as "EPSG:27700".',
        ) from error


def _whole(path: Path, most: int) -> bytes:
    return read_whole(
        path,
        most_bytes=most,
        error=HuntError,
        too_large="Cut it to the country of the hunt.",
    )


def _geotiff(path: Path, part: _Part) -> Iterator[GroundPicture]:
    try:
        import rasterio
        from rasterio.errors import RasterioError
        from rasterio.windows import Window
    except ImportError as error:
        raise HuntError(
            "a GeoTIFF is read by the package rasterio, which is not installed",
            where=path.name,
            mend="Run: pip install 'treeward[ground]'. Or export the map as a picture "
            "with a world file.",
        ) from error
    from pyproj import Transformer

    fault = HuntError(
        "is no GeoTIFF that can be read, or does not say where it lies",
        where=path.name,
        mend="Export it again as GeoTIFF with its reference system.",
    )
    try:
        with rasterio.open(path, driver="GTiff") as data:  # no list of other files
            if data.crs is None or data.transform.is_identity:
                raise fault
            to_grid = Transformer.from_crs(
                "EPSG:4326", data.crs.to_wkt(), always_xy=True
            )
            west, south, east, north = to_grid.transform_bounds(
                part.west_deg, part.south_deg, part.east_deg, part.north_deg
            )
            a, b, c, d, e, f = tuple(data.transform)[:6]
            if data.crs.is_geographic:  # it may run on beyond 180 degrees
                off_deg = c + a * data.width / 2 - (west + east) / 2
                west, east = (x + 360 * round(off_deg / 360) for x in (west, east))
            to_pixel = np.linalg.inv(np.array([[a, b], [d, e]]))
            corners = [
                to_pixel @ (x - c, y - f) for x in (west, east) for y in (south, north)
            ]
            columns = np.clip([corner[0] for corner in corners], 0, data.width)
            rows = np.clip([corner[1] for corner in corners], 0, data.height)
            left, right = math.floor(columns.min()), math.ceil(columns.max())
            top, bottom = math.floor(rows.min()), math.ceil(rows.max())
            if right <= left or bottom <= top:
                return  # it lies elsewhere
            window = Window(left, top, right - left, bottom - top)
            shrink = max(1.0, max(right - left, bottom - top) / MOST_ACROSS)
            shape = (
                max(1, round((bottom - top) / shrink)),
                max(1, round((right - left) / shrink)),
            )
            pixels = _bands(data, window, shape)
            wide, high = (right - left) / shape[1], (bottom - top) / shape[0]
            yield GroundPicture(
                pixels=pixels,
                crs=data.crs.to_wkt(),
                affine=(
                    a * wide, b * high, c + a * left + b * top,
                    d * wide, e * high, f + d * left + e * top,
                ),
            )  # fmt: skip
    except (RasterioError, OSError, ValueError) as error:
        raise fault from error


def _bands(data: Any, window: Any, shape: tuple[int, int]) -> NDArray[np.uint8]:  # noqa: ANN401
    """Return a GeoTIFF's colours: as they are, by its table, or grey stretched."""
    mask = data.dataset_mask(window=window, out_shape=shape)
    if data.count >= 3:
        bands = data.read([1, 2, 3], window=window, out_shape=(3, *shape))
    else:
        one = data.read(1, window=window, out_shape=shape)
        try:
            table = data.colormap(1)
        except ValueError:
            bands = np.stack([one] * 3)
        else:
            colours = np.zeros((max(table) + 1, 3), dtype=np.uint8)
            for value, colour in table.items():
                colours[value] = colour[:3]
            bands = np.moveaxis(colours[np.clip(one, 0, max(table))], -1, 0)
    if bands.dtype != np.uint8:
        known = bands[:, mask > 0].astype(np.float64)
        low, high = (known.min(), known.max()) if known.size else (0.0, 1.0)
        bands = np.clip((bands - low) / max(high - low, 1e-9) * 255, 0, 255)
    return np.dstack([*bands.astype(np.uint8), mask.astype(np.uint8)])


def _mbtiles(path: Path, part: _Part) -> Iterator[GroundPicture]:
    """Put together the tiles of the finest level of which not too many are wanted."""
    fault = _no_tiles(path, "MBTiles")
    address = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
    steps = iter(range(MOST_LOOK_UPS))
    try:
        with closing(sqlite3.connect(address, uri=True)) as base:
            # Its tables may be made up as they are read, and without end.
            base.set_progress_handler(lambda: next(steps, None) is None, 1_000_000)
            base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MOST_TILE_BYTES)
            kind = base.execute(
                "SELECT value FROM metadata WHERE name = 'format'"
            ).fetchone()
            if kind is not None and str(kind[0]).lower() in {"pbf", "mvt"}:
                raise _vector_tiles(path)
            levels = [
                row[0]
                for row in base.execute(
                    "SELECT DISTINCT zoom_level FROM tiles ORDER BY zoom_level DESC"
                    " LIMIT 30"
                )
            ]

            def tile(level: int, column: int, row: int) -> bytes | None:
                found = base.execute(
                    "SELECT tile_data FROM tiles"
                    " WHERE zoom_level = ? AND tile_column = ? AND tile_row = ?",
                    (level, column, 2**level - 1 - row),  # rows from the south
                ).fetchone()
                if found is not None and not isinstance(found[0], bytes):
                    raise fault
                return found[0] if found else None

            yield from _finest(path, part, levels, tile, fault)
    except sqlite3.Error as error:
        raise fault from error


def _no_tiles(path: Path, kind: str) -> HuntError:
    return HuntError(
        f"is no {kind} file that can be read",
        where=path.name,
        mend=f"Export it again as {kind} with pictures (PNG, JPEG or WebP).",
    )


def _vector_tiles(path: Path) -> HuntError:
    return HuntError(
        "holds vector tiles, which are not drawn",
        where=path.name,
        mend="Export it with pictures (PNG, JPEG or WebP), or as GeoJSON.",
    )


def _pmtiles(path: Path, part: _Part) -> Iterator[GroundPicture]:
    """Put together the tiles of the finest level of which not too many are wanted."""
    try:
        from pmtiles import tile as format_
    except ImportError as error:
        raise HuntError(
            "PMTiles is read by the package pmtiles, which is not installed",
            where=path.name,
            mend="Run: pip install 'treeward[ground]'. Or export the map as MBTiles.",
        ) from error
    fault = _no_tiles(path, "PMTiles")
    try:
        with path.open("rb") as file:
            archive = _Archive(file, fault)
            kinds = format_.TileType
            if archive.header["tile_type"] in {kinds.MVT, kinds.MLT}:
                raise _vector_tiles(path)
            low, high = archive.header["min_zoom"], archive.header["max_zoom"]
            levels = range(high, low - 1, -1)
            yield from _finest(path, part, levels, archive.tile, fault)
    except (
        format_.MagicNumberNotFound,
        format_.SpecVersionUnsupported,
        EOFError,
        IndexError,
        OSError,
        ValueError,
        zlib.error,
    ) as error:
        raise fault from error


class _Archive:
    """A PMTiles file, read by its package, with an end to whatever may have none.

    The file may be hostile: `fault` is raised where it says what cannot be.
    """

    def __init__(self, file: BinaryIO, fault: HuntError) -> None:
        from pmtiles.tile import deserialize_header

        self._file = file
        self._fault = fault
        self._size = file.seek(0, io.SEEK_END)
        self._read: dict[tuple[int, int], list[Entry]] = {}
        self._left = MOST_DIRECTORIES_BYTES
        self.header = deserialize_header(self._bytes(0, 127, most=127))

    def tile(self, level: int, column: int, row: int) -> bytes | None:
        """Return a tile's picture, None where there is none."""
        from pmtiles.tile import find_tile, zxy_to_tileid

        number = zxy_to_tileid(level, column, row)
        offset, length = self.header["root_offset"], self.header["root_length"]
        for _ in range(_DEEPEST):
            entry = find_tile(self._directory(offset, length), number)
            if entry is None:
                return None
            if entry.run_length > 0:
                start = self.header["tile_data_offset"] + entry.offset
                raw = self._bytes(start, entry.length, most=MOST_TILE_BYTES)
                return self._unpacked(
                    raw, self.header["tile_compression"].name, most=MOST_TILE_BYTES
                )
            offset = self.header["leaf_directory_offset"] + entry.offset
            length = entry.length
        raise self._fault

    def _directory(self, offset: int, length: int) -> list[Entry]:
        from pmtiles.tile import deserialize_directory

        if (known := self._read.get((offset, length))) is not None:
            return known
        raw = self._bytes(offset, length, most=MOST_DIRECTORY_BYTES)
        plain = self._unpacked(
            raw, self.header["internal_compression"].name, most=MOST_DIRECTORY_BYTES
        )
        self._left -= len(plain)
        # A number has ten bytes at most; a longer one would take minutes to read.
        if self._left < 0 or re.search(rb"[\x80-\xff]{10}", plain):
            raise self._fault
        found: list[Entry] = deserialize_directory(gzip.compress(plain, 1))
        self._read[offset, length] = found
        return found

    def _bytes(self, offset: int, length: int, *, most: int) -> bytes:
        if length > most or offset < 0 or offset + length > self._size:
            raise self._fault
        self._file.seek(offset)
        return self._file.read(length)

    def _unpacked(self, raw: bytes, packed: str, *, most: int) -> bytes:
        if packed in {"NONE", "UNKNOWN"}:
            return raw
        if packed != "GZIP":
            raise HuntError(
                f"is compressed with {packed.lower()}, which cannot be read here",
                where=self._fault.where,
                mend="Export it again with gzip or no compression, or as MBTiles.",
            )
        unpacking = zlib.decompressobj(wbits=31)
        plain = unpacking.decompress(raw, most)
        if not unpacking.eof:
            raise self._fault
        return plain


def _tiles_of(part: _Part, level: int) -> tuple[range, range]:
    """Return columns and rows, from the north, of the tiles of a part."""
    count: int = 2**level

    def column(lon_deg: float) -> int:
        return int((lon_deg + 180) / 360 * count // 1)

    def row(lat_deg: float) -> int:
        lat = math.radians(lat_deg)
        share = (1 - math.asinh(math.tan(lat)) / math.pi) / 2
        return min(max(int(share * count), 0), count - 1)

    return (
        range(column(part.west_deg), column(part.east_deg) + 1),
        range(row(part.north_deg), row(part.south_deg) + 1),
    )


def _finest(
    path: Path,
    part: _Part,
    levels: Iterable[object],
    tile: Callable[[int, int, int], bytes | None],
    fault: HuntError,
) -> Iterator[GroundPicture]:
    """Join the tiles of the first level, the finest first, that wants few enough."""
    for level in levels:
        if not isinstance(level, int) or not 0 <= level <= 24:
            raise fault
        columns, rows = _tiles_of(part, level)
        if len(columns) * len(rows) <= MOST_TILES:
            yield from _joined(path, level, columns, rows, tile)
            return


def _joined(
    path: Path,
    level: int,
    columns: range,
    rows: range,
    tile: Callable[[int, int, int], bytes | None],
) -> Iterator[GroundPicture]:
    from PIL import Image

    count = 2**level
    whole = np.zeros((len(rows) * _TILE, len(columns) * _TILE, 4), dtype=np.uint8)
    found = False
    for column in columns:
        for row in rows:
            raw = tile(level, column % count, row)
            if raw is None:
                continue
            found = True
            pixels = _rgba(path, raw, what="a tile", most_pixels=MOST_TILE_PIXELS)
            if pixels.shape[:2] != (_TILE, _TILE):
                image = Image.fromarray(pixels).resize((_TILE, _TILE))
                pixels = np.asarray(image)
            top, left = (row - rows[0]) * _TILE, (column - columns[0]) * _TILE
            whole[top : top + _TILE, left : left + _TILE] = pixels
    if found:
        size_m = 2 * _ORIGIN_M / count / _TILE
        yield GroundPicture(
            pixels=whole,
            crs="EPSG:3857",
            affine=(
                size_m, 0.0, columns[0] * _TILE * size_m - _ORIGIN_M,
                0.0, -size_m, _ORIGIN_M - rows[0] * _TILE * size_m,
            ),
        )  # fmt: skip


def _lines(path: Path) -> Iterator[GroundLine]:
    """Give outlines, then lines; places are left out, and so are holes."""
    shapes = read_shapes(path)
    # A track without a word for it is one that was walked or ridden.
    unnamed: Sort = "way" if path.suffix.lower() == ".gpx" else "other"
    for closed, found in ((True, shapes.outlines), (False, shapes.lines)):
        for shape in found:
            words = " ".join(shape.kinds).replace("-", " ").split()
            yield GroundLine(
                longitude_deg=shape.points[:, 0],
                latitude_deg=shape.points[:, 1],
                closed=closed,
                sort=next((_SORTS[w] for w in words if w in _SORTS), unnamed),
            )
