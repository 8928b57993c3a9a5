"""What is known of the bees at a line of talk, and the bees it may be about."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from .lines import Line, Mention

ACTIONS = (EventKind.AWAY, EventKind.BACK, EventKind.MARK, EventKind.MISSED)
MOST_BEES = 8  # that one line may be about
DIAL_S = 43200.0  # a time of day is told on a dial of twelve hours


@dataclass(frozen=True, slots=True)
class Deed:
    """What a bee did last, in seconds of the recording."""

    kind: EventKind
    mark: str
    at_s: float


@dataclass(slots=True)
class Known:
    """The bees so far: who is here, who is out since when, who was spoken of."""

    here: dict[str, bool] = field(default_factory=dict)
    last: dict[str, Deed] = field(default_factory=dict)
    left_s: dict[str, float] = field(default_factory=dict)
    was_out_s: dict[str, float] = field(default_factory=dict)
    bearing_deg: dict[str, int] = field(default_factory=dict)
    last_bearing_deg: int | None = None
    landmarks: dict[str, int] = field(default_factory=dict)  # and where, in degrees
    points: dict[int, str] = field(default_factory=dict)  # "sw" of 225, if told so
    clock: tuple[float, float] | None = None  # seconds on the dial, told at second
    spoken: list[str] = field(default_factory=list)  # the last one last
    done: Deed | None = None

    def do(self, deed: Deed) -> None:
        """Take in what a bee did."""
        mark = deed.mark
        if not mark or deed.kind not in ACTIONS:
            return
        if deed.kind is EventKind.AWAY:
            self.here[mark] = False
            self.left_s[mark] = deed.at_s
        elif deed.kind is EventKind.MISSED:
            self.here.setdefault(mark, False)
        else:
            if deed.kind is EventKind.BACK and mark in self.left_s:
                self.was_out_s[mark] = deed.at_s - self.left_s[mark]
            self.here[mark] = True
        self.done = self.last[mark] = deed

    def fly(
        self,
        mark: str,
        bearing_deg: int,
        landmarks: Iterable[str] = (),
        *,
        point: str = "",
    ) -> None:
        """Take in which way a bee flew, and the landmarks told with it."""
        self.last_bearing_deg = bearing_deg
        self.points[bearing_deg] = point
        self.landmarks.update(dict.fromkeys(landmarks, bearing_deg))
        if mark:
            self.bearing_deg[mark] = bearing_deg

    def tell_time(self, value: str, at_s: float) -> None:
        """Take in a time of day, "10:22"."""
        self.clock = (dial_s(value), at_s)

    def speak(self, marks: Iterable[str]) -> None:
        """Take in that bees were spoken of."""
        for mark in filter(None, marks):
            if mark in self.spoken:
                self.spoken.remove(mark)
            self.spoken.append(mark)

    def called(self, mark: str) -> str:
        """Take "yellow" for "yellow thorax" where that is the only yellow bee.

        And "white-blue" for the bee that was noted as "blue-white".
        """
        if not mark or mark in self.here:
            return mark
        turned = "-".join(reversed(mark.split("-")))
        if turned in self.here:
            return turned
        like = [one for one in self.here if one.partition(" ")[0] == mark]
        return like[0] if len(like) == 1 else mark

    def named_in(self, mentions: Sequence[Mention]) -> list[str]:
        """Give the bees named, each once, in the order of their naming."""
        marks = (self.called(one.mark) for one in mentions)
        return list(dict.fromkeys(filter(None, marks)))

    def may_be(self, line: Line, after: Line | None) -> list[str]:
        """Give the bees a line may be about: those named first, then as spoken of."""
        named = self.named_in(line.mentions)
        then = self.named_in(after.mentions) if after else []
        every = (*named, *reversed(self.spoken), *self.here, *then)
        return list(dict.fromkeys(every))[:MOST_BEES]


def dial_s(value: str) -> float:
    """Give the seconds of "10:22" or "22:22" on a dial of twelve hours."""
    hour, minute = value.split(":")[:2]
    return int(hour) % 12 * 3600.0 + int(minute) * 60.0
