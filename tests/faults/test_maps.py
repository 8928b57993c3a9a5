"""A map that came with a hunt leads to no other file and to no other machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward.errors import HuntError
from treeward.hunt.ground import _geotiff, _mbtiles, _Part
from treeward.hunt.places import read_shapes

from .beside import HERE, picture, tile_file

if TYPE_CHECKING:
    from pathlib import Path

PART = _Part(west_deg=-3.7, east_deg=-3.5, south_deg=52.2, north_deg=52.4)


@pytest.mark.filterwarnings("ignore::PendingDeprecationWarning")
def test_a_geotiff_that_is_a_list_of_other_files_is_refused(tmp_path: Path) -> None:
    rasterio = pytest.importorskip("rasterio", reason="pip install 'treeward[ground]'")
    from_bounds = pytest.importorskip("rasterio.transform").from_bounds

    theirs = tmp_path / "private.tif"
    shape = {"width": 40, "height": 40, "count": 3, "dtype": "uint8"}
    place = from_bounds(-3.8, 52.1, -3.4, 52.5, 40, 40)
    with rasterio.open(
        theirs, "w", driver="GTiff", crs="EPSG:4326", transform=place, **shape
    ) as data:
        data.write(np.full((3, 40, 40), 200, np.uint8))
    assert len(list(_geotiff(theirs, PART))) == 1
    band = (
        '<VRTRasterBand dataType="Byte" band="{n}"><SimpleSource>'
        '<SourceFilename relativeToVRT="0">{path}</SourceFilename>'
        "<SourceBand>{n}</SourceBand></SimpleSource></VRTRasterBand>"
    )
    bands = "".join(band.format(n=n, path=theirs) for n in (1, 2, 3))
    west, step = place.c, place.a
    named = tmp_path / "map.tif"
    named.write_text(
        '<VRTDataset rasterXSize="40" rasterYSize="40"><SRS>EPSG:4326</SRS>'
        f"<GeoTransform>{west}, {step}, 0, {place.f}, 0, {place.e}</GeoTransform>"
        f"{bands}</VRTDataset>",
        "utf-8",
    )

    with pytest.raises(HuntError, match=r"map\.tif: is no GeoTIFF"):
        list(_geotiff(named, PART))


SMALL = _Part(west_deg=-3.612, east_deg=-3.608, south_deg=52.3, north_deg=52.303)
_VIEW = "CREATE VIEW tiles AS "
_ROW = "14 AS zoom_level, 8027 AS tile_column, 10994 AS tile_row, "
ENDLESS = (
    "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT "
    "14 AS zoom_level, x % 3 AS tile_column, x % 5 AS tile_row, x AS tile_data FROM n"
)


def test_a_file_of_tiles_is_drawn(tmp_path: Path) -> None:
    path = tmp_path / "map.mbtiles"
    path.write_bytes(tile_file(rows=((*HERE[0], picture()),)))

    (drawn,) = _mbtiles(path, SMALL)

    assert (drawn.pixels[..., 1] == 120).any()


@pytest.mark.slow
@pytest.mark.parametrize(
    "scheme",
    [
        _VIEW + ENDLESS,
        f"{_VIEW} SELECT {_ROW} zeroblob(900000000) AS tile_data",
        f"{_VIEW} SELECT {_ROW} 900000000 AS tile_data",
        f"{_VIEW} SELECT {_ROW} NULL AS tile_data",
        f"{_VIEW} SELECT 'x' AS zoom_level, 1 AS tile_column, 1 AS tile_row",
        f"{_VIEW} SELECT NULL AS zoom_level, 1 AS tile_column, 1 AS tile_row",
    ],
)
def test_tiles_without_end_or_bounds_are_a_line(tmp_path: Path, scheme: str) -> None:
    path = tmp_path / "map.mbtiles"
    path.write_bytes(tile_file(scheme))

    with pytest.raises(HuntError, match=r"map\.mbtiles: is no"):
        list(_mbtiles(path, SMALL))


@pytest.mark.parametrize(
    "feature",
    [
        f'{{"type": "Point", "coordinates": [{"9" * 400}, 1]}}',
        '{"type": "LineString", "coordinates": [{"lon": 1}, {"lon": 2}]}',
        (
            f'{{"type": "Feature", "properties": {{"weight": {"9" * 400}}}, '
            '"geometry": {"type": "Point", "coordinates": [1, 1]}}'
        ),
    ],
)
def test_numbers_without_bounds_in_a_map_are_a_line(
    tmp_path: Path, feature: str
) -> None:
    path = tmp_path / "wood.geojson"
    path.write_text(feature, "utf-8")

    with pytest.raises(HuntError, match=r"wood\.geojson: holds "):
        read_shapes(path)
