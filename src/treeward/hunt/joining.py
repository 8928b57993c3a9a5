"""The pieces of a session joined into one recording, second for second.

Each piece is put at the millisecond that its name holds: silence fills what was not
heard, and where the sound card runs fast a few samples are left out between pieces.
So a second of the recording is a second of the clock, all day long.

A recording that is there is never written over. Once it is whole its pieces' folder is
given another name, and only then are they removed: a removal that is cut short leaves
nothing that would be joined again.
"""

from __future__ import annotations

import os
import re
import shutil
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio.blocks import SAMPLE_RATE_HZ
from treeward.audio.recorder import SPARE_BYTES, finish_piece

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    Piece = tuple[int, Path]  # millisecond, file

LONGEST_MS = 48 * 3600 * 1000  # of a recording; silence fills it up to there; choice
SEAM_SAMPLES = 16  # a millisecond, which a name is rounded to
_BLOCK = 10 * SAMPLE_RATE_HZ
_JOINED = ".joined"  # ends the name of a folder whose pieces are in their recording
_LEFT = ".left"  # and of one whose other pieces cannot be read
_NAME = re.compile(r"[0-9]{1,15}", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """A session's recording.

    `sound_s` counts what was heard; `length_s` the silence between pieces too.
    `fault` says why the pieces were left as they are, "" when all went well.
    """

    path: Path
    sound_s: float
    length_s: float
    fault: str = ""
    remarks: tuple[str, ...] = ()


def is_pieces(path: Path) -> bool:
    """Tell whether this is a folder of pieces that are to be joined still."""
    return (
        path.is_dir() and not path.is_symlink() and path.suffix not in {_JOINED, _LEFT}
    )


def clear_joined(folder: Path) -> None:
    """Remove what is left of folders whose pieces are in their recordings."""
    for path in folder.glob(f"live-*{_JOINED}"):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)


def join_pieces(pieces_dir: Path, recording: Path) -> Joined | None:
    """Join a session's pieces into `recording` (.flac) and remove them.

    Returns None where there are no pieces with sound, or all of it is in the recording
    already. The pieces stay until the joined file has been read back whole. A recording
    that holds other sound stays as it is, and the pieces become one beside it.

    Raises
    ------
    OSError
        A piece or the folder may not be read or written.
    """
    pieces, spoilt = _pieces(pieces_dir)
    if not pieces and not spoilt:
        _remove(pieces_dir)
        return None
    remarks: list[str] = []
    if spoilt:
        kept = _keep_left(pieces_dir, spoilt)
        remarks.append(f"{kept}: sound that cannot be read, kept there")
    if not pieces:
        _remove(pieces_dir)
        return _nothing_new(recording, remarks)
    if recording.exists() or recording.is_symlink():
        if _holds(recording, pieces):
            _remove(pieces_dir)
            return _nothing_new(recording, remarks)
        recording = _free_beside(recording)
        remarks.append(f"{recording.name}: sound that the recording lacks, kept beside")
    recording.parent.mkdir(parents=True, exist_ok=True)
    near = [one for one in pieces if one[0] <= LONGEST_MS]
    for at_ms, path in pieces[len(near) :]:
        apart = _keep_apart(path, recording, at_ms)
        remarks.append(f"{apart.name}: sound from {at_ms / 3_600_000:.0f} h on")
    if not near:
        _remove(pieces_dir)
        return _nothing_new(recording, remarks)
    joined = _join(near, recording, remarks)
    if joined.fault:
        return replace(joined, path=pieces_dir)
    _remove(pieces_dir)
    return joined


def _join(pieces: Sequence[Piece], recording: Path, remarks: Sequence[str]) -> Joined:
    import soundfile

    size = sum(path.stat().st_size for _, path in pieces)
    part = recording.with_name(f".{recording.name}.part")
    sound = length = 0
    try:
        if shutil.disk_usage(recording.parent).free < size + SPARE_BYTES:
            fault = "no room"
        else:
            sound, length = _write(part, pieces)
            whole = soundfile.info(part).frames == length
            fault = "" if whole else "disk full"
    except (OSError, soundfile.LibsndfileError) as error:
        fault = str(error)
    if fault:
        part.unlink(missing_ok=True)
    else:
        part.replace(recording)
    return Joined(
        path=recording,
        sound_s=sound / SAMPLE_RATE_HZ,
        length_s=length / SAMPLE_RATE_HZ,
        fault=fault,
        remarks=tuple(remarks),
    )


def _write(part: Path, pieces: Sequence[Piece]) -> tuple[int, int]:
    """Write the joined file; return its samples of sound, and all of them."""
    import soundfile

    sound = length = 0
    with soundfile.SoundFile(
        part, "w", SAMPLE_RATE_HZ, 1, "PCM_16", format="FLAC"
    ) as out:
        for at, skip, path in _placed(pieces):
            with soundfile.SoundFile(path) as piece:
                _write_silence(out, at + skip - length)
                piece.seek(min(skip, piece.frames))
                length = max(length, at + skip)
                for block in piece.blocks(_BLOCK, dtype="int16"):
                    out.write(block)
                    sound += len(block)
                    length += len(block)
    with part.open("rb+") as written:
        os.fsync(written.fileno())
    return sound, length


def _placed(pieces: Sequence[Piece]) -> Iterator[tuple[int, int, Path]]:
    """Yield where each piece is put, samples left out at its start, and its file."""
    import soundfile

    length = 0
    for at_ms, path in pieces:
        at = at_ms * SAMPLE_RATE_HZ // 1000
        if abs(at - length) < SEAM_SAMPLES:
            at = length  # it follows on; its name is rounded
        skip = max(0, length - at)
        yield at, skip, path
        length = max(length, at + soundfile.info(path).frames)


def _holds(recording: Path, pieces: Sequence[Piece]) -> bool:
    """Tell whether a recording has the pieces' sound at their places.

    Some pieces may be gone already, so that it is not known how much of the next was
    cut off where they overlapped: its first second is not compared.
    """
    import soundfile

    try:
        with soundfile.SoundFile(recording) as whole:
            if (whole.samplerate, whole.channels) != (SAMPLE_RATE_HZ, 1):
                return False
            return all(_is_in(whole, at_ms, path) for at_ms, path in pieces)
    except (OSError, soundfile.LibsndfileError):
        return False


def _is_in(whole: Any, at_ms: int, path: Path) -> bool:  # noqa: ANN401 (untyped)
    import soundfile

    at = at_ms * SAMPLE_RATE_HZ // 1000
    with soundfile.SoundFile(path) as piece:
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


def _free_beside(recording: Path) -> Path:
    number = 2
    while True:
        path = recording.with_stem(f"{recording.stem}-part-{number}")
        if not path.exists() and not path.is_symlink():
            return path
        number += 1


def _nothing_new(recording: Path, remarks: list[str]) -> Joined | None:
    if not remarks:
        return None
    return Joined(path=recording, sound_s=0, length_s=0, remarks=tuple(remarks))


def _keep_left(folder: Path, spoilt: Sequence[Path]) -> Path:
    """Put pieces that cannot be read where nothing is joined or removed."""
    left = folder.with_name(folder.name + _LEFT)
    left.mkdir(exist_ok=True)
    for path in spoilt:
        path.replace(left / path.name)
    return left


def _keep_apart(piece: Path, recording: Path, at_ms: int) -> Path:
    """Make a recording of its own of a piece too far from the others."""
    target = recording.with_name(f"{recording.stem}-from-{at_ms}{piece.suffix}")
    if target.exists():
        target = _free_beside(target)
    return piece.replace(target)


def _pieces(folder: Path) -> tuple[list[Piece], list[Path]]:
    """Return (millisecond, file) of each piece in order, and those that are spoilt.

    Pieces that were left as WAV are mended.
    """
    import soundfile

    if not is_pieces(folder):
        return [], []
    for left_over in folder.glob("*.part"):
        left_over.unlink(missing_ok=True)
    found: dict[int, Path] = {}
    for path in sorted(folder.glob("*.wav")):
        if _is_piece(path) and (kept := finish_piece(path)) is not None:
            found[int(path.stem)] = kept
    for path in sorted(folder.glob("*.flac")):
        if _is_piece(path):
            found[int(path.stem)] = path
    good: list[Piece] = []
    spoilt: list[Path] = []
    for at_ms, path in sorted(found.items()):
        try:
            with soundfile.SoundFile(path) as sound:
                ours = (sound.samplerate, sound.channels) == (SAMPLE_RATE_HZ, 1)
        except soundfile.LibsndfileError:
            ours = False
        if ours:
            good.append((at_ms, path))
        else:
            spoilt.append(path)
    return good, spoilt


def _is_piece(path: Path) -> bool:
    named = _NAME.fullmatch(path.stem) is not None
    return named and path.is_file() and not path.is_symlink()


def _write_silence(out: Any, samples: int) -> None:  # noqa: ANN401 (untyped)
    zeros: NDArray[np.int16] = np.zeros(_BLOCK, np.int16)
    while samples > 0:
        out.write(zeros[:samples])
        samples -= _BLOCK


def _remove(folder: Path) -> None:
    """Remove a folder of pieces that are in their recording, or without sound."""
    if not folder.is_dir() or folder.is_symlink():
        return
    gone = folder.with_name(folder.name + _JOINED)
    shutil.rmtree(gone, ignore_errors=True)
    try:
        folder.replace(gone)
    except OSError:
        return  # a piece is open elsewhere; the next start sees that it is joined
    shutil.rmtree(gone, ignore_errors=True)
