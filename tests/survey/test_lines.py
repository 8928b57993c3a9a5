from __future__ import annotations

import numpy as np
import pytest

from treeward.survey import Settings, lines


def test_concentration_of_a_known_spread() -> None:
    # Lenth 1981 eq. 2.10; 525.93 is printed for 2.5 degrees in White's data.
    found = lines.concentration(np.radians([2.5, 5.0, 10.0]))
    assert found == pytest.approx([525.93, 132.0, 33.5], rel=2e-3)


def test_density_over_directions_integrates_to_one() -> None:
    nodes = lines.line_nodes(Settings(), 0.4)
    table = lines.line_table(np.array([1.0]), np.array([np.radians(22.5)]), nodes)
    step = 2 * np.pi / lines.ANGLES
    assert np.exp(table[:-1]).sum(axis=0) * step == pytest.approx(1.0, abs=1e-6)


def test_a_spoken_wind_direction_is_spread_over_its_sector() -> None:
    nodes = lines.line_nodes(Settings(), 0.0)
    sharp = lines.line_table(np.array([np.pi]), np.array([0.0]), nodes)
    wide = lines.line_table(np.array([np.pi]), np.array([np.radians(45.0)]), nodes)
    edge = lines.ANGLES // 2 + 40  # twenty degrees off
    assert wide[edge, 0] > sharp[edge, 0]
    assert wide[lines.ANGLES // 2, 0] < sharp[lines.ANGLES // 2, 0]


def test_turning_all_bearings_turns_the_table() -> None:
    nodes = lines.line_nodes(Settings(), 0.0)
    angles = np.radians([10.0, 14.0, 350.0])
    quarter = lines.ANGLES // 4
    first = lines.line_table(angles, np.zeros(3), nodes)[:-1]
    turned = lines.line_table((angles + np.pi / 2) % (2 * np.pi), np.zeros(3), nodes)
    assert np.roll(first, quarter, axis=0) == pytest.approx(turned[:-1])


def test_prior_sums_to_one_and_keeps_the_floor() -> None:
    nodes = lines.line_nodes(Settings(bearing_sd_floor_deg=5.0), 0.0)
    assert np.exp(nodes.log_weight).sum(axis=(1, 2)) == pytest.approx([1.0, 1.0])
    assert np.degrees(nodes.sd_rad.min()) == pytest.approx(5.0)
