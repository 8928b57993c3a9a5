from __future__ import annotations

import numpy as np
import pytest
from scipy import special

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


def turns_of(table: np.ndarray, number: int) -> np.ndarray:
    """Return the cosine moment of a log density over directions, about pi."""
    direction = np.arange(lines.ANGLES) * (2 * np.pi / lines.ANGLES)
    density = np.exp(table.astype(float))
    about = np.cos(number * (direction - np.pi))
    return np.asarray(np.tensordot(about, density, axes=(0, -2)) / density.sum(axis=-2))


@pytest.mark.parametrize("width_deg", [0.0, 22.5])
def test_what_spreads_a_line_multiplies_its_circular_moments(width_deg: float) -> None:
    # Moments of sums of independent angles are products (Mardia and Jupp 2000, ch. 3):
    # I_n / I_0 for the von Mises, exp(-n^2 s^2 / 2) for normals, a sine for rounding.
    nodes = lines.line_nodes(Settings(), 0.0)
    width = np.radians(width_deg)
    (table,) = lines.bee_tables(
        np.array([np.pi]), np.array([width]), np.array([4]), nodes=nodes
    ).values()
    whole = lines.station_table(table, nodes)
    kappa = lines.concentration(nodes.sd_rad)
    assert whole.shape == (len(nodes.deviation_rad), lines.ANGLES, len(kappa))
    for n in (1, 2):
        one = (1 - nodes.stray) * special.ive(n, kappa) / special.ive(0, kappa)
        if width:
            one = one * np.sin(n * width / 2) / (n * width / 2)
        one = one * np.exp(-0.5 * (n * nodes.bee_rad) ** 2)
        assert turns_of(table, n) == pytest.approx(one, abs=2e-3)
        least = nodes.deviation_rad[0]
        for size, found in zip(nodes.deviation_rad, turns_of(whole, n), strict=True):
            near = np.sqrt(size**2 - least**2 + nodes.station_rad**2)
            tail = np.maximum(near, nodes.tail_rad)
            expected = one * (
                (1 - nodes.tail_share) * np.exp(-0.5 * (n * near) ** 2)
                + nodes.tail_share * np.exp(-0.5 * (n * tail) ** 2)
            )
            assert found == pytest.approx(expected, abs=2e-3)


def test_bearings_multiply_and_unmarked_ones_are_each_a_bee_of_its_own() -> None:
    nodes = lines.line_nodes(Settings(), 0.0)

    def tables(*bees: int) -> np.ndarray:
        by_bee = lines.bee_tables(
            np.radians([80.0, 100.0, 80.0][: len(bees)]),
            np.zeros(len(bees)),
            np.array(bees),
            nodes=nodes,
        )
        return np.asarray(np.sum(list(by_bee.values()), axis=0))

    assert tables(-1, -1, -1) == pytest.approx(tables(0, 1, 2))
    assert tables(0, 1) == pytest.approx(tables(3, 1))
    # One bee's own deviation is the same each time, so its bearings tell less of it.
    assert not np.allclose(tables(0, 0), tables(0, 1))
    twice = lines.line_table(np.radians([80.0, 80.0]), np.zeros(2), nodes)
    once = lines.line_table(np.radians([80.0]), np.zeros(1), nodes)
    assert twice == pytest.approx(2 * once)


def test_what_is_held_of_lines_before_any_has_the_moments_stated() -> None:
    nodes = lines.line_nodes(Settings(), 0.4, observers=2, stations=3)
    sd = np.hypot(3.0, 0.4)
    z = np.linspace(-8.0, 8.0, 4001)  # beyond nothing is held
    for observer in (0, 1):
        offset = np.degrees(nodes.offset_rad[observer])
        # A fifth of compasses is 3.3 times as wide; on poor days 2.3 times and 3.3.
        for kind, core in ((0, 1.0), (1, 2.3)):
            weight = np.exp(nodes.offset_log_weight[kind, observer, :, 0])
            assert weight @ offset == pytest.approx(0.0, abs=1e-9)
            both = 0.8 / core * np.exp(-0.5 * (z / core) ** 2)
            both += 0.2 / 3.3 * np.exp(-0.5 * (z / 3.3) ** 2)
            expected = sd * np.sqrt(both @ z**2 / both.sum())
            assert np.sqrt(weight @ offset**2) == pytest.approx(expected, rel=0.02)
    # Steps of 1.7 of what three stations leave of their 3.5 degrees, 8 sd either way.
    step = np.diff(np.degrees(nodes.offset_rad[0]))
    assert step.max() <= 1.7 * 3.5 / np.sqrt(3)
    assert np.degrees(nodes.offset_rad[0][-1]) == pytest.approx(8 * sd)
    usual, poor = np.exp(nodes.scatter_log_weight)
    for weight, kinds, strays in (
        (usual, (0.45, 0.30, 0.25), (0.85, 0.15)),
        (poor, (0.20, 0.35, 0.45), (0.3, 0.7)),
    ):
        of_kind = [
            weight[np.isclose(nodes.station_rad, np.radians(3.5 * times))].sum()
            for times in (0.35, 1.0, 2.4)
        ]
        assert of_kind == pytest.approx(kinds)
        of_stray = [weight[nodes.stray == share].sum() for share in (0.05, 0.15)]
        assert of_stray == pytest.approx(strays)
    spread = np.unique(np.degrees(nodes.sd_rad).round(9))
    assert spread == pytest.approx(3.0 * 9 ** (np.arange(6) / 5))  # 3 to 27 degrees
    by_spread = np.array([usual[np.isclose(nodes.sd_rad, np.radians(s))].sum()
                          for s in spread])  # fmt: skip
    z = np.log(spread / 9.0) / 0.45
    assert by_spread == pytest.approx(np.exp(-0.5 * z**2) / np.exp(-0.5 * z**2).sum())
    for station, bee, share, tail in zip(
        np.degrees(nodes.station_rad) / 3.5,
        np.degrees(nodes.bee_rad) / 4.0,
        nodes.tail_share / 0.12,
        np.degrees(nodes.tail_rad) / 13.0,
        strict=True,
    ):
        assert (round(station, 6), round(bee, 6), round(share, 6), round(tail, 6)) in {
            (0.35, 0.3, 0.0, 1.0), (1.0, 1.0, 0.5, 1.0), (2.4, 1.2, 1.0, 2.4)
        }  # fmt: skip


def test_a_station_is_looked_up_by_direction_offset_and_distance() -> None:
    nodes = lines.line_nodes(Settings(), 0.0)
    levels, angles = len(nodes.deviation_rad), lines.ANGLES
    # A table that is linear in each way is read exactly, but where the circle closes.
    table = 1000.0 * np.arange(levels)[:, None, None] + np.arange(angles)[:, None]
    table = (table + 0.25 * np.arange(nodes.sd_rad.size)).astype(np.float32)
    step = np.array([[300.0, 0.0], [0.0, -80.0], [-12.0, -12.0], [3.0, 11.0]])
    offset = np.radians([0.0, 3.1])
    found = lines.look_up(table, step, offset, nodes)
    turn = np.degrees(np.arctan2(step[:, 0], step[:, 1])) % 360
    size = np.hypot(nodes.deviation_rad[0], np.arctan2(8.0, np.hypot(*step.T)))
    ratio = nodes.deviation_rad[-1] / nodes.deviation_rad[0]
    level = (levels - 1) * np.log(size / nodes.deviation_rad[0]) / np.log(ratio)
    for k in (0, 1):
        expected = 1000.0 * level + 2 * (turn + np.degrees(offset[k]))
        assert found[:, k, 0] == pytest.approx(expected, abs=0.05)
        assert found[:, k, 3] == pytest.approx(expected + 0.75, abs=0.05)
    # Between the last row and the first it goes round.
    north = lines.look_up(table, np.array([[-1.0, 1e4]]), np.zeros(1), nodes)[0, 0, 0]
    assert 0 < north < 720


def test_a_choice_of_scatters_is_that_of_every_part() -> None:
    nodes = lines.line_nodes(Settings(), 0.0)
    some = np.array([1, 5, 20])
    few = nodes.only(some)
    for name in ("sd_rad", "stray", "station_rad", "bee_rad", "tail_share", "tail_rad"):
        assert getattr(few, name) == pytest.approx(getattr(nodes, name)[some])
    assert few.scatter_log_weight == pytest.approx(nodes.scatter_log_weight[:, some])
    assert few.offset_log_weight == pytest.approx(nodes.offset_log_weight[..., some])
    assert few.offset_rad is nodes.offset_rad
