"""How long a bee usually is away, and how many trips a longer gap holds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

from .doubts import Doubt, DoubtCode

if TYPE_CHECKING:
    from collections.abc import Sequence

USUAL_VISIT_S = 60.0  # bees load water in 30-60 s; common practice
LONG = 1.7  # times the usual: a gap that asks for an explanation; guess
NEAR = 0.15  # share by which a gap may miss a multiple of the usual; guess
FAR_TOO_LONG = 4.5  # times the usual round trip: more than three trips; guess
UPPER_BOUND = 1.3  # times the usual up to which an unwatched gap is used; guess
LONGEST_S = 3600.0  # nectar trips last up to an hour; Iowa State dissertation (Park)


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """One bee's habits at one station; seconds."""

    away_s: float | None  # None where it was never timed
    visit_s: float
    trips: int  # that `away_s` comes from

    def expected_s(self, cycles: int, *, round_trip: bool) -> float | None:
        """Return how long a gap of so many trips should be.

        Between a departure and a landing lie one visit fewer than trips, between two
        landings as many.
        """
        if self.away_s is None:
            return None
        visits = cycles if round_trip else cycles - 1
        return cycles * self.away_s + visits * self.visit_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What a gap is: trips in it, whether it is used, and what is doubtful."""

    cycles: int = 1
    used: bool = True
    doubts: tuple[Doubt, ...] = ()


def usual_of(away_s: Sequence[float], visit_s: Sequence[float]) -> Usual:
    """Find the usual from trips and visits that nothing speaks against.

    Long gaps may hold several trips, so the usual is the median of those that are not
    much longer than the shorter half.
    """
    visit = median(visit_s) if visit_s else USUAL_VISIT_S
    if not away_s:
        return Usual(away_s=None, visit_s=visit, trips=0)
    ordered = sorted(away_s)
    short = median(ordered[: math.ceil(len(ordered) / 2)])
    plain = [a for a in ordered if a <= LONG * short]
    return Usual(away_s=median(plain), visit_s=visit, trips=len(plain))


def judge_gap(gap_s: float, usual: Usual, *, round_trip: bool, missed: bool) -> Verdict:
    """Say how many trips a gap holds and whether it can be used.

    Parameters
    ----------
    gap_s
        From departure to landing, or between two landings.
    usual
        The same bee's habits at the same station.
    round_trip
        Whether the gap holds a visit more.
    missed
        Whether somebody said meanwhile that the bee did not come when expected.
    """
    if gap_s > LONGEST_S:
        doubt = Doubt(code=DoubtCode.LONGER_THAN_ANY, numbers=(gap_s,))
        return Verdict(used=False, doubts=(doubt,))
    once_s = usual.expected_s(1, round_trip=round_trip)
    if once_s is None:
        return Verdict()
    if missed:
        doubt = Doubt(code=DoubtCode.SAID_MISSED, numbers=(gap_s, once_s))
        return Verdict(used=gap_s <= LONG * once_s, doubts=(doubt,))
    if gap_s <= LONG * once_s:
        return Verdict()
    return _judge_long(gap_s, usual, once_s, round_trip=round_trip)


def _judge_long(
    gap_s: float, usual: Usual, once_s: float, *, round_trip: bool
) -> Verdict:
    for cycles in (2, 3):
        expected_s = usual.expected_s(cycles, round_trip=round_trip)
        if expected_s is not None and abs(gap_s / expected_s - 1) <= NEAR:
            numbers = (gap_s, once_s, cycles)
            doubt = Doubt(code=DoubtCode.SEVERAL_TRIPS, numbers=numbers)
            return Verdict(cycles=cycles, doubts=(doubt,))
    cycle_s = usual.expected_s(1, round_trip=True)
    if round_trip or cycle_s is None or gap_s > FAR_TOO_LONG * cycle_s:
        doubt = Doubt(code=DoubtCode.FAR_TOO_LONG, numbers=(gap_s, once_s))
        return Verdict(used=False, doubts=(doubt,))
    return Verdict(doubts=(Doubt(code=DoubtCode.LONG, numbers=(gap_s, once_s)),))


def judge_unwatched(gap_s: float, usual: Usual, *, between: bool) -> Verdict:
    """Judge a gap in part of which nobody was watching: it is an upper bound.

    It is used only where it is hardly longer than trips that were watched. `between`
    tells that it was a gap between two recordings, not a pause that was said.
    """
    if usual.away_s is not None and gap_s <= UPPER_BOUND * usual.away_s:
        code = DoubtCode.GAP_OF_RECORDINGS_USED if between else DoubtCode.UNWATCHED_USED
        return Verdict(doubts=(Doubt(code=code),))
    code = DoubtCode.GAP_OF_RECORDINGS_BOUND if between else DoubtCode.UNWATCHED_BOUND
    return Verdict(used=False, doubts=(Doubt(code=code),))
