"""Puts a listening session together from a hunt and what was asked for."""

from __future__ import annotations

import math
import os
import sys
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from treeward import __version__
from treeward.audio.reader import probe, read_blocks
from treeward.errors import HuntError, ListenerAtWorkError, SoundError
from treeward.files import read_plain, write_text
from treeward.hunt.folder import only_one
from treeward.hunt.journal import Journal
from treeward.hunt.recovery import journals_dir, left_behind, recover, sessions_of
from treeward.hunt_file import HuntFile, read_hunt_file
from treeward.report.advice_wording import CAUTIONS

from .answer import find_synthesiser
from .board import Office
from .ears import open_ears
from .microphone import MicrophoneSource, find_player
from .notebook import Sky, sky_of
from .session import Session, Setting
from .streams import (
    BlocksSource,
    PcmFormat,
    Pipe,
    RehearsalTime,
    StreamSource,
    WatchClock,
    elapsed_s,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import date, datetime, tzinfo

    from treeward.hunt.hunt import Hunt
    from treeward.measures import Position
    from treeward.notes.events import Event
    from treeward.survey.records import Fix
    from treeward.trips.table import TripTable

    from .answer import Synthesiser
    from .messages import HeardNotes, Source
    from .microphone import Player

LOCK_NAME = "listen.lock"
PIPE_HOLDS_S = 3.0  # of 16 kHz sound in 64 KiB, which is what a pipe holds, and more


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the person asked of `treeward listen`."""

    input: str | None = None  # None: microphone; "-": standard input; else a file
    pace: str = "real"  # "real" or "fast", of a file
    start: datetime | None = None  # clock of a file's first second
    raw: PcmFormat = field(default_factory=PcmFormat)
    device: str | int | None = None
    station: str | None = None
    model: str | None = None
    sounds: bool = True
    speak: bool = False
    call_due: bool = False


@contextmanager
def only_listener(hunt_dir: Path) -> Iterator[None]:
    """Hold the lock of listening on a hunt.

    Raises
    ------
    ListenerAtWorkError
        Another listener is at work on this hunt.
    """
    lock = hunt_dir / ".treeward" / LOCK_NAME
    owner = lock.with_name(f"{LOCK_NAME}.owner")

    def busy() -> ListenerAtWorkError:
        try:
            who = f" (process {int(read_plain(owner, most_bytes=20))})"
        except (OSError, ValueError):  # not told, or spoilt
            who = ""
        return ListenerAtWorkError(
            f"another treeward listen is at work on this hunt{who}",
            where=str(hunt_dir),
            mend="End it there with Ctrl-C, or use another hunt folder.",
        )

    with only_one(lock, owner, f"{os.getpid()}", busy=busy, within=hunt_dir):
        yield


def open_session(
    hunt_dir: Path,
    wanted: Wanted,
    *,
    pair: Callable[[Sequence[Event]], TripTable],
    locate: Callable[[TripTable], Fix | None],
    stdin: Pipe | None = None,
    on_heard: Callable[[HeardNotes], None],
    on_said: Callable[[str], None],
) -> Session:
    """Open the sound, the engine and the journal.

    `pair` and `locate` are how notes become trips and trips a distance. `stdin` is
    what `--input -` reads, where it has begun to.

    Raises
    ------
    TreewardError
        hunt.toml, the sound, the engine or the phrase book is at fault.
    """
    hunt_file = read_hunt_file(hunt_dir / "hunt.toml")
    station = _station(hunt_file, wanted.station)
    time = RehearsalTime() if _is_fast(wanted) else None
    watch = _watch(wanted, hunt_file.hunt.zone, time, stdin)
    source = None
    if wanted.input is not None:
        source = _source(wanted, watch, time, stdin)
    ears = open_ears(hunt_dir, model=wanted.model)
    if source is None:  # a microphone that waits for an engine tells a wrong time
        source = _source(wanted, watch, time, stdin)
    player, synthesiser = (None, None) if time is not None else _voices(wanted)
    name = _name(hunt_dir, watch.start, station)
    journal = Journal(journals_dir(hunt_dir) / f"{name}.jsonl", within=hunt_dir)
    journal.write(
        {"type": "session", "treeward": __version__, "recording": f"{name}.flac",
         "start": watch.start.isoformat(timespec="milliseconds"),
         "source": source.name, "engine": ears.recognizer.name}
    )  # fmt: skip
    session = Session(
        pieces_dir=journals_dir(hunt_dir) / name,
        journal=journal,
        source=source,
        ears=ears,
        watch=watch,
        setting=Setting(
            hunt_name=hunt_file.hunt.name,
            recording=f"{name}.flac",
            units=hunt_file.hunt.units,
            station=station,
            paced=time is None,
            call_due=wanted.call_due,
            speak=synthesiser,
            player=player,
        ),
        office=Office(pair, locate),
        sky_on=_sky(hunt_file, station),
        on_heard=on_heard,
        on_said=on_said,
        within=hunt_dir,
    )
    session.notebook.continue_from(_earlier(hunt_dir, journal.path, watch.start))
    return session


def _watch(
    wanted: Wanted, zone: tzinfo, time: RehearsalTime | None, stdin: Pipe | None
) -> WatchClock:
    """Return the clock of the session; it runs with `time` in a rehearsal."""
    if time is not None:
        start = wanted.start or WatchClock(zone).start
        return WatchClock(zone, start=start, elapsed=time, wall=time)
    early_s = PIPE_HOLDS_S if wanted.input == "-" else 0.0
    if stdin is not None:
        early_s += math.ceil(elapsed_s() - stdin.began_s)
    return WatchClock(zone, start=wanted.start, early_s=early_s)


def open_pipe(command: str = "listen") -> Pipe:
    """Begin to read sound from standard input, for the command so called.

    Raises
    ------
    SoundError
        It is closed.
    """
    refuse_closed_input(command)
    return Pipe(sys.stdin.buffer)


def refuse_closed_input(command: str) -> None:
    """Raise a SoundError where standard input is closed."""
    if sys.stdin is None:
        raise SoundError(
            "is closed",
            where="standard input",
            mend="Feed it sound: arecord -t wav -f S16_LE -r 16000 | treeward "
            f"{command} --input -",
        )


def _is_fast(wanted: Wanted) -> bool:
    return wanted.input not in (None, "-") and wanted.pace == "fast"


def _station(hunt_file: HuntFile, asked: str | None) -> str:
    ids = [station.id for station in hunt_file.station]
    if asked is not None:
        if asked not in ids:
            raise HuntError(
                f"there is no station {asked!r}",
                where="hunt.toml",
                mend=f"It has {', '.join(ids) or 'none'}; add it there.",
            )
        return asked
    return ids[0] if len(ids) == 1 else ""


def _source(
    wanted: Wanted, watch: WatchClock, time: RehearsalTime | None, stdin: Pipe | None
) -> Source:
    if wanted.input is None:
        return MicrophoneSource(wanted.device, watch.now_s)
    if wanted.input == "-":
        return StreamSource(stdin or open_pipe(), watch.now_s, raw=wanted.raw)
    path = Path(wanted.input)
    probe(path)  # what is wrong with the file is said before the screen opens
    return BlocksSource(
        read_blocks(path),
        watch.now_s,
        name=path.name,
        time=time,
        on_start=watch.restart,
    )


def _voices(wanted: Wanted) -> tuple[Player | None, Synthesiser | None]:
    if not (wanted.sounds or wanted.speak):
        return None, None
    synthesiser = None
    if wanted.speak:
        synthesiser = find_synthesiser()
        if synthesiser is None:
            raise HuntError(
                "no speech synthesiser was found on this machine",
                where="--speak",
                mend="Install espeak-ng, or leave --speak out: tones answer.",
            )
    return find_player(), synthesiser


def _name(hunt_dir: Path, start: datetime, station: str) -> str:
    """Name a session: when it began and where; trips reads the station from it."""
    stem = f"live-{start:%Y%m%d-%H%M%S}"
    if station.isalnum() and station.isascii():
        stem += f"-station-{station}"
    tried, number = stem, 1
    while (journals_dir(hunt_dir) / f"{tried}.jsonl").exists() or (
        hunt_dir / "recordings" / f"{tried}.flac"
    ).exists():
        number += 1
        tried = f"{stem}-{number}"
    return tried


def _sky(hunt_file: HuntFile, station: str) -> Callable[[date], Sky | None]:
    placed = [s for s in hunt_file.station if s.position is not None]
    mine = [s for s in placed if s.id == station] or placed
    place: Position | None = mine[0].position if mine else None
    zone = hunt_file.hunt.zone

    @cache
    def sky_on(day: date) -> Sky | None:
        return sky_of(place, day, zone) if place is not None else None

    return sky_on


def _earlier(hunt_dir: Path, mine: Path, start: datetime) -> Sequence[Event]:
    """Return the notes of earlier sessions of the same day, for the board."""
    events = [
        event
        for session in sessions_of(hunt_dir)
        if session.path != mine
        for event in session.events
        if event.clock is not None
        and event.clock.date() == start.date()
        and event.clock <= start
    ]
    return sorted(events, key=lambda e: e.clock.timestamp() if e.clock else 0.0)


SEEN_NAME = "cautions-read.txt"


def cautions_due(hunt_dir: Path) -> bool:
    """Return whether this hunt has not shown the cautions yet."""
    return not (hunt_dir / ".treeward" / SEEN_NAME).exists()


def cautions_shown(hunt_dir: Path) -> None:
    """Remember that they were shown."""
    folder = hunt_dir / ".treeward"
    text = "".join(f"{head}. {body}\n" for head, body in CAUTIONS)
    write_text(folder / SEEN_NAME, text, within=hunt_dir)


_PATIENCE_S = 10.0  # the notes are in the journal: they can wait for another command


def merge_into_review(
    hunt: Hunt, *, wait_s: float = _PATIENCE_S
) -> Callable[[Sequence[Event], frozenset[str]], list[str]]:
    """Return what merges events of named recordings into the hunt's review.csv.

    It waits `wait_s` for another command that is at work on the hunt.

    Raises
    ------
    TreewardError
        From the merge: review.csv cannot be read or written, or another command is
        at work on the hunt.
    """

    def merge(events: Sequence[Event], recordings: frozenset[str]) -> list[str]:
        from treeward.hunt.review_update import written_lines
        from treeward.notes.second_look import look_twice
        from treeward.review.merge import merge_review

        with hunt.locked("listen", wait_s=wait_s):
            seen = hunt.review.digest()
            previous, current = hunt.review.read()
            current, gone = hunt.review.with_gone(current)
            # What no recording holds (a pause of the listening) is merged once.
            there = {_moment(r.event) for r in previous if not r.event.recording}
            new = [e for e in events if e.recording or _moment(e) not in there]
            new = look_twice(new)
            done = merge_review(previous, current, new, transcribed=recordings - {""})
            loser = hunt.review.write(done.rows, done.machine, seen=seen)
        said = [f"review.csv: {line}" for line in done.report.lines()]
        return [*said, *written_lines(gone, loser)]

    return merge


def _moment(event: Event) -> tuple[str, int]:
    clock_s = event.clock.timestamp() if event.clock else 0.0
    return event.kind.value, round(clock_s)


def recover_sessions(hunt: Hunt) -> list[str]:
    """Finish what a killed listening session left, and say what was found.

    While somebody is listening nothing is touched; that is said.

    Raises
    ------
    TreewardError
        From the merge, as `merge_into_review` says.
    """
    if not left_behind(hunt.path):
        return []
    try:
        with only_listener(hunt.path):
            return recover(hunt.path, merge_into_review(hunt)).lines
    except ListenerAtWorkError:
        return ["treeward listen is at work here; its notes come when it ends"]


def is_listened_to(hunt_dir: Path) -> bool:
    """Tell whether somebody is listening on a hunt now."""
    if not (hunt_dir / ".treeward" / LOCK_NAME).exists():
        return False
    try:
        with only_listener(hunt_dir):
            return False
    except ListenerAtWorkError:
        return True
    except OSError:  # a folder that may only be read, so nobody listens there
        return False


def locate_for(hunt: Hunt, today: datetime) -> Callable[[TripTable], Fix | None]:
    """Return how the survey core is asked about a hunt's trips."""
    from treeward.hunt.locating import survey_hunt

    places = hunt.positions()

    def locate(table: TripTable) -> Fix | None:
        if not places or not any(trip.used for trip in table.trips):
            return None
        return survey_hunt(hunt.file, table, places, today=today).fix

    return locate
