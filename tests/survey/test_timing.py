from __future__ import annotations

import numpy as np
import pytest

from survey.hunts import PER_METRE
from treeward.survey import Settings, timing


def table(away: list[float], cycles: int = 1, *, whole: bool = False) -> np.ndarray:
    n = len(away)
    return timing.trip_table(
        np.array(away),
        round_trip=np.full(n, whole),
        rounding_s=np.zeros(n),
        cycles=np.full(n, cycles),
        loading_s=50.0,
        flight_s=timing.flight_nodes(2000.0),
    )


def test_density_of_a_trip_integrates_to_one() -> None:
    # Over away times, at every node of flight and in-hive time that is not absurd.
    away = np.arange(21.0, 14400.0, 3.0)
    nodes = timing.flight_nodes(600.0)[::12]
    total = np.zeros((nodes.size, 24))
    for a in away:
        total += 3.0 * np.exp(
            timing.trip_table(
                np.array([a]),
                round_trip=np.array([False]),
                rounding_s=np.array([0.0]),
                cycles=np.array([1]),
                loading_s=50.0,
                flight_s=nodes,
            )
        )
    assert total[1:, 4:20] == pytest.approx(1.0, abs=0.02)


def test_likeliest_flight_time_is_the_away_time_less_the_stay() -> None:
    found = table([300.0] * 10)
    stay = 13
    at = timing.flight_nodes(2000.0)[int(np.argmax(found[:, stay]))]
    assert at == pytest.approx(300.0 - timing._M_NODES[stay], abs=12.0)


def test_a_missed_visit_hardly_moves_the_likeliest_flight() -> None:
    once = table([300.0, 305.0, 296.0])
    with_gap = table([300.0, 305.0, 296.0, 655.0])
    stay = 13
    moved = abs(int(np.argmax(once[:, stay])) - int(np.argmax(with_gap[:, stay])))
    assert moved <= 2


def test_a_round_trip_holds_a_loading_more() -> None:
    away = int(np.argmax(table([300.0] * 6)[:, 13]))
    whole = int(np.argmax(table([350.0] * 6, whole=True)[:, 13]))
    assert abs(away - whole) <= 1


def test_override_is_the_median_of_the_in_hive_time() -> None:
    settings = Settings(in_hive_s={"water": 90.0})
    base = timing.in_hive_median_s("water", settings)
    assert base * settings.in_hive_factor == pytest.approx(90.0)


def test_prior_of_shared_unknowns_sums_to_one_and_has_its_medians() -> None:
    nodes = timing.shared_nodes(Settings())
    weight = np.exp(nodes.log_weight)
    assert weight.sum() == pytest.approx(1.0)
    assert np.exp(weight.sum(axis=(0, 2)) @ nodes.ln_f) == pytest.approx(0.95, abs=0.03)
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
