"""An oracle: the posterior of someone who knows the population hunts are drawn from.

Knows every range in `population.Population` and how observers miss bees, but not
what this hunt drew. `ask` with `doubtful` asks one who does not know that no line of
a station or a bee deviates there, but holds three things for equally likely: that none
does, that they deviate a little, and a lot.

Shares no code with treeward.survey and goes other ways: exact convolutions on a time
grid by Fourier transform in place of closed forms, plain midpoint sums over the drawn
ranges, and a polar map about the first station that is laid out twice, the second time
over the region that matters.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from benchmarks.survey.population import BACK_MPS, FILL_S, OUT_MPS, UNLOAD_S

if TYPE_CHECKING:
    from benchmarks.survey.population import InventedHunt, Population

Floats = NDArray[np.float64]

STEP_S = 4.0
GRID = 2048  # residual times from -LEFT to GRID * STEP - LEFT
LEFT_S = 800.0
NOISE_SD = np.array([6.0, 12.0, 22.0, 36.0, 55.0, 80.0, 120.0])
STAY_S = np.geomspace(45.0, 600.0, 40)  # a bee's own median in the hive
SPREADS = 7  # of in-hive time from trip to trip, where the population draws it
KINDS = ((1, 0), (1, 1), (2, 1), (2, 2))  # trips and fillings in a gap
# What the doubtful oracle holds for possible, equally likely: stations' lines off by so
# much, bees' by so much [degrees, standard deviations]; guesses, as in world.py.
DEVIATIONS = ((0.0, 0.0), (4.5, 4.0), (9.0, 4.0))
FLIGHT_S = np.linspace(0.0, 2600.0, 520)  # out and home at the bee's own speed


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What the oracle says."""

    best_xy: Floats
    area_90_m2: float
    holds_50: bool
    holds_90: bool


@lru_cache(maxsize=16)
def residual_tables(
    p: Population, fill_s: float, by_trip: float
) -> dict[tuple[int, int], Floats]:
    """Return density of (gap - trips * flight): (noise, stay, residual time)."""
    t = np.arange(GRID) * STEP_S
    frequency = np.fft.rfftfreq(GRID, STEP_S) * 2 * np.pi

    def lognormal(median: float, sigma: float) -> Floats:
        edges = np.maximum(np.arange(GRID + 1) * STEP_S - STEP_S / 2, 1e-9)
        from scipy.special import ndtr

        return np.diff(ndtr(np.log(edges / median) / sigma))

    fill = np.fft.rfft(lognormal(fill_s, p.fill_by_trip))
    excess = np.exp(-t / p.long_mean_s) * STEP_S / p.long_mean_s
    excess /= excess.sum()
    long_ = (1 - p.long_stays) + p.long_stays * np.fft.rfft(excess)
    shift = np.exp(-1j * frequency * LEFT_S)
    tables = {}
    for trips, fillings in KINDS:
        table = np.empty((NOISE_SD.size, STAY_S.size, GRID))
        for j, stay in enumerate(STAY_S):
            hive = np.fft.rfft(lognormal(stay, by_trip)) * long_
            whole = hive**trips * fill**fillings * shift
            for i, sd in enumerate(NOISE_SD):
                noise = np.exp(-0.5 * (sd * frequency) ** 2)
                table[i, j] = np.fft.irfft(whole * noise, GRID) / STEP_S
        tables[trips, fillings] = np.maximum(table, 1e-9)
    return tables


def _gap_log_likelihood(
    p: Population, gap: float, whole: bool, fill_s: float, by_trip: float
) -> Floats:
    """Return log density of one gap over (FLIGHT_S, STAY_S)."""
    tables = residual_tables(p, fill_s, by_trip)
    miss = float(np.mean(p.missed))
    kinds = ((1, 1), (2, 2)) if whole else ((1, 0), (2, 1))
    total = np.zeros((FLIGHT_S.size, STAY_S.size))
    for (trips, fillings), share in zip(kinds, (1 - miss**2, miss**2), strict=True):
        sd = np.sqrt(
            trips * (p.speed_by_trip * FLIGHT_S) ** 2 + 2 * p.clock_s**2 + 1e-9
        )
        noise = np.argmin(
            np.abs(np.log(sd)[:, None] - np.log(NOISE_SD)[None, :]), axis=1
        )
        at = (gap - trips * FLIGHT_S + LEFT_S) / STEP_S
        low = np.clip(np.floor(at).astype(int), 0, GRID - 2)
        part = np.clip(at - low, 0.0, 1.0)[:, None]
        table = tables[trips, fillings]
        value = table[noise, :, low] * (1 - part) + table[noise, :, low + 1] * part
        value[(at < 0) | (at >= GRID - 1)] = 1e-9
        total += share * value
    return np.log(total)


def _bees(
    hunt: InventedHunt, p: Population, by_trip: float
) -> dict[int, dict[int, Floats]]:
    """Return bee -> station -> (FLIGHT_S, STAY_S) log likelihood."""
    result: dict[int, dict[int, Floats]] = {}
    trips = hunt.trips
    for bee, station, gap, whole in zip(
        trips.bee, trips.station, trips.away_s, trips.round_trip, strict=True
    ):
        fill = FILL_S[hunt.stations.cargo[station]]
        table = _gap_log_likelihood(p, float(gap), bool(whole), fill, by_trip)
        own = result.setdefault(int(bee), {})
        own[int(station)] = own.get(int(station), 0.0) + table
    return result


def _time_log_likelihood(
    hunt: InventedHunt,
    p: Population,
    bees: dict[int, dict[int, Floats]],
    xy: Floats,
) -> Floats:
    speeds = p.speed[0] + (np.arange(12) + 0.5) / 12 * (p.speed[1] - p.speed[0])
    hives = p.hive[0] + (np.arange(14) + 0.5) / 14 * (p.hive[1] - p.hive[0])
    own_speed, own_weight = np.polynomial.hermite_e.hermegauss(5)
    own_weight = own_weight / own_weight.sum()
    factor = 1 + p.speed_by_bee * own_speed
    total = np.zeros((len(xy), speeds.size, hives.size))
    per_metre = 1 / OUT_MPS + 1 / BACK_MPS
    for bee, seats in bees.items():
        known = hunt.calibration_xy if hunt.colony_of_bee[bee] < 0 else None
        places = xy if known is None else known[None, :]
        unload = UNLOAD_S[hunt.stations.cargo[next(iter(seats))]]
        z = np.log(STAY_S)[:, None] - np.log(unload * hives)[None, :]
        prior = np.exp(-0.5 * (z / p.hive_by_bee) ** 2)
        prior /= prior.sum(axis=0)
        for i, speed in enumerate(speeds):
            likelihood = np.zeros((len(places), hives.size))
            tops = []
            logs = []
            for own in factor:
                value = np.zeros((len(places), STAY_S.size))
                for seat, table in seats.items():
                    away = np.hypot(*(places - hunt.station_xy[seat]).T)
                    at = away * per_metre / speed * own / (FLIGHT_S[1] - FLIGHT_S[0])
                    at = np.clip(at, 0, FLIGHT_S.size - 1.001)
                    low = at.astype(int)
                    part = (at - low)[:, None]
                    value += table[low] * (1 - part) + table[low + 1] * part
                logs.append(value)
                tops.append(value.max(axis=1))
            top = np.max(tops, axis=0)
            for value, weight in zip(logs, own_weight, strict=True):
                likelihood += weight * (np.exp(value - top[:, None]) @ prior)
            total[:, i] += np.log(likelihood + 1e-300) + top[:, None]
    top = total.max(axis=(1, 2))
    return np.asarray(np.log(np.exp(total - top[:, None, None]).sum(axis=(1, 2))) + top)


def _line_log_likelihood(hunt: InventedHunt, p: Population, xy: Floats) -> Floats:
    b = hunt.bearings
    known = np.array([hunt.colony_of_bee[bee] < 0 for bee in b.bee], dtype=bool)
    offsets = np.linspace(-3.2, 3.2, 15) * np.hypot(
        p.compass_sd_deg, b.declination_sd_deg
    )
    weight = np.exp(
        -0.5 * (offsets / np.hypot(p.compass_sd_deg, b.declination_sd_deg)) ** 2
    )
    weight /= weight.sum()
    spreads = p.spread_deg[0] + (np.arange(9) + 0.5) / 9 * np.ptp(p.spread_deg)
    shares = np.linspace(p.strays[0], p.strays[1], 4)
    total = np.zeros((len(xy), offsets.size, spreads.size, shares.size))
    for i in range(len(b.bee)):
        hive = hunt.calibration_xy
        target = hive[None, :] if known[i] and hive is not None else xy
        way = target - hunt.station_xy[b.station[i]]
        azimuth = np.degrees(np.arctan2(way[:, 0], way[:, 1]))
        error = b.bearing_true_deg[i] - azimuth[:, None] - offsets[None, :]
        error = (error + 180.0) % 360.0 - 180.0
        sd = np.hypot(spreads, b.rounding_deg[i] / np.sqrt(12.0))
        density = np.exp(-0.5 * (error[:, :, None] / sd) ** 2) / (
            sd * np.sqrt(2 * np.pi)
        )
        total += np.log(density[..., None] * (1 - shares) + shares / 360.0)
    top = total.max(axis=(1, 2, 3))
    share = np.exp(total - top[:, None, None, None]).sum(axis=(2, 3)) @ weight
    return np.asarray(np.log(share) + top)


def _around(sd_deg: float) -> Floats:
    """Return how a direction is spread over whole degrees; (360, 360)."""
    apart = (np.arange(360)[:, None] - np.arange(360) + 180) % 360 - 180
    if sd_deg == 0.0:
        return np.eye(360)
    share = np.exp(-0.5 * (apart / sd_deg) ** 2)
    return np.asarray(share / share.sum(axis=1, keepdims=True))


def _spread_out(log_table: Floats, sd_deg: float) -> Floats:
    top = log_table.max(axis=0)
    return np.asarray(np.log(_around(sd_deg) @ np.exp(log_table - top) + 1e-300) + top)


def _doubtful_lines(hunt: InventedHunt, p: Population, xy: Floats) -> Floats:
    """Return the same where stations and bees may have lines of their own."""
    b = hunt.bearings
    sd_offset = np.hypot(p.compass_sd_deg, b.declination_sd_deg)
    offsets = np.linspace(-3.2, 3.2, 15) * sd_offset
    weight = np.exp(-0.5 * (offsets / sd_offset) ** 2)
    weight /= weight.sum()
    spreads = p.spread_deg[0] + (np.arange(9) + 0.5) / 9 * np.ptp(p.spread_deg)
    shares = np.linspace(p.strays[0], p.strays[1], 4)
    by_deviation = []
    for of_station, of_bee in DEVIATIONS:
        total = np.zeros((len(xy), offsets.size, spreads.size * shares.size))
        for seat in np.unique(b.station):
            table = np.zeros((360, spreads.size * shares.size))
            for bee in np.unique(b.bee[b.station == seat]):
                own = np.zeros((360, spreads.size, shares.size))
                for i in np.flatnonzero((b.station == seat) & (b.bee == bee)):
                    error = (b.bearing_true_deg[i] - np.arange(360) + 180) % 360 - 180
                    sd = np.hypot(spreads, b.rounding_deg[i] / np.sqrt(12.0))
                    density = np.exp(-0.5 * (error[:, None] / sd) ** 2)
                    density /= sd * np.sqrt(2 * np.pi)
                    own += np.log(density[..., None] * (1 - shares) + shares / 360.0)
                table += _spread_out(own.reshape(360, -1), of_bee)
            table = _spread_out(table, of_station)
            of_hive = hunt.calibration_xy is not None and all(
                hunt.colony_of_bee[bee] < 0 for bee in b.bee[b.station == seat]
            )
            target = hunt.calibration_xy[None, :] if of_hive else xy  # type: ignore[index]
            way = target - hunt.station_xy[seat]
            at = np.degrees(np.arctan2(way[:, 0], way[:, 1]))[:, None] + offsets
            low = np.floor(at).astype(int)
            part = (at - low)[..., None]
            total += table[low % 360] * (1 - part) + table[(low + 1) % 360] * part
        top = total.max(axis=(1, 2))
        share = np.exp(total - top[:, None, None]).sum(axis=2) @ weight
        by_deviation.append(np.log(share) + top)
    return np.asarray(logsumexp(by_deviation, axis=0))


def _prior(p: Population, xy: Floats) -> Floats:
    away = np.hypot(*xy.T)
    z = np.log(np.maximum(away, 1.0) / p.distance_median_m) / p.distance_sigma
    value = -0.5 * z**2 - 2 * np.log(np.maximum(away, 1.0))
    return np.where(
        (away >= p.distance_m[0]) & (away <= p.distance_m[1]), value, -np.inf
    )


def ask(hunt: InventedHunt, p: Population, *, doubtful: bool = False) -> Answer:
    """Return the oracle's answer for a hunt with one colony."""
    of_lines = _doubtful_lines if doubtful else _line_log_likelihood
    low, high = p.hive_by_trip
    steps = low + (np.arange(SPREADS) + 0.5) / SPREADS * (high - low)
    by_trip = [float(s) for s in (steps if high > low else steps[:1] * 0 + low)]
    bees = [_bees(hunt, p, one) for one in by_trip]

    def posterior(xy: Floats) -> Floats:
        parts = []
        for start in range(0, len(xy), 300):
            block = xy[start : start + 300]
            parts.append(
                _prior(p, block)
                + logsumexp(
                    [_time_log_likelihood(hunt, p, own, block) for own in bees], axis=0
                )
                + of_lines(hunt, p, block)
            )
        return np.concatenate(parts)

    low, high = np.log(p.distance_m[0]), np.log(p.distance_m[1])
    left, right = -np.pi, np.pi
    cells = 64
    answer = None
    for stage in range(3):
        du, dv = (high - low) / cells, (right - left) / cells
        u, v = np.meshgrid(
            low + (np.arange(cells) + 0.5) * du,
            left + (np.arange(cells) + 0.5) * dv,
            indexing="ij",
        )
        u, v = u.ravel(), v.ravel()
        xy = np.exp(u)[:, None] * np.stack([np.sin(v), np.cos(v)], axis=-1)
        log_density = posterior(xy)
        size = np.exp(2 * u) * du * dv
        density = np.exp(log_density - log_density.max())
        mass = density * size
        mass /= mass.sum()
        order = np.argsort(-density)
        held = np.cumsum(mass[order])
        keep = order[: int(np.searchsorted(held, 0.9995)) + 1]
        answer = (xy, density, size, order, held)
        if stage < 2:
            # Turn the seam to the far side, then draw the frame round what matters.
            middle = np.angle(np.sum(mass * np.exp(1j * v)))
            turned = (v - middle + np.pi) % (2 * np.pi) - np.pi
            low, high = u[keep].min() - du, min(u[keep].max() + du, high)
            low = max(low, np.log(p.distance_m[0]))
            left = middle + max(turned[keep].min() - dv, -np.pi)
            right = middle + min(turned[keep].max() + dv, np.pi)
    assert answer is not None
    xy, density, size, order, held = answer
    truth = hunt.truth_xy[0]
    at_truth = float(posterior(truth[None, :])[0]) - float(posterior(xy[order[:1]])[0])
    count = [int(np.searchsorted(held, share)) for share in (0.5, 0.9)]
    levels = [float(np.log(density[order[n]])) for n in count]
    return Answer(
        best_xy=xy[order[0]],
        area_90_m2=float(size[order[: count[1] + 1]].sum()),
        holds_50=at_truth >= levels[0],
        holds_90=at_truth >= levels[1],
    )
