"""Bringing review.csv up to date with what was heard, without losing a change.

The rows of review.csv as the report shows them, and plays them.
"""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property
from typing import TYPE_CHECKING

from treeward.audio.reader import cut_clip, probe
from treeward.errors import ClockError, ReviewChangedError, SoundError
from treeward.files import write_text
from treeward.language.kinds import KINDS, EventKind, Need
from treeward.measures import position_in
from treeward.notes.clock import RecordingFacts, place_recordings
from treeward.notes.clock_evidence import daylight_at, parse_start, parse_start_day
from treeward.notes.flags import Flag, FlagCode, sentences_of
from treeward.notes.second_look import look_twice
from treeward.review.merge import MergeResult, heed_corrected_times, merge_review
from treeward.review.store import gone_words
from treeward.within import file_within

from .recordings import (
    STARTS_FILE,
    as_first_seen,
    file_modified,
    is_transcript,
    keep_facts,
    kept_starts,
    recording_name,
)
from .same_notes import renamed_files, with_names, without_copies
from .transcription import Recorded, given_day, recorded_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from pathlib import Path

    from treeward.notes.clock import ClockResult
    from treeward.notes.events import Event
    from treeward.report.model import NoteRow
    from treeward.review.file import ReviewRow

    from .folder import HuntFolder


_DAY_S = 86_400.0
_TIMES = frozenset({EventKind.TIME, EventKind.DATE})


def written_lines(gone: Sequence[ReviewRow], loser: Path | None) -> tuple[str, ...]:
    """Say what was put back, and what another program saved at the same moment."""
    lines = []
    if gone:
        lines.append(
            f"review.csv: {gone_words(gone)} gone from it since Treeward wrote it, and "
            "stand in it again; to leave a row out, write drop in it"
        )
    if loser is not None:
        lines.append(
            f"review.csv was saved by another program at the same moment; what that "
            f"saved is kept in {loser.name}: look what differs, then take it away"
        )
    return tuple(lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class _ToldOnce:
    """What the same notes in two files came to."""

    new: Sequence[Event]  # that count
    copies: Mapping[str, str]  # file -> the other that holds its notes
    renamed: Mapping[str, str]  # the file's name in the rows -> its name now

    def without(self, one: Recorded) -> Recorded:
        """Return what was recorded without what another file holds too."""
        if one.name not in self.copies:
            return one
        left = tuple(event for event in self.new if event.recording == one.name)
        same = (
            f"the same notes stand in {self.copies[one.name]} and count once: take one "
            "of the two files away"
        )
        return replace(
            one,
            events=left,
            unread=one.unread if left else (),
            remarks=(*one.remarks, same),
        )

    def lines(self) -> list[str]:
        """Say which files were renamed."""
        return [
            f"{new} holds the notes of {old}, which is gone: its rows are of {new} now"
            for old, new in self.renamed.items()
        ]


class ReviewUpdate:
    """Puts events on the clock and merges them into the review of a hunt."""

    def __init__(self, hunt: HuntFolder) -> None:
        self._hunt = hunt

    @cached_property
    def recorded_before(self) -> list[Recorded]:
        """Every recording's events from what is kept of its hearing."""
        found = []
        for path in self._hunt.recordings():
            name = recording_name(path, self._hunt.recordings_dir)
            kept = self._hunt.heard_file(name)
            if kept.path.exists() or is_transcript(path):
                found.append(
                    recorded_of(self._hunt, path, kept, name=name, lines=False)
                )
        return found

    def write_merged(
        self, recorded: Sequence[Recorded]
    ) -> tuple[MergeResult, list[Recorded], tuple[str, ...]]:
        """Merge with review.csv as it is now and write it; say what is to be told.

        What was recorded comes back without the notes that another file holds too.
        A spreadsheet may save it meanwhile, again and again: then it is merged anew.
        """
        review = self._hunt.review
        while True:
            before = review.digest()
            previous, current = review.read()
            current, gone = review.with_gone(current)
            merge, clocks, told = self._merged(recorded, previous, current)
            try:
                loser = review.write(merge.rows, merge.machine, seen=before)
            except ReviewChangedError:
                continue
            flags = [f"{c.recording}: {flag}" for c in clocks for flag in c.remarks]
            home = self._hunt.recordings_dir
            names = [clock.recording for clock in clocks]
            seen = [(self._facts(n), (home / n).stat().st_size) for n in names]
            keep_facts(self._hunt.machine_dir, seen, clocks)
            once = [told.without(one) for one in recorded]
            lines = (*told.lines(), *written_lines(gone, loser), *flags)
            return merge, once, lines

    def merged(
        self,
        recorded: Sequence[Recorded],
        previous: Sequence[ReviewRow],
        current: Sequence[ReviewRow] | None,
    ) -> tuple[MergeResult, list[ClockResult]]:
        """Place events on the clock and merge them with what the person changed.

        Spoken times that the person corrected count as corrected.
        """
        merge, clocks, _ = self._merged(recorded, previous, current)
        return merge, clocks

    def _merged(
        self,
        recorded: Sequence[Recorded],
        previous: Sequence[ReviewRow],
        current: Sequence[ReviewRow] | None,
    ) -> tuple[MergeResult, list[ClockResult], _ToldOnce]:
        readable = [r for r in recorded if not r.fault]
        originals = {one.name: one.events for one in readable}
        home = self._hunt.recordings_dir
        there = {recording_name(path, home) for path in self._hunt.recordings()}
        there |= set(originals)
        renamed = renamed_files(originals, previous, there)
        previous = with_names(previous, renamed)
        current = None if current is None else with_names(current, renamed)
        batch = [
            (self._facts(name), heed_corrected_times(events, previous, current or ()))
            for name, events in originals.items()
        ]
        is_daylight = self._daylight()
        clocks = place_recordings(batch, self._hunt.zone, is_daylight=is_daylight)
        new: list[Event] = []
        for clock in clocks:
            for event, original in zip(
                clock.events, originals[clock.recording], strict=True
            ):
                # The machine's own reading of a time stays in the machine's copy.
                spoken = original.value if event.kind in _TIMES else ""
                new.append(replace(event, value=event.value or spoken))
        new, copies = without_copies(new, previous, current or (), there)
        new = look_twice(
            new,
            without_station=self._wanting_a_station(readable),
            stations=self._hunt.file.said_stations,
        )
        if is_daylight is not None:
            new = [_flagged_if_dark(event, is_daylight) for event in new]
        merge = merge_review(
            previous, current, new, transcribed=[r.name for r in readable]
        )
        return merge, clocks, _ToldOnce(new=new, copies=copies, renamed=renamed)

    def _wanting_a_station(self, recorded: Sequence[Recorded]) -> set[str]:
        """Return the recordings whose station only a note can tell."""
        from treeward.trips.sightings import station_in_name

        hunt_file = self._hunt.file
        if len(hunt_file.station) < 2:
            return set()
        return {
            one.name
            for one in recorded
            if not hunt_file.station_of(one.name)
            and not station_in_name(one.name, hunt_file)
        }

    def _facts(self, name: str) -> RecordingFacts:
        path = self._hunt.recordings_dir / name
        if (day := given_day(self._hunt, path, name)) is not None:
            midnight = datetime(day.year, day.month, day.day, tzinfo=self._hunt.zone)
            return RecordingFacts(name=name, start=midnight, start_resolution_s=_DAY_S)
        start, resolution_s, day = self._given_start(name)
        if is_transcript(path):
            written = file_modified(path).astimezone(self._hunt.zone).date()
            return RecordingFacts(
                name=name,
                start=start,
                start_resolution_s=resolution_s,
                day=day,
                near=written,
            )
        info = probe(path)
        facts = RecordingFacts(
            name=name,
            duration_s=info.duration_s,
            created=info.created,
            file_modified=file_modified(path),
            start=start,
            start_resolution_s=resolution_s,
            day=day,
        )
        return as_first_seen(self._hunt.machine_dir, facts, path.stat().st_size)

    def _given_start(self, name: str) -> tuple[datetime | None, float, date | None]:
        """Return the start that was given and its width [s], or the day alone."""
        where, zone = f"start of {name}", self._hunt.zone
        kept = kept_starts(self._hunt.machine_dir).get(name, "")
        given = self._hunt.file.start.get(name, "")
        with suppress(ClockError):  # ours is good, or was spoilt on the disk since
            parse_start_day(kept, zone, where=where)
            given = kept
        if not given:
            return None, 1.0, None
        day = parse_start_day(given, zone, where=where)
        if ":" not in given:
            return None, 1.0, day
        return *parse_start(given, zone, where=where), None

    def _daylight(self) -> Callable[[datetime], bool] | None:
        for position, _ in self._hunt.positions().values():
            return daylight_at(
                latitude_deg=position.latitude_deg,
                longitude_deg=position.longitude_deg,
            )
        return None

    def keep_start(self, path: Path, start: str) -> None:
        """Remember a start given with --start for all later runs.

        Raises
        ------
        ClockError
            If it is neither a date and time nor a date, which is enough where times
            of day are typed or spoken.
        """
        parse_start_day(start, self._hunt.zone, where="--start")
        starts = kept_starts(self._hunt.machine_dir)
        starts[recording_name(path, self._hunt.recordings_dir)] = start
        write_text(
            self._hunt.machine_dir / STARTS_FILE,
            json.dumps(starts, indent=1),
            within=self._hunt.path,
        )


def _flagged_if_dark(event: Event, is_daylight: Callable[[datetime], bool]) -> Event:
    """Flag a note of a bee in flight while the sun was down: the clock may be wrong."""
    if event.clock is None or not KINDS[event.kind].flying or is_daylight(event.clock):
        return event
    return event.flagged(Flag.of(FlagCode.AFTER_DARK))


def times_corrected(
    previous: Sequence[ReviewRow], current: Sequence[ReviewRow]
) -> bool:
    """Tell whether the person corrected, dropped or deleted a spoken time or date."""
    now = {
        row.name: (row.event.kind, row.event.value)
        for row in current
        if row.decision != "drop"
    }
    return any(
        now.get(row.name) != (row.event.kind, row.event.value)
        for row in previous
        if row.event.kind in _TIMES
    )


BEFORE_S = 1.5  # sound kept before a note, to hear what led to it; choice
AFTER_S = 1.0  # and after it; choice
LONGEST_S = 60.0  # a note is a few seconds; more is an end that was typed wrongly


def note_rows(rows: Sequence[ReviewRow]) -> dict[str, NoteRow]:
    """Return each row with where it was heard and what it says, by its name."""
    from treeward.report.model import NoteRow

    return {
        row.name: NoteRow(
            row=row.name,
            recording=row.event.recording,
            start_s=row.event.start_s,
            end_s=row.event.end_s,
            clock=row.event.clock,
            said=said_in_words(_without_place(row.event)),
            heard=row.event.heard,
            confidence=row.event.confidence,
            flag="; ".join(sentences_of(row.event.flags)),
            decision=row.decision,
        )
        for row in rows
    }


def _without_place(event: Event) -> Event:
    """Take the position out of a note that says found: no report holds it."""
    told = event.kind is EventKind.FOUND and position_in(event.value) is not None
    return replace(event, value="") if told else event


def said_in_words(event: Event) -> str:
    """Say an event in plain words: "yellow away", "bearing 210 (yellow)"."""
    parts = [event.mark, event.kind.value, event.value]
    if KINDS[event.kind].value is not Need.NEVER and event.mark:
        parts = [event.kind.value, event.value, f"({event.mark})"]
    return " ".join(part for part in parts if part)


def clips_of(notes: Iterable[NoteRow], recordings_dir: Path) -> dict[str, bytes]:
    """Cut a clip for every note whose recording is at hand, by row."""
    clips = {}
    for note in notes:
        path = file_within(recordings_dir, note.recording)
        if path is None or note.start_s is None:
            continue
        end_s = note.start_s if note.end_s is None else note.end_s
        end_s = min(end_s, note.start_s + LONGEST_S)
        try:
            clips[note.row] = cut_clip(path, note.start_s - BEFORE_S, end_s + AFTER_S)
        except SoundError:
            continue  # the report stands without this clip
    return clips
