"""What a listening leaves: its notes, and its sound made one recording.

The journal has every note on disk before it is answered. It is a file of JSON lines
that is only ever added to: `.treeward/live/<session>.jsonl`. Each line is written in
one go and flushed to the disk. A line cut short by a crash is the last one and was
never answered; reading stops there. Some room is set aside beside it, and given back
when the disk is full, so that notes go on for hours after sound no longer fits.

The pieces of a session are joined into one recording, second for second: each is put at
the millisecond that its name holds: silence fills what was not heard, and where the
sound card runs fast a few samples are left out between pieces. So a second of the
recording is a second of the clock, all day long.

A recording that is there is never written over. Once it is whole its pieces' folder is
given another name, and only then are they removed: a removal that is cut short leaves
nothing that would be joined again.
"""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
import threading
from collections import deque
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio import LONGEST_S, SAMPLE_RATE_HZ
from treeward.audio.recorder import SPARE_BYTES, finish_piece, frames_of
from treeward.errors import TreewardError
from treeward.files import kept_number, kept_text
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import read_flags, sentences_of
from treeward.speech.utterances import Alternative
from treeward.within import held

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.within import Held

    Piece = tuple[int, str]  # millisecond, name

BALLAST_BYTES = 256 * 1024  # about 700 notes; a day holds fewer
MOST_LINE_BYTES = 1 << 20  # a record is a few hundred bytes; choice
BALLAST_NAME = "room-for-notes.bin"


class Journal:
    """Append-only record of a session; safe to call from any thread.

    `within` is the hunt that it belongs to: no link below that is followed.
    """

    def __init__(self, path: Path, *, within: Path | None = None) -> None:
        self.path = path
        self._open = ExitStack()
        self._folder = self._open.enter_context(
            held(within or path.parent, path.parent, make=True)
        )
        self._lock = threading.Lock()
        self._waiting: deque[bytes] = deque()
        self._file = self._folder.open_file(path.name, "ab", buffering=0)
        self._good = self._file.seek(0, os.SEEK_END)
        self._set_room_aside()

    def _set_room_aside(self) -> None:
        if self._folder.look(BALLAST_NAME) is not None:
            return
        try:
            with self._folder.open_file(BALLAST_NAME, "xb") as file:
                # Random bytes: a file system that compresses must not shrink it.
                file.write(os.urandom(BALLAST_BYTES))
        except OSError:
            self._folder.remove(BALLAST_NAME)

    def write(self, record: dict[str, Any]) -> bool:
        """Add one record; return whether it is on the disk now.

        What could not be written is kept in memory, in order, and tried again with
        the next record or `retry`.
        """
        line = json.dumps(record, ensure_ascii=False, separators=(",", ":"))
        with self._lock:
            # A name that is not UTF-8 comes back as it was: JSON writes it so too.
            self._waiting.append(line.encode("utf-8", "backslashreplace") + b"\n")
            return self._drain()

    def retry(self) -> bool:
        """Try again to write what is waiting; return whether all is on disk."""
        with self._lock:
            return self._drain()

    @property
    def waiting(self) -> int:
        """Records that are not on disk yet."""
        return len(self._waiting)

    def _drain(self) -> bool:
        if self._file.closed:
            return False
        while self._waiting:
            if self._append(self._waiting[0]):
                self._waiting.popleft()
            elif self._folder.is_file(BALLAST_NAME):
                self._folder.remove(BALLAST_NAME)
            else:
                return False
        return True

    def _append(self, line: bytes) -> bool:
        with suppress(OSError):
            written = self._file.write(line)
            if written == len(line):
                os.fsync(self._file.fileno())
                self._good += written
                return True
        with suppress(OSError):  # half a line goes: the next one starts on its own
            self._file.truncate(self._good)
            self._file.seek(self._good)
        return False

    def close(self) -> None:
        """Write what is waiting, as far as it goes, and close."""
        with self._lock:
            if self._file.closed:
                return
            self._drain()
            self._file.close()
            if self._folder.is_file(BALLAST_NAME):
                self._folder.remove(BALLAST_NAME)
            self._open.close()


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalText:
    """A journal as read back."""

    records: tuple[dict[str, Any], ...]
    broken_lines: int  # lines that a crash cut short


def read_journal(path: Path) -> JournalText:
    """Read a journal, leaving out lines that a crash cut short.

    Raises
    ------
    OSError
        It is no file, or may not be read.
    """
    records: list[dict[str, Any]] = []
    broken = 0
    if not path.is_file():  # a pipe would never end
        raise OSError(errno.EINVAL, "is not a file", str(path))
    with path.open("rb") as file:
        while line := file.readline(MOST_LINE_BYTES):
            if not line.strip():
                continue
            try:
                record = json.loads(line)
            except (ValueError, RecursionError):
                broken += 1
                continue
            if isinstance(record, dict):
                records.append(record)
            else:
                broken += 1
    return JournalText(records=tuple(records), broken_lines=broken)


def event_record(event: Event, number: int) -> dict[str, Any]:
    """Return an event as a journal record; blank fields are left out."""
    record: dict[str, Any] = {"type": "event", "n": number, "kind": event.kind.value}
    record |= {
        name: value
        for name in ("mark", "value", "recording", "heard", "row")
        if (value := getattr(event, name))
    }
    if event.start_s is not None and event.end_s is not None:
        record |= {"start_s": round(event.start_s, 3), "end_s": round(event.end_s, 3)}
    if event.clock is not None:
        record["clock"] = event.clock.isoformat(timespec="milliseconds")
    record["confidence"] = round(event.confidence, 4)
    if event.alternatives:
        record["alternatives"] = [[a.text, a.confidence] for a in event.alternatives]
    if event.flags:
        record["flags"] = list(sentences_of(event.flags))
    return record


def event_of(record: dict[str, Any]) -> Event:
    """Return the event of a journal record.

    Raises
    ------
    ValueError, KeyError, TypeError, OverflowError
        The record is no event that this version wrote.
    """
    start_s, end_s = record.get("start_s"), record.get("end_s")
    return Event(
        kind=EventKind(record["kind"]),
        mark=kept_text(record.get("mark", "")),
        value=kept_text(record.get("value", "")),
        recording=kept_text(record.get("recording", "")),
        start_s=None if start_s is None else kept_number(start_s, most=LONGEST_S),
        end_s=None if end_s is None else kept_number(end_s, most=LONGEST_S),
        clock=_clock(record.get("clock")),
        confidence=kept_number(record.get("confidence", 1.0), most=1.0),
        heard=kept_text(record.get("heard", "")),
        alternatives=tuple(
            Alternative(
                text=kept_text(text), confidence=kept_number(confidence, most=1.0)
            )
            for text, confidence in record.get("alternatives", ())
        ),
        flags=read_flags(kept_text(flag) for flag in record.get("flags", ())),
        row=kept_text(record.get("row", "")),
    )


def _clock(value: Any) -> datetime | None:  # noqa: ANN401 (from JSON)
    if not value:
        return None
    clock = datetime.fromisoformat(kept_text(value))
    if clock.tzinfo is None or not 1900 <= clock.year <= 2200:
        raise ValueError(value)
    return clock


LONGEST_MS = 48 * 3600 * 1000  # of a recording; silence fills it up to there; choice
SEAM_SAMPLES = 16  # a millisecond, which a name is rounded to
_BLOCK = 10 * SAMPLE_RATE_HZ
_JOINED = ".joined"  # ends the name of a folder whose pieces are in their recording
_LEFT = ".left"  # and of one whose other pieces cannot be read
_NAME = re.compile(r"[0-9]{1,15}", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """A session's recording.

    `sound_s` counts what was heard, without the silence between pieces. `fault` says
    why the pieces were left as they are, "" when all went well.
    """

    path: Path
    sound_s: float
    fault: str = ""
    remarks: tuple[str, ...] = ()


def is_pieces(path: Path) -> bool:
    """Tell whether this is a folder of pieces that are to be joined still."""
    return (
        path.is_dir() and not path.is_symlink() and path.suffix not in {_JOINED, _LEFT}
    )


def clear_joined(folder: Path, *, within: Path | None = None) -> None:
    """Remove what is left of folders whose pieces are in their recordings."""
    if not folder.is_dir():
        return
    with held(within or folder, folder) as live:
        for name in live.names():
            if name.startswith("live-") and name.endswith(_JOINED):
                live.remove_folder(name)


def join_pieces(
    pieces_dir: Path, recording: Path, *, within: Path | None = None
) -> Joined | None:
    """Join a session's pieces into `recording` (.flac) and remove them.

    Returns None where there are no pieces with sound, or all of it is in the recording
    already. The pieces stay until the joined file has been read back whole. A recording
    that holds other sound stays as it is, and the pieces become one beside it. Below
    the hunt, `within`, no link is followed.

    Raises
    ------
    OSError
        A piece or the folder may not be read or written.
    HuntError
        There is a link in the way.
    """
    if not is_pieces(pieces_dir):
        return None
    live_dir, home_dir = pieces_dir.parent, recording.parent
    with (
        held(within or live_dir, live_dir) as live,
        live.below(pieces_dir.name) as folder,
        held(within or home_dir, home_dir, make=True) as home,
    ):
        joining = _Joining(live, folder, home)
        joined = joining.join(recording.name)
        if joining.done:
            _remove(live, pieces_dir.name)
    return joined


@dataclass(slots=True)
class _Joining:
    """Joins the pieces of one folder into a recording in another."""

    live: Held  # that the folder is in
    folder: Held
    home: Held
    done: bool = False  # all that was in the folder is elsewhere

    def join(self, name: str) -> Joined | None:
        """Join into a recording of that name, or one beside it."""
        remarks: list[str] = []
        pieces, spoilt = _pieces(self.folder)
        if spoilt:
            kept = self._keep_left(spoilt)
            remarks.append(f"{kept}: sound that cannot be read, kept there")
        if pieces and self.home.look(name) is not None:
            if _holds(self.home, name, self.folder, pieces):
                pieces = []
            else:
                name = self._free_beside(name)
                remarks.append(f"{name}: sound that the recording lacks, kept beside")
        near = [one for one in pieces if one[0] <= LONGEST_MS]
        for at_ms, piece in pieces[len(near) :]:
            apart = self._keep_apart(piece, name, at_ms)
            remarks.append(f"{apart}: sound from {at_ms / 3_600_000:.0f} h on")
        self.done = True
        if near:
            joined = self._write(near, name, remarks)
            self.done = not joined.fault
            return joined
        if not remarks:
            return None
        return Joined(path=self.home.path / name, sound_s=0, remarks=tuple(remarks))

    def _write(
        self, pieces: Sequence[Piece], name: str, remarks: Sequence[str]
    ) -> Joined:
        import soundfile

        part = f".{name}.part"
        sound = size = 0
        for _, piece in pieces:
            found = self.folder.look(piece)
            size += found.st_size if found else 0
        try:
            self.home.remove(part)
            if shutil.disk_usage(self.home.path).free < size + SPARE_BYTES:
                fault = "no room"
            else:
                sound, length = _write(self.home, part, self.folder, pieces)
                whole = frames_of(self.home, part) == length
                fault = "" if whole else "disk full"
        except (OSError, soundfile.LibsndfileError) as error:
            fault = str(error)
        if fault:
            self.home.remove(part)
        else:
            self.home.replace(part, name)
        return Joined(
            path=self.folder.path if fault else self.home.path / name,
            sound_s=sound / SAMPLE_RATE_HZ,
            fault=fault,
            remarks=tuple(remarks),
        )

    def _keep_left(self, spoilt: Sequence[str]) -> Path:
        """Put pieces that cannot be read where nothing is joined or removed."""
        name = self.folder.path.name + _LEFT
        with self.live.below(name, make=True) as left:
            for piece in spoilt:
                self.folder.replace(piece, piece, left)
            return left.path

    def _keep_apart(self, piece: str, name: str, at_ms: int) -> str:
        """Make a recording of its own of a piece too far from the others."""
        stem, ending = PurePath(name).stem, PurePath(piece).suffix
        target = f"{stem}-from-{at_ms}{ending}"
        if self.home.look(target) is not None:
            target = self._free_beside(target)
        self.folder.replace(piece, target, self.home)
        return target

    def _free_beside(self, name: str) -> str:
        path, number = PurePath(name), 2
        while self.home.look(f"{path.stem}-part-{number}{path.suffix}") is not None:
            number += 1
        return f"{path.stem}-part-{number}{path.suffix}"


@contextmanager
def _opened(folder: Held, name: str) -> Iterator[Any]:
    """Open a sound file of a folder to read."""
    import soundfile

    with (
        folder.lent(name) as given,
        soundfile.SoundFile(given, closefd=False) as sound,
    ):
        yield sound


def _write(
    home: Held, part: str, folder: Held, pieces: Sequence[Piece]
) -> tuple[int, int]:
    """Write the joined file; return its samples of sound, and all of them."""
    import soundfile

    sound = length = 0
    with (
        home.lent(part, new=True) as made,
        soundfile.SoundFile(
            made, "w", SAMPLE_RATE_HZ, 1, "PCM_16", format="FLAC", closefd=False
        ) as out,
    ):
        for at, skip, name in _placed(folder, pieces):
            with _opened(folder, name) as piece:
                _write_silence(out, at + skip - length)
                piece.seek(min(skip, piece.frames))
                length = max(length, at + skip)
                for block in piece.blocks(_BLOCK, dtype="int16"):
                    out.write(block)
                    sound += len(block)
                    length += len(block)
    home.flush(part)
    return sound, length


def _placed(folder: Held, pieces: Sequence[Piece]) -> Iterator[tuple[int, int, str]]:
    """Yield where each piece is put, samples left out at its start, and its name."""
    length = 0
    for at_ms, name in pieces:
        at = at_ms * SAMPLE_RATE_HZ // 1000
        if abs(at - length) < SEAM_SAMPLES:
            at = length  # it follows on; its name is rounded
        skip = max(0, length - at)
        yield at, skip, name
        length = max(length, at + frames_of(folder, name))


def _holds(home: Held, name: str, folder: Held, pieces: Sequence[Piece]) -> bool:
    """Tell whether a recording has the pieces' sound at their places.

    Some pieces may be gone already, so that it is not known how much of the next was
    cut off where they overlapped: its first second is not compared.
    """
    import soundfile

    try:
        with _opened(home, name) as whole:
            if (whole.samplerate, whole.channels) != (SAMPLE_RATE_HZ, 1):
                return False
            return all(_is_in(whole, folder, *piece) for piece in pieces)
    except (OSError, soundfile.LibsndfileError, TreewardError):
        return False


def _is_in(whole: Any, folder: Held, at_ms: int, name: str) -> bool:  # noqa: ANN401 (untyped)
    at = at_ms * SAMPLE_RATE_HZ // 1000
    with _opened(folder, name) as piece:
        skip = min(SAMPLE_RATE_HZ, piece.frames // 2)
        places = range(max(0, at - SEAM_SAMPLES), at + SEAM_SAMPLES)
        return any(
            place + piece.frames <= whole.frames and _same(whole, piece, place, skip)
            for place in places
        )


def _same(whole: Any, piece: Any, place: int, skip: int) -> bool:  # noqa: ANN401
    whole.seek(place + skip)
    piece.seek(skip)
    return all(
        np.array_equal(block, whole.read(len(block), dtype="int16"))
        for block in piece.blocks(_BLOCK, dtype="int16")
    )


def _pieces(folder: Held) -> tuple[list[Piece], list[str]]:
    """Return (millisecond, name) of each piece in order, and those that are spoilt.

    Pieces that were left as WAV are mended.
    """
    for name in folder.names():
        if name.endswith(".part") and folder.is_file(name):
            folder.remove(name)
    found: dict[int, str] = {}
    for ending in (".wav", ".flac"):
        for name in folder.names():
            path = PurePath(name)
            if path.suffix != ending or not _NAME.fullmatch(path.stem):
                continue
            if not folder.is_file(name):
                continue
            kept = finish_piece(folder, name) if ending == ".wav" else name
            if kept is not None:
                found[int(path.stem)] = kept
    good: list[Piece] = []
    spoilt: list[str] = []
    for at_ms, name in sorted(found.items()):
        if _is_ours(folder, name):
            good.append((at_ms, name))
        else:
            spoilt.append(name)
    return good, spoilt


def _is_ours(folder: Held, name: str) -> bool:
    import soundfile

    try:
        with _opened(folder, name) as sound:
            return (sound.samplerate, sound.channels) == (SAMPLE_RATE_HZ, 1)
    except soundfile.LibsndfileError:
        return False


def _write_silence(out: Any, samples: int) -> None:  # noqa: ANN401 (untyped)
    zeros: NDArray[np.int16] = np.zeros(_BLOCK, np.int16)
    while samples > 0:
        out.write(zeros[:samples])
        samples -= _BLOCK


def _remove(live: Held, name: str) -> None:
    """Remove a folder of pieces that are in their recording, or without sound."""
    gone = name + _JOINED
    live.remove_folder(gone)
    # A piece may be open elsewhere: the next start sees that it is joined.
    with suppress(OSError, TreewardError):
        live.replace(name, gone)
        live.remove_folder(gone)
