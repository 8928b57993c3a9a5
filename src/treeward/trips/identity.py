"""One bee or two behind a colour, and notes that cannot be right.

A bee that is at the station leaves, and one that is away comes back; it cannot land
twice within half a minute, nor return seconds after leaving. Where the notes of one
colour break that, three explanations compete: a note was missed, a note was
misheard, or two bees wear the colour. A bee also keeps to her habits, so that two
bees taken for one look uneven. The explanation that costs least, slips and unevenness
together, is taken.

Which bee a colour stands for: on which day, at which station, by whose paint.

A colour is one bee at one station on one day, of one observer. At another station it
may be the same bee or another one painted alike; only the person can tell. `same_bee`
in hunt.toml says that it is; a "mark yellow" spoken there, hours between, another
observer, or both stations in the same minute say that it is not. All else stays open.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

from treeward.language.kinds import KINDS, UNMARKED, EventKind

from .table import Doubt, DoubtCode

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from treeward.hunt_file import HuntFile

    from .sightings import Sighting


LEAST_AWAY_S = 30.0  # out, through the hive and back takes longer; guess
LEAST_ROUND_S = 60.0  # and with loading; guess
HASTY_S = 70.0  # published rules imply 73 s or more off the wing (Seeley 2019)

# Costs, in notes that were not made (all guesses; their order matters).
_MISSED_NOTE = 1.5
_IMPOSSIBLE = 3.0  # landing or leaving twice faster than any trip
_CIRCLED = 1.5  # back within seconds of leaving; bees do circle and land again
_HASTY = 1.0  # back sooner than unloading takes
_MISHEARD = 2.0
_MISHEARD_FLAGGED = 0.8  # of a note that carries a flag already
_SECOND_BEE = 3.5  # that two bees must be cheaper than one to be believed,
_SECOND_BEE_NOTE = 0.05  # and for each note. In invented hunts 1 of 877 single bees
# was split so, and 192 of 225 pairs were found (tests/benchmarks/pairing).

_BEAM = 100  # explanations kept at a time, for one bee and for two
_TELL_APART = 0.4  # stories of two bees that differ less are as likely
_ANY_TIME = math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Identities:
    """Which bee of a colour each note is about.

    `bee` is 0 for the first, 1 for the second, -1 for a note that is not believed.
    `unsure` holds pairs of notes (indices) that follow each other in one bee here,
    where another story is nearly as likely in which they do not.
    """

    bee: tuple[int, ...]
    unsure: frozenset[tuple[int, int]] = frozenset()

    @property
    def bees(self) -> int:
        """How many bees there are."""
        return max(self.bee, default=0) + 1


class _State(NamedTuple):
    """What is known of one bee so far."""

    last: EventKind | None = None
    since_s: float = 0.0
    away_s: float = 0.0  # its latest trip and visit, 0 before there was one
    visit_s: float = 0.0


class _Trail(NamedTuple):
    """Which bee the latest note is about, and the trail before it."""

    bee: int
    before: _Trail | None

    def whole(self) -> tuple[int, ...]:
        found: list[int] = []
        step: _Trail | None = self
        while step is not None:
            found.append(step.bee)
            step = step.before
        return tuple(reversed(found))


class _BeeStory(NamedTuple):
    cost: float
    unease: float  # how unevenly the bees behave, in logarithms of ratios
    total: float
    trail: _Trail | None
    states: tuple[_State, ...]

    @property
    def bee(self) -> tuple[int, ...]:
        return self.trail.whole() if self.trail else ()

    def goes_on(
        self, bee: int, cost: float, unease: float, states: tuple[_State, ...]
    ) -> _BeeStory:
        cost += self.cost
        unease += self.unease
        return _BeeStory(cost, unease, cost + unease, _Trail(bee, self.trail), states)


def tell_bees_apart(sightings: Sequence[Sighting]) -> Identities:
    """Share out one colour's notes at one station, in order of time, among its bees."""
    alone = _best(sightings, bees=1)[0]
    opening = _SECOND_BEE + _SECOND_BEE_NOTE * len(sightings)
    if alone.total <= opening:
        return Identities(bee=alone.bee)
    pairs = [s for s in _best(sightings, bees=2) if len(s.states) == 2]
    if not pairs or pairs[0].total + opening >= alone.total:
        return Identities(bee=alone.bee)
    best, unsure = pairs[0], set[tuple[int, int]]()
    links = _links(best.bee)
    for rival in pairs[1:]:
        if rival.total > best.total + _TELL_APART:
            break
        unsure |= links - _links(rival.bee)
    return Identities(bee=best.bee, unsure=frozenset(unsure))


def _links(bee: Sequence[int]) -> set[tuple[int, int]]:
    """Return the pairs of notes that follow each other in one bee."""
    last: dict[int, int] = {}
    links: set[tuple[int, int]] = set()
    for index, one in enumerate(bee):
        if one >= 0:
            if one in last:
                links.add((last[one], index))
            last[one] = index
    return links


def _best(sightings: Sequence[Sighting], *, bees: int) -> list[_BeeStory]:
    """Return explanations with at most so many bees, the best first."""
    rank = _rank if bees > 1 else _rank_one
    stories = [_BeeStory(0.0, 0.0, 0.0, None, (_State(),))]
    for sighting in sightings:
        grown: list[_BeeStory] = []
        misheard = _MISHEARD_FLAGGED if sighting.event.doubtful else _MISHEARD
        for story in stories:
            states = story.states
            for index, state in enumerate(states):
                cost, unease, after = _step(state, sighting)
                moved = (*states[:index], after, *states[index + 1 :])
                grown.append(story.goes_on(index, cost, unease, moved))
            if len(states) < bees and states[0].last is not None:
                cost, _, after = _step(_State(), sighting)
                grown.append(story.goes_on(1, cost, 0.0, (*states, after)))
            grown.append(story.goes_on(-1, misheard, 0.0, states))
        stories = []
        for count in range(1, bees + 1):
            some = [s for s in grown if len(s.states) == count]
            some.sort(key=rank if count == bees else _rank_one)
            stories += some[:_BEAM]
    stories.sort(key=rank)
    return stories


# Both are rounded, so that the sums' last bits do not decide between equal stories;
# among equals that one stands first which believes the notes.


def _rank_one(story: _BeeStory) -> tuple[float, float]:
    # One bee may be as uneven as she likes; no note is doubted for that.
    return round(story.cost, 6), round(story.unease, 6)


def _rank(story: _BeeStory) -> float:
    return round(story.total, 6)


def _step(state: _State, sighting: Sighting) -> tuple[float, float, _State]:
    """Return cost and unease of a bee doing this next, and its state after."""
    kind, now_s = sighting.kind, sighting.time_s
    gap_s = now_s - state.since_s if state.last is not None else _ANY_TIME
    away_s, visit_s, cost, unease = state.away_s, state.visit_s, 0.0, 0.0
    here = state.last in {EventKind.BACK, EventKind.MARK}
    if state.last is None or kind is EventKind.MARK:
        pass
    elif kind is EventKind.BACK and not here:
        if gap_s < LEAST_AWAY_S:
            cost = _CIRCLED
        else:
            cost = _HASTY if gap_s < HASTY_S else 0.0
            unease = _uneven(gap_s, away_s)
            away_s = gap_s
    elif kind is EventKind.AWAY and state.last is EventKind.BACK:
        unease = 0.5 * _uneven(max(gap_s, 1.0), visit_s)
        visit_s = max(gap_s, 1.0)
    elif kind is state.last:
        cost = _IMPOSSIBLE if gap_s < LEAST_ROUND_S else _MISSED_NOTE
    elif kind is EventKind.BACK:  # after a marking: it left without a note
        cost = _MISSED_NOTE
    return cost, unease, _State(kind, now_s, away_s, visit_s)


def _uneven(now_s: float, before_s: float) -> float:
    return 0.0 if before_s <= 0 else min(1.5, abs(math.log(now_s / before_s)))


PAIRABLE = frozenset(kind for kind in EventKind if KINDS[kind].then)
SAME_MINUTE_S = 60.0  # no bee flies to another station and is noted there; guess
HOURS_BETWEEN_S = 2 * 3600.0  # after which the paint may as well be new; guess


class Colour(NamedTuple):
    """What may be one bee's notes."""

    mark: str
    station: str
    observer: str  # "" for a bee of `same_bee`
    day: date | None  # None for a bee of `same_bee`, which is one on every day


class Bees:
    """The names of the bees of a hunt, and which of them may be one.

    `groups` are the landings, departures and markings of each colour, in order of time.
    """

    def __init__(
        self, groups: dict[Colour, list[Sighting]], hunt_file: HuntFile
    ) -> None:
        self.groups = groups
        self.hunt_file = hunt_file
        self._names: dict[Colour, str] = {}

    @classmethod
    def among(cls, sightings: Iterable[Sighting], hunt_file: HuntFile) -> Bees:
        """Gather what may be one bee's notes."""
        groups: dict[Colour, list[Sighting]] = {}
        for sighting in sightings:
            mark = sighting.event.mark
            if sighting.kind in PAIRABLE and mark not in {"", UNMARKED}:
                key = colour_of(sighting, hunt_file)
                groups.setdefault(key, []).append(sighting)
        return cls(groups, hunt_file)

    def name(self, colour: Colour, number: int = 0) -> str:
        """Return a bee's name: "yellow", "yellow 14 Jul", "yellow at 2", "yellow (2)".

        `number` is 0 for the first bee that wears the colour there and then, 1 for the
        second.
        """
        if colour not in self._names:
            self._names[colour] = self._name(colour)
        name = self._names[colour]
        return f"{name} ({number + 1})" if number else name

    def _name(self, colour: Colour) -> str:
        name = colour.mark
        alike = [one for one in self.groups if one.mark == colour.mark]
        days = {one.day for one in alike if one.day} | {colour.day} - {None}
        if colour.day is not None and len(days) > 1:
            name = f"{name} {colour.day.day} {colour.day:%b}"
            if len({day.year for day in days if day}) > 1:
                name = f"{name} {colour.day.year}"
        if colour.observer and len({one.observer for one in alike} | {""}) > 2:
            name = f"{name} of {colour.observer}"
        elsewhere = next((one for one in alike if self._before(one, colour)), None)
        if elsewhere is not None:
            name = f"{name} at {colour.station or 'no station'}"
        return name

    def _before(self, one: Colour, two: Colour) -> bool:
        """Tell whether a colour was seen first elsewhere, as perhaps another bee."""
        if one.station == two.station or one[2:] != two[2:]:
            return False
        if two.mark in self.hunt_file.same_bee and not self._at_once(one, two):
            return False
        first, second = self.groups.get(one), self.groups.get(two)
        if not first:
            return False
        if not second:
            return True
        return (first[0].time_s, one.station) < (second[0].time_s, two.station)

    def _at_once(self, one: Colour, two: Colour) -> bool:
        """Tell whether a colour was noted at two stations in the same minute."""
        times_s = [s.time_s for s in self.groups.get(two, ())]
        for sighting in self.groups.get(one, ()):
            after = bisect_left(times_s, sighting.time_s - SAME_MINUTE_S)
            if after < len(times_s) and (
                times_s[after] <= sighting.time_s + SAME_MINUTE_S
            ):
                return True
        return False

    def maybe_same(self) -> tuple[tuple[Colour, Colour], ...]:
        """Return the colours at two stations that may be one bee, earlier one first."""
        found = []
        for one, two in combinations(self.groups, 2):
            if one.mark != two.mark or one.station == two.station:
                continue
            first, second = sorted(
                (one, two), key=lambda key: (self.groups[key][0].time_s, key.station)
            )
            if one.mark in self.hunt_file.same_bee or one[2:] != two[2:]:
                continue
            if not self._at_once(one, two) and self._open(first, second):
                found.append((first, second))
        return tuple(found)

    def _open(self, first: Colour, second: Colour) -> bool:
        """Tell whether nothing says that the later one is another bee."""
        before, after = self.groups[first], self.groups[second]
        if any(s.kind is EventKind.MARK and not s.event.doubtful for s in after):
            return False
        earlier_s = [s.time_s for s in before if s.time_s <= after[0].time_s]
        return after[0].time_s - max(earlier_s) <= HOURS_BETWEEN_S


def colour_of(sighting: Sighting, hunt_file: HuntFile) -> Colour:
    """Return the colour that a note is about."""
    mark, station = sighting.event.mark, sighting.station
    if mark in hunt_file.same_bee:
        return Colour(mark, station, "", None)
    return Colour(mark, station, sighting.observer, sighting.day)


def questions(pairs: Sequence[tuple[Colour, Colour]]) -> list[Doubt]:
    """Ask of the colours seen at two stations whether each is one bee."""
    seats: dict[str, set[str]] = {}
    for one, two in pairs:
        seats.setdefault(one.mark, set()).update((one.station, two.station))
    marks: dict[tuple[str, ...], list[str]] = {}
    for mark, stations in seats.items():
        marks.setdefault(tuple(sorted(stations)), []).append(mark)
    return [
        Doubt(code=DoubtCode.SAME_BEES, names=tuple(sorted(own)), others=stations)
        for stations, own in marks.items()
    ]
