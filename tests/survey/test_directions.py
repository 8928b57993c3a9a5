from __future__ import annotations

import numpy as np
import pytest

from treeward.survey import Settings
from treeward.survey import directions as lines


def test_concentration_of_a_known_spread() -> None:
    # Lenth 1981 eq. 2.10; 525.93 is printed for 2.5 degrees in White's data.
    found = lines.concentration(np.radians([2.5, 5.0, 10.0]))
    assert found == pytest.approx([525.93, 132.0, 33.5], rel=2e-3)


def test_density_over_directions_integrates_to_one() -> None:
    nodes = lines.line_nodes(Settings(), 0.4)
    table = lines.line_table(np.array([1.0]), np.array([np.radians(22.5)]), nodes)
    step = 2 * np.pi / lines.ANGLES
    assert np.exp(table).sum(axis=0) * step == pytest.approx(1.0, abs=1e-6)
    # And stays so with the deviations of bee and station.
    by_bee = lines.bee_tables(
        np.array([1.0]), np.array([0.0]), np.array([0]), nodes=nodes
    )
    whole = lines.station_table(by_bee[0], nodes)
    assert np.exp(whole).sum(axis=1) * step == pytest.approx(1.0, abs=1e-4)


def test_many_bearings_at_a_station_leave_its_deviation() -> None:
    # The sd of the direction they fix, far from the tree and at the sharpest scatter:
    # of one bee sqrt(3.5^2 + 4^2), the tail of stations left out; in a hunt of the
    # second kind, whose lines deviate as the settings say.
    settings = Settings(station_tail_share=0.0)
    nodes = lines.line_nodes(settings, 0.0)
    usual = nodes.sd_rad.size // len(lines.LINE_KINDS)
    turn = (np.arange(lines.ANGLES) + 0.5) * (2 * np.pi / lines.ANGLES) - np.pi
    for bees, expected in ((1, np.hypot(3.5, 4.0)), (4, np.hypot(3.5, 2.0))):
        by_bee = lines.bee_tables(
            np.full(80, np.pi), np.zeros(80), np.arange(80) % bees, nodes=nodes
        )
        of_station = lines.station_table(np.sum(list(by_bee.values()), axis=0), nodes)
        density = np.exp(of_station[0, :, usual] - of_station[0, :, usual].max())
        mean = density @ turn / density.sum()
        sd = np.degrees(np.sqrt(density @ (turn - mean) ** 2 / density.sum()))
        # 80 bearings of 3 degrees leave 0.3 of their own.
        assert sd == pytest.approx(np.hypot(expected, 3.0 / np.sqrt(80)), rel=0.05)


def test_near_the_tree_a_line_says_less() -> None:
    nodes = lines.line_nodes(Settings(), 0.0)
    least = nodes.deviation_rad[0]
    assert np.degrees(np.unique(nodes.station_rad)) == pytest.approx(
        [3.5 * kind.station for kind in lines.LINE_KINDS]
    )
    size = [
        least
        * (nodes.deviation_rad[1] / least)
        ** float(nodes.deviation_position(np.array([d]))[0])
        for d in (15.0, 80.0, 2000.0)
    ]
    circling = [np.degrees(np.arctan2(8.0, d)) for d in (15, 80, 2000)]
    expected = np.hypot(np.degrees(least), circling)
    assert np.degrees(size) == pytest.approx(expected, rel=1e-3)


def test_stations_that_disagree_are_taken_for_a_hunt_whose_lines_deviate() -> None:
    # Three stations on a circle about the tree, lines true or 9 degrees to either side.
    nodes = lines.line_nodes(Settings(), 0.0)
    kinds = np.repeat(np.arange(len(lines.LINE_KINDS)), nodes.sd_rad.size // 3)

    def shares(off_deg: tuple[float, ...]) -> list[float]:
        total = np.log(np.exp(nodes.scatter_log_weight).sum(axis=0))
        for off in off_deg:
            by_bee = lines.bee_tables(
                np.full(12, np.pi + np.radians(off)),
                np.full(12, np.radians(5.0)),
                np.arange(12) % 3,
                nodes=nodes,
            )
            table = np.sum(list(by_bee.values()), axis=0)
            total = total + lines.station_table(table, nodes)[0, lines.ANGLES // 2]
        share = np.bincount(kinds, weights=np.exp(total - total.max()))
        return [float(one) for one in share / share.sum()]

    steady, unruly = shares((0.0, 1.0, -1.0)), shares((9.0, -9.0, 11.0))
    assert steady[0] > 0.6
    assert steady[2] < 0.1
    assert unruly[2] > 0.6
    assert unruly[0] < 0.05


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
    first = lines.line_table(angles, np.zeros(3), nodes)
    turned = lines.line_table((angles + np.pi / 2) % (2 * np.pi), np.zeros(3), nodes)
    assert np.roll(first, quarter, axis=0) == pytest.approx(turned)


def test_prior_sums_to_one_and_keeps_the_floor() -> None:
    nodes = lines.line_nodes(Settings(bearing_sd_floor_deg=5.0), 0.0, observers=2)
    scatter = np.exp(nodes.scatter_log_weight).sum(axis=1)
    assert scatter == pytest.approx([1.0, 1.0])
    assert np.exp(nodes.offset_log_weight).sum(axis=2) == pytest.approx(1.0)
    assert np.degrees(nodes.sd_rad.min()) == pytest.approx(5.0)


def test_a_compass_may_well_be_far_off() -> None:
    nodes = lines.line_nodes(Settings(), 0.0)
    offset = np.degrees(nodes.offset_rad[0])
    weight = np.exp(nodes.offset_log_weight[0, 0, :, 0])
    assert 0.005 < weight[np.abs(offset) >= 19.0].sum() < 0.05
    assert weight[np.abs(offset) <= 6.5].sum() > 0.8
