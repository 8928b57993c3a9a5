"""The same posterior by a general sampler: do the areas agree, and at what cost?

    python tests/benchmarks/survey/agreement.py

emcee samples place, flight speed, in-hive time, spread of trips, kind of long stays,
compass offset, scatter of bearings, kind of lines, the deviation of every station's
line and every bee's own in-hive time of three invented hunts, from the model's formulas
written out again here; a bee's own line and spread are summed over for each draw. Its
90 % area is taken two ways: as the level set of the survey's density that holds 90 %
of the draws, and by a kernel density of the draws.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import emcee  # type: ignore[import-not-found,import-untyped,unused-ignore]
import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from typing import TYPE_CHECKING

from benchmarks.survey import population
from benchmarks.survey.coverage import write_section
from treeward import survey
from treeward.survey import answer, case, evidence
from treeward.survey import directions as line_model
from treeward.survey import timing as time_model

if TYPE_CHECKING:
    from treeward.survey.grid import Grid

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

PER_METRE = 1 / 7.5 + 1 / 6.5
HIVE_S = {"water": 120.0, "syrup": 150.0}
FILL_S = {"water": 50.0, "syrup": 75.0}
CYCLES = {1: (0.95, 0.04, 0.01), 2: (0.25, 0.70, 0.05), 3: (0.20, 0.20, 0.60)}
SIGMAS = 0.08 * 6.0 ** (np.arange(7) / 6.0)  # 0.08 to 0.48
OWN_RAD, OWN_WEIGHT = np.polynomial.hermite_e.hermegauss(15)
OWN_RAD, OWN_WEIGHT = np.radians(4.0) * OWN_RAD, OWN_WEIGHT / OWN_WEIGHT.sum()
# Deviation of stations, of bees and share of tails, on the settings; by kind of lines.
LINES = np.array([(k.station, k.bee, k.tail_share) for k in line_model.LINE_KINDS])
LINE_WEIGHTS = np.array([k.weights for k in line_model.LINE_KINDS])
HUNTS = ((1, 4), (2, 9), (3, 2))  # stations, seed: small hunts without calibration


@dataclass
class Model:
    """The log posterior of a hunt for many parameter vectors at once."""

    hunt: population.InventedHunt
    station_xy: Floats
    bees: list[int]
    stations: list[int]  # with bearings

    def __call__(self, theta: Floats) -> Floats:
        """Return log posterior of (walkers, dimensions) vectors."""
        xy = theta[:, :2]
        z_f, z_g, z_o, ln_sd, at_sigma, at_long, at_line = theta[:, 2:9].T
        deviation = theta[:, 9 : 9 + len(self.stations)]
        own = theta[:, 9 + len(self.stations) :]
        line = np.clip(np.floor(at_line), 0, len(LINES) - 1).astype(np.intp)
        sigma = np.clip(np.floor(at_sigma), 0, len(SIGMAS) - 1).astype(np.intp)
        many = np.clip(np.floor(at_long), 0, 1).astype(np.intp)
        with np.errstate(all="ignore"):
            value = self._place_prior(xy, ln_sd)
            bad = (at_sigma < 0) | (at_sigma >= len(SIGMAS))
            bad |= (at_long < 0) | (at_long >= 2)
            bad |= (at_line < 0) | (at_line >= len(LINES))
            value = np.where(bad, -np.inf, value)
            value = value - 0.5 * (np.log(SIGMAS[sigma] / 0.22) / 0.45) ** 2
            value = value + np.log(np.array([0.6, 0.4])[many])
            ln_f = np.log(0.97) + 0.075 * z_f
            ln_g = np.log(1.12) + 0.18 * z_g
            for column, bee in enumerate(self.bees):
                value = value + self._bee(
                    bee, xy, ln_f, ln_g, own[:, column], sigma, many
                )
            offset = np.radians(z_o * np.hypot(3.0, 0.4))
            value = value + self._deviations(xy, deviation, line)
            by_share = self._lines(xy, offset, np.exp(ln_sd), deviation, line)
            kinds = [
                self._kind_prior(kind, z_f, z_g, z_o)
                + np.log(LINE_WEIGHTS[line, kind])
                + np.logaddexp(*weighed)
                for kind in (0, 1)
                for weighed in [
                    [
                        np.log(share) + fit
                        for share, fit in zip(
                            line_model.STRAY_WEIGHTS[kind], by_share, strict=True
                        )
                    ]
                ]
            ]
            value = value + np.logaddexp(*kinds)
        return np.where(np.isfinite(value), value, -np.inf)

    def _deviations(self, xy: Floats, deviation: Floats, line: Ints) -> Floats:
        """Return the log prior of the deviations of the stations' lines."""
        total: Floats = np.zeros(len(xy))
        for column, station in enumerate(self.stations):
            away = np.hypot(*(xy - self.station_xy[station]).T)
            scale, _, tail = LINES[line].T
            size = np.hypot(np.radians(3.5) * scale, np.arctan2(8.0, away))
            wide = np.maximum(size, np.radians(13.0) * np.maximum(scale, 1.0))
            of_one = deviation[:, column]
            density = (1 - 0.12 * tail) * stats.norm.pdf(of_one / size) / size
            density += 0.12 * tail * stats.norm.pdf(of_one / wide) / wide
            total = total + np.log(density)
        return total

    def _place_prior(self, xy: Floats, ln_sd: Floats) -> Floats:
        away = np.maximum(np.hypot(*(xy - self.station_xy[0]).T), 1.0)
        value = -0.5 * (np.log(away / 900.0) / 0.8) ** 2 - 2 * np.log(away)
        value = value - 0.5 * ((ln_sd - np.log(np.radians(9.0))) / 0.45) ** 2
        bad = away > 6000
        bad |= (ln_sd < np.log(np.radians(3.0))) | (ln_sd > np.log(np.radians(27.0)))
        return np.where(bad, -np.inf, value)

    @staticmethod
    def _kind_prior(kind: int, z_f: Floats, z_g: Floats, z_o: Floats) -> Floats:
        """Return the log prior of the shared unknowns in usual and poor hunts."""
        if kind == 0:
            flat = 2 * 1.72 * special.gamma(1.25)
            eager = stats.norm.pdf((z_g + 2.6) / 0.8) / 0.8 / stats.norm.cdf(2.0)
            times = np.exp(-((z_f / 1.72) ** 4)) / flat
            times *= 0.88 * np.exp(-((z_g / 1.72) ** 4)) / flat + 0.12 * eager
            times *= 1 - time_model.POOR_SHARE
        else:
            times = np.exp(-0.5 * ((z_f + 2.2) / 0.8) ** 2)
            times *= np.exp(-0.5 * ((z_g - 2.0) / 0.7) ** 2)
            times /= 2 * np.pi * 0.8 * 0.7
            times /= stats.norm.cdf(2.5) * stats.norm.cdf(1.8 / 0.7)
            times *= time_model.POOR_SHARE
        scale = line_model.COMPASS_TIMES[kind]
        share, wide = line_model.COMPASS_TAIL
        offset: Floats = np.zeros_like(z_o)
        for part, sd in ((1 - share, scale), (share, max(scale, wide))):
            offset += part * stats.norm.pdf(z_o / sd) / sd
        bad = (z_f < -4.2) | (z_f > 2.6) | (z_g < -4.2) | (z_g > 3.8)
        bad |= np.abs(z_o) > line_model.OFFSET_SPAN
        return np.where(bad, -np.inf, np.log(times * offset))

    def _bee(  # noqa: PLR0917
        self,
        bee: int,
        xy: Floats,
        ln_f: Floats,
        ln_g: Floats,
        z: Floats,
        sigma: Ints,
        many: Ints,
    ) -> Floats:
        trips = self.hunt.trips
        rows = np.flatnonzero(trips.bee == bee)
        if not len(rows):
            return -0.5 * z**2
        cargo = self.hunt.stations.cargo[int(trips.station[rows[0]])]
        base = HIVE_S[cargo]
        places = np.unique(trips.station[rows])
        flight = {
            int(s): np.hypot(*(xy - self.station_xy[s]).T) * PER_METRE / np.exp(ln_f)
            for s in places
        }
        typical = max(0.0, float(np.quantile(trips.away_s[rows], 0.3)) - base)
        extra = flight[int(places[0])] if len(places) == 1 else typical
        spread = np.hypot(0.22, 0.05 * extra / (base * np.exp(ln_g)))
        stay = base * np.exp(ln_g + spread * z)
        value = -0.5 * z**2
        # The bee's own spread: a step lower, the same, a step higher than the hunt's.
        by_step = []
        for step, share in ((-1, 0.15), (0, 0.70), (1, 0.15)):
            at = sigma + step
            inside = (at >= 0) & (at < len(SIGMAS))
            spread_own = SIGMAS[np.clip(at, 0, len(SIGMAS) - 1)]
            fit: Floats = np.where(inside, np.log(share), -np.inf)
            for row in rows:
                f = flight[int(trips.station[row])]
                fit = fit + np.log(
                    self._gap(
                        float(trips.away_s[row]),
                        bool(trips.round_trip[row]),
                        CYCLES[int(trips.cycles[row])],
                        f,
                        stay,
                        FILL_S[cargo],
                        1.12 * base,
                        spread_own,
                        many,
                    )
                )
            by_step.append(fit)
        ends = (sigma == 0) | (sigma == len(SIGMAS) - 1)
        whole = np.where(ends, 0.85, 1.0)
        return np.asarray(value + np.logaddexp.reduce(by_step) - np.log(whole))

    @staticmethod
    def _gap(  # noqa: PLR0917
        gap: float,
        whole: bool,
        shares: tuple[float, float, float],
        flight: Floats,
        stay: Floats,
        fill: float,
        usual: float,
        sigma: Floats,
        many: Ints,
    ) -> Floats:
        density: Floats = np.zeros_like(flight)
        excess: Floats = np.zeros_like(flight)
        long_share = np.array([0.08, 0.22])[many]
        long_mean = np.array([400.0, 120.0])[many]
        for n, share in enumerate(shares, start=1):
            loads = n - 1 + whole
            variance = n * (sigma * usual) ** 2 + loads * (0.4 * fill) ** 2
            variance = variance + n * (0.06 * sigma / 0.22 * flight) ** 2 + 2 * 4.0**2
            third = n * sigma**4 * usual**3 + loads * 0.4**4 * fill**3
            sd = np.sqrt(variance)
            shape = third / sd**3
            middle = n * (flight + stay) + loads * fill
            stretch = np.maximum(1 + shape * (gap - middle) / sd, 1e-12)
            log_z = np.log(stretch) / shape
            density += share * stats.norm.pdf(log_z) / (sd * stretch)
            if n == 1:
                late = (gap - middle) / sd - sd / long_mean
                power = (0.5 * sd * sd / long_mean - (gap - middle)) / long_mean
                excess = np.exp(np.minimum(power, 50.0)) * special.ndtr(late)
                excess = excess / long_mean
        density = (1 - long_share) * density + long_share * excess
        broad = 1 / (gap * np.log(14400.0 / 20.0))
        return np.asarray(0.98 * density + 0.02 * broad)

    def _lines(
        self, xy: Floats, offset: Floats, sd: Floats, deviation: Floats, line: Ints
    ) -> list[Floats]:
        """Return the log likelihood of the bearings for each share of strays."""
        b = self.hunt.bearings
        c = np.exp(-0.5 * sd**2)
        kappa = 1 / (
            2 * (1 - c) + (1 - c) ** 2 * (0.48794 - 0.82905 * c - 1.3915 * c**2) / c
        )
        scale = 2 * np.pi * special.i0e(kappa)
        own_rad = LINES[line, 1][:, None] * OWN_RAD
        totals: list[Floats] = [np.zeros(len(xy)) for _ in line_model.STRAY_SHARES]
        for column, station in enumerate(self.stations):
            way = xy - self.station_xy[station]
            centre = np.arctan2(way[:, 0], way[:, 1]) + offset + deviation[:, column]
            for bee in np.unique(b.bee[b.station == station]):
                rows = np.flatnonzero((b.station == station) & (b.bee == bee))
                by_own = [np.log(OWN_WEIGHT) for _ in totals]
                for i in rows:
                    pieces = max(1, int(np.ceil(b.rounding_deg[i] / 3.0)))
                    density: Floats = np.zeros((len(xy), OWN_RAD.size))
                    for k in range(pieces):
                        part = ((k + 0.5) / pieces - 0.5) * b.rounding_deg[i]
                        error = np.radians(b.bearing_true_deg[i] + part)
                        error = error - centre[:, None] - own_rad
                        density += np.exp(kappa[:, None] * (np.cos(error) - 1))
                    density /= (scale * pieces)[:, None]
                    by_own = [
                        own + np.log((1 - stray) * density + stray / (2 * np.pi))
                        for own, stray in zip(
                            by_own, line_model.STRAY_SHARES, strict=True
                        )
                    ]
                totals = [
                    total + special.logsumexp(own, axis=1)
                    for total, own in zip(totals, by_own, strict=True)
                ]
        return totals


def sample(model: Model, start: Floats, steps: int, seed: int) -> tuple[Floats, float]:
    """Return draws of the place, and the longest autocorrelation time."""
    rng = np.random.default_rng(seed)
    walkers = 80
    seats = len(model.stations)
    dimensions = 9 + seats + len(model.bees)
    first = np.zeros((walkers, dimensions))
    first[:, :2] = start[rng.integers(len(start), size=walkers)]
    first[:, 2:5] = 0.5 * rng.standard_normal((walkers, 3))
    first[:, 5] = np.log(np.radians(9.0)) + 0.2 * rng.standard_normal(walkers)
    first[:, 6] = rng.uniform(1.0, 6.0, walkers)
    first[:, 7] = rng.uniform(0.0, 2.0, walkers)
    first[:, 8] = rng.uniform(0.0, 3.0, walkers)
    first[:, 9 : 9 + seats] = np.radians(2.0 * rng.standard_normal((walkers, seats)))
    first[:, 9 + seats :] = 0.5 * rng.standard_normal((walkers, len(model.bees)))
    sampler = emcee.EnsembleSampler(
        walkers,
        dimensions,
        model,
        vectorize=True,
        moves=[
            (emcee.moves.DEMove(), 0.7),
            (emcee.moves.DESnookerMove(), 0.1),
            (emcee.moves.StretchMove(), 0.2),
        ],
    )
    state = np.random.RandomState(seed).get_state()
    sampler.random_state = state
    sampler.run_mcmc(first, steps)
    times = sampler.get_autocorr_time(quiet=True, tol=0)[:2]
    kept = sampler.get_chain(discard=steps // 5, flat=True)
    return np.asarray(kept[:, :2]), float(np.max(times))


def main() -> None:
    """Compare on the three hunts."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=8000)
    args = parser.parse_args()
    lines = [
        "## Agreement with a general sampler",
        "",
        (
            "`python tests/benchmarks/survey/agreement.py "
            f"--steps {args.steps}` (emcee {emcee.__version__}, 80 walkers, a fifth "
            "discarded)."
        ),
        "",
        (
            "| hunt | survey 90 % ha | sampler, same level sets ha | ratio "
            "| sampler, kernel density ha | draws / autocorrelation | survey s "
            "| sampler s | times faster |"
        ),
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for stations, seed in HUNTS:
        never = population.Population(calibrated=0.0, bees=(3, 4))
        hunt = population.invent(np.random.default_rng(seed), never, stations=stations)
        begin = time.process_time()
        survey.locate(hunt.stations, hunt.trips, hunt.bearings)
        fast = time.process_time() - begin
        prepared = case.prepare(
            hunt.stations, hunt.trips, hunt.bearings, survey.Settings(), None
        )
        known = evidence.Evidence(
            prepared.case,
            frozenset(prepared.bees),
            np.ones(len(prepared.bearing_used), dtype=bool),
        )
        _, grid = answer.solve(known)
        begin = time.process_time()
        model = Model(
            hunt,
            prepared.case.station_xy,
            list(prepared.bees),
            np.unique(hunt.bearings.station).tolist(),
        )
        draws, correlation = sample(model, grid.xy[grid.inside(0.9)], args.steps, seed)
        slow = time.process_time() - begin
        area = len(grid.inside(0.9)) * grid.cell_m**2 / 1e4
        same = level_set_area(grid, draws) / 1e4
        kernel = kernel_area(draws) / 1e4
        lines.append(
            f"| {stations} station{'s' * (stations > 1)}, seed {seed} | {area:.3f} "
            f"| {same:.3f} | {area / same:.3f} | {kernel:.3f} "
            f"| {len(draws) / correlation:.0f} | {fast:.2f} | {slow:.1f} "
            f"| {slow / fast:.0f} |"
        )
        print(lines[-1], flush=True)
    write_section("agreement", lines)


def level_set_area(grid: Grid, draws: Floats) -> float:
    """Return the area of the survey's level set that holds 90 % of the draws."""
    order = grid.inside(1.0 - 1e-9)
    corner = grid.xy[0] - (grid.index[0] + 0.5) * grid.cell_m
    cells = np.floor((draws - corner) / grid.cell_m).astype(np.int64)
    rank = {tuple(grid.index[c]): n for n, c in enumerate(order)}
    ranks = np.array([rank.get((int(i), int(j)), len(order)) for i, j in cells])
    return (float(np.quantile(ranks, 0.9)) + 1) * grid.cell_m**2


def kernel_area(draws: Floats) -> float:
    """Return the 90 % area of a kernel density of the draws."""
    thin = draws[:: max(1, len(draws) // 6000)]
    kernel = stats.gaussian_kde(thin.T, bw_method=0.12)
    low, high = np.quantile(thin, (0.0005, 0.9995), axis=0)
    pad = 0.1 * (high - low)
    x = np.linspace(low[0] - pad[0], high[0] + pad[0], 120)
    y = np.linspace(low[1] - pad[1], high[1] + pad[1], 120)
    values = kernel(np.stack([a.ravel() for a in np.meshgrid(x, y)]))
    ordered = np.sort(values)[::-1]
    total = np.cumsum(ordered) / ordered.sum()
    cells = int(np.searchsorted(total, 0.9)) + 1
    return float(cells * (x[1] - x[0]) * (y[1] - y[0]))


if __name__ == "__main__":
    main()
