"""Events: one spoken note each, with a clock time.

Values are text, as they stand in review.csv:

    kind       mark      value
    back       bee       ""
    away       bee       ""            a bearing said with it is a row of its own
    mark       bee       ""            the bee was painted now
    bearing    bee or "" "210"         degrees as read off the compass, 0-359; a point
                                       of the compass "225 sw"; "210 true" where it was
                                       not read as hunt.toml's compass says
    time       ""        "10:22"       or "10:22:30"; 24 h once resolved
    date       ""        "2026-07-14", or "14 July" until the year is known
    station    ""        station id
    wind       ""        "calm" "light" "moderate" "strong", and where from:
                         "light 225", "light 225 true"
    duration   bee       "away 330"    or "round 330", seconds
    missed     bee       ""
    pause, resume, scratch  ""  ""
    remark     ""        the words
    searched   ""        where, in one's own words; "" where one stands
    overhead   ""        as of a bearing, or ""
    found      ""        in one's own words, or ""

What else is particular to a kind stands in `treeward.language.kinds`.

A mark is one or two colours joined by "-", then optionally a spot:
"yellow", "blue-white", "yellow abdomen"; "unmarked" for a bee without paint.

Which notes "scratch that" takes back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.bearings import BearingCell, Reference, read_bearing_cell
from treeward.language.kinds import KINDS, EventKind, Holds

from .flags import Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from treeward.speech.utterances import Alternative


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One note, as heard or as corrected.

    `start_s`/`end_s` are seconds within `recording` (None for a row typed by
    hand). `clock` is timezone-aware, None until the clock has been worked out.
    `alternatives` are other readings ("yellow away"), best first. `flags` say
    why the row needs a look.
    """

    kind: EventKind
    mark: str = ""
    value: str = ""
    recording: str = ""
    start_s: float | None = None
    end_s: float | None = None
    clock: datetime | None = None
    confidence: float = 1.0
    heard: str = ""
    alternatives: tuple[Alternative, ...] = ()
    flags: tuple[Flag, ...] = ()
    row: str = ""  # stable row name in review.csv, "" before the file is written

    def has(self, code: FlagCode) -> bool:
        """Tell whether a flag of this code stands on the note."""
        return any(flag.code is code for flag in self.flags)

    def flagged(self, flag: Flag) -> Event:
        """Return the note with a further flag."""
        return replace(self, flags=(*self.flags, flag))

    @property
    def doubtful(self) -> bool:
        """Whether a flag puts the note in doubt; what a person confirmed has none."""
        return any(not flag.settled for flag in self.flags)

    @property
    def bearing(self) -> BearingCell | None:
        """Which way a bee flew; None for other notes, and where none can be read."""
        if KINDS[self.kind].holds is not Holds.DEGREES:
            return None
        return read_bearing_cell(self.value)

    @property
    def precision_deg(self) -> float | None:
        """Width that a bearing was rounded to: 1, 22.5 or 45, or as said; degrees."""
        return None if self.bearing is None else self.bearing.precision_deg

    @property
    def reference(self) -> Reference:
        """North that a bearing was read against, "" where it was not said."""
        return "" if self.bearing is None else self.bearing.reference


def taken_back(events: Sequence[Event]) -> dict[int, int]:
    """Find the note that each "scratch that" takes back.

    It is the last one before it in the same recording that still stands; said twice,
    the last two go. A scratch that is in doubt itself takes nothing back.

    Parameters
    ----------
    events
        In order of time.

    Returns
    -------
    dict
        Index of the note to index of the scratch.
    """
    standing: dict[str, list[int]] = {}
    gone: dict[int, int] = {}
    for index, event in enumerate(events):
        before = standing.setdefault(event.recording, [])
        if event.kind is not EventKind.SCRATCH:
            before.append(index)
        elif before and not event.doubtful:
            gone[before.pop()] = index
    return gone


def flag_scratched(events: Sequence[Event]) -> list[Event]:
    """Say on each note that a later "scratch that" takes it back."""
    found = list(events)
    for taken, scratch in taken_back(events).items():
        flag = Flag.of(FlagCode.TAKEN_BACK, events[scratch].heard)
        found[taken] = found[taken].flagged(flag)
    return found
