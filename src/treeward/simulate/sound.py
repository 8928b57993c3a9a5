"""The spoken script of an invented hunt as recordings."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from . import noise
from .talk import moved_line, with_talk
from .voice import SPEECH_LEVEL_DBFS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from .invented import SimulatedHunt, SpokenLine
    from .voice import Voice

RATE_HZ = 16_000
TAIL_S = 5.0  # sound goes on after the last line; choice
BREATH_S = 0.2  # between two lines at least; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundSettings:
    """How the hunt sounds."""

    noise: str = "wind"  # a kind of treeward.simulate.noise
    snr_db: float = 18.0
    talk_share: float = 0.5  # of quiet stretches
    friend_db: float = -5.0  # how much softer the friend is
    compression: float = 0.5  # of the file, 0 to 1; 1 is smallest


@dataclass(slots=True)
class _Tape:
    """Sound written block by block, so that length costs no memory."""

    bed: noise.Bed
    gain: float
    done: int = 0
    waves: deque[tuple[int, NDArray[np.float32]]] = field(default_factory=deque)

    def blocks(self, until: int) -> Iterator[NDArray[np.float32]]:
        """Yield finished blocks of a second, up to sample `until`."""
        while self.done + RATE_HZ <= until:
            block = self.gain * self.bed.block(RATE_HZ)
            for at, wave in self.waves:
                low = max(at, self.done)
                high = min(at + len(wave), self.done + RATE_HZ)
                if low < high:
                    block[low - self.done : high - self.done] += wave[
                        low - at : high - at
                    ]
            self.done += RATE_HZ
            while self.waves and self.waves[0][0] + len(self.waves[0][1]) <= self.done:
                self.waves.popleft()
            # A recorder's limiter rounds off what would clip.
            yield np.tanh(block).astype(np.float32)


def render(
    hunt: SimulatedHunt,
    directory: Path,
    *,
    observer: Voice,
    friend: Voice,
    settings: SoundSettings | None = None,
) -> SimulatedHunt:
    """Write the recordings of a hunt, and return it with the times as really spoken.

    Parameters
    ----------
    hunt
        With its script.
    directory
        Where the sound files go; made if missing.
    observer, friend
        Voices of the two people.
    settings
        Noise, talk and file size.
    """
    settings = settings or SoundSettings()
    directory.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([hunt.seed, 1])
    barred: dict[str, list[float]] = {}
    for gap in hunt.gaps:
        barred.setdefault(gap.recording, []).append(gap.at_s)
    script = with_talk(hunt.script, rng, share=settings.talk_share, barred=barred)
    spoken: list[SpokenLine] = []
    voices = {"observer": (observer, 0.0), "friend": (friend, settings.friend_db)}
    for name, lines in groupby(script, key=lambda said: said.recording):
        spoken += _record(directory / name, list(lines), voices, rng, settings)
    events = tuple(said.event for said in spoken if said.event is not None)
    return replace(hunt, script=tuple(spoken), events=events)


def _record(
    path: Path,
    lines: Sequence[SpokenLine],
    voices: dict[str, tuple[Voice, float]],
    rng: np.random.Generator,
    settings: SoundSettings,
) -> list[SpokenLine]:
    import soundfile

    level = 10 ** (SPEECH_LEVEL_DBFS / 20)
    bed = noise.bed(settings.noise, rng, RATE_HZ)
    gain = noise.gain_for(level, settings.snr_db)
    beside = path.with_name(f".{path.name}.part")
    ogg = path.suffix == ".ogg"
    spoken: list[SpokenLine] = []
    with soundfile.SoundFile(
        beside,
        "w",
        RATE_HZ,
        1,
        format="OGG" if ogg else path.suffix[1:].upper(),
        subtype="VORBIS" if ogg else "PCM_16",
        compression_level=settings.compression if ogg else None,
    ) as sink:
        tape = _Tape(bed, gain)
        free = 0
        for said in lines:
            voice, gain_db = voices[said.speaker]
            seed = int(rng.integers(1_000_000))
            wave = voice.say(said.text, rate_hz=RATE_HZ, seed=seed)
            start = max(round(said.start_s * RATE_HZ), free)
            # No later line starts before this one, so all before it is finished.
            for block in tape.blocks(start):
                sink.write(block)
            tape.waves.append((start, wave * np.float32(10 ** (gain_db / 20))))
            spoken.append(moved_line(said, start / RATE_HZ, len(wave) / RATE_HZ))
            free = start + len(wave) + round(BREATH_S * RATE_HZ)
        for block in tape.blocks(free + round(TAIL_S * RATE_HZ)):
            sink.write(block)
    beside.replace(path)
    return spoken
