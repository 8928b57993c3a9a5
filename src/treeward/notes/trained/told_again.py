"""What a line leaves to what was told before: "same way", "the oak again", "past".

"Ten past" is of the hour told last, "same line as white" flies as white did, and a
landmark once told with a bearing stands for it afterwards.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from .bees import DIAL_S
from .lines import MOST_NUMBERS, NumberSaid, Refers

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from .bees import Known
    from .lines import Line


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_SAME = re.compile(
    r"(?<![a-z])(?:same|ditto|identical|likewise|(?:the|her|as|than) usual"
    r"|(?:as|like) (?:before|ever|always|last time|the last)|opposite|reciprocal"
    r"|(?:on|by|along|down) the (?:line|way|road|track|path|heels) of|in the wake of)"
    r"(?![a-z])"
)
_TURNED = frozenset({"opposite", "reciprocal"})
_MOST_SAME = 3  # ways that "the same" may be
_MOST_LANDMARKS = 2
# "Over the tall pine", "straight at that barn of his".
_TOWARDS = re.compile(
    r"(?<![a-z])(?=(?:over|past|towards?|to|by|for|behind|round|along|across|up|down"
    r"|through|beyond|above|at|via|of|with) (?:t'|(?:the|that|those|them|our|my|his"
    r"|her|this|yon|old) )(?P<what>[a-z'-]+(?: [a-z'-]+)?(?: [a-z'-]+)?))"
)
_LANDMARK = re.compile(r"[a-z][a-z'-]{2,}")
_NO_LANDMARK = _words(
    "and but the then with from that this than into over past toward towards left "
    "right north south east west compass dial needle dish bowl saucer plate sugar "
    "syrup feeder water same usual way line bearing direction degrees minute "
    "minutes time watch clock bee bees one ones other last first next side edge "
    "top her his him she they them again before going goes gone went flew flies "
    "away off back out about just like "
)


def numbers_of(line: Line, known: Known) -> list[NumberSaid]:
    """Give the readings of numbers of a line, in the light of what is known."""
    said = [
        settled for one in line.numbers for settled in _with_its_hour(one, line, known)
    ]
    said += _same_way(line, known)
    flies = any(one.kind is EventKind.BEARING and not one.stretched for one in said)
    if not flies:
        said += _landmarks(line, known)
    return said[:MOST_NUMBERS]


def landmarks_in(line: Line) -> list[str]:
    """Give the words of a line that may name where a bee flew to."""
    return [
        word
        for match in _TOWARDS.finditer(_Text.of(line).text)
        for word in _LANDMARK.findall(match["what"])
        if word not in _NO_LANDMARK
    ]


@dataclass(frozen=True, slots=True)
class _Text:
    """The words of a line in one text, and where each begins."""

    text: str
    starts: Sequence[int]

    @classmethod
    def of(cls, line: Line) -> _Text:
        words = [word.lower() for word in line.bare_words]
        starts = list(accumulate((len(word) + 1 for word in words), initial=0))
        return cls(" ".join(words), starts)

    def words(self, match: re.Match[str]) -> tuple[int, ...]:
        """Give the places of the words of a match."""
        return tuple(
            place
            for place, start in enumerate(self.starts[:-1])
            if match.start() <= start < match.end()
        )


def _with_its_hour(one: NumberSaid, line: Line, known: Known) -> Iterator[NumberSaid]:
    """Give a time of day its hour: the one in which it comes next to what is known."""
    if one.kind is not EventKind.TIME or ":" in one.value:
        yield one
        return
    if known.clock is None:
        return
    told_s, told_at_s = known.clock
    now_s = told_s + line.start_s - told_at_s
    minute_s = int(one.value) * 60.0 % 3600.0
    hour = round((now_s - minute_s) / 3600.0)
    dial_s = (hour * 3600.0 + minute_s) % DIAL_S
    hours, minutes = divmod(round(dial_s / 60), 60)
    yield replace(one, value=f"{hours or 12}:{minutes:02}", refers=Refers.HOUR)


def _same_way(line: Line, known: Known) -> Iterator[NumberSaid]:
    text = _Text.of(line)
    for match in _SAME.finditer(text.text):
        turn_deg = 180 if match[0] in _TURNED else 0
        bees = known.named_in(line.mentions)
        bees += [known.done.mark] if known.done else []
        ways = [known.bearing_deg[mark] for mark in bees if mark in known.bearing_deg]
        ways += [] if known.last_bearing_deg is None else [known.last_bearing_deg]
        for deg in list(dict.fromkeys(ways))[:_MOST_SAME]:
            yield NumberSaid(
                kind=EventKind.BEARING,
                value=str((deg + turn_deg) % 360),
                words=text.words(match),
                refers=Refers.SAME_WAY,
                more="" if turn_deg else known.points.get(deg, ""),
            )
        return


def _landmarks(line: Line, known: Known) -> Iterator[NumberSaid]:
    text, ways = _Text.of(line), set[int]()
    for match in _LANDMARK.finditer(text.text):
        deg = known.landmarks.get(match[0])
        if deg is None or deg in ways or len(ways) >= _MOST_LANDMARKS:
            continue
        ways.add(deg)
        yield NumberSaid(
            kind=EventKind.BEARING,
            value=str(deg),
            words=text.words(match),
            refers=Refers.LANDMARK,
            more=known.points.get(deg, ""),
        )
