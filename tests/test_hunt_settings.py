"""What hunt.toml says of the model, against what the survey's prior then holds."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from treeward.hunt_file import parse_hunt_table
from treeward.hunt_settings import settings_from
from treeward.survey import Settings, timing


def settings_of(**model: Any) -> Settings:
    table = {"hunt": {"name": "x", "timezone": "Europe/London"}, "model": model}
    return settings_from(parse_hunt_table(table, where="hunt.toml"), (), {})


def drawn(rng: np.random.Generator, settings: Settings, what: str) -> Any:
    """Draw from the prior that the survey makes of the settings, nodes and all."""
    nodes = timing.shared_nodes(settings)
    weight = np.exp(nodes.log_weight).sum(axis=0)
    by_node, logs = (
        (weight.sum(axis=0), nodes.ln_g)
        if what == "in hive"
        else (weight.sum(axis=1), nodes.ln_f)
    )
    step = logs[1] - logs[0]
    picks = rng.choice(len(logs), 100_000, p=by_node / by_node.sum())
    # A node stands for the room about it, half of it at either end.
    edges = np.clip(
        logs[picks] + step * rng.uniform(-0.5, 0.5, picks.size), logs[0], logs[-1]
    )
    if what == "in hive":
        return timing.in_hive_median_s("water", settings) * np.exp(edges)
    median = getattr(settings, f"flight_speed_{what}_mps")
    own = getattr(settings, f"flight_speed_{what}_sd") or 0.0
    return median * np.exp(edges + own * rng.standard_normal(picks.size))


@pytest.mark.parametrize(
    ("model", "what", "pair"),
    [
        ({"in_hive_s": (90, 240)}, "in hive", (90, 240)),
        ({"flight_speed_out_m_per_s": (6.0, 8.5)}, "out", (6.0, 8.5)),
        ({"flight_speed_out_m_per_s": (7.0, 7.7)}, "out", (7.0, 7.7)),
        ({"flight_speed_home_m_per_s": (4.0, 7.5)}, "home", (4.0, 7.5)),
    ],
)
def test_a_90_percent_range_holds_90_percent_of_the_prior(
    model: dict[str, Any], what: str, pair: tuple[float, float]
) -> None:
    values = drawn(np.random.default_rng(1), settings_of(**model), what)

    below, above = np.mean(values < pair[0]), np.mean(values > pair[1])
    assert below == pytest.approx(0.05, abs=0.012)
    assert above == pytest.approx(0.05, abs=0.012)


@pytest.mark.parametrize("pairs", [((6.0, 8.5), (5.9, 6.3)), ((7.3, 7.7), (4.0, 8.0))])
def test_each_way_of_the_flight_keeps_its_own_range(
    pairs: tuple[tuple[float, float], tuple[float, float]],
) -> None:
    settings = settings_of(
        flight_speed_out_m_per_s=pairs[0], flight_speed_home_m_per_s=pairs[1]
    )

    for what, pair in zip(("out", "home"), pairs, strict=True):
        values = drawn(np.random.default_rng(2), settings, what)
        within = np.mean((values >= pair[0]) & (values <= pair[1]))
        assert within == pytest.approx(0.90, abs=0.015)


def test_a_way_without_a_range_keeps_what_the_literature_says_of_it() -> None:
    usual = Settings()
    settings = settings_of(flight_speed_out_m_per_s=(7.0, 7.7))

    assert settings.flight_speed_home_mps == pytest.approx(
        usual.flight_speed_home_mps * usual.flight_speed_factor
    )
    home_sd = np.hypot(
        settings.flight_speed_factor_sd, settings.flight_speed_home_sd or 0.0
    )
    assert home_sd == pytest.approx(usual.flight_speed_factor_sd)


@pytest.mark.parametrize(
    ("key", "value", "name"),
    [
        ("compass_sd_deg", 5.0, "compass_sd_deg"),
        ("prior_distance_median_m", 400.0, "distance_median_m"),
        ("prior_distance_sigma", 0.5, "distance_sigma"),
        ("prior_distance_max_m", 3000.0, "distance_cut_m"),
    ],
)
def test_each_override_arrives_at_its_own_setting(
    key: str, value: float, name: str
) -> None:
    settings, usual = settings_of(**{key: value}), settings_of()

    assert getattr(settings, name) == value
    changed = {
        field
        for field in Settings.__dataclass_fields__
        if getattr(settings, field) != getattr(usual, field)
    }
    assert changed == {name}


def test_without_model_the_defaults_hold() -> None:
    settings, usual = settings_of(), Settings()

    for field in ("flight_speed_out_mps", "flight_speed_factor", "in_hive_factor_sd"):
        assert getattr(settings, field) == getattr(usual, field)
    assert settings.flight_speed_out_sd is None
