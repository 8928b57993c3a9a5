"""What a line tells beside what bees did: the wind, the station, the date.

That a line tells of it is the network's word; which station or date it is stands in the
line, and how strong the wind is the network tells too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.dates import read_date
from treeward.language.kinds import EventKind
from treeward.notes.values import longest

from .inputs import LINE_KINDS, STRENGTHS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from treeward.notes.events import Event

    from .inputs import Inputs
    from .lines import Line
    from .network import Outputs

    Stations = Mapping[tuple[str, ...], str]  # ways of saying, and the station

BLOWS = 0.8  # share from which the strength of the wind is taken from the network
FROM = 0.5  # and from which a number is where it comes from
_LINKS = frozenset({"the", "a", "of", "o", "and", "in"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """A value told in a line, of a kind that is of no bee, and how likely it is."""

    kind: EventKind
    value: str
    share: float


def share_of_kind(told: Outputs, kind: EventKind) -> float:
    """Give how likely the line tells of the wind, a station, a date."""
    return float(told.kinds[LINE_KINDS.index(kind)])


def wind_in(inputs: Inputs, told: Outputs) -> Beside | None:
    """Read how strong the wind is and where it comes from; None where unsure."""
    strongest = int(told.strengths.argmax())
    sure = float(told.strengths[strongest])
    if sure < BLOWS:
        return None
    origins = [
        (float(share), one.value)
        for one, share in zip(inputs.said, told.origins, strict=False)
        if one.kind is EventKind.BEARING and share >= FROM
    ]
    origin = max(origins, default=(0.0, ""))[1]
    value = " ".join(filter(None, (STRENGTHS[strongest], origin)))
    share = sure * share_of_kind(told, EventKind.WIND)
    return Beside(kind=EventKind.WIND, value=value, share=share)


def wind_mended(event: Event, read: Beside | None) -> Event:
    """Give the wind as the network reads it, where the rules read another strength.

    Where it comes from stays as the rules have it, if they have it.
    """
    if read is None:
        return event
    strength, _, origin = read.value.partition(" ")
    _, _, before = event.value.partition(" ")
    return replace(event, value=" ".join(filter(None, (strength, before or origin))))


def station_in(line: Line, stations: Stations, told: Outputs) -> Beside | None:
    """Read the name of a known station, the longest there is."""
    words = [word.lower() for word in line.bare_words]
    found = [longest(stations, words[place:]) for place in range(len(words))]
    named = max(filter(None, found), key=lambda one: one[1], default=None)
    if named is None:
        return None
    share = share_of_kind(told, EventKind.STATION)
    return Beside(kind=EventKind.STATION, value=named[0], share=share)


def date_in(line: Line, told: Outputs) -> Beside | None:
    """Read the first date of a line."""
    words = [word.lower().replace("-", " ") for word in line.bare_words]
    words = [part for word in words for part in word.split() if part not in _LINKS]
    for place in range(len(words)):
        reading = read_date(words[place:])
        if reading and reading.value:
            share = share_of_kind(told, EventKind.DATE)
            return Beside(kind=EventKind.DATE, value=reading.value, share=share)
    return None


def told_beside(
    line: Line,
    found: Sequence[Event],
    inputs: Inputs,
    told: Outputs,
    stations: Stations,
    *,
    least: float,
) -> list[Beside]:
    """Give what a line tells beside bees and no note has yet, as likely as `least`."""
    noted = {event.kind for event in found}
    readers: dict[EventKind, Callable[[], Beside | None]] = {
        EventKind.WIND: lambda: wind_in(inputs, told),
        EventKind.STATION: lambda: station_in(line, stations, told),
        EventKind.DATE: lambda: date_in(line, told),
    }
    read = [  # most lines tell of none of it, and are not searched
        reader()
        for kind, reader in readers.items()
        if kind not in noted and share_of_kind(told, kind) >= least
    ]
    return [one for one in read if one and one.share >= least]
