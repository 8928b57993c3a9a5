"""What must hold of every file, however faulty: a result, or one line that mends.

`walk` takes a file the whole way from the door at which it comes in to where it ends:
review.csv to trips and through a merge, a transcript to the rows it fills, a recording
to the samples. Nothing but a TreewardError may come out of it, nothing outside the hunt
may change, and nothing that the person wrote may be gone.
"""

from __future__ import annotations

import csv
import io
import json
import logging
import math
import shutil
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from unittest import mock
from zoneinfo import ZoneInfo

from treeward.errors import TreewardError
from treeward.hunt.hunt import Hunt

from . import beside, kept
from .sounds import wav

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from treeward.audio import Block
    from treeward.review.file import ReviewRow
    from treeward.speech.utterances import Utterance

LONGEST_LINE = 700  # letters; a message that fills more than a few lines helps nobody
MOST_SAMPLES = 16_000 * 600  # ten minutes; no input here is that long
HUNT_TOML = """\
[hunt]
name = "Marl Hollow"
timezone = "Europe/London"
[[station]]
id = "1"
position = "52.301200, -3.610400"
[[station]]
id = "2"
"""
REVIEW = (
    "clock,event,mark,value\n2026-07-14 10:00:00,station,,1\n"
    "2026-07-14 10:01:00,away,yellow,\n2026-07-14 10:06:10,back,yellow,\n"
    "2026-07-14 10:07:00,station,,2\n2026-07-14 10:09:00,back,yellow,\n"
)
MEMO = "WEBVTT\n\n00:01.000 --> 00:03.000\nIt is ten fifteen. Yellow away.\n"
ZONE = ZoneInfo("Europe/London")
_TONE = bytes(range(200)) * 8  # 0.1 s


class Breach(AssertionError):  # noqa: N818  (it is what a test asserts)
    """The contract is broken."""


class DeafEngine:
    """Stands in for a speech engine: the reading of sound is what is tried here."""

    name = "deaf"
    model = "1"

    def decode(self, stretch: Block) -> Utterance | None:
        """Hear nothing."""
        del stretch
        return None


def check_line(line: str, *names: str) -> None:
    """Check that a fault is one readable line that names the file."""
    if not line or not line.isprintable():
        raise Breach(f"not one printable line: {line!r}")
    if len(line) > LONGEST_LINE:
        raise Breach(f"{len(line)} letters: {line[:200]!r}")
    if not any(name in line for name in names):
        raise Breach(f"names none of {names}: {line!r}")


def check_fault(error: TreewardError, *names: str) -> None:
    """Check a fault, and each line of one that has several."""
    lines: tuple[str, ...] = getattr(error, "lines", ()) or (error.line(),)
    for line in (error.line(), *lines):
        check_line(line, *names)
    if not error.mend:
        raise Breach(f"does not say how to mend it: {error.line()!r}")


class Ground:
    """A folder with a hunt in it, and beside the hunt what nobody may touch."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.hunt_dir = root / "hunt"
        self._outside = root / "outside"

    def lay_out(self) -> Path:
        """Make everything anew; return the hunt's folder."""
        shutil.rmtree(self.hunt_dir, ignore_errors=True)
        (self.hunt_dir / "recordings").mkdir(parents=True)
        (self.hunt_dir / "hunt.toml").write_text(HUNT_TOML, "utf-8")
        if not self._outside.exists():
            self._outside.mkdir()
            (self._outside / "kept.wav").write_bytes(b"RIFF")
            (self._outside / "kept.gpx").write_bytes(b"<gpx/>")
        self._before = self._seen_outside()
        return self.hunt_dir

    def check(self) -> None:
        """Check that nothing outside the hunt was written."""
        if (now := self._seen_outside()) != self._before:
            raise Breach(f"outside the hunt: {now} instead of {self._before}")

    def _seen_outside(self) -> list[tuple[str, int, int]]:
        return sorted(
            (str(path), stat.st_size, stat.st_mtime_ns)
            for folder in (self.root, self._outside)
            for path in folder.iterdir()
            if path.is_file()
            for stat in [path.stat()]
        )


def walk(kind: str, ending: str, data: bytes, ground: Ground) -> bool:
    """Take one file the whole way; return whether it was read.

    Raises
    ------
    Breach
        If the contract does not hold. Whatever else comes out breaks it as well.
    """
    hunt_dir = ground.lay_out()
    try:
        read = _WALKS[kind](hunt_dir, ending, data)
    finally:
        ground.check()
    return read


def _review(hunt_dir: Path, _ending: str, data: bytes) -> bool:
    hunt = Hunt(hunt_dir)
    hunt.review_path.write_bytes(data)
    try:
        hunt.trips()
        rows = hunt.rows()
    except TreewardError as error:
        check_fault(error, "review.csv")
        if hunt.review_path.read_bytes() != data:
            raise Breach("review.csv was changed though it was refused") from error
        return False
    if hunt.review_path.read_bytes() != data:
        raise Breach("reading changed review.csv")
    _check_written(hunt_dir / "copy.csv", rows)
    (hunt_dir / "recordings" / "other.vtt").write_text(MEMO, "utf-8")
    if hunt.transcribe().faults:
        raise Breach("the transcript beside it was not read any more")
    after = {row.name: row for row in Hunt(hunt_dir).rows()}
    for row in rows:
        _check_kept(row, after)
    return True


def _check_written(path: Path, rows: Sequence[ReviewRow]) -> None:
    from treeward.review.file import cells_of, read_review, write_review

    write_review(path, rows)
    again = read_review(path, ZONE)
    for row, back in zip(rows, again, strict=True):
        if cells_of(row) != cells_of(back):
            raise Breach(f"comes back changed: {cells_of(row)} as {cells_of(back)}")
    text = path.read_text("utf-8-sig")
    for line in csv.reader(io.StringIO(text, newline="")):
        for cell in line:
            if cell[:1] in tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"):
                raise Breach(f"a spreadsheet would run the cell {cell!r}")


def _check_kept(row: ReviewRow, after: dict[str, ReviewRow]) -> None:
    kept = after.get(row.name)
    if kept is None:
        raise Breach(f"row {row.name} is gone")
    mine, now = row.event, kept.event
    before = (mine.kind, mine.mark, mine.value, mine.clock, row.decision, row.remark)
    if before != (now.kind, now.mark, now.value, now.clock, kept.decision, kept.remark):
        raise Breach(f"row {row.name} was {row}, is {kept}")
    if dict(row.extra) != dict(kept.extra):
        raise Breach(f"row {row.name} lost a column: {row.extra}, {kept.extra}")


def _hunt(hunt_dir: Path, _ending: str, data: bytes) -> bool:
    hunt = Hunt(hunt_dir)
    (hunt_dir / "hunt.toml").write_bytes(data)
    hunt.review_path.write_text(REVIEW, "utf-8")
    (hunt_dir / "recordings" / "memo-3.vtt").write_text(MEMO, "utf-8")
    try:
        hunt.trips()
        done = hunt.transcribe()
    except TreewardError as error:
        check_fault(error, "hunt.toml", "memo-3.")
        return False
    for fault in done.faults:
        check_line(fault, "hunt.toml", "memo-3.")
    return not done.faults


def _transcript(hunt_dir: Path, ending: str, data: bytes) -> bool:
    hunt = Hunt(hunt_dir)
    name = f"2026-07-14_1000{ending}"
    (hunt_dir / "recordings" / name).write_bytes(data)
    hunt.review_path.write_text(REVIEW, "utf-8")
    before = hunt.rows()
    try:
        done = hunt.transcribe()
    except TreewardError as error:
        check_fault(error, name)
        return False
    for fault in done.faults:
        check_line(fault, name)
    rows = Hunt(hunt_dir).rows()
    after = {row.name: row for row in rows}
    for row in before:
        _check_kept(row, after)
    _check_written(hunt_dir / "copy.csv", rows)
    try:
        hunt.trips()
    except TreewardError as error:
        check_fault(error, "review.csv")
    return not done.faults


def _typed(hunt_dir: Path, ending: str, data: bytes) -> bool:
    """Read a page of notes with clock times; as a transcript where it holds none."""
    from treeward.hunt.transcription import recorded_of

    read = _transcript(hunt_dir, ending, data)
    hunt = Hunt(hunt_dir)
    (path,) = (hunt_dir / "recordings").iterdir()
    if read:  # and each of its notes is a row
        page = recorded_of(hunt, path, hunt.heard_file(path.name), name=path.name)
        rows = [row for row in hunt.rows() if row.event.recording == path.name]
        if len(rows) < len(page.events):
            raise Breach(f"{len(page.events)} notes, {len(rows)} rows")
    return read


def _gpx(hunt_dir: Path, ending: str, data: bytes) -> bool:
    from treeward.hunt.places import place_stations

    hunt = Hunt(hunt_dir)
    hunt.review_path.write_text(REVIEW, "utf-8")
    (hunt_dir / "tracks").mkdir()
    (hunt_dir / "tracks" / f"walk{ending}").write_bytes(data)
    table = hunt.trips()
    try:
        places = place_stations(hunt.file, hunt_dir, table)
    except TreewardError as error:
        check_fault(error, f"walk{ending}")
        return False
    if "1" not in places.positions:
        raise Breach("the position in hunt.toml is lost")
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise Breach("a document type was let in")
    return True


def _sound(hunt_dir: Path, ending: str, data: bytes) -> bool:
    from treeward.speech import recognizer

    hunt = Hunt(hunt_dir)
    name = f"2026-07-14_1000{ending}"
    path = hunt_dir / "recordings" / name
    path.write_bytes(data)
    hunt.review_path.write_text(REVIEW, "utf-8")
    before = hunt.rows()
    check_samples(path)
    opened = recognizer.open_recognizer
    recognizer.open_recognizer = lambda *_a, **_k: DeafEngine()
    try:
        done = hunt.transcribe()
    except TreewardError as error:
        check_fault(error, name)
        return False
    finally:
        recognizer.open_recognizer = opened
    for fault in done.faults:
        check_line(fault, name)
    after = {row.name: row for row in Hunt(hunt_dir).rows()}
    for row in before:
        _check_kept(row, after)
    return not done.faults


def _kept(hunt_dir: Path, place: str, data: bytes) -> bool:
    """Put a file where Treeward keeps its own, and work on: nothing may be lost."""
    from treeward.desk.desk import Desk
    from treeward.live.opening import recover_sessions

    if not _WORKED_ON:
        _work_on(hunt_dir)
    for name, content in _WORKED_ON[0].items():
        (hunt_dir / name).parent.mkdir(parents=True, exist_ok=True)
        (hunt_dir / name).write_bytes(content)
    path = hunt_dir / place
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    hunt = Hunt(hunt_dir)
    try:
        with _deaf():
            if place in kept.OWNERS:
                _held_by_another(hunt, data, path)
            for line in recover_sessions(hunt):
                check_line(line, "review.csv", path.stem, "treeward", "sound")
            done = hunt.transcribe()
            hunt.paired()
            Desk(hunt).state()
    except TreewardError as error:
        check_fault(error, "review.csv", path.name)
        return False
    finally:
        if (hunt_dir / "hunt.toml").read_text("utf-8") != HUNT_TOML:
            raise Breach("hunt.toml was changed")
    for fault in done.faults:  # a spoilt piece may make a silent recording
        check_line(fault, path.parent.name)
        if kept.SESSION not in fault:
            raise Breach(f"the recordings were not read any more: {fault}")
    after = {row.name: row for row in Hunt(hunt_dir).rows()}
    for row in _MINE:
        _check_kept(row, after)
    return True


_WORKED_ON: list[dict[str, bytes]] = []  # the files of a hunt that was transcribed
_MINE: list[ReviewRow] = []  # the person's rows in it


def _work_on(hunt_dir: Path) -> None:
    """Fill the two: a hunt with a transcript, a recording and a correction."""
    hunt = Hunt(hunt_dir)
    (hunt_dir / "recordings" / "2026-07-14_1000.vtt").write_text(MEMO, "utf-8")
    (hunt_dir / "recordings" / kept.SOUND).write_bytes(wav(samples=_TONE))
    hunt.review_path.write_text(REVIEW, "utf-8")
    with _deaf():
        hunt.transcribe()
    text = hunt.review_path.read_text("utf-8")
    hunt.review_path.write_text(text.replace("away,yellow", "away,white", 1), "utf-8")
    rows = hunt.rows()
    _MINE.extend(r for r in rows if r.name[0] == "h" or r.event.mark == "white")
    files = [path for path in hunt_dir.rglob("*") if path.is_file()]
    _WORKED_ON.append({str(p.relative_to(hunt_dir)): p.read_bytes() for p in files})


@contextmanager
def _deaf() -> Iterator[None]:
    """Have sound heard by an engine that hears nothing, and a kept hearing count."""
    from treeward.hunt.heard import HeardBy

    by = HeardBy(**kept.BY)
    with (
        mock.patch(
            "treeward.speech.recognizer.open_recognizer", return_value=DeafEngine()
        ),
        mock.patch("treeward.hunt.hearing.heard_by", return_value=by),
    ):
        yield


def _held_by_another(hunt: Hunt, data: bytes, path: Path) -> None:
    """Have both locks held, so that who holds them is read; and put it back."""
    from filelock import FileLock

    from treeward.live.opening import LOCK_NAME, only_listener

    with FileLock(hunt.machine_dir / "lock"), FileLock(hunt.machine_dir / LOCK_NAME):
        for work in (hunt.transcribe, lambda: only_listener(hunt.path).__enter__()):
            try:
                work()
            except TreewardError as error:
                check_fault(error, "hunt")
            else:
                raise Breach("two at work on one hunt")
    path.write_bytes(data)


def check_samples(path: Path) -> None:
    """Read all the samples, and some from the middle."""
    import numpy as np

    from treeward.audio.reader import cut_clip, probe, read_blocks

    warned: list[TreewardError] = []
    for work in (
        lambda: probe(path),
        lambda: cut_clip(path, 0.1, 0.2),
        lambda: sum(1 for _ in read_blocks(path, start_s=0.11, warn=warned.append)),
    ):
        try:
            work()
        except TreewardError as error:
            check_fault(error, path.name)
    seen, reached_s = 0, 0.0
    try:
        for block in read_blocks(path, warn=warned.append):
            seen += len(block.samples)
            if abs(block.start_s - reached_s) > 1e-6:
                raise Breach(f"a block starts at {block.start_s}, not {reached_s}")
            reached_s = block.end_s
            if not np.isfinite(block.samples).all() or np.abs(block.samples).max() > 1:
                raise Breach("samples beyond full scale, or none at all")
            if seen > MOST_SAMPLES:
                raise Breach(f"{path.stat().st_size} bytes are read as endless sound")
    except TreewardError as error:
        check_fault(error, path.name)
    for fault in warned:
        check_fault(fault, path.name)


def _found(hunt_dir: Path, _name: str, data: bytes) -> bool:
    """Add a find and a look, list and share them: what stood there stands there."""
    from treeward.hunt.finds import (
        FindTable,
        LookTable,
        add_find,
        add_look,
        read_finds,
        shared_geojson,
    )
    from treeward.hunt.season import found_colonies, occupancy
    from treeward.measures import parse_position

    hunt = Hunt(hunt_dir)
    path = hunt_dir / "found.toml"
    path.write_bytes(data)
    day = datetime(2026, 7, 14, tzinfo=UTC).date()
    place = parse_position("52.304500, -3.613300")
    try:
        before = read_finds(hunt_dir)
        for square_m in (1000.0, None):
            json.loads(shared_geojson(before, square_m))
        colonies, _, faults = found_colonies(hunt_dir.parent)
        occupancy(colonies, 2026, square_m=1000.0)
        new = FindTable(id=before.free_id(), position=place, found=day)
        after = add_find(hunt, new, another=True)
        add_look(hunt, LookTable(find=new.id, seen=day, state="alive"))
    except TreewardError as error:
        check_fault(error, "found.toml")
        if path.read_bytes() != data:
            raise Breach("found.toml was changed though it was refused") from error
        return False
    if faults or len(colonies) != len(before.find):
        raise Breach(f"not listed as they are: {faults}")
    if after.find[: len(before.find)] != before.find or after.look != before.look:
        raise Breach("a find or a look is gone or changed")
    lines = set(path.read_text("utf-8").splitlines())
    if gone := [line for line in data.decode("utf-8-sig").split("\n")
                if line.rstrip("\r") not in lines and line.isprintable()]:  # fmt: skip
        raise Breach(f"what a person wrote is gone: {gone}")
    return True


def _season(hunt_dir: Path, name: str, data: bytes) -> bool:
    from treeward.hunt.locating import prepare_hunt
    from treeward.hunt.places import place_stations

    (hunt_dir / name).write_bytes(data)
    whole = f'learned_from = "{name}"\n{HUNT_TOML}'
    (hunt_dir / "hunt.toml").write_text(whole, "utf-8")
    hunt = Hunt(hunt_dir)
    hunt.review_path.write_text(REVIEW, "utf-8")
    try:
        table = hunt.trips()
        places = place_stations(hunt.file, hunt_dir, table)
        moment = datetime(2026, 7, 14, tzinfo=UTC)
        ready = prepare_hunt(hunt.file, table, places.positions, today=moment)
    except TreewardError as error:
        check_fault(error, name)
        return False
    learned = ready.settings.learned
    if learned is not None:
        numbers = (learned.ln_f, learned.ln_f_sd, learned.ln_g, learned.ln_g_sd)
        if not all(map(math.isfinite, numbers)) or min(numbers[1::2]) <= 0:
            raise Breach(f"no numbers to go by: {learned}")
    return True


def _ground(hunt_dir: Path, ending: str, data: bytes) -> bool:
    """Draw a map under the answer, and where it can say so weigh ground and paths."""
    from treeward.hunt.ground import read_ground
    from treeward.hunt.searching import read_searching
    from treeward.report.model import StationPlace

    name = f"ground{ending}"
    (hunt_dir / name).write_bytes(data)
    more = f'[map]\nground = ["{name}"]\n'
    if ending != ".mbtiles":
        more += f'[search]\nground = ["{name}"]\n'
    (hunt_dir / "hunt.toml").write_text(HUNT_TOML + more, "utf-8")
    hunt = Hunt(hunt_dir)
    hunt.review_path.write_text(REVIEW, "utf-8")
    here = StationPlace(
        id="1", latitude_deg=52.3012, longitude_deg=-3.6104, declination_deg=0.0
    )
    read = True
    for work in (
        lambda: read_ground(replace(hunt.paired(), stations=(here,)), hunt_dir),
        lambda: read_searching(hunt.file, hunt_dir, hunt.events()),
    ):
        try:
            work()
        except TreewardError as error:
            check_fault(error, name)
            read = False
    return read


def _merged(hunt_dir: Path, which: str, data: bytes) -> bool:
    """Merge with a good hunt, as the one or as the other."""
    from treeward.hunt.merging import merge_hunts

    good, both = hunt_dir.parent / "good", hunt_dir.parent / "both"
    for folder in (good, both):
        shutil.rmtree(folder, ignore_errors=True)
    (good / "recordings").mkdir(parents=True)
    (good / "hunt.toml").write_text(HUNT_TOML, "utf-8")
    (hunt_dir / "hunt.toml").write_bytes(data)
    for folder, mark in ((good, "white"), (hunt_dir, "yellow")):
        text = REVIEW.replace("yellow", mark)
        (folder / "review.csv").write_text(text, "utf-8")
    (hunt_dir / "recordings" / "memo-3.vtt").write_text(MEMO, "utf-8")
    before = [_all_of(folder) for folder in (good, hunt_dir)]
    pair = (hunt_dir, good) if which == "one" else (good, hunt_dir)
    try:
        merged = merge_hunts(*pair, both, names=("Ann", "Ben"))
    except TreewardError as error:
        check_fault(error, "hunt.toml", "review.csv")
        if both.exists():
            raise Breach("a merged hunt is there though it was refused") from error
        return False
    finally:
        if [_all_of(folder) for folder in (good, hunt_dir)] != before:
            raise Breach("one of the two was changed")
    rows = Hunt(both).rows()
    Hunt(both).trips()
    if len(rows) != 10 or merged.rows != 10:
        raise Breach(f"{len(rows)} rows of ten")
    return True


def _all_of(folder: Path) -> dict[str, bytes]:
    return {
        str(path): path.read_bytes() for path in folder.rglob("*.*") if path.is_file()
    }


_WALKS: dict[str, Callable[[Path, str, bytes], bool]] = {
    "review": _review,
    "hunt": _hunt,
    "webvtt": _transcript,
    "subrip": _transcript,
    "text": _transcript,
    "json": _transcript,
    "gpx": _gpx,
    "sound": _sound,
    **dict.fromkeys(kept.PLACES, _kept),
    "found": _found,
    "season": _season,
    **dict.fromkeys(beside.GROUND, _ground),
    "typed": _typed,
    "merged": _merged,
}


def quiet() -> None:
    """Keep the log of a reader's warnings out of the way."""
    logging.getLogger("treeward").setLevel(logging.CRITICAL)
