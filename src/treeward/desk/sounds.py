"""The hunt's recordings: which there are, short pieces of them, and their outline.

A recording is asked for by a key made from its name, looked up among the files that
lie in the hunt's recordings folder; no path that comes from outside is ever opened, and
no link that leads out of that folder is followed.
"""

from __future__ import annotations

import hashlib
import io
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio import LONGEST_S, SAMPLE_RATE_HZ
from treeward.audio.reader import probe, read_blocks
from treeward.errors import SoundError
from treeward.hunt.recordings import is_transcript
from treeward.within import file_within

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.audio import Block

BIN_S = 0.02  # s of sound that one bar of the outline stands for
LONGEST_CLIP_S = 60.0  # more is for a player, not for a row


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundStretch:
    """A recording on the shelf."""

    key: str
    name: str  # as rows of review.csv name it
    path: Path
    duration_s: float | None


class Shelf:
    """The recordings of a hunt.

    Parameters
    ----------
    recordings_dir
        The hunt's recordings folder.
    """

    def __init__(self, recordings_dir: Path) -> None:
        self._dir = recordings_dir
        self._lock = threading.Lock()
        self._known: dict[str, SoundStretch] = {}  # by name
        self._outlines: dict[str, Outline] = {}  # by key

    def sound_for(self, recording: str) -> SoundStretch | None:
        """Return the sound of a row's recording; None where there is none to play.

        A row from a transcript ("memo.vtt") is heard in the recording of the same
        name beside it.
        """
        with self._lock:
            if recording in self._known:
                return self._known[recording]
            sound = self._find(recording)
            if sound is not None:
                self._known[recording] = sound
            return sound

    def by_key(self, key: str) -> SoundStretch | None:
        """Return a sound that `sound_for` gave before."""
        with self._lock:
            return next((s for s in self._known.values() if s.key == key), None)

    def outline(self, key: str) -> Outline | None:
        """Return the outline of a sound, which begins to be drawn at the first call."""
        sound = self.by_key(key)
        if sound is None:
            return None
        with self._lock:
            if key not in self._outlines:
                self._outlines[key] = Outline(sound)
                self._outlines[key].begin()
            return self._outlines[key]

    def _find(self, recording: str) -> SoundStretch | None:
        if not recording or not self._dir.is_dir():
            return None
        files = {
            path.relative_to(self._dir).as_posix(): path
            for path in self._dir.rglob("*")
            if path.is_file()
            and file_within(self._dir, str(path.relative_to(self._dir)))
        }
        path = files.get(recording)
        if path is not None and is_transcript(path):
            stem = path.with_suffix("")
            path = next(
                (
                    other
                    for other in sorted(files.values())
                    if other.with_suffix("") == stem and not is_transcript(other)
                ),
                None,
            )
        if path is None:
            return None
        try:
            duration_s = probe(path).duration_s
        except SoundError:
            return None
        return SoundStretch(
            key=hashlib.sha256(recording.encode()).hexdigest()[:16],
            name=recording,
            path=path,
            duration_s=duration_s,
        )


def clip_samples(path: Path, start_s: float, end_s: float) -> NDArray[np.float32]:
    """Cut the samples between two seconds out of a recording, 16 kHz mono.

    Raises
    ------
    SoundError
        If the recording cannot be read or is shorter.
    ValueError
        If the end is not after the start, or more than LONGEST_CLIP_S after it.
    """
    start_s = max(0.0, start_s)
    if not 0 < end_s - start_s <= LONGEST_CLIP_S or end_s > LONGEST_S:
        raise ValueError(f"end_s: {end_s} is not within a minute after {start_s}")
    wanted = round((end_s - start_s) * SAMPLE_RATE_HZ)
    parts: list[NDArray[np.float32]] = []
    have = 0
    for block in read_blocks(path, start_s=start_s, block_s=0.5):
        parts.append(block.samples[: wanted - have])
        have += len(parts[-1])
        if have >= wanted:
            break
    if not have:
        raise SoundError(
            f"has no sound at {start_s:.0f} s",
            where=path.name,
            mend="See whether the recording is the one the notes were heard in.",
        )
    return np.concatenate(parts)


def clip_wav(path: Path, start_s: float, end_s: float) -> bytes:
    """Cut a piece of a recording as a WAV file of 16 bits; see `clip_samples`."""
    import soundfile

    out = io.BytesIO()
    samples = clip_samples(path, start_s, end_s)
    soundfile.write(out, samples, SAMPLE_RATE_HZ, format="WAV", subtype="PCM_16")
    return out.getvalue()


class Outline:
    """Lowest and highest sample of every BIN_S of a recording, as it is read.

    `scale` is the largest of them so far, 0 to 1; bytes are relative to full scale.
    """

    def __init__(self, sound: SoundStretch) -> None:
        self._sound = sound
        self._lock = threading.Lock()
        self._bytes = bytearray()
        self.done = False
        self.fault = ""

    def begin(self) -> None:
        """Start to read, in a thread of its own."""
        threading.Thread(target=self._run, name="outline", daemon=True).start()

    def since(self, first_bin: int) -> bytes:
        """Return what there is from a bin on: int8 pairs, low and high."""
        with self._lock:
            return bytes(self._bytes[2 * first_bin :])

    def _run(self) -> None:
        try:
            for pairs in outline_of(read_blocks(self._sound.path, block_s=5.0)):
                with self._lock:
                    self._bytes += pairs
        except SoundError as error:
            self.fault = error.line()
        self.done = True


def outline_of(blocks: Iterable[Block]) -> Iterable[bytes]:
    """Turn blocks of sound into int8 pairs, lowest and highest of every BIN_S."""
    size = round(BIN_S * SAMPLE_RATE_HZ)
    rest = np.zeros(0, np.float32)
    for block in blocks:
        samples = np.concatenate([rest, block.samples])
        whole = len(samples) // size * size
        rest = samples[whole:]
        if whole:
            yield _pairs(samples[:whole].reshape(-1, size))
    if len(rest):
        yield _pairs(rest.reshape(1, -1))


def _pairs(bins: NDArray[np.float32]) -> bytes:
    both = np.stack([bins.min(axis=1), bins.max(axis=1)], axis=1)
    bars: NDArray[np.int8] = np.clip(np.rint(both * 127), -127, 127).astype(np.int8)
    return bars.tobytes()
