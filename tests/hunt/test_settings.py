"""What hunt.toml says of the model, against what the survey's prior then holds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from treeward import Hunt
from treeward.errors import HuntError
from treeward.hunt.locating import settings_from
from treeward.hunt_file import parse_hunt_table
from treeward.survey import Settings, timing

if TYPE_CHECKING:
    from pathlib import Path


def settings_of(**model: Any) -> Settings:
    table = {"hunt": {"name": "x", "timezone": "Europe/London"}, "model": model}
    return settings_from(parse_hunt_table(table, where="hunt.toml"), (), {})


def spread_of(settings: Settings, what: str) -> tuple[float, float]:
    """Return the median and the log spread that the survey is told."""
    if what == "in hive":
        median = timing.in_hive_median_s("water", settings) * settings.in_hive_factor
        return median, settings.in_hive_factor_sd
    own = getattr(settings, f"flight_speed_{what}_sd")
    assert own is not None
    return getattr(settings, f"flight_speed_{what}_mps"), own


@pytest.mark.parametrize(
    ("model", "what", "pair"),
    [
        ({"in_hive_s": (90, 240)}, "in hive", (90, 240)),
        ({"flight_speed_out_m_per_s": (6.0, 8.5)}, "out", (6.0, 8.5)),
        ({"flight_speed_home_m_per_s": (4.0, 7.5)}, "home", (4.0, 7.5)),
    ],
)
def test_a_90_percent_range_holds_90_percent(
    model: dict[str, Any], what: str, pair: tuple[float, float]
) -> None:
    median, spread = spread_of(settings_of(**model), what)

    below, up_to = ndtr(np.log(np.array(pair) / median) / spread)
    assert below == pytest.approx(0.05, abs=1e-4)
    assert up_to == pytest.approx(0.95, abs=1e-4)


@pytest.mark.parametrize(
    "model",
    [
        {"prior_distance_max_m": 15_000.0},
        {"prior_distance_max_m": 50.0},
        {"in_hive_s": (1.0, 7200.0)},
        {"in_hive_s": (7199.0, 7200.0)},
        {"flight_speed_out_m_per_s": (0.5, 30.0)},
        {"compass_sd_deg": 0.0},
    ],
)
def test_the_survey_takes_whatever_hunt_toml_may_say(model: dict[str, Any]) -> None:
    assert settings_of(**model) != Settings()


def test_what_the_survey_refuses_is_one_line(
    typed_hunt: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # As if hunt.toml let something through.
    monkeypatch.setattr(
        "treeward.hunt.locating._in_hive", lambda _: {"in_hive_s": {"water": 0.0}}
    )
    with pytest.raises(HuntError, match="the survey cannot take this") as caught:
        Hunt(typed_hunt).locate()
    assert caught.value.where == "hunt.toml"


@pytest.mark.parametrize("way", ["out", "home"])
def test_the_surveys_prior_holds_90_percent_of_a_range(way: str) -> None:
    pair = (6.0, 8.5)
    settings = settings_of(**{f"flight_speed_{way}_m_per_s": pair})
    median, spread = spread_of(settings, way)
    nodes = timing.shared_nodes(settings)
    slow = getattr(nodes, f"slow_{way}", None)
    if slow is None:  # a survey that knows no spread of one way alone
        assert settings.flight_speed_factor_sd == Settings().flight_speed_factor_sd
        return
    weight = np.exp(nodes.log_weight).sum(axis=(0, 2, 3))
    speed = median / slow
    # A node stands for the room about it, half of it at either end.
    edges = np.interp(np.arange(-0.5, len(speed)), np.arange(len(speed)), speed)
    total = np.concatenate([[0.0], np.cumsum(weight / weight.sum())])
    held = np.diff(np.interp(pair, edges, total))[0]
    assert held == pytest.approx(0.90, abs=0.03)
    assert spread == pytest.approx(np.log(8.5 / 6.0) / (2 * 1.6449))


def test_each_way_of_the_flight_keeps_its_own_range() -> None:
    pairs = {"out": (6.0, 8.5), "home": (5.9, 6.3)}
    settings = settings_of(
        flight_speed_out_m_per_s=pairs["out"], flight_speed_home_m_per_s=pairs["home"]
    )

    for way, pair in pairs.items():
        median, spread = spread_of(settings, way)
        found = median * np.exp(spread * ndtri([0.05, 0.95]))
        assert found == pytest.approx(pair, rel=1e-4)


def test_a_way_without_a_range_keeps_what_the_literature_says_of_it() -> None:
    usual = Settings()
    settings = settings_of(flight_speed_out_m_per_s=(7.0, 7.7))

    for name in (
        "flight_speed_home_mps",
        "flight_speed_home_sd",
        "flight_speed_factor",
        "flight_speed_factor_sd",
    ):
        assert getattr(settings, name) == getattr(usual, name)


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
