from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pytest

from survey import hunts
from treeward import survey
from treeward.survey import colonies

if TYPE_CHECKING:
    from collections.abc import Iterator

BEES = ("yellow", "blue", "white", "red")


def two_lines(
    apart_deg: float = 80.0,
) -> tuple[survey.Stations, survey.Trips, survey.Bearings]:
    """Return two bees on one line and two on another, at one station."""
    rng = np.random.default_rng(5)
    bee = np.tile(np.arange(4), 6)
    away = np.where(bee < 2, 700.0, 900.0) * hunts.PER_METRE
    gap = away + 134.0 * np.exp(0.25 * rng.standard_normal(24))
    turn = np.where(bee < 2, 40.0, 40.0 + apart_deg) + 8.0 * rng.standard_normal(24)
    return (
        hunts.stations(),
        hunts.trips(gap, bee=list(bee), bees=BEES),
        hunts.bearings(turn, bee=list(bee)),
    )


def marks(fix: survey.Fix) -> set[tuple[str, ...]]:
    return {colony.marks for colony in fix.colonies}


def test_two_lines_are_two_colonies() -> None:
    fix = hunts.placed(*two_lines())
    assert marks(fix) == {("yellow", "blue"), ("white", "red")}
    assert [c.id for c in fix.colonies] == ["A", "B"]
    assert fix.same_colony["yellow", "blue"] > 0.8
    assert fix.same_colony["yellow", "white"] < 0.2


@pytest.mark.slow
def test_each_colony_is_told_what_would_help_it() -> None:
    fix = survey.locate(*two_lines())

    first, second = fix.colonies
    assert (fix.next_station, fix.search_plan) == (
        first.next_station,
        first.search_plan,
    )
    for colony in fix.colonies:
        assert colony.search_plan
        assert colony.searched is not None
        found = sum(strip.probability for strip in colony.search_plan)
        assert 0 < found <= colony.searched.plan_finds + 1e-9
        assert colony.next_station is not None
        seat = colony.next_station
        assert seat.area_90_m2 == pytest.approx(
            colony.search_areas[90].area_m2, rel=0.05
        )
        kind = survey.AdviceKind.SIT_NEXT
        assert survey.Advice(kind=kind, colony=colony.id, seat=seat) in fix.advice
    assert first.next_station != second.next_station
    # What is true of both is said once, and of no colony by name.
    (one,) = (s for s in fix.advice if s.kind is survey.AdviceKind.ONE_STATION)
    assert not one.colony


@pytest.mark.slow
def test_one_line_is_one_colony() -> None:
    fix = hunts.placed(*two_lines(apart_deg=0.0))
    assert marks(fix) == {BEES}


@pytest.mark.slow
def test_assigned_marks_stay_where_they_were_put() -> None:
    settings = survey.Settings(assigned={"yellow": "oak", "blue": "ash"})
    fix = hunts.placed(*two_lines(apart_deg=0.0), settings)
    by_id = {c.id: c.marks for c in fix.colonies}
    assert "yellow" in by_id["oak"]
    assert "blue" in by_id["ash"]
    settings = survey.Settings(assigned=dict.fromkeys(BEES, "oak"))
    fix = hunts.placed(*two_lines(), settings)
    assert marks(fix) == {BEES}


def test_bees_of_a_known_hive_are_left_out() -> None:
    hive = survey.KnownHive(
        name="apiary by the lane",
        latitude_deg=52.3,
        longitude_deg=-3.6,
        marks=("white", "red"),
    )
    fix = hunts.placed(*two_lines(), survey.Settings(known_hives=(hive,)))
    assert marks(fix) == {("yellow", "blue")}
    assert {b.bee for b in fix.bees} == {"yellow", "blue"}
    (left_out,) = (s for s in fix.advice if s.kind is survey.AdviceKind.LEFT_OUT)
    assert left_out.marks == ("white", "red")


@pytest.mark.slow
def test_bearings_of_unmarked_bees_go_to_the_line_they_follow() -> None:
    stations, trips, bearings = two_lines()
    extra = survey.Bearings(
        bee=np.append(bearings.bee, [-1, -1]),
        station=np.append(bearings.station, [0, 0]),
        bearing_true_deg=np.append(bearings.bearing_true_deg, [41.0, 300.0]),
        rounding_deg=np.append(bearings.rounding_deg, [1.0, 1.0]),
    )
    fix = hunts.placed(stations, trips, extra)
    plain = hunts.placed(stations, trips, bearings)
    assert marks(fix) == marks(plain)
    assert fix.colonies[0].search_areas[90].area_m2 == pytest.approx(
        plain.colonies[0].search_areas[90].area_m2, rel=0.15
    )
    assert fix.colonies[1].search_areas[90].area_m2 == pytest.approx(
        plain.colonies[1].search_areas[90].area_m2, rel=1e-6
    )


class Likes:
    """Scores of partitions by hand: what each two bees of a group add or cost."""

    def __init__(self, alike: dict[frozenset[int], float], usual: float) -> None:
        self.alike, self.usual = alike, usual

    def partition(self, groups: list[frozenset[int]]) -> float:
        return sum(
            self.alike.get(frozenset(pair), self.usual)
            for group in groups
            for pair in itertools.combinations(sorted(group), 2)
        )


def partitions(bees: list[int]) -> Iterator[list[frozenset[int]]]:
    if not bees:
        yield []
        return
    for rest in partitions(bees[1:]):
        yield [frozenset(bees[:1]), *rest]
        for k, group in enumerate(rest):
            yield [*rest[:k], group | {bees[0]}, *rest[k + 1 :]]


@pytest.mark.parametrize("seed", range(6))
def test_the_partition_that_explains_most_is_claimed(seed: int) -> None:
    # Bees of a colony like one another and those of another do not: the greedy way must
    # end where trying every partition does, the odds of each claim counted.
    rng = np.random.default_rng(seed)
    home = rng.integers(0, 3, size=6)
    scores = Likes(
        {
            frozenset(pair): (3.0 if home[pair[0]] == home[pair[1]] else -4.0)
            + float(rng.normal(0.0, 0.5))
            for pair in itertools.combinations(range(6), 2)
        },
        usual=0.0,
    )
    bees = list(range(6))
    best = max(
        partitions(bees),
        key=lambda groups: scores.partition(groups) - len(groups) * np.log(3.0),
    )

    claimed = colonies._joined(scores, colonies._grown(scores, bees), [])  # type: ignore[arg-type]

    assert set(claimed) == set(best)


@pytest.mark.parametrize(("gain", "count"), [(1.0, 1), (1.09, 1), (1.11, 2), (3.0, 2)])
def test_a_second_colony_is_claimed_at_three_to_one(gain: float, count: int) -> None:
    scores = Likes({frozenset({0, 1}): -gain}, usual=0.0)
    start = [frozenset({0}), frozenset({1})]
    assert len(colonies._joined(scores, start, [])) == count  # type: ignore[arg-type]


def test_groups_that_were_assigned_apart_are_never_joined_nor_left() -> None:
    scores = Likes({}, usual=5.0)  # all like each other
    oak, ash = frozenset({0, 1}), frozenset({2})
    found = colonies._joined(
        scores,  # type: ignore[arg-type]
        [oak, ash, frozenset({3}), frozenset({4})],
        [oak, ash],
    )
    assert len(found) == 2
    assert any(oak <= group for group in found)
    assert any(ash <= group for group in found)
    assert frozenset().union(*found) == {0, 1, 2, 3, 4}


def test_a_bee_that_was_joined_too_early_moves_where_it_belongs() -> None:
    alike = {frozenset({0, 1}): 2.0, frozenset({2, 3}): 2.0, frozenset({1, 2}): -3.0}
    scores = Likes(alike, usual=-1.0)
    wrong = [frozenset({0}), frozenset({1, 2, 3})]
    assert set(colonies._settled(scores, wrong, [])) == {  # type: ignore[arg-type]
        frozenset({0, 1}), frozenset({2, 3})
    }  # fmt: skip
    bound = [frozenset({1, 2, 3})]
    assert colonies._settled(scores, wrong, bound) == wrong  # type: ignore[arg-type]


def test_many_bees_are_grown_one_by_one_into_their_groups() -> None:
    home = {bee: bee % 2 for bee in range(25)}
    scores = Likes(
        {
            frozenset(pair): 1.0 if home[pair[0]] == home[pair[1]] else -1.0
            for pair in itertools.combinations(range(25), 2)
        },
        usual=0.0,
    )
    grown = colonies._grown(scores, list(range(25)))  # type: ignore[arg-type]
    assert set(grown) == {
        frozenset(range(0, 25, 2)), frozenset(range(1, 25, 2))
    }  # fmt: skip
    few = colonies._grown(scores, list(range(24)))  # type: ignore[arg-type]
    assert few == [frozenset({bee}) for bee in range(24)]
