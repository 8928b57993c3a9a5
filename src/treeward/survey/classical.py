"""Textbook points from bearings alone: cross-checks beside the posterior.

R. V. Lenth 1981, "On finding the source of a signal", Technometrics 23:149-154:
maximum likelihood under von Mises errors, and Huber's and Andrews' robust
M-estimators, which weigh down bearings that fit badly. G. C. White and
R. A. Garrott 1990, "Analysis of wildlife radio-tracking data": confidence ellipses.

All of it is conditional on one spread of bearings and knows no shared compass
offset, so its ellipses are too small wherever there is one. That's why the answer
is the posterior, and these are printed beside it.

Published rules of thumb from away time to distance: shown beside, never averaged.

They disagree by a factor of two for the same time, which is why the posterior
doesn't lean on any of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from .directions import concentration
from .records import ClassicalFix, HandRule, HandRuleKind

if TYPE_CHECKING:
    from .evidence import Evidence
    from .frame import LocalFrame
    from .records import Floats


TUNING = 1.5  # Lenth 1981's constant c of Huber's and Andrews' weights
CHI2_2DF = {50: 1.386294, 90: 4.605170, 95: 5.991465}  # -2 ln(1 - share)
_ITERATIONS = 500
_SETTLED = 1e-9  # of the size of the array of stations

Method = Literal["Lenth MLE", "Huber", "Andrews"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PointEstimate:
    """A point where bearings meet.

    Attributes
    ----------
    x, y
        East and north, in the unit of the stations.
    covariance
        (2, 2), in that unit squared.
    kappa
        Concentration of the bearings, estimated or given.
    weights
        (n,) weight of each bearing, 1 for all under maximum likelihood.
    """

    method: Method
    x: float
    y: float
    covariance: Floats
    kappa: float
    weights: Floats

    @property
    def standard_errors(self) -> tuple[float, float]:
        """Standard errors of x and y."""
        return (
            float(np.sqrt(self.covariance[0, 0])),
            float(np.sqrt(self.covariance[1, 1])),
        )

    @property
    def correlation(self) -> float:
        """Correlation of x and y."""
        se_x, se_y = self.standard_errors
        return float(self.covariance[0, 1] / (se_x * se_y))

    def ellipse_area(self, share: int = 95) -> float:
        """Return the area of the confidence ellipse of 50, 90 or 95 %."""
        return float(np.pi * CHI2_2DF[share] * np.sqrt(np.linalg.det(self.covariance)))

    def ellipse(self, share: int = 95, points: int = 73) -> Floats:
        """Return the confidence ellipse as a closed, anticlockwise ring (points, 2)."""
        values, vectors = np.linalg.eigh(self.covariance)
        turn = np.linspace(0.0, 2 * np.pi, points)
        circle = np.stack([np.cos(turn), np.sin(turn)])
        axes = np.sqrt(CHI2_2DF[share] * values)
        if np.linalg.det(vectors) < 0:
            vectors = vectors[:, ::-1]
            axes = axes[::-1]
        ring = (vectors * axes) @ circle
        return np.asarray(ring.T + np.array([self.x, self.y]))


def lenth_mle(
    x: Floats, y: Floats, bearing_deg: Floats, *, kappa: float | None = None
) -> PointEstimate:
    """Return the maximum likelihood point (Lenth 1981, section 2).

    Parameters
    ----------
    x, y
        (n,) east and north of the stations, n >= 2.
    bearing_deg
        (n,) bearings [degrees clockwise from north].
    kappa
        Known concentration of the bearings; None estimates it, which with fewer
        than five bearings is worth little.

    Raises
    ------
    ValueError
        Where the bearings have no meeting point ahead of the stations, or the
        iteration doesn't settle.
    """
    return _estimate("Lenth MLE", x, y, bearing_deg, kappa=kappa)


def huber(
    x: Floats,
    y: Floats,
    bearing_deg: Floats,
    *,
    kappa: float | None = None,
    tuning: float = TUNING,
) -> PointEstimate:
    """Return Huber's M-estimate (Lenth 1981, section 3); see `lenth_mle`."""
    return _estimate("Huber", x, y, bearing_deg, kappa=kappa, tuning=tuning)


def andrews(
    x: Floats,
    y: Floats,
    bearing_deg: Floats,
    *,
    kappa: float | None = None,
    tuning: float = TUNING,
) -> PointEstimate:
    """Return Andrews' M-estimate (Lenth 1981, section 3); see `lenth_mle`."""
    return _estimate("Andrews", x, y, bearing_deg, kappa=kappa, tuning=tuning)


def crossings(x: Floats, y: Floats, bearing_deg: Floats) -> Floats:
    """Return where pairs of bearings cross, ahead of both stations only.

    Returns
    -------
    numpy.ndarray
        (k, 2) crossings; parallel pairs and crossings behind a station are left out.
    """
    x, y, angle = _checked(x, y, bearing_deg, least=1)
    i, j = np.triu_indices(len(x), 1)
    east, north = np.sin(angle), np.cos(angle)
    turn = east[i] * north[j] - north[i] * east[j]
    dx, dy = x[j] - x[i], y[j] - y[i]
    crossing = np.abs(turn) > 1e-9  # parallel lines cross nowhere
    i, j, turn, dx, dy = (v[crossing] for v in (i, j, turn, dx, dy))
    along_i = (dx * north[j] - dy * east[j]) / turn
    along_j = (dx * north[i] - dy * east[i]) / turn
    ahead = (along_i > 0) & (along_j > 0)
    place = np.stack([x[i] + along_i * east[i], y[i] + along_i * north[i]], axis=-1)
    return np.asarray(place[ahead])


@dataclass(frozen=True, slots=True)
class _Rays:
    """Bearings in Lenth's terms: s and c are sine and cosine from east."""

    x: Floats
    y: Floats
    angle: Floats  # clockwise from north [rad]

    @property
    def s(self) -> Floats:
        return np.asarray(np.cos(self.angle))

    @property
    def c(self) -> Floats:
        return np.asarray(np.sin(self.angle))

    def stars(self, place: Floats) -> tuple[Floats, Floats]:
        """Return Lenth's s* and c*: direction over the square of the distance."""
        east, north = place[0] - self.x, place[1] - self.y
        cube = np.hypot(east, north) ** 3
        with np.errstate(divide="ignore", invalid="ignore"):
            return north / cube, east / cube

    def closeness(self, place: Floats) -> Floats:
        """Return the cosine of each bearing's error at a place."""
        azimuth = np.arctan2(place[0] - self.x, place[1] - self.y)
        return np.asarray(np.cos(self.angle - azimuth))


def _checked(
    x: Floats, y: Floats, bearing_deg: Floats, least: int = 2
) -> tuple[Floats, Floats, Floats]:
    x, y, bearing = (np.asarray(v, dtype=np.float64) for v in (x, y, bearing_deg))
    for name, values in (("x", x), ("y", y), ("bearing_deg", bearing)):
        if values.ndim != 1 or values.shape != x.shape:
            msg = f"{name}: x, y and bearing_deg need one value for each bearing"
            raise ValueError(msg)
        if not np.isfinite(values).all():
            msg = f"{name}: every value must be a finite number"
            raise ValueError(msg)
    if ((bearing < 0) | (bearing > 360)).any():
        raise ValueError("bearing_deg: must lie within 0 to 360")
    if len(x) < least:
        msg = f"bearing_deg: {least} or more bearings are needed, not {len(x)}"
        raise ValueError(msg)
    return x, y, np.radians(bearing)


def _estimate(
    method: Method,
    x: Floats,
    y: Floats,
    bearing_deg: Floats,
    *,
    kappa: float | None,
    tuning: float = TUNING,
) -> PointEstimate:
    rays = _Rays(*_checked(x, y, bearing_deg))
    if kappa is not None and not (np.isfinite(kappa) and kappa > 0):
        msg = f"kappa: must be a positive number, not {kappa}"
        raise ValueError(msg)
    size = float(np.ptp(rays.x) + np.ptp(rays.y))
    weights = np.ones(len(rays.x))
    if method == "Lenth MLE":
        place = _solve(rays, rays.s, rays.c, weights)
    else:  # robust estimates start from maximum likelihood
        start = _estimate("Lenth MLE", x, y, bearing_deg, kappa=kappa)
        place = np.array([start.x, start.y])
        spread = kappa or _spread(rays.closeness(place), weights)
        weights = _weigh(method, rays.closeness(place), spread, tuning)
    for _ in range(_ITERATIONS):
        moved = _solve(rays, *rays.stars(place), weights)
        if not np.isfinite(moved).all():
            break
        step = float(np.hypot(*(moved - place)))
        place = moved
        closeness = rays.closeness(place)
        spread = kappa or _spread(closeness, weights)
        weights = _weigh(method, closeness, spread, tuning)
        if step <= _SETTLED * size:
            return _finish(method, rays, place, weights, spread)
    raise ValueError("bearing_deg: the bearings do not settle on a point")


def _solve(rays: _Rays, s_star: Floats, c_star: Floats, weights: Floats) -> Floats:
    """Solve Lenth 1981 eq. 2.6 (with weights in the robust case) for the place."""
    s, c = rays.s, rays.c
    z = s * rays.x - c * rays.y
    matrix = np.array(
        [
            [np.sum(weights * s * s_star), -np.sum(weights * c * s_star)],
            [-np.sum(weights * s * c_star), np.sum(weights * c * c_star)],
        ]
    )
    right = np.array([np.sum(weights * s_star * z), -np.sum(weights * c_star * z)])
    try:
        return np.asarray(np.linalg.solve(matrix, right))
    except np.linalg.LinAlgError:
        return np.full(2, np.nan)


def _spread(closeness: Floats, weights: Floats) -> float:
    """Return the concentration at a place, from the weighted mean cosine."""
    mean = float(np.sum(weights * closeness) / np.sum(weights))
    mean = float(np.clip(mean, 1e-6, 1 - 1e-14))
    return float(concentration(np.sqrt(-2.0 * np.log(mean))))


def _weigh(method: Method, closeness: Floats, kappa: float, tuning: float) -> Floats:
    """Return each bearing's weight at a place."""
    if method == "Lenth MLE":
        return np.ones(len(closeness))
    t = np.maximum(np.sqrt(2.0 * kappa * (1.0 - closeness)), 1e-12)
    if method == "Huber":
        return np.asarray(np.minimum(t, tuning) / t)
    return np.where(t <= tuning * np.pi, tuning * np.sin(t / tuning) / t, 0.0)


def _finish(
    method: Method, rays: _Rays, place: Floats, weights: Floats, kappa: float
) -> PointEstimate:
    used = weights > 0
    if used.sum() < 2 or (rays.closeness(place)[used] <= 0).all():
        raise ValueError("bearing_deg: the bearings do not meet ahead of the stations")
    s_star, c_star = rays.stars(place)
    across = -0.5 * np.sum(weights * (s_star * rays.c + c_star * rays.s))
    information = kappa * np.array(
        [
            [np.sum(weights * s_star * rays.s), across],
            [across, np.sum(weights * c_star * rays.c)],
        ]
    )
    covariance = np.linalg.pinv(information)
    if not (np.linalg.det(covariance) > 0 and covariance[0, 0] > 0):
        raise ValueError("bearing_deg: the bearings fix no point")
    return PointEstimate(
        method=method,
        x=float(place[0]),
        y=float(place[1]),
        covariance=np.asarray(covariance),
        kappa=float(kappa),
        weights=weights,
    )


_ESTIMATES = 5  # bearings below which an estimated spread is worth nothing
_FAR_M = 50_000.0  # a point beyond this is an accident of nearly parallel lines


def classical_fixes(evidence: Evidence, frame: LocalFrame) -> tuple[ClassicalFix, ...]:
    """Return the textbook points, or none where bearings come from one station."""
    case = evidence.case
    used = np.flatnonzero(evidence.use_bearing)
    if len(np.unique(case.bearing_station[used])) < 2:
        return ()
    x, y = case.station_xy[case.bearing_station[used]].T
    bearing = np.degrees(case.bearing_rad[used]) % 360.0
    kappa, taken = None, None
    if len(used) < _ESTIMATES:
        taken = case.settings.bearing_sd_deg
        kappa = float(concentration(np.array([np.radians(taken)]))[0])
    crossing = len(crossings(x, y, bearing))
    result = []
    for estimator in (lenth_mle, huber, andrews):
        try:
            found = estimator(x, y, bearing, kappa=kappa)
        except ValueError:
            continue  # the lines fix no point; the posterior says what they do
        if np.hypot(found.x, found.y) > _FAR_M or found.ellipse_area() > _FAR_M**2:
            continue
        place = frame.to_lonlat(np.array([found.x, found.y]))
        result.append(
            ClassicalFix(
                method=found.method,
                latitude_deg=float(place[1]),
                longitude_deg=float(place[0]),
                ellipse_95=frame.to_lonlat(found.ellipse(95)),
                area_95_m2=found.ellipse_area(95),
                bearings=len(used),
                crossings=crossing,
                spread_taken_deg=taken,
            )
        )
    return tuple(result)


MILE_M = 1609.344  # international mile

_VISSCHER_SEELEY = (  # minutes away, metres
    (5.0, 10.0, 15.0),
    (900.0, 1400.0, 1700.0),
)
_SEELEY = ((2.5, 6.5), (100.0, 1000.0))  # middles of "2-3 min" and "6-7 min"


def representative_s(away_s: Floats) -> float:
    """Return the third shortest away time [s], or the shortest of fewer.

    Human et al. 2013, J. Apic. Res. 52(4), section 4.2.6.4: the third or fourth
    shortest of about ten round trips stands for the bee.
    """
    ordered = np.sort(away_s)
    return float(ordered[2] if ordered.size >= 3 else ordered[0])


def hand_rules(away_s: float) -> tuple[HandRule, ...]:
    """Return what the published rules say of one away time [s].

    A rule is left out where the time lies outside what it was published for.
    """
    minutes = away_s / 60.0
    rules = []
    if _VISSCHER_SEELEY[0][0] <= minutes <= _VISSCHER_SEELEY[0][-1]:
        rules.append(
            HandRule(
                # Visscher and Seeley 1989, Am. Bee J. 129:536-541
                kind=HandRuleKind.VISSCHER_SEELEY,
                distance_m=float(np.interp(minutes, *_VISSCHER_SEELEY)),
            )
        )
    if _SEELEY[0][0] - 0.5 <= minutes <= _SEELEY[0][1] + 0.5:
        slope = (_SEELEY[1][1] - _SEELEY[1][0]) / (_SEELEY[0][1] - _SEELEY[0][0])
        metres = _SEELEY[1][0] + slope * (minutes - _SEELEY[0][0])
        rules.append(
            HandRule(
                kind=HandRuleKind.SEELEY,  # Seeley 2019, The Lives of Bees, p. 29
                distance_m=float(np.clip(metres, 0.0, None)),
            )
        )
    if minutes > 2.0:
        rules.append(
            HandRule(
                # Kephart, Camping and Woodcraft, p. 360
                kind=HandRuleKind.KEPHART,
                distance_m=(minutes - 2.0) / 10.0 * MILE_M,
            )
        )
    if minutes > 2.5:
        rules.append(
            HandRule(
                kind=HandRuleKind.FIFTEEN_MPH,  # common practice
                distance_m=(minutes - 2.5) / 60.0 / 2.0 * 15.0 * MILE_M,
            )
        )
    return tuple(rules)
