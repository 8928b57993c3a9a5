"""Compares the events that came out with those that were said.

An event is right when kind, mark and value are right and it starts within a second
(or what the caller asks for) of where it was said. Times of day are compared on the
twelve-hour dial, since which half of the day it is follows from other evidence than
sound.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.notes.events import Event

WITHIN_S = 1.0
BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0001)  # of stated confidence


@dataclass(slots=True)
class Tally:
    """Counts over one or more recordings; add them with +=."""

    said: int = 0
    right: int = 0
    right_unflagged: int = 0
    heard: int = 0
    heard_unflagged: int = 0
    wrong_unflagged: int = 0  # at a note, but with wrong kind, mark or value
    stray: int = 0  # where no note was
    stray_unflagged: int = 0
    duration_s: float = 0.0
    talk_s: float = 0.0
    wall_s: float = 0.0
    cpu_s: float = 0.0
    late_s: list[float] = field(default_factory=list)  # of the start, either way
    end_late_s: list[float] = field(default_factory=list)
    stated: list[tuple[float, bool]] = field(default_factory=list)

    def __iadd__(self, other: Tally) -> Tally:
        for name in self.__slots__:
            setattr(self, name, getattr(self, name) + getattr(other, name))
        return self

    @property
    def precision(self) -> float:
        """Share of heard events that are right."""
        return self.right / self.heard if self.heard else float("nan")

    @property
    def unflagged_wrong(self) -> int:
        """Number of rows without a flag that are wrong, or where no note was."""
        return self.heard_unflagged - self.right_unflagged

    @property
    def recall(self) -> float:
        """Share of said events that were heard right."""
        return self.right / self.said if self.said else float("nan")


def is_right(event: Event, said: dict[str, Any]) -> bool:
    """Tell whether kind, mark and value agree."""
    if str(event.kind) != said["kind"]:
        return False
    if said["kind"] == "bearing":
        # Whose bearing it is counts only where a bee was named with it.
        mark_right = not said["mark"] or event.mark in ("", said["mark"])
        return mark_right and _degrees(event.value) == int(said["value"]) % 360
    if said["kind"] == "time":
        return _on_dial(event.value) == _on_dial(said["value"])
    return (event.mark, event.value) == (said["mark"], said["value"])


def _degrees(value: str) -> int | None:
    return int(value) % 360 if value.isdigit() else None


def _on_dial(value: str) -> tuple[int, int] | None:
    hour, _, minute = value.partition(":")
    if not (hour.isdigit() and minute[:2].isdigit()):
        return None
    return int(hour) % 12, int(minute[:2])


def compare(
    events: Sequence[Event],
    said: Sequence[dict[str, Any]],
    *,
    within_s: float = WITHIN_S,
) -> Tally:
    """Count what is right, wrong, missing and invented in one recording.

    An event must start within `within_s` of where its note was said. Notes taken back
    by the next ("scratch that") are neither asked for nor wrong.
    """
    tally = Tally(said=sum(not each["optional"] for each in said))
    free = list(range(len(said)))
    rest: list[Event] = []
    for event in events:
        near = [
            number
            for number in free
            if is_right(event, said[number])
            and _apart_s(event, said[number]) <= within_s
        ]
        if not near:
            rest.append(event)
            continue
        found = min(near, key=lambda number: _apart_s(event, said[number]))
        free.remove(found)
        if said[found]["optional"]:
            continue
        tally.heard += 1
        tally.right += 1
        tally.heard_unflagged += not event.flags
        tally.right_unflagged += not event.flags
        tally.late_s.append(_apart_s(event, said[found]))
        if event.end_s is not None:
            tally.end_late_s.append(abs(event.end_s - float(said[found]["end_s"])))
        tally.stated.append((event.confidence, True))
    for event in rest:
        tally.heard += 1
        tally.heard_unflagged += not event.flags
        tally.stated.append((event.confidence, False))
        if any(_overlap(event, each) for each in said):
            tally.wrong_unflagged += not event.flags
        else:
            tally.stray += 1
            tally.stray_unflagged += not event.flags
    return tally


def _apart_s(event: Event, said: dict[str, Any]) -> float:
    return abs((event.start_s or 0.0) - float(said["start_s"]))


def _overlap(event: Event, said: dict[str, Any]) -> bool:
    start_s = event.start_s or 0.0
    end_s = event.end_s or start_s
    low_s, high_s = float(said["start_s"]), float(said["end_s"])
    return start_s < high_s + WITHIN_S and end_s > low_s - WITHIN_S


def reliability(stated: Sequence[tuple[float, bool]]) -> list[tuple[str, int, float]]:
    """Return (range of stated confidence, count, share right) for each bin."""
    rows = []
    for low, high in pairwise(BINS):
        inside = [right for confidence, right in stated if low <= confidence < high]
        if inside:
            label = f"{low:.2f}-{min(high, 1.0):.2f}"
            rows.append((label, len(inside), sum(inside) / len(inside)))
    return rows
