"""Flight lines: true bearings, circular means, spreads, colonies."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.report.figures.map import map_figure
from treeward.report.flight_lines import (
    belongs_to,
    bundles_by_bee,
    bundles_by_colony,
    circular_mean_deg,
    circular_sd_deg,
    true_bearing_deg,
)
from treeward.trips.table import FlightLine

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.report.model import HuntResult


def line(read_deg: float, *, station: str = "1", used: bool = True) -> FlightLine:
    return FlightLine(
        mark="yellow",
        bee="yellow",
        station=station,
        clock=datetime(2026, 7, 14, 9, tzinfo=UTC),
        bearing_read_deg=read_deg,
        rounding_deg=1.0,
        used=used,
    )


def test_true_is_magnetic_plus_declination(result: HuntResult) -> None:
    assert true_bearing_deg(result, line(0.3)) == pytest.approx(359.68)
    assert true_bearing_deg(result, line(10, station="9")) is None


def test_bearings_read_true_are_left_alone(build: Callable[..., HuntResult]) -> None:
    whole = build()
    hunt = whole.hunt_file.hunt.model_copy(update={"compass": "true"})
    true = replace(whole, hunt_file=whole.hunt_file.model_copy(update={"hunt": hunt}))

    assert true_bearing_deg(true, line(10)) == 10


def test_a_mean_across_north() -> None:
    assert circular_mean_deg([350, 20]) == pytest.approx(5)
    assert circular_mean_deg([]) is None
    assert circular_mean_deg([90, 270]) is None
    assert circular_sd_deg([10, 10, 10]) == pytest.approx(0, abs=1e-4)


@given(st.lists(st.floats(0, 40), min_size=1, max_size=20), st.floats(0, 360))
def test_turning_the_compass_turns_the_mean(bearings: list[float], turn: float) -> None:
    plain = circular_mean_deg(bearings)
    turned = circular_mean_deg([bearing + turn for bearing in bearings])

    assert plain is not None
    assert turned is not None
    assert (turned - plain - turn + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
    spread = circular_sd_deg([bearing + turn for bearing in bearings])
    assert spread == pytest.approx(circular_sd_deg(bearings), abs=1e-3)


def test_lines_left_out_are_not_drawn(
    build: Callable[..., HuntResult],
) -> None:
    whole = build()
    lines = (line(200), line(210), line(20, used=False))
    some = replace(whole, table=replace(whole.table, lines=lines))

    (group,) = bundles_by_bee(some)

    assert group.mean_true_deg == pytest.approx(204.38)
    assert len(group.lines) == 2
    assert (
        group.spread_deg == some.settings.bearing_sd_deg
    )  # two say nothing of their spread


def test_of_two_bees_on_one_bearing_both_lines_are_seen(
    build: Callable[..., HuntResult],
) -> None:
    whole = build()
    yellow = line(210)
    green = replace(yellow, mark="green", bee="green")
    blue = replace(line(250), mark="blue", bee="blue")
    lines = (yellow, green, blue)
    some = replace(whole, table=replace(whole.table, lines=lines))

    figure = map_figure(some, "page")
    assert figure is not None
    begins = [
        drawn.get_transform().transform(drawn.get_xydata())[0]
        for drawn in figure.axes[0].lines
        if drawn.get_zorder() == 6
    ]

    assert len(begins) == 3
    point = figure.dpi / 72
    apart = sorted(float(np.hypot(*(one - begins[0]))) / point for one in begins)
    assert apart == pytest.approx([0, 0, 2.9], abs=1e-6)


def test_each_colony_gets_the_lines_of_its_bees(two_colonies: HuntResult) -> None:
    groups = bundles_by_colony(two_colonies)

    for group in groups:
        bees = {one.bee for one in group.lines}
        allowed = {"A": {"yellow", "blue-white"}, "B": {"white", "red"}}[group.name]
        assert bees <= allowed
    assert {group.name for group in groups} == {"A", "B"}


def test_a_line_belongs_to_its_bee_and_not_to_another_of_that_colour(
    result: HuntResult,
) -> None:
    assert result.fix is not None
    line = replace(result.table.lines[0], mark="yellow", bee="yellow at 2")
    first = replace(result.fix.colonies[0], marks=("yellow",))
    second = replace(result.fix.colonies[0], marks=("yellow at 2",))

    assert not belongs_to(first, line)
    assert belongs_to(second, line)
    assert belongs_to(first, replace(line, bee=""))
