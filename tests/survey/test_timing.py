from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from survey.hunts import PER_METRE
from treeward.survey import Settings, timing, trip_tables
from treeward.survey.records import OwnFactors

USUAL = timing.Spread(sigma=0.25, long_share=0.08, long_mean_s=400.0)
STAY = 25  # a node of in-hive time about three minutes


def table(
    away: list[float],
    cycles: int = 1,
    *,
    whole: bool = False,
) -> np.ndarray:
    n = len(away)
    tables = trip_tables.trip_tables(
        trip_tables.Gaps(
            away_s=np.array(away),
            round_trip=np.full(n, whole),
            rounding_s=np.zeros(n),
            cycles=np.full(n, cycles),
            owner=np.zeros(n, dtype=np.intp),
            owners=1,
        ),
        loading_s=50.0,
        stay_s=134.0,
        flight_s=timing.flight_nodes(2000.0),
        of=[USUAL],
    )
    return np.asarray(tables[0, 0])


@pytest.mark.slow
@pytest.mark.parametrize("of", timing.spreads()[0][::3])
def test_density_of_a_trip_integrates_to_one(of: timing.Spread) -> None:
    # Over away times, at every node of flight and in-hive time that is not absurd.
    nodes = timing.flight_nodes(600.0)[::12]
    away = np.concatenate([np.arange(21.0, 2000.0, 4.0), np.arange(2000, 14400, 40.0)])
    each = trip_tables.trip_tables(
        trip_tables.Gaps(
            away_s=away,
            round_trip=np.zeros(len(away), dtype=bool),
            rounding_s=np.zeros(len(away)),
            cycles=np.ones(len(away), dtype=np.intp),
            owner=np.arange(len(away)),
            owners=len(away),
        ),
        loading_s=50.0,
        stay_s=134.0,
        flight_s=nodes,
        of=[of],
    )[:, 0]
    total = np.tensordot(np.gradient(away), np.exp(each), axes=1)
    # The lognormal of a matched skewness loses a little where skewness is large.
    assert total[1:, 8:38] == pytest.approx(1.0, abs=0.02)


def test_the_quick_normal_distribution_is_near_the_exact_one() -> None:
    z = np.linspace(-8.0, 8.0, 999, dtype=np.float32)
    assert trip_tables._below(z) == pytest.approx(special.ndtr(z), abs=1.5e-4)


def test_trips_of_two_bees_are_told_apart_and_counted_each() -> None:
    both = trip_tables.trip_tables(
        trip_tables.Gaps(
            away_s=np.array([300.0, 400.0, 300.0]),
            round_trip=np.zeros(3, dtype=bool),
            rounding_s=np.zeros(3),
            cycles=np.ones(3, dtype=np.intp),
            owner=np.array([0, 1, 0], dtype=np.intp),
            owners=2,
        ),
        loading_s=50.0,
        stay_s=134.0,
        flight_s=timing.flight_nodes(2000.0),
        of=[USUAL],
    )[:, 0]
    assert both[0] == pytest.approx(table([300.0, 300.0]), rel=1e-5)
    assert both[1] == pytest.approx(table([400.0]), rel=1e-5)


def test_likeliest_flight_time_is_the_away_time_less_the_stay() -> None:
    found = table([300.0] * 10)
    stay = STAY
    at = timing.flight_nodes(2000.0)[int(np.argmax(found[:, stay]))]
    assert at == pytest.approx(300.0 - timing.STAY_NODES_S[stay], abs=12.0)


def test_a_missed_visit_hardly_moves_the_likeliest_flight() -> None:
    once = table([300.0, 305.0, 296.0])
    with_gap = table([300.0, 305.0, 296.0, 655.0])
    stay = STAY
    moved = abs(int(np.argmax(once[:, stay])) - int(np.argmax(with_gap[:, stay])))
    assert moved <= 2


def test_a_round_trip_holds_a_loading_more() -> None:
    away = int(np.argmax(table([300.0] * 6)[:, STAY]))
    whole = int(np.argmax(table([350.0] * 6, whole=True)[:, STAY]))
    assert abs(away - whole) <= 1


def test_override_is_the_median_of_the_in_hive_time() -> None:
    settings = Settings(in_hive_s={"water": 90.0})
    base = timing.in_hive_median_s("water", settings)
    assert base * settings.in_hive_factor == pytest.approx(90.0)


def test_prior_of_shared_unknowns_sums_to_one_and_has_its_medians() -> None:
    nodes = timing.shared_nodes(Settings())
    weight = np.exp(nodes.log_weight)
    assert weight.sum() == pytest.approx(1.0)
    assert np.exp(weight.sum(axis=(0, 2, 3)) @ nodes.ln_f) == pytest.approx(
        0.95, abs=0.03
    )
    of_spread = timing.shared_nodes(Settings(), log_spread=timing.spreads()[1])
    assert np.exp(of_spread.log_weight).sum() == pytest.approx(1.0)
    windy = timing.shared_nodes(Settings(), wind_mps=6.0)
    assert np.ptp(windy.ln_f) > 1.5 * np.ptp(nodes.ln_f)


def test_kernel_sums_to_one_over_stays() -> None:
    nodes = timing.shared_nodes(Settings())
    kernel = timing.bee_kernel(120.0, nodes.ln_g, timing.flight_nodes(2000.0))
    assert kernel.sum(axis=1) == pytest.approx(1.0)


def test_positions_and_nodes_are_a_pair() -> None:
    nodes = timing.flight_nodes(1000.0)
    assert timing.flight_position(nodes) == pytest.approx(np.arange(nodes.size))
    assert nodes[-1] >= 1000.0
    assert pytest.approx(0.2872, abs=1e-4) == PER_METRE  # as published speeds give


def share_within(settings: Settings, low: float, high: float, leg: str) -> float:
    """Return the prior's share of hunts whose speed on a leg lies within a range."""
    nodes = timing.shared_nodes(settings)
    still, slow = {
        "out": (settings.flight_speed_out_mps, nodes.slow_out),
        "home": (settings.flight_speed_home_mps, nodes.slow_home),
    }[leg]
    weight = np.exp(nodes.log_weight).sum(axis=(0, 2, 3))
    edges = np.concatenate([[0.0], np.cumsum(weight)])
    z = np.log(still / slow)
    step = z[1] - z[0]
    at = np.append(z - 0.5 * step, z[-1] + 0.5 * step)
    return float(np.interp(np.log(high), at, edges) - np.interp(np.log(low), at, edges))


def test_a_range_of_speed_holds_its_share_of_the_prior_on_each_leg() -> None:
    z_90 = 1.6449  # normal quantile
    settings = Settings(
        flight_speed_out_mps=np.sqrt(6.0 * 8.5),
        flight_speed_out_sd=np.log(8.5 / 6.0) / (2 * z_90),
        flight_speed_home_mps=np.sqrt(5.5 * 6.0),
        flight_speed_home_sd=np.log(6.0 / 5.5) / (2 * z_90),
    )
    assert share_within(settings, 6.0, 8.5, "out") == pytest.approx(0.9, abs=0.01)
    assert share_within(settings, 5.5, 6.0, "home") == pytest.approx(0.9, abs=0.01)


def test_a_range_of_in_hive_time_holds_its_share_of_the_prior() -> None:
    spread = np.log(240.0 / 90.0) / (2 * 1.6449)
    settings = Settings(
        in_hive_s={"water": np.sqrt(90.0 * 240.0)},
        in_hive_factor=1.0,
        in_hive_factor_sd=spread,
    )
    nodes = timing.shared_nodes(settings)
    weight = np.exp(nodes.log_weight).sum(axis=(0, 1, 3))
    stay = timing.in_hive_median_s("water", settings) * np.exp(nodes.ln_g)
    step = np.log(stay[1] / stay[0])
    at = np.append(np.log(stay) - 0.5 * step, np.log(stay[-1]) + 0.5 * step)
    edges = np.concatenate([[0.0], np.cumsum(weight)])
    inside = np.interp(np.log([90.0, 240.0]), at, edges)
    assert inside[1] - inside[0] == pytest.approx(0.9, abs=0.01)


def test_a_range_of_one_leg_leaves_the_other_as_published() -> None:
    one = timing.shared_nodes(Settings(flight_speed_out_sd=0.01))
    assert np.ptp(np.log(one.slow_out)) < 0.1
    assert np.ptp(np.log(one.slow_home)) > 0.4


def test_a_pair_of_places_is_one_in_hive_time_at_both() -> None:
    # Against the sum over in-hive times written out, at rows and between them.
    rows = timing.flight_nodes(400.0)
    of = timing.spreads()[0][4:8]
    both = trip_tables.trip_tables(
        trip_tables.Gaps(
            away_s=np.array([300.0, 320.0, 210.0, 215.0]),
            round_trip=np.zeros(4, dtype=bool),
            rounding_s=np.zeros(4),
            cycles=np.ones(4, dtype=np.intp),
            owner=np.array([0, 0, 1, 1], dtype=np.intp),
            owners=2,
        ),
        loading_s=50.0,
        stay_s=134.0,
        flight_s=rows,
        of=of,
    )
    ln_g = np.log([0.9, 1.2])
    kernel = timing.bee_kernel(120.0, ln_g, np.array([150.0]))[0]
    near = timing.near_bees(of, of)
    pair = timing.pair_table(both[0], both[1], kernel, near)

    at = (14, 7)
    by_stay = np.exp(both[0][:, at[0]].astype(float) + both[1][:, at[1]])
    expected = np.log(near @ by_stay @ kernel).T
    found = timing.look_up_pair(pair, np.array(at[0] * 1.0), np.array(at[1] * 1.0))
    assert found == pytest.approx(expected, rel=1e-4)
    # Beyond the last row that a trip reaches nothing changes.
    far = timing.look_up_pair(pair, np.array(300.0), np.array(7.0))
    assert np.isfinite(far).all()
    assert (far < found).all()


@pytest.mark.parametrize(
    ("count", "position"), [(4, -0.5), (4, 9.0), (1, 0.5), (4, 2.25)]
)
def test_a_pair_is_looked_up_within_its_table(count: int, position: float) -> None:
    rows = np.arange(count, dtype=np.float32)
    table = np.broadcast_to(rows[:, None, None, None], (count, count, 2, 3)).copy()
    there = np.array([position])

    found = timing.look_up_pair(table, there, np.array([0.0]))

    assert found == pytest.approx(np.clip(position, 0, count - 1), abs=1e-4)


def lognormal_about(
    away_s: np.ndarray, median_s: float, sd_s: float, shape: float
) -> np.ndarray:
    """Return the textbook's three-parameter lognormal density."""
    scale = sd_s / shape
    above = np.maximum(away_s - (median_s - scale), 1e-9)
    z = np.log(above / scale) / shape
    return np.asarray(np.exp(-0.5 * z**2) / (above * shape * np.sqrt(2 * np.pi)))


def normal_then_exponential(
    away_s: np.ndarray, mean_s: float, sd_s: float, excess_s: float
) -> np.ndarray:
    """Return the density of a normal time and an exponential excess after it."""
    rate = 1 / excess_s
    power = rate / 2 * (2 * mean_s + rate * sd_s**2 - 2 * away_s)
    over = (mean_s + rate * sd_s**2 - away_s) / (np.sqrt(2) * sd_s)
    return np.asarray(rate / 2 * np.exp(power) * special.erfc(over))


@pytest.mark.parametrize(
    ("hint", "shares"),
    [(1, (0.95, 0.04, 0.01)), (2, (0.25, 0.7, 0.05)), (5, (0.2, 0.2, 0.6))],
)
@pytest.mark.parametrize("whole", [False, True])
@pytest.mark.parametrize(("width_s", "wind_mps"), [(0.0, 0.0), (60.0, 4.0)])
def test_a_gap_is_the_mixture_that_the_model_says(
    hint: int,
    shares: tuple[float, ...],
    *,
    whole: bool,
    width_s: float,
    wind_mps: float,
) -> None:
    # By hand: so many trips of 300 s of flight and some two minutes in the hive, with
    # the fillings of 50 s between them, or one more from landing to landing; long stays
    # with an excess; one time in fifty means nothing, 20 s to 4 h, even in its log.
    away = np.array([180.0, 400.0, 480.0, 560.0, 700.0, 950.0, 1500.0, 2500.0])
    sigma, flight = 0.22, 300.0
    found = trip_tables.trip_tables(
        trip_tables.Gaps(
            away_s=away,
            round_trip=np.full(8, whole),
            rounding_s=np.full(8, width_s),
            cycles=np.full(8, hint),
            owner=np.arange(8),
            owners=8,
        ),
        loading_s=50.0,
        stay_s=134.0,
        flight_s=np.array([0.0, flight, 3000.0]),
        of=[timing.Spread(sigma=sigma, long_share=0.08, long_mean_s=400.0)],
        wind_mps=wind_mps,
    )[:, 0, 1, 20]
    stay = 30.0 * (800 / 30) ** (20 / 45)

    def moments(trips: int) -> tuple[float, float, float]:
        fillings = trips - 1 + whole
        by_trip = 0.06**2 + (0.015 * wind_mps) ** 2
        variance = trips * ((sigma * 134) ** 2 + by_trip * flight**2)
        variance += fillings * (0.4 * 50) ** 2 + 2 * 4.0**2 + width_s**2 / 12
        third = trips * sigma * (sigma * 134) ** 3 + fillings * 0.4 * (0.4 * 50) ** 3
        sd = np.sqrt(variance)
        return trips * (flight + stay) + 50 * fillings, sd, third / sd**3

    usual = sum(
        share * lognormal_about(away, *moments(trips))
        for trips, share in zip((1, 2, 3), shares, strict=True)
    )
    median, sd, _ = moments(1)
    long_ = normal_then_exponential(away, median, sd, 400.0)
    broad = 0.02 / np.log(14400 / 20) / away
    expected = 0.98 * (0.92 * usual + 0.08 * long_) + broad

    assert np.exp(found) == pytest.approx(expected, rel=2e-3)


def test_in_a_lognormal_the_third_moment_is_that_of_the_model() -> None:
    # Of exp(s z) with a small s the third central moment is 3 s (s m)^3.
    gap = trip_tables._Shape.of_gap(
        np.array([0.0]),
        np.array([100.0]),
        usual_s=100.0,
        sigma=0.1,
        cycles=1,
        kind=0,
        loading_s=50.0,
        rounding_s=0.0,
        flight_cv=0.0,
    )
    times = np.arange(20.0, 400.0, 0.5)
    density = np.array([gap.density(t, 1)[0, 0] for t in times]) * 0.5
    mean = density @ times
    variance = density @ (times - mean) ** 2
    third = density @ (times - mean) ** 3
    assert density.sum() == pytest.approx(1.0, abs=1e-4)
    assert mean == pytest.approx(100.0, rel=0.01)
    assert variance == pytest.approx(10.0**2 + 2 * 4.0**2, rel=0.02)
    assert third == pytest.approx(3 * 0.1 * 10.0**3, rel=0.1)


def moments_of(values: np.ndarray, weight: np.ndarray) -> tuple[float, float]:
    mean = float(values @ weight / weight.sum())
    return mean, float(np.sqrt(weight @ (values - mean) ** 2 / weight.sum()))


def test_usual_and_poor_hunts_have_the_moments_that_are_stated() -> None:
    nodes = timing.shared_nodes(Settings())
    usual, poor = np.exp(nodes.log_weight)[..., 0]
    assert poor.sum() == pytest.approx(0.18)
    # Flat-topped, cut at 2.6 above: a touch narrower and slower than the whole curve.
    mean, sd = moments_of(nodes.ln_f, usual.sum(axis=1))
    assert mean == pytest.approx(np.log(0.97), abs=0.002)
    assert sd == pytest.approx(0.075, rel=0.02)
    mean, sd = moments_of(nodes.ln_f, poor.sum(axis=1))
    assert mean == pytest.approx(np.log(0.97) - 2.2 * 0.075, abs=0.002)
    assert sd == pytest.approx(0.8 * 0.075, rel=0.05)
    mean, sd = moments_of(nodes.ln_g, poor.sum(axis=0))
    assert mean == pytest.approx(np.log(1.12) + 2.0 * 0.18, abs=0.01)
    assert sd == pytest.approx(0.7 * 0.18, rel=0.05)
    # A share of 0.12 unloads at once: 2.6 below, 0.8 wide.
    mean, sd = moments_of(nodes.ln_g, usual.sum(axis=0))
    assert mean == pytest.approx(np.log(1.12) - 0.12 * 2.6 * 0.18, abs=0.006)
    wide = 0.88 + 0.12 * (0.8**2 + 2.6**2) - (0.12 * 2.6) ** 2
    assert sd == pytest.approx(0.18 * np.sqrt(wide), rel=0.03)
    # Speed and stay are told apart: nothing ties them within a kind.
    for kind in (usual, poor):
        apart = np.outer(kind.sum(axis=1), kind.sum(axis=0)) / kind.sum()
        assert kind == pytest.approx(apart, abs=1e-9)
    # Both legs slow down alike, at Wenner's speeds on a middling day.
    assert nodes.slow_out == pytest.approx(np.exp(-nodes.ln_f))
    assert nodes.slow_home == pytest.approx(np.exp(-nodes.ln_f))


def test_wind_widens_the_speeds_and_leaves_open_how_much_bees_make_up_for() -> None:
    nodes = timing.shared_nodes(Settings(), wind_mps=5.0)
    usual = np.exp(nodes.log_weight[0])[..., 0].sum(axis=1)
    assert moments_of(nodes.ln_f, usual)[1] == pytest.approx(
        np.hypot(0.075, 0.02 * 5.0), rel=0.06
    )
    assert moments_of(nodes.compensation, usual) == pytest.approx((0.6, 0.2))
    for wind, known in ((1.4, 1), (1.5, 3)):
        share = timing.shared_nodes(Settings(), wind_mps=wind).compensation
        assert len(np.unique(share)) == known
    some = timing.shared_nodes(Settings(wind_compensation=0.9), wind_mps=3.0)
    assert some.compensation.max() == 1.0  # no more than all of it


def test_a_leg_of_known_speed_keeps_its_own_spread_and_the_other_the_usual() -> None:
    settings = Settings(flight_speed_out_mps=8.0, flight_speed_out_sd=0.05)
    nodes = timing.shared_nodes(settings)
    usual, poor = np.exp(nodes.log_weight)[..., 0].sum(axis=2)
    for weight in (usual, poor):
        assert moments_of(np.log(nodes.slow_out), weight) == pytest.approx(
            (0.0, 0.05), rel=0.01, abs=1e-9
        )
        assert moments_of(np.log(nodes.slow_home), weight) == pytest.approx(
            (-np.log(0.97), 0.075), rel=0.01
        )
    both = (nodes.slow_out / 8.0 + nodes.slow_home / 6.5) / (1 / 8.0 + 1 / 6.5)
    assert np.exp(-nodes.ln_f) == pytest.approx(both)


def test_how_trips_scatter_is_lognormal_from_hunt_to_hunt() -> None:
    every, log_prior = timing.spreads()
    weight = np.exp(log_prior)
    assert weight.sum() == pytest.approx(1.0)
    many = np.array([spread.long_share == 0.22 for spread in every])
    assert weight[many].sum() == pytest.approx(0.4)
    assert {(s.long_share, s.long_mean_s) for s in every} == {
        (0.08, 400.0),
        (0.22, 120.0),
    }
    sigmas = np.unique([spread.sigma for spread in every])
    assert sigmas == pytest.approx(0.08 * 6 ** (np.arange(7) / 6))
    for sigma in sigmas:
        own = [spread.sigma == sigma for spread in every]
        z = np.log(sigma / 0.22) / 0.45
        middle = [spread.sigma == sigmas[3] for spread in every]
        odds = weight[own].sum() / weight[middle].sum()
        z_middle = np.log(sigmas[3] / 0.22) / 0.45
        assert np.log(odds) == pytest.approx(-0.5 * (z**2 - z_middle**2))


def test_a_bees_scatter_is_that_of_its_hunt_or_a_step_off() -> None:
    every, _ = timing.spreads()
    near = timing.near_bees(every, every)
    assert near.sum(axis=1) == pytest.approx(1.0)
    inner = 6  # a hunt with a step to either side
    own = every[inner].sigma
    for j in np.flatnonzero(near[inner]):
        steps = 6 * np.log(every[j].sigma / own) / np.log(6)
        expected = 0.70 if abs(steps) < 0.1 else 0.15
        assert near[inner, j] == pytest.approx(expected)
        assert min(abs(steps), abs(abs(steps) - 1)) < 1e-9
    assert {every[j].long_share for j in np.flatnonzero(near[inner])} == {
        every[inner].long_share
    }
    # At the rim the missing step is shared out.
    assert sorted(near[0][near[0] > 0]) == pytest.approx([0.15 / 0.85, 0.7 / 0.85])


def test_a_bees_stay_scatters_about_the_hunts_and_its_flight_adds_to_that() -> None:
    # ln m is normal about ln(120 g), 0.22 wide; 5 % of 400 s of flight add to it.
    kernel = timing.bee_kernel(120.0, np.array([0.2]), np.array([0.0, 400.0]))
    ln_m = np.linspace(np.log(30.0), np.log(800.0), 46)
    for row, flight in zip(kernel[..., 0], (0.0, 400.0), strict=True):
        mean, sd = moments_of(ln_m, row)
        assert mean == pytest.approx(np.log(120.0) + 0.2, abs=1e-3)
        by_flight = 0.05 * flight / (120.0 * np.exp(0.2))
        assert sd == pytest.approx(np.hypot(0.22, by_flight), rel=2e-3)


def test_flight_nodes_lie_four_seconds_apart_then_in_proportion() -> None:
    nodes = timing.flight_nodes(2000.0)
    steps = np.diff(nodes)
    assert nodes[0] == 0.0
    assert nodes[-3] < 2000.0 <= nodes[-1]
    assert steps[1:] / steps[:-1] == pytest.approx(np.exp(0.014))
    assert steps[0] == pytest.approx(4.0, rel=0.01)
    assert timing.flight_position(nodes) == pytest.approx(np.arange(len(nodes)))


def test_spreads_that_no_trip_speaks_for_are_left_out() -> None:
    prior = np.log(np.full(14, 1 / 14))
    table = np.zeros((14, 2, 3), dtype=np.float32)
    assert list(timing.worth_while([], prior + np.arange(14))) == [13]
    # Trips that tell nothing: seven scatters, of which every second will do.
    assert list(timing.worth_while([table], prior)) == [0, 1, 4, 5, 8, 9, 12, 13]
    table[:4, 1, 2] = 6.0
    assert list(timing.worth_while([table], prior)) == [0, 1, 4, 5, 8, 9, 12, 13]
    # Two bees: twice 6 nats are more than the 8 that are looked at.
    assert list(timing.worth_while([table, table], prior)) == [0, 1, 2, 3]


def test_what_own_hunts_taught_tilts_the_prior_to_its_mean_and_spread() -> None:
    # Where the plain prior is normal, a tilt by two normals gives just the second.
    x = np.linspace(-0.5, 0.5, 101)
    f, g = np.meshgrid(x, x, indexing="ij")
    plain = np.exp(-0.5 * ((f / 0.1) ** 2 + (g / 0.12) ** 2))
    own = OwnFactors(ln_f=0.03, ln_f_sd=0.05, ln_g=-0.04, ln_g_sd=0.08, correlation=0.4)
    both = plain * timing._tilt(plain, (x, x), own, use=(True, True))
    for axis, expected in ((1, (0.03, 0.05)), (0, (-0.04, 0.08))):
        assert moments_of(x, both.sum(axis=axis)) == pytest.approx(expected, rel=1e-3)
    tied = ((f - 0.03) * (g + 0.04) * both).sum() / both.sum()
    assert tied == pytest.approx(0.4 * 0.05 * 0.08, rel=1e-3)
    speed = plain * timing._tilt(plain, (x, x), own, use=(True, False))
    assert moments_of(x, speed.sum(axis=0)) == pytest.approx((0.0, 0.12), abs=1e-3)
    assert moments_of(x, speed.sum(axis=1)) == pytest.approx((0.03, 0.05), rel=1e-3)
    assert timing._tilt(plain, (x, x), own, use=(False, False)) == pytest.approx(1.0)


def test_a_table_is_read_between_its_rows() -> None:
    table = np.array([[0.0, 10.0], [2.0, 4.0], [6.0, 0.0]], dtype=np.float32)
    found = timing.look_up(table, np.array([-1.0, 0.25, 1.5, 9.0]))
    assert found == pytest.approx(
        np.array([[0.0, 10.0], [0.5, 8.5], [4.0, 2.0], [6.0, 0.0]]), abs=1e-4
    )
