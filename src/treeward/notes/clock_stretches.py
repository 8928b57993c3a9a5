"""The stretches of a recording in which its recorder ran without a pause.

What speaks against a recording's clock once it has been chosen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from treeward.language.kinds import EventKind

from .clock_anchors import outside_s
from .clock_evidence import (
    AGREE_S,
    ClockEvidence,
    ClockSource,
    RecordingFacts,
    apart_s,
    in_zone,
)
from .flags import Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from .clock_anchors import Stretch
    from .events import Event


LEAST_TRUST = 0.6  # confidence of a "pause" or "resume" that is built on; guess
LONGEST_LEAD_S = 3 * 3600.0  # of the spoken times over the start, by pauses; guess
RESTART_S = 4.0  # to stop a recorder, start it and say the time; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockStretch:
    """Part of a recording in which the recorder ran without a pause.

    Second `s` of the recording, between `from_s` and `to_s`, fell on the UTC
    timestamp `offset_utc_s + s`, give or take `half_width_s`. `begins` says how it is
    known where the stretch before ended: "said" by a resume or pause, by "habit" (see
    `from_spoken`), or not at all ("unknown": anywhere between the two).
    """

    from_s: float
    to_s: float
    offset_utc_s: float
    half_width_s: float
    spoken: tuple[str, ...] = ()  # the times it rests on, "10:22"
    begins: Literal["said", "habit", "unknown"] = "unknown"
    start_text: str = ""  # of a stretch that rests on the recording's start alone

    @property
    def first(self) -> str:
        """The time of day that it is first known by."""
        return self.spoken[0] if self.spoken else self.start_text

    @property
    def last(self) -> str:
        """The time of day that it is last known by."""
        return self.spoken[-1] if self.spoken else self.start_text


def end_offset_s(recording: RecordingFacts, zone: ZoneInfo) -> float | None:
    """Return when the file was closed less the length of its sound, UTC timestamp."""
    if recording.file_modified is None or recording.duration_s is None:
        return None
    return in_zone(recording.file_modified, zone).timestamp() - recording.duration_s


def from_spoken(
    stretches: Sequence[Stretch],
    lower: Sequence[ClockEvidence],
    events: Sequence[Event],
    recording: RecordingFacts,
    zone: ZoneInfo,
) -> list[ClockStretch]:
    """Choose each stretch's offset, and where it meets its neighbours.

    Where a single "resume", or else a single "pause", was said between two stretches,
    the recorder was stopped there, and nothing between is doubtful. Where it was
    stopped more than once, the person is taken for one who says the time on starting
    it again, unless some such time follows a note too closely for that. Where it was
    stopped at all, a start that lies somewhat before the spoken times is believed as
    well: it was stopped before the first of them too.
    """
    clock: list[ClockStretch] = []
    for index, stretch in enumerate(stretches):
        offset_s = (stretch.low_s + stretch.high_s) / 2
        half_s = (stretch.high_s - stretch.low_s) / 2
        exact = [e.start.timestamp() for e in lower if e.start and index == 0]
        if index == len(stretches) - 1 and index > 0:
            end_s = end_offset_s(recording, zone)
            exact = [] if end_s is None else [end_s]
        for candidate in exact:
            if stretch.low_s <= candidate <= stretch.high_s:
                offset_s = candidate
                half_s = max(candidate - stretch.low_s, stretch.high_s - candidate)
                break
        seconds = [anchor.second for anchor, _ in stretch.anchors]
        clock.append(
            ClockStretch(
                from_s=seconds[0],
                to_s=seconds[-1],
                offset_utc_s=offset_s,
                half_width_s=half_s,
                spoken=tuple(f"{r.local:%H:%M}" for _, r in stretch.anchors),
            )
        )
    if len(clock) > 1:
        clock = [*_start_stretch(lower, clock[0]), *clock]
    habit = len(clock) > 2 and not any(
        _follows_closely(events, two.from_s) for two in clock[1:]
    )
    for index, (one, two) in enumerate(pairwise(clock), 1):
        join_s = _said_join_s(events, one.to_s, two.from_s)
        if join_s is not None:
            clock[index] = replace(two, from_s=join_s, begins="said")
        elif habit:
            clock[index] = replace(two, begins="habit")
    return clock


def _start_stretch(
    lower: Sequence[ClockEvidence], first: ClockStretch
) -> list[ClockStretch]:
    """Return the stretch from the recording's start to a stop before `first`."""
    for evidence in lower:
        if evidence.start is None or evidence.source == ClockSource.FILE_TIME:
            continue
        at_s = evidence.start.timestamp()
        lead_s = first.offset_utc_s - first.half_width_s - at_s - evidence.resolution_s
        if not AGREE_S < lead_s <= LONGEST_LEAD_S:
            return []
        return [
            ClockStretch(
                from_s=0.0,
                to_s=0.0,
                offset_utc_s=at_s + evidence.resolution_s / 2,
                half_width_s=evidence.resolution_s / 2,
                start_text=f"{evidence.start:%H:%M}",
            )
        ]
    return []


def _follows_closely(events: Sequence[Event], second: float) -> bool:
    """Tell whether a note ends so shortly before that no recorder was started."""
    return any(
        e.start_s is not None
        and e.kind is not EventKind.RESUME
        and e.start_s < second < (e.end_s or e.start_s) + RESTART_S
        for e in events
    )


def _said_join_s(
    events: Sequence[Event], after_s: float, until_s: float
) -> float | None:
    """Return the second at which a paused recorder ran on, if that was said."""
    between = [
        e
        for e in events
        if e.start_s is not None
        and after_s < e.start_s <= until_s
        and e.confidence >= LEAST_TRUST
    ]
    resumes = [e.start_s for e in between if e.kind is EventKind.RESUME]
    if resumes:
        return resumes[0] if len(resumes) == 1 else None
    pauses = [e.end_s or e.start_s for e in between if e.kind is EventKind.PAUSE]
    return pauses[0] if len(pauses) == 1 else None


def from_lower(
    lower: Sequence[ClockEvidence], recording: RecordingFacts
) -> list[ClockStretch]:
    """Return the one stretch that evidence other than spoken times gives, if any."""
    for evidence in lower:
        if evidence.start is not None:
            return [
                ClockStretch(
                    from_s=0.0,
                    to_s=recording.duration_s or 0.0,
                    offset_utc_s=evidence.start.timestamp(),
                    half_width_s=evidence.resolution_s / 2,
                )
            ]
    return []


def flag_pauses(clock: Sequence[ClockStretch], flags: list[str]) -> None:
    """Say between which spoken times the recorder was paused."""
    for one, two in pairwise(clock):
        lost_min = (two.offset_utc_s - one.offset_utc_s) / 60
        doubt = {
            "said": "as was said",
            "habit": f"taken to have been started again just before {two.first}",
            "unknown": "times between are doubtful",
        }[two.begins]
        flags.append(
            f"the recorder seems to have been paused for about {lost_min:.0f} min "
            f"between {one.last} and {two.first}; {doubt}"
        )


def stretch_at(
    second: float, clock: Sequence[ClockStretch]
) -> tuple[ClockStretch, Flag | None]:
    """Return the stretch whose anchor is nearest, and a doubt if between two."""
    for one, two in pairwise(clock):
        if second <= one.to_s:
            return one, None
        if second < two.from_s and two.begins != "unknown":
            return one, None
        if second < two.from_s:
            nearer = one if second - one.to_s <= two.from_s - second else two
            off_min = (two.offset_utc_s - one.offset_utc_s) / 60
            return nearer, Flag.of(
                FlagCode.RECORDER_PAUSED, one.last, two.first, f"{off_min:.0f}"
            )
    return clock[-1], None


def disagreements(
    lower: Sequence[ClockEvidence],
    start: datetime,
    half_width_s: float,
    zone: ZoneInfo,
    *,
    spoken: bool,
) -> list[str]:
    """Say which evidence speaks against the clock, and whether it rests on little.

    `lower` is all evidence but the spoken times, strongest first; `spoken` tells
    whether such were believed.
    """
    flags: list[str] = []
    agreeing: list[ClockSource] = []
    low_s = start.timestamp() - half_width_s
    high_s = start.timestamp() + half_width_s
    for evidence in lower:
        if evidence.start is None:
            continue
        at_s = evidence.start.timestamp()
        away_s = outside_s((at_s, at_s + evidence.resolution_s), low_s, high_s)
        if away_s <= AGREE_S:
            agreeing.append(evidence.source)
        elif evidence.source != ClockSource.FILE_TIME:  # of a copy, mostly
            there = in_zone(evidence.start, zone)
            flags.append(_disagreement(evidence.source, there, start, spoken=spoken))
    dated = any(evidence.source == ClockSource.SPOKEN_DATE for evidence in lower)
    if agreeing[:1] == [ClockSource.FILE_TIME] and not spoken and not dated:
        flags.append(
            "the clock rests on the file's time alone; say a time now and then, or "
            "give --start"
        )
    return flags


def _disagreement(
    source: ClockSource, there: datetime, start: datetime, *, spoken: bool
) -> str:
    late_s = apart_s(there, start)
    hours = abs(late_s) / 3600
    far = f"{hours:.1f} h" if hours >= 2 else f"{hours * 60:.0f} min"
    hint = (
        ", perhaps a summer-time or time-zone setting"
        if 0 < round(hours) <= 14 and abs(hours - round(hours)) * 3600 <= AGREE_S
        else ""
    )
    return (
        f"the {source} puts the start at {there:%Y-%m-%d %H:%M}, {far} "
        f"{'later' if late_s > 0 else 'earlier'} than "
        f"{'the spoken times' if spoken else 'stronger evidence'}{hint}; not used"
    )
