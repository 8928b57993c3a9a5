"""Invented dictation for the benches: notes by two voices, over a heath's sound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.hearing.noise import bed
from treeward.audio import SAMPLE_RATE_HZ
from treeward.simulate.sound import HibariVoice, gain_for

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

SPEECH_LEVEL = 0.1  # root mean square of the voices, as simulate.voice levels them
MARKS = ("red", "yellow", "blue", "white", "green", "pink")


@dataclass(frozen=True)
class Said:
    """A note that was said: where its sound begins and ends, and what it means."""

    start_s: float
    end_s: float
    text: str
    mark: str
    kind: str


def clips() -> list[tuple[str, str, str, NDArray[np.float32]]]:
    """(text, mark, kind, sound) of each note by each voice."""
    voices = [HibariVoice("british"), HibariVoice("american", pitch=0.85)]
    found = []
    for index, mark in enumerate(MARKS):
        for verb, kind in (("landed", "back"), ("away", "away"), ("back", "back")):
            text = f"{mark} {verb}"
            voice = voices[(index + len(verb)) % 2]
            sound = voice.say(text, rate_hz=SAMPLE_RATE_HZ, seed=index)
            found.append((text, mark, kind, sound))
    for digits in ("two one zero", "zero four five"):
        text = f"bearing {digits}"
        sound = voices[0].say(text, rate_hz=SAMPLE_RATE_HZ, seed=7)
        found.append((text, "", "bearing", sound))
    return found


def schedule(
    count: int, every_s: float, seed: int = 3
) -> tuple[list[Said], dict[int, NDArray[np.float32]]]:
    """Place notes about `every_s` apart; return them, and sound by first sample."""
    rng = np.random.default_rng(seed)
    ready = clips()
    said, placed = [], {}
    at = 6.0
    for _ in range(count):
        text, mark, kind, sound = ready[int(rng.integers(len(ready)))]
        first = round(at * SAMPLE_RATE_HZ)
        placed[first] = sound
        start_s = first / SAMPLE_RATE_HZ
        end_s = start_s + len(sound) / SAMPLE_RATE_HZ
        said.append(Said(start_s, end_s, text, mark, kind))
        at = end_s + every_s * float(rng.uniform(0.6, 1.4))
    return said, placed


def sound_of(
    placed: dict[int, NDArray[np.float32]],
    length_s: float,
    *,
    kind: str,
    snr_db: float,
    seed: int = 5,
) -> Iterator[NDArray[np.float32]]:
    """Yield the dictation second by second, over a background of `kind`."""
    background = bed(kind, np.random.default_rng(seed), SAMPLE_RATE_HZ)
    gain = gain_for(SPEECH_LEVEL, snr_db)
    notes = sorted(placed.items())
    size = SAMPLE_RATE_HZ
    for second in range(int(np.ceil(length_s))):
        block = gain * background.block(size)
        low = second * size
        while notes and notes[0][0] + len(notes[0][1]) <= low:
            notes.pop(0)
        for first, sound in notes:
            if first >= low + size:
                break
            start, end = max(first, low), min(first + len(sound), low + size)
            block[start - low : end - low] += sound[start - first : end - first]
        yield np.clip(block, -1, 1).astype(np.float32)
