"""The pieces of a session joined into one recording, second for second.

Each piece is put at the millisecond that its name holds: silence fills what was not
heard, and where the sound card runs fast a few samples are left out between pieces.
So a second of the recording is a second of the clock, all day long.
"""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.live.sound_keeper import SPARE_BYTES, finish_piece

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

_BLOCK = 10 * SAMPLE_RATE_HZ


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


def join_pieces(pieces_dir: Path, recording: Path) -> Joined | None:
    """Join a session's pieces into `recording` (.flac) and remove them.

    Returns None where there are no pieces with sound. The pieces stay until the
    joined file has been read back whole.
    """
    import soundfile

    pieces = _pieces(pieces_dir)
    if not pieces:
        _remove(pieces_dir)
        return None
    size = sum(path.stat().st_size for _, path in pieces)
    recording.parent.mkdir(parents=True, exist_ok=True)
    part = recording.with_name(f".{recording.name}.part")
    sound = 0
    length = 0
    try:
        if shutil.disk_usage(recording.parent).free < size + SPARE_BYTES:
            return Joined(path=pieces_dir, sound_s=0, length_s=0, fault="no room")
        with soundfile.SoundFile(
            part, "w", SAMPLE_RATE_HZ, 1, "PCM_16", format="FLAC"
        ) as out:
            for at_ms, path in pieces:
                with soundfile.SoundFile(path) as piece:
                    at = at_ms * SAMPLE_RATE_HZ // 1000
                    _write_silence(out, at - length)
                    piece.seek(min(max(0, length - at), piece.frames))
                    length = max(length, at)
                    for block in piece.blocks(_BLOCK, dtype="int16"):
                        out.write(block)
                        sound += len(block)
                        length += len(block)
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        whole = soundfile.info(part).frames == length
    except (OSError, soundfile.LibsndfileError) as error:
        part.unlink(missing_ok=True)
        return Joined(path=pieces_dir, sound_s=0, length_s=0, fault=str(error))
    if not whole:
        part.unlink(missing_ok=True)
        return Joined(path=pieces_dir, sound_s=0, length_s=0, fault="disk full")
    part.replace(recording)
    _remove(pieces_dir)
    return Joined(
        path=recording,
        sound_s=sound / SAMPLE_RATE_HZ,
        length_s=length / SAMPLE_RATE_HZ,
    )


def _pieces(folder: Path) -> list[tuple[int, Path]]:
    """Return (millisecond, file) of each piece in order, those left as WAV mended."""
    if not folder.is_dir():
        return []
    for left_over in folder.glob("*.part"):
        left_over.unlink(missing_ok=True)
    found: dict[int, Path] = {}
    for path in sorted(folder.glob("*.wav")):
        if path.stem.isdigit() and (kept := finish_piece(path)) is not None:
            found[int(path.stem)] = kept
    for path in sorted(folder.glob("*.flac")):
        if path.stem.isdigit():
            found[int(path.stem)] = path
    return sorted(found.items())


def _write_silence(out: Any, samples: int) -> None:  # noqa: ANN401 (untyped)
    zeros: NDArray[np.int16] = np.zeros(_BLOCK, np.int16)
    while samples > 0:
        out.write(zeros[:samples])
        samples -= _BLOCK


def _remove(folder: Path) -> None:
    if folder.is_dir():
        shutil.rmtree(folder, ignore_errors=True)
