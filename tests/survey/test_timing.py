from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from survey.hunts import PER_METRE
from treeward.survey import Settings, timing, trip_tables

USUAL = timing.Spread(sigma=0.25, long_share=0.08, long_mean_s=400.0)
STAY = 25  # a node of in-hive time about three minutes


def table(
    away: list[float],
    cycles: int = 1,
    *,
    whole: bool = False,
    flight_s: np.ndarray | None = None,
    of: timing.Spread = USUAL,
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
        flight_s=timing.flight_nodes(2000.0) if flight_s is None else flight_s,
        of=[of],
    )
    return np.asarray(tables[0, 0])


@pytest.mark.parametrize("of", timing.spreads()[0][::3])
def test_density_of_a_trip_integrates_to_one(of: timing.Spread) -> None:
    # Over away times, at every node of flight and in-hive time that is not absurd.
    nodes = timing.flight_nodes(600.0)[::12]
    total = np.zeros((nodes.size, timing.STAY_NODES_S.size))
    for a in np.arange(21.0, 14400.0, 3.0):
        total += 3.0 * np.exp(table([a], flight_s=nodes, of=of))
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
