"""What a line tells beside what bees did: the wind, the station, the date.

That a line tells of it is the network's word; which station or date it is stands in the
line, and how strong the wind is the network tells too.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.dates import read_date
from treeward.language.kinds import EventKind
from treeward.language.number_words import cardinal_run
from treeward.notes.values import longest, station_value

from .findings import Finding
from .inputs import LINE_KINDS, STRENGTHS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from treeward.notes.events import Event
    from treeward.notes.values import Lexicon

    from .inputs import Inputs
    from .lines import Line
    from .network import Outputs

    Ways = Mapping[tuple[str, ...], str]  # ways of saying, and what they mean

BLOWS = 0.8  # share from which the strength of the wind is taken from the network
FROM = 0.5  # and from which a number is where it comes from
_NORTHS = frozenset({"true", "magnetic"})
_ANOTHER_DAY = re.compile(
    r" (?:was|were|since|last|until|till|before|born|next|every|each)(?= )"
)
_LINKS = frozenset({"the", "a", "of", "o", "and", "in"})


def share_of_kind(told: Outputs, kind: EventKind) -> float:
    """Give how likely the line tells of the wind, a station, a date."""
    return float(told.kinds[LINE_KINDS.index(kind)])


def wind_in(line: Line, inputs: Inputs, told: Outputs, winds: Ways) -> Finding | None:
    """Read how strong the wind is and where it comes from; None where unsure.

    Where the network is unsure of its strength, a word of the phrase book tells it.
    """
    strongest = int(told.strengths.argmax())
    sure, strength = float(told.strengths[strongest]), STRENGTHS[strongest]
    if sure < BLOWS:
        named = _longest_in(line, winds)
        if named is None:
            return None
        sure, strength = 1.0, named
    origins = [
        (float(share), f"{one.value} {one.more if one.more in _NORTHS else ''}".strip())
        for one, share in zip(inputs.said, told.origins, strict=False)
        if one.kind is EventKind.BEARING and share >= FROM
    ]
    origin = max(origins, default=(0.0, ""))[1]
    value = " ".join(filter(None, (strength, origin)))
    share = sure * share_of_kind(told, EventKind.WIND)
    return Finding(kind=EventKind.WIND, value=value, share=share)


def station_in(line: Line, lexicon: Lexicon, told: Outputs) -> Finding | None:
    """Read the station: what is said after the word for one, or else a known name.

    A lone number is a station only where no other word of the line is a number.
    """
    words = [word.lower() for word in line.bare_words]
    named = _announced(words, lexicon)
    if named is None:
        numbers = sum(cardinal_run([word]) is not None for word in words)
        names = {
            way: name
            for way, name in lexicon.stations.items()
            if numbers < 2 or cardinal_run(way) is None
        }
        named = _longest_in(line, names)
    if named is None:
        return None
    share = share_of_kind(told, EventKind.STATION)
    return Finding(kind=EventKind.STATION, value=named, share=share)


def _announced(words: Sequence[str], lexicon: Lexicon) -> str | None:
    """Give the station after the word that announces one: "station two"."""
    for place in range(len(words)):
        anchor = longest(lexicon.anchors, words[place:])
        if anchor is None or anchor[0] is not EventKind.STATION:
            continue
        after = place + anchor[1]
        after += words[after : after + 1] in (["number"], ["is"], ["no"])
        said = station_value(lexicon, words[after:])
        if said:
            return said.text
    return None


def _longest_in(line: Line, ways: Ways) -> str | None:
    """Give what the longest of these ways of saying in a line means."""
    words = [word.lower() for word in line.bare_words]
    found = [longest(ways, words[place:]) for place in range(len(words))]
    named = max(filter(None, found), key=lambda one: one[1], default=None)
    return named[0] if named else None


def date_in(line: Line, told: Outputs) -> Finding | None:
    """Read the first date of a line, unless it is another day's than today."""
    if _ANOTHER_DAY.search(f" {' '.join(line.bare_words).lower()} "):
        return None
    words = [word.lower().replace("-", " ") for word in line.bare_words]
    words = [part for word in words for part in word.split() if part not in _LINKS]
    for place in range(len(words)):
        reading = read_date(words[place:])
        if reading and reading.value:
            share = share_of_kind(told, EventKind.DATE)
            return Finding(kind=EventKind.DATE, value=reading.value, share=share)
    return None


def told_beside(
    line: Line,
    found: Sequence[Event],
    inputs: Inputs,
    told: Outputs,
    lexicon: Lexicon,
    *,
    least: float,
) -> list[Finding]:
    """Give what a line tells beside bees and no note has yet, as likely as `least`."""
    noted = {event.kind for event in found}
    readers: dict[EventKind, Callable[[], Finding | None]] = {
        EventKind.WIND: lambda: wind_in(line, inputs, told, lexicon.wind),
        EventKind.STATION: lambda: station_in(line, lexicon, told),
        EventKind.DATE: lambda: date_in(line, told),
    }
    read = [  # most lines tell of none of it, and are not searched
        reader()
        for kind, reader in readers.items()
        if kind not in noted and share_of_kind(told, kind) >= least
    ]
    return [one for one in read if one and one.share >= least]
