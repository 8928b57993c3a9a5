"""Which bee a colour stands for: on which day, at which station, by whose paint.

A colour is one bee at one station on one day, of one observer. At another station it
may be the same bee or another one painted alike; only the person can tell. `same_bee`
in hunt.toml says that it is; a "mark yellow" spoken there, hours between, another
observer, or both stations in the same minute say that it is not. All else stays open.
"""

from __future__ import annotations

from bisect import bisect_left
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

from treeward.language.kinds import KINDS, UNMARKED, EventKind

from .doubts import Doubt, DoubtCode

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from treeward.hunt_file import HuntFile

    from .sightings import Sighting

PAIRABLE = frozenset(kind for kind in EventKind if KINDS[kind].then)
SAME_MINUTE_S = 60.0  # no bee flies to another station and is noted there; guess
HOURS_BETWEEN_S = 2 * 3600.0  # after which the paint may as well be new; guess
_MONTHS = (
    *("Jan", "Feb", "Mar", "Apr", "May", "Jun"),
    *("Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
)


class Colour(NamedTuple):
    """What may be one bee's notes."""

    mark: str
    station: str
    observer: str  # "" for a bee of `same_bee`
    day: date | None  # None for a bee of `same_bee`, which is one on every day


class Bees:
    """The names of the bees of a hunt, and which of them may be one.

    Parameters
    ----------
    groups
        The landings, departures and markings of each colour, in order of time.
    hunt_file
        hunt.toml, for `same_bee`.
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

        Parameters
        ----------
        number
            0 for the first bee that wears the colour there and then, 1 for the second.
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
            name = f"{name} {colour.day.day} {_MONTHS[colour.day.month - 1]}"
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
