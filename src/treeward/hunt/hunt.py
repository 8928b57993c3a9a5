"""A hunt, and what is done with it.

In a notebook::

    hunt = Hunt("marl-hollow")
    hunt.transcribe()
    table = hunt.trips()
    result = hunt.locate()
    hunt.write_results(result)
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from treeward import __version__
from treeward.errors import HuntError
from treeward.language.kinds import EventKind
from treeward.review.file import effective_events
from treeward.review.store import left_of

from .folder import HuntFolder
from .hearing import EngineChoice, Watcher, hear_all
from .recordings import LeftOut, days_told, passed_over, take_in, unreadable
from .review_update import ReviewUpdate, clips_of, note_rows, times_corrected
from .transcription import Recorded, Transcribed, keep_talk, keep_unread, open_lines

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence
    from pathlib import Path

    from treeward.notes.events import Event
    from treeward.report.model import HuntResult, WrittenFiles
    from treeward.review.file import ReviewRow
    from treeward.review.merge import MergeResult
    from treeward.review.store import Left
    from treeward.trips.table import TripTable

    from .partial import RowMove

_PATIENCE_S = 5.0  # an answer worked out for seconds may wait so long to be written


class Hunt(HuntFolder):
    """One search for one or more colonies, in a folder of its own.

    Parameters
    ----------
    path
        The folder that holds hunt.toml.

    Raises
    ------
    HuntError
        At the first use of hunt.toml, if it is missing or faulty.
    """

    def transcribe(
        self,
        files: Sequence[Path] = (),
        *,
        start: str | None = None,
        model: str | None = None,
        fresh: bool = False,
        jobs: int = 1,
        watcher: Watcher | None = None,
    ) -> Transcribed:
        """Hear recordings or read transcripts, and bring review.csv up to date.

        Parameters
        ----------
        files
            Files to take in; all of the hunt's recordings when empty.
        start
            Clock time of the first second, for one file.
        model
            A speech model to use, by path or name.
        fresh
            Forget what was heard before.
        jobs
            Processes that hear at the same time; with 1, this one. More than one
            needs a script that can be imported (`if __name__ == "__main__":`).
        watcher
            Told of the progress.

        Raises
        ------
        HuntError, SpeechError, ReviewError
            When nothing can be done. A fault of one recording is in the result.
        """
        update = ReviewUpdate(self)
        _ = self.file  # a faulty hunt.toml is told before an hour of hearing
        with self.locked("transcribe"):
            faults = unreadable(files, self.recordings_dir)
            readable = [file for file in files if file not in faults]
            remarks: list[str] = []
            paths = take_in(readable, self.recordings_dir, tell=remarks.append)
            left_out = LeftOut(self.path, self.machine_dir, self.recordings_dir)
            if not files:
                paths, told = left_out.without(self.recordings())
                remarks += told
            skipped = "" if files else passed_over(self.recordings_dir)
            if not paths and not faults and not remarks:
                raise HuntError(
                    f"there are no recordings{f' ({skipped})' if skipped else ''}",
                    where=str(self.recordings_dir),
                    mend="Put some there, or name them: treeward transcribe FILE",
                )
            remarks += [skipped] if skipped else []
            if start is not None and paths:
                update.keep_start(paths[0], start)
            self.review.read()  # so is a faulty review.csv
            recorded, engine, stopped = hear_all(
                self,
                paths,
                EngineChoice(
                    hunt_dir=self.path, model=model, free=self.file.speech.free
                ),
                jobs=jobs,
                watcher=watcher,
                fresh=fresh,
                say=remarks.append,
            )
            left_out.note(paths, {one.name for one in recorded if one.fault})
            recorded += [
                Recorded(name=file.name, fault=fault, complete=False)
                for file, fault in faults.items()
            ]
            merge, recorded, told = update.write_merged(recorded)
            keep_talk(self, paths)
            keep_unread(self, recorded)
            return self._transcribed(
                recorded, merge, engine, stopped, (*remarks, *told)
            )

    def _transcribed(
        self,
        recorded: Sequence[Recorded],
        merge: MergeResult,
        engine: str,
        stopped: bool,
        remarks: tuple[str, ...],
    ) -> Transcribed:
        """Say what came of it."""
        read_now = {one.name for one in recorded if not one.fault}
        lines = open_lines(self, (row.event for row in merge.rows))
        return Transcribed(
            recordings=tuple(recorded),
            engine=engine,
            rows=len(merge.rows),
            left=left_of(
                merge.rows, {row.name: row for row in merge.machine}, lines=len(lines)
            ),
            kept_changes=len(merge.report.kept_changes),
            stopped=stopped,
            unread=tuple(line for line in lines if line.recording in read_now),
            remarks=remarks,
        )

    def rows(self) -> list[ReviewRow]:
        """Read review.csv.

        Where the person corrected a spoken time, the clocks that hang on it are
        worked out anew.

        Raises
        ------
        ReviewError
            With a line for every cell that cannot be read.
        """
        return self._rows_without(frozenset())

    def _rows_without(
        self, dropped: Collection[str], update: ReviewUpdate | None = None
    ) -> list[ReviewRow]:
        """Read review.csv as if the person had dropped some rows.

        `update` keeps what was heard for further calls.
        """
        previous, current = self.review.read()
        if current is None:
            raise HuntError(
                "there is no review.csv here",
                where=str(self.review_path),
                mend="Run: treeward transcribe. Or write one by hand.",
            )
        if dropped:
            current = [
                replace(row, decision="drop") if row.name in dropped else row
                for row in current
            ]
        if times_corrected(previous, current):
            update = update or ReviewUpdate(self)
            if known := update.recorded_before:
                merge, _ = update.merged(known, previous, current)
                return list(merge.rows)
        return current

    def events(self, rows: Sequence[ReviewRow] | None = None) -> list[Event]:
        """Give the events that count: the person's word over the machine's."""
        return effective_events(rows or self.rows(), self.review.machine_rows())

    def trips(self) -> TripTable:
        """Pair the events of review.csv into visits, trips and flight lines."""
        return self._trips_of(self.rows())

    def locate(self) -> HuntResult:
        """Work out where the colonies are, from review.csv as it stands.

        In a hunt of several days also where each day alone puts them.
        """
        from .found_told import found_told, hidden_discs, start_apart
        from .locating import survey_hunt
        from .partial import gather, locate_days
        from .places import place_stations
        from .searching import read_searching, with_idle

        rows = self.rows()
        events, table = self.events(rows), self._trips_of(rows)
        places, now = place_stations(self.file, self.path, table), self._now()
        hidden = hidden_discs(self.file, self.path, events)
        search = read_searching(
            self.file,
            self.path,
            events,
            stations=[place for place, _ in places.positions.values()],
        )
        if self.file.search.start is None:
            search = start_apart(search, hidden)
        search = with_idle(search, places.idle)
        surveyed = survey_hunt(
            self.file, table, places.positions, today=now, searching=search.searching
        )
        days = locate_days(self.file, table, places.positions, surveyed.fix, today=now)
        result = replace(
            self._unlocated(rows, table),
            stations=surveyed.stations,
            fix=surveyed.fix,
            missing=places.unfound + surveyed.missing,
            tracks=places.tracks,
            days=days,
            settings=surveyed.settings,
            own_prior=surveyed.own_prior,
            doubtful=gather(events),
            left=self.left(),
            search=search,
        )
        found = found_told(result, self.path, events, hidden)
        return replace(result, found=found)

    def left(self) -> Left:
        """Count what is still to be looked at in review.csv as it stands."""
        machine, current = self.review.read()
        rows = current or ()
        lines = open_lines(self, (row.event for row in rows))
        return left_of(rows, {row.name: row for row in machine}, lines=len(lines))

    def weigh_doubts(self, result: HuntResult) -> HuntResult:
        """Add how far the notes still to be looked at could move the answer.

        Each sort of them costs a survey or a few.
        """
        from .partial import weigh_doubts
        from .searching import read_searching

        return weigh_doubts(
            result,
            self.events(),
            without=lambda dropped: self.events(self._rows_without(dropped)),
            looked=lambda events: read_searching(self.file, self.path, events),
            today=self._now(),
        )

    def row_moves(
        self, result: HuntResult, readings: Mapping[str, Sequence[Event]]
    ) -> Iterator[RowMove]:
        """Say of single rows how far the best place moves if they are wrong.

        Parameters
        ----------
        result
            What `locate` gave for review.csv as it stands.
        readings
            Row -> its other readings; the rows are weighed in this order, at up to a
            second for each way that a row may be.
        """
        from .partial import row_moves, ways_of
        from .searching import read_searching

        rows = self.rows()
        events = self.events(rows)
        update = ReviewUpdate(self)

        def otherwise(row: str) -> Iterator[Sequence[Event]]:
            own = next((e for e in events if e.row == row), None)
            if own is not None and own.kind in {EventKind.TIME, EventKind.DATE}:
                # Other notes' clocks hang on it.
                if own.recording and update.recorded_before:
                    yield self.events(self._rows_without({row}, update))
                return
            yield from ways_of(events, row, readings[row])

        yield from row_moves(
            result,
            events,
            tuple(readings),
            otherwise=otherwise,
            looked=lambda told: read_searching(self.file, self.path, told),
            today=self._now(),
        )

    def paired(self) -> HuntResult:
        """Give the trips with their links to review.csv, and no place yet."""
        from .partial import days_of

        rows = self.rows()
        table = self._trips_of(rows)
        days = days_of(table, self.zone)
        return replace(self._unlocated(rows, table), days=days if len(days) > 1 else ())

    def _now(self) -> datetime:
        return datetime.now(tz=UTC).astimezone(self.zone)

    def _unlocated(self, rows: Sequence[ReviewRow], table: TripTable) -> HuntResult:
        from treeward.report.model import HuntResult

        return HuntResult(
            hunt_file=self.file,
            stations=(),
            table=table,
            fix=None,
            rows=note_rows(rows),
            recording_days=days_told(self.machine_dir),
            software_version=__version__,
            created=self._now(),
        )

    def check_ground(self) -> None:
        """Read the maps under `[map] ground` about the stations, and let them go.

        Raises
        ------
        HuntError
            As `write_results` would, after all the work.
        """
        from .ground import read_ground
        from .locating import stations_of

        if self.file.map.ground:
            found = self.paired()
            stations = stations_of(
                self.file, self.path, found.table, today=found.created
            )
            read_ground(replace(found, stations=stations), self.path)

    def write_results(
        self,
        result: HuntResult,
        *,
        with_sound: bool = False,
        online_map: bool = False,
    ) -> WrittenFiles:
        """Write report, tables and map files into results/.

        The events go beside each recording as a WebVTT and a label track too.

        Parameters
        ----------
        result
            What `locate` gave.
        with_sound
            Put a short clip of each trip's notes into the report.
        online_map
            Write online-map.html too, which asks the map server of hunt.toml for its
            pictures.
        """
        from treeward.report.writing import write_labels, write_results

        from .found_told import without_finds
        from .ground import read_ground

        with self.locked("locate", wait_s=_PATIENCE_S):
            clips = None
            if with_sound:
                used = {t.away_row for t in result.table.trips}
                used |= {t.back_row for t in result.table.trips}
                used |= {line.row for line in result.table.lines}
                notes = [note for row, note in result.rows.items() if row in used]
                clips = clips_of(notes, self.recordings_dir)
            if not result.finds:  # they were not asked for
                result = without_finds(result)
            if (ground := read_ground(result, self.path)) is not None:
                result = replace(result, ground=ground)
            write_labels(result, self.recordings_dir)
            return write_results(
                result, self.results_dir, with_sound=clips, online_map=online_map
            )

    def _trips_of(self, rows: Sequence[ReviewRow]) -> TripTable:
        from treeward.trips import pair_trips

        from .places import offered_stations

        table = pair_trips(self.events(rows), self.file)
        offers = offered_stations(self.file, self.path, table)
        return replace(table, doubts=(*table.doubts, *offers))
