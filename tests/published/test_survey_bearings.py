"""Points from bearings, against published tables.

Lenth 1981, Technometrics 23:149-154, Tables 1 and 2: the example of eight bearings
and its maximum likelihood, Huber and Andrews estimates, as typed in from the article
in the telemetr package (MIT): inst/samples/lenth.dat and lenthresults.dat.

White's demonstration data (as in White and Garrott 1990, Analysis of wildlife
radio-tracking data), telemetr inst/samples/towers.dat, azimuth.dat and fixes.dat:
bearing sd 2.5 degrees, UTM metres, 95 % ellipse in hectares with the factor 5.99.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward.survey import classical

if TYPE_CHECKING:
    from collections.abc import Callable

LENTH = np.array(
    [
        (9.0, 3.2, 234.0),
        (9.4, 5.5, 215.0),
        (9.95, 9.05, 196.0),
        (8.7, 8.7, 193.0),
        (8.07, 9.7, 188.0),
        (5.6, 9.0, 250.0),  # the outlier; left out of the table for n = 7
        (4.4, 8.9, 160.0),
        (1.85, 5.25, 118.0),
    ]
)
OUTLIER = 5
TARGET = (7.5, 2.2)  # follows exactly from the printed distances

# n, estimator, x, y, distance to the target, se x, se y, correlation: as printed
PRINTED = [
    (7, classical.lenth_mle, 7.23, 1.98, 0.349, 0.156, 0.156, 0.664),
    (7, classical.huber, 7.21, 1.98, 0.363, 0.152, 0.152, 0.662),
    (7, classical.andrews, 7.21, 1.97, 0.373, 0.156, 0.155, 0.669),
    (8, classical.lenth_mle, 5.87, 1.13, 1.947, 1.490, 1.733, 0.509),
    (8, classical.huber, 6.78, 1.66, 0.899, 0.883, 0.945, 0.600),
    (8, classical.andrews, 7.21, 1.97, 0.373, 0.156, 0.155, 0.669),
]


@pytest.mark.parametrize(
    ("n", "estimator", "x", "y", "off", "se_x", "se_y", "correlation"), PRINTED
)
def test_lenth_tables(
    *,
    n: int,
    estimator: Callable[..., classical.PointEstimate],
    x: float,
    y: float,
    off: float,
    se_x: float,
    se_y: float,
    correlation: float,
) -> None:
    rows = LENTH if n == 8 else np.delete(LENTH, OUTLIER, axis=0)
    found = estimator(*rows.T)
    assert (round(found.x, 2), round(found.y, 2)) == (x, y)
    away = np.hypot(found.x - TARGET[0], found.y - TARGET[1])
    assert away == pytest.approx(off, abs=5.1e-4)
    # Half a digit of the last place printed; one of them was cut, not rounded.
    assert found.standard_errors == pytest.approx((se_x, se_y), abs=6e-4)
    assert found.correlation == pytest.approx(correlation, abs=5.1e-4)


def test_andrews_gives_the_outlier_no_weight() -> None:
    assert classical.andrews(*LENTH.T).weights[OUTLIER] == 0.0


TOWERS = {6: (750142.0, 4393673.0), 7: (751674.0, 4393630.0), 8: (750985.0, 4395022.0)}
KAPPA = 525.932  # printed for 2.5 degrees
FACTOR = 5.99  # the chi-square the Fortran uses for 95 %

# bearings by tower, x, y, area in hectares, var x, cov, var y: as printed
WHITE = [
    ({6: 53, 8: 143}, 751328, 4394567, 3.02900, 1912.9, -1718.6, 2898.5),
    ({6: 53, 8: 148}, 751288, 4394537, 2.94969, 1508.4, -1472.1, 3065.5),
    ({6: 45, 8: 166}, 751086, 4394617, 2.32611, 495.4, -857.2, 4567.6),
    ({6: 88, 8: 166}, 751311, 4393714, 5.76957, 3767.1, -512.5, 2565.0),
    ({6: 52, 8: 131}, 751403, 4394658, 3.23330, 3255.6, -2208.9, 2405.5),
    ({6: 51, 8: 193}, 750796, 4394202, 4.11247, 2323.1, 2513.9, 4776.1),
]


def fix(bearings: dict[int, int], method: str) -> classical.PointEstimate:
    rows = np.array([(*TOWERS[tower], b) for tower, b in bearings.items()], dtype=float)
    estimator = classical.andrews if method == "Andrews" else classical.lenth_mle
    return estimator(*rows.T, kappa=KAPPA)


@pytest.mark.parametrize(("bearings", "x", "y", "area", "vx", "cov", "vy"), WHITE)
def test_white_two_bearings(
    *,
    bearings: dict[int, int],
    x: int,
    y: int,
    area: float,
    vx: float,
    cov: float,
    vy: float,
) -> None:
    found = fix(bearings, "MLE")
    assert (round(found.x), round(found.y)) == (x, y)
    (a, b), (_, d) = found.covariance
    assert (round(a, 1), round(b, 1), round(d, 1)) == (vx, cov, vy)
    hectares = found.ellipse_area(95) * FACTOR / classical.CHI2_2DF[95] / 1e4
    assert hectares == pytest.approx(area, abs=1.5e-5)


def test_white_three_bearings_that_agree() -> None:
    # These rows were made with Andrews' estimator.
    found = fix({6: 52, 7: 309, 8: 186}, "Andrews")
    assert (round(found.x), round(found.y)) == (750902, 4394261)
    assert found.ellipse_area(95) * FACTOR / classical.CHI2_2DF[95] / 1e4 == (
        pytest.approx(2.00239, abs=1e-4)
    )
    found = fix({6: 48, 7: 331, 8: 160}, "Andrews")
    assert (round(found.x), round(found.y)) == (751147, 4394578)


def test_white_row_without_a_fix() -> None:
    with pytest.raises(ValueError, match=r"^bearing_deg: "):
        fix({6: 53, 7: 313, 8: 140}, "MLE")
