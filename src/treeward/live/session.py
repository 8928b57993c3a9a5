"""One listening session: the threads, and what passes between them."""

from __future__ import annotations

import queue
import threading
import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.audio.recorder import Recorder
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode

from .answer import Answer, Answerer, Gate
from .board import board
from .ears import NoteReader
from .intake import Intake
from .messages import Alarm, Snapshot, Tally
from .microphone import SilentPlayer, device_warning
from .notebook import FOUND_WORDS, Calls, Notebook, found_steps, walk_laid_out

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date, datetime
    from pathlib import Path

    from treeward.hunt.journal import Journal

    from .answer import Synthesiser
    from .board import Office
    from .ears import Ears
    from .messages import HeardNotes, Source
    from .microphone import Player
    from .notebook import Sky
    from .streams import WatchClock

TICK_S = 0.5
LOOK_S = 0.1  # for a signal, or the end of the sound
GIVE_UP_S = 60.0  # without a phrase read, at the end; guess
RETRY_JOURNAL_S = 2.0
WATCHED_GAP_S = 10.0  # a shorter gap is no pause of the watching; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What a session is about, and how it answers."""

    hunt_name: str
    recording: str  # name of the file that the pieces become
    units: str = "metric"
    station: str = ""
    paced: bool = True  # False: a rehearsal as fast as it goes
    call_due: bool = False
    speak: Synthesiser | None = None
    player: Player | None = None


class Session:
    """Listens until the sound ends or `stop` is called.

    Parameters
    ----------
    on_heard
        Called with each answered utterance, after it is on disk.
    on_said
        Called with what the tool says unasked, for the plain view.
    within
        The hunt that `pieces_dir` belongs to: no link below that is followed.
    """

    def __init__(
        self,
        *,
        pieces_dir: Path,
        journal: Journal,
        source: Source,
        ears: Ears,
        watch: WatchClock,
        setting: Setting,
        office: Office,
        sky_on: Callable[[date], Sky | None],
        on_heard: Callable[[HeardNotes], None],
        on_said: Callable[[str], None],
        within: Path | None = None,
    ) -> None:
        self._journal = journal
        self._source = source
        self._ears = ears
        self._watch = watch
        self._setting = setting
        self._office = office
        self._sky_on = sky_on
        self._on_heard = on_heard
        self._on_said = on_said
        self.keeper = Recorder(pieces_dir, within=within)
        self.notebook = Notebook(
            journal,
            lambda clock: sky_on(clock.date()),
            flag_below=ears.flag_below,
            walk=walk_laid_out(within) if within is not None else None,
        )
        self.notebook.station = setting.station
        self.tally = Tally()
        player = setting.player or SilentPlayer()
        # Only a microphone in the same air can hear the answer.
        audible = source.live and not isinstance(player, SilentPlayer)
        self._gate = Gate()
        self._answerer = Answerer(
            player,
            setting.speak,
            self._gate,
            watch.now_s,
            on_span=self._note_answer if audible else None,
            on_latency=self.tally.latencies_s.append if setting.paced else None,
        )
        self.intake = self._new_intake(self._gate if audible else None)
        self._calls = Calls(due=setting.call_due)
        self._lost = ""
        self._finished = False
        self._stop_asked = False
        self._hearing_fault = ""
        self._in_hand: Block | None = None  # what the recognizer is at
        self._read_s = 0.0  # elapsed second at which a stretch was read last
        self.source_name = source.name
        self._retry_s = 0.0
        self._recognise = threading.Thread(target=self._run, name="hear", daemon=True)

    def _new_intake(self, gate: Gate | None) -> Intake:
        return Intake(
            self._source,
            self.keeper,
            self._watch,
            gate,
            on_gap=self._on_gap,
            on_piece=self._on_piece,
            on_lost=self._on_lost,
            on_unheard=self._on_unheard,
            on_clock_set=self._on_clock_set,
            on_full=self._on_said,
            paced=self._setting.paced,
        )

    # --- running -------------------------------------------------------------

    def run(self, each_tick: Callable[[Snapshot], None]) -> None:
        """Listen to the end; `each_tick` is given what the view shows.

        Raises
        ------
        TreewardError, OSError
            The source could not be read.
        """
        self.intake.start()
        self._recognise.start()
        try:
            hearing = True  # one look at least, though the sound may end at once
            while hearing:
                each_tick(self.tick())
                looks = round(TICK_S / LOOK_S)
                while hearing and looks and not self._stop_asked:
                    looks -= 1
                    self._recognise.join(LOOK_S)
                    hearing = self._recognise.is_alive()
                hearing = hearing and not self._stop_asked
        finally:
            self.finish()
        each_tick(self.snapshot())
        if self.intake.fault is not None:
            raise self.intake.fault

    def ask_to_stop(self) -> None:
        """Have `run` end soon; sets a mark and no more, so a signal may call it."""
        self._stop_asked = True

    def finish(self) -> None:
        """Stop, read what was spoken up to now, and close every file; once."""
        if self._finished:
            return
        self._finished = True
        self.intake.close()
        self._finish_reading()
        self._answerer.close()
        self._office.close()
        self.keeper.close()
        self._journal.write(
            {"type": "end", "clock": self._now().isoformat(timespec="milliseconds"),
             "heard_s": round(self.intake.heard_samples / SAMPLE_RATE_HZ, 3),
             "kept_s": round(self.keeper.kept_samples / SAMPLE_RATE_HZ, 3)}
        )  # fmt: skip
        self._journal.close()

    def _finish_reading(self) -> None:
        """Wait for the recognizer as long as it goes on from phrase to phrase."""
        if not self._recognise.ident:
            return
        self._read_s = time.monotonic()
        while self._recognise.is_alive():
            self._recognise.join(LOOK_S)
            if time.monotonic() - self._read_s > GIVE_UP_S:
                self._leave_unheard()
                return

    def _leave_unheard(self) -> None:
        """Leave what waits for a recognizer that hangs to the second pass."""
        stretch = self._in_hand
        while True:
            if stretch is not None:
                self._on_unheard(stretch.start_s, stretch.end_s)
            try:
                stretch = self.intake.cuts.stretches.get_nowait()
            except queue.Empty:
                return

    # --- the recognizer's thread ---------------------------------------------

    def _run(self) -> None:
        reader = NoteReader(self._ears)
        while (stretch := self.intake.cuts.stretches.get()) is not None:
            self._in_hand = stretch
            try:
                self._hear(reader, stretch)
            except Exception as error:  # noqa: BLE001 (one phrase, not the session)
                why = type(error).__name__
                self._hearing_fault = f"a phrase was not heard ({why}), but is kept"
                self._on_unheard(stretch.start_s, stretch.end_s)
            self._in_hand = None
            self._read_s = time.monotonic()

    def _hear(self, reader: NoteReader, stretch: Block) -> None:
        began = time.perf_counter()
        notes = reader.read(stretch, self._setting.recording)
        self.tally.segments += 1
        self.tally.decode_s += time.perf_counter() - began
        if not notes:
            return
        # A second of the recording is an elapsed second of the session.
        placed = [
            replace(note, clock=self._watch.at(note.start_s or 0.0)) for note in notes
        ]
        ended_s = max(note.end_s or 0.0 for note in notes)
        heard, answer = self.notebook.take(placed, asked_s=ended_s)
        self.tally.events += len(heard.events)
        self.tally.doubtful += heard.doubtful
        self._on_heard(heard)
        if self.notebook.left:
            self._on_said(self.notebook.left)
        if heard.kept and (steps := self._next_steps(heard.events)):
            for line in steps:
                self._on_said(line)
            answer = replace(answer, words=FOUND_WORDS)
        self._answerer.say(answer)
        self._office.work_on(self.notebook.standing, self.notebook.station)

    def _next_steps(self, events: Sequence[Event]) -> tuple[str, ...]:
        """Return what to do after the last note of them that says found, if any."""
        standing = self.notebook.standing
        found = [
            event.clock
            for event in events
            if event.kind is EventKind.FOUND
            and event.clock is not None
            and not event.has(FlagCode.ASKED_AGAIN)
            and event in standing
        ]
        return found_steps(found[-1]) if found else ()

    # --- told by the sound's threads -----------------------------------------

    def _on_gap(self, from_s: float, to_s: float, why: str) -> None:
        lost_s = to_s - from_s
        first, last = self._watch.at(from_s), self._watch.at(to_s)
        self._lost = ""
        self._journal.write(
            {"type": "gap", "from": first.isoformat(timespec="milliseconds"),
             "to": last.isoformat(timespec="milliseconds"), "why": why}
        )  # fmt: skip
        if lost_s >= WATCHED_GAP_S:
            flag = Flag.of(FlagCode.NOT_LISTENING, f"{lost_s:.0f}", why)
            for kind, clock in ((EventKind.PAUSE, first), (EventKind.RESUME, last)):
                self.notebook.put(Event(kind=kind, clock=clock, flags=(flag,)))
        self._on_said(f"listening again after {lost_s:.0f} s: {why}")
        self._answerer.say(Answer(tones=(Alarm.MENDED,), words="listening again"))

    def _on_lost(self, why: str) -> None:
        self._lost = why.replace("was away", "is away")
        self._journal.write({"type": "lost", "why": why})

    def _on_piece(self, start_s: float, drift_s: float) -> None:
        self._journal.write(
            {"type": "piece", "start_s": round(start_s, 3),
             "drift_s": round(drift_s, 4)}
        )  # fmt: skip

    def _on_unheard(self, start_s: float, end_s: float) -> None:
        self.tally.unheard += 1
        self._journal.write(
            {"type": "unheard", "start_s": round(start_s, 2), "end_s": round(end_s, 2)}
        )

    def _on_clock_set(self, moved_s: float) -> None:
        self._journal.write({"type": "clock set", "by_s": round(moved_s, 3)})
        self._on_said(
            f"the computer's clock was set by {moved_s:+.1f} s; "
            "listening keeps the time it began with"
        )

    def _note_answer(self, start_s: float, end_s: float, words: str) -> None:
        """Keep when our own voice was on the air, for the second pass."""
        if words:
            self._journal.write(
                {"type": "own voice", "start_s": round(start_s, 3),
                 "end_s": round(end_s, 3), "words": words}
            )  # fmt: skip

    # --- the main thread -----------------------------------------------------

    def tick(self) -> Snapshot:
        """Look after what time brings; return what the view shows."""
        now_s = self._watch.now_s()
        if self._journal.waiting and now_s - self._retry_s > RETRY_JOURNAL_S:
            self._retry_s = now_s
            self._journal.retry()
        snapshot = self.snapshot()
        calls = self._calls.faults(snapshot.faults, now_s)
        calls += self._calls.due(snapshot.bees)
        calls += self._calls.get_up(snapshot.estimate, snapshot.units)
        calls += self._calls.sky(self._sky_on(snapshot.now.date()), snapshot.now)
        for call in calls:
            self._on_said(call.shown or call.words)
            self._answerer.say(call)
        return snapshot

    def _now(self) -> datetime:
        return self._watch.at(self._watch.now_s())

    def snapshot(self) -> Snapshot:
        """Return what the view shows now."""
        now = self._now()
        sky = self._sky_on(now.date())
        notebook = self.notebook
        bees = board(notebook.standing, self._office.away_s, now)
        return Snapshot(
            now=now,
            hunt=self._setting.hunt_name,
            station=notebook.station,
            bees=bees,
            notes=notebook.last_notes(),
            level=self.intake.cuts.meter.level,
            estimate=self._office.estimate,
            sunset=sky.sunset if sky else None,
            kept_s=self.keeper.kept_samples / SAMPLE_RATE_HZ,
            events=len(notebook.events),
            watching=notebook.watching,
            faults=tuple(self._faults()),
            units=self._setting.units,
            next_steps=self._next_steps(notebook.events)
            or tuple(filter(None, [notebook.left])),
        )

    def summary(self) -> dict[str, object]:
        """Return the session in numbers, with units in the names."""
        tally = self.tally
        latencies = sorted(tally.latencies_s)
        heard_s = self.intake.heard_samples / SAMPLE_RATE_HZ
        return {
            "journal": str(self._journal.path),
            "notes": tally.events,
            "doubtful": tally.doubtful,
            "stretches": tally.segments,
            "stretches_unheard": tally.unheard,
            "sound_heard_s": round(heard_s, 3),
            "sound_kept_s": round(self.keeper.kept_samples / SAMPLE_RATE_HZ, 3),
            "decode_s": round(tally.decode_s, 3),
            "drift_s": round(self.intake.worst_drift_s, 4),
            "latency_median_s": _quantile(latencies, 0.5),
            "latency_95_s": _quantile(latencies, 0.95),
        }

    def _faults(self) -> list[str]:
        found = []
        if self._lost:
            found.append(f"{self._lost}: plug it in again")
        if self.keeper.fault:
            found.append(f"{self.keeper.fault}: sound is not kept, notes are")
        if self._journal.waiting:
            found.append("notes are not on disk: make room, do not close")
        if warning := device_warning(self.source_name):
            found.append(warning)
        found += filter(None, (self.intake.cuts.fault, self._hearing_fault))
        if self._office.fault:
            found.append(self._office.fault)
        if warning := self.intake.cuts.meter.level.warning:
            found.append(warning)
        return found


def _quantile(ordered: list[float], share: float) -> float | None:
    if not ordered:
        return None
    return round(ordered[min(len(ordered) - 1, int(share * len(ordered)))], 4)
