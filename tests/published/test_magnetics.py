"""Declination against NOAA's test values for the World Magnetic Model 2025.

WMM2025_TEST_VALUES.txt (NOAA, 100 rows; sixteen of them here), as kept with
pygeomag: test/test_values/. Printed to 0.01 degree. The report table is CIRES
WMM2025_TEST_VALUE_TABLE_FOR_REPORT.txt. The uncertainty is the WMM2025 error model
of the same source, sqrt(0.26^2 + (5417 / H)^2) degrees.
"""

from __future__ import annotations

import datetime as dt

import pytest

from treeward import survey

ROWS = [  # year, km, lat, lon, declination, H [nT]
    (2025.0, 65, 43, 93, 0.50, 24300.76),
    (2025.0, 51, -33, 109, -5.49, 21838.05),
    (2025.0, 18, 0, 21, 1.29, 29282.25),
    (2025.5, 44, 33, -118, 11.10, 23678.74),
    (2025.5, 22, -37, 140, 9.28, 21688.85),
    (2025.5, 69, 38, -144, 12.93, 23096.34),
    (2026.0, 69, 23, 63, 1.17, 34565.86),
    (2026.0, 34, -19, 43, -14.98, 20212.45),
    (2026.5, 12, 33, -145, 11.96, 24672.29),
    (2026.5, 44, -46, -42, -11.36, 14140.32),
    (2027.0, 61, 59, -77, -16.48, 10884.81),
    (2027.5, 8, 62, 53, 19.39, 12997.75),
    (2028.5, 28, 54, -120, 15.43, 15286.09),
    (2028.5, 11, 34, 0, 1.57, 29089.19),
    (2029.0, 19, 46, -22, -5.65, 22632.02),
    (2029.0, 50, 87, -154, -73.48, 906.92),  # blackout zone by the pole
]


@pytest.mark.parametrize(("year", "km", "lat", "lon", "printed", "h_nt"), ROWS)
def test_noaa_rows(
    *, year: float, km: int, lat: int, lon: int, printed: float, h_nt: float
) -> None:
    found, sd = survey.declination(lat, lon, year, altitude_m=km * 1000.0)
    assert found == pytest.approx(printed, abs=0.0051)
    assert sd == pytest.approx((0.26**2 + (5417 / h_nt) ** 2) ** 0.5, rel=1e-4)


@pytest.mark.parametrize(
    ("km", "lat", "lon", "printed"),
    [
        (0, 80, 0, 1.28),
        (0, 0, 120, -0.16),
        (0, -80, 240, 68.78),
        (100, 80, 0, 0.85),
        (100, 0, 120, -0.15),
        (100, -80, 240, 68.21),
    ],
)
def test_report_table(km: int, lat: int, lon: int, printed: float) -> None:
    found, _ = survey.declination(lat, lon, 2025.0, altitude_m=km * 1000.0)
    assert found == pytest.approx(printed, abs=0.0051)


def test_a_date_counts_as_its_decimal_year() -> None:
    by_date, _ = survey.declination(47.6205, -122.3493, dt.date(2025, 4, 2))
    # pygeomag's README example for Seattle at 2025.25; a day moves it by 0.0003.
    assert by_date == pytest.approx(15.065629638512593, abs=0.001)


@pytest.mark.parametrize("year", [2014.9, 2030.0, 1999.0, float("nan")])
def test_years_without_a_model_are_refused(year: float) -> None:
    with pytest.raises(ValueError, match=r"^when: "):
        survey.declination(52.3, -3.6, year)
