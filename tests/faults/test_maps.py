"""A map that came with a hunt leads to no other file and to no other machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward.errors import HuntError
from treeward.hunt.ground import _geotiff, _Part

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
