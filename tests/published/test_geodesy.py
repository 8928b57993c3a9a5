"""Distances, azimuths and the local frame, against published geodesics.

Flinders Peak to Buninyong: Geoscience Australia's standard example (GRS80).
The others: C. F. F. Karney's GeodTest lines, as in geographiclib-python's
geographiclib/test/test_geodesic.py (WGS84).
"""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod

from treeward import survey


def dms(degrees: int, minutes: int, seconds: float) -> float:
    size = abs(degrees) + minutes / 60 + seconds / 3600
    return -size if degrees < 0 else size


FLINDERS = (dms(-37, 57, 3.72030), dms(144, 25, 29.52440))
BUNINYONG = (dms(-37, 39, 10.15610), dms(143, 55, 35.38390))
LINE_M = 54972.271

KARNEY = [  # lat1, lon1, azi1, lat2, lon2, s12
    (
        35.60777,
        -139.44815,
        111.098748429560326,
        -11.17491,
        -69.95921,
        8935244.5604818305,
    ),
    (
        55.52454,
        106.05087,
        22.020059880982801,
        77.03196,
        197.18234,
        4105086.1713924406,
    ),
    (
        -19.79938,
        -174.47484,
        71.167275780171533,
        -11.99349,
        -154.35109,
        2319004.8601169389,
    ),
    (
        -41.22777,
        122.32875,
        14.285113402275739,
        -7.57291,
        130.37946,
        3812686.035106021,
    ),
    (
        -21.97856,
        142.59065,
        -32.44456876433189,
        41.84138,
        98.56635,
        8394328.894657671,
    ),
]


def test_flinders_peak_to_buninyong() -> None:
    distance, azimuth = survey.geodesic(*FLINDERS, *BUNINYONG)
    assert distance == pytest.approx(LINE_M, abs=6e-4)
    assert azimuth == pytest.approx(dms(306, 52, 5.37), abs=2e-6)
    back_distance, back = survey.geodesic(*BUNINYONG, *FLINDERS)
    assert back_distance == pytest.approx(LINE_M, abs=6e-4)
    assert back == pytest.approx(dms(127, 10, 25.07), abs=2e-6)


@pytest.mark.parametrize(("lat1", "lon1", "azi1", "lat2", "lon2", "s12"), KARNEY)
def test_karney_lines(
    *, lat1: float, lon1: float, azi1: float, lat2: float, lon2: float, s12: float
) -> None:
    distance, azimuth = survey.geodesic(lat1, lon1, lat2, lon2)
    assert distance == pytest.approx(s12, abs=1e-6)
    assert azimuth == pytest.approx(azi1 % 360, abs=1e-9)


def test_local_frame_keeps_distance_and_azimuth_from_its_middle() -> None:
    frame = survey.LocalFrame(*FLINDERS)
    ((east, north),) = frame.to_xy(np.array([BUNINYONG[0]]), np.array([BUNINYONG[1]]))
    assert np.hypot(east, north) == pytest.approx(LINE_M, abs=6e-4)
    assert np.degrees(np.arctan2(east, north)) % 360 == pytest.approx(
        dms(306, 52, 5.37), abs=2e-6
    )


def test_local_frame_hardly_bends_bearings_between_other_places() -> None:
    # From a station 10 km off the middle to a place 15 km off it, against Karney's
    # geodesic: a flat frame may not turn a bearing by more than a thousandth of what
    # a compass can show.
    frame = survey.LocalFrame(52.3, -3.6)
    xy = np.array([(10_000.0, 0.0), (8_000.0, 12_500.0)])
    (lon1, lat1), (lon2, lat2) = frame.to_lonlat(xy)
    distance, azimuth = survey.geodesic(lat1, lon1, lat2, lon2)
    flat = np.degrees(np.arctan2(*(xy[1] - xy[0]))) % 360
    assert azimuth == pytest.approx(flat, abs=0.15)  # meridians converge by 0.12
    assert distance == pytest.approx(np.hypot(*(xy[1] - xy[0])), rel=2e-6)


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg"),
    [
        (65.0, 25.0),  # far north, where meridians close in fast
        (52.3, -0.0005),  # across the border of UTM zones 30 and 31
        (-17.0, 179.9995),  # across 180 degrees
        (-37.95, 144.42),  # south of the equator
    ],
)
def test_two_exact_bearings_cross_at_the_colony(
    latitude_deg: float, longitude_deg: float
) -> None:
    # Stations 700 m either side of a place 1.2 km off, by Karney's geodesics (pyproj);
    # the bearings are exact, so that what is off is the frame's.
    globe = Geod(ellps="WGS84")
    spots = [globe.fwd(longitude_deg, latitude_deg, a, 700.0) for a in (80.0, 265.0)]
    colony = globe.fwd(longitude_deg, latitude_deg, 10.0, 1200.0)
    longitude, latitude = np.array([spot[:2] for spot in spots]).T
    bearing = np.array([globe.inv(*spot[:2], *colony[:2])[0] for spot in spots]) % 360
    frame = survey.LocalFrame.about(latitude, longitude)
    x, y = frame.to_xy(latitude, longitude).T
    (crossing,) = survey.crossings(x, y, bearing)
    found = frame.to_lonlat(crossing)
    off_m, _ = survey.geodesic(found[1], found[0], colony[1], colony[0])
    assert off_m < 2.0
