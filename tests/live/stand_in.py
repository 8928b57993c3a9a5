"""Ears for tests: beeps stand for words, so that no model is needed.

A note is two beeps: the first one's pitch is the mark, the second one's the kind.
"""

from __future__ import annotations

import itertools
import sys
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio.records import SAMPLE_RATE_HZ, Block
from treeward.live.ears import Ears
from treeward.notes.events import Event, EventKind
from treeward.speech.records import Utterance, Word

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

MARKS = {400: "red", 500: "yellow", 600: "blue", 700: "white"}
KINDS = {1000: "back", 1200: "away", 1400: "scratch", 1600: "mumble"}
BEEP_S = 0.2
_LOUD = 0.01


def beep(pitch_hz: float, length_s: float = BEEP_S) -> NDArray[np.float32]:
    t = np.arange(int(length_s * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    return (0.3 * np.sin(2 * np.pi * pitch_hz * t)).astype(np.float32)


def quiet(length_s: float, seed: int = 0) -> NDArray[np.float32]:
    noise = np.random.default_rng(seed).standard_normal(
        round(length_s * SAMPLE_RATE_HZ), dtype=np.float32
    )
    return noise * np.float32(0.001)


def say(mark: str, kind: str) -> NDArray[np.float32]:
    pitch = {name: hz for hz, name in MARKS.items()}[mark]
    action = {name: hz for hz, name in KINDS.items()}[kind]
    return np.concatenate([beep(pitch), beep(action)])


def spoken_at(
    notes: Sequence[tuple[float, str, str]], length_s: float
) -> NDArray[np.float32]:
    """Sound with (second, mark, kind) notes in it."""
    sound = quiet(length_s)
    for second, mark, kind in notes:
        first = round(second * SAMPLE_RATE_HZ)
        note = say(mark, kind)
        sound[first : first + len(note)] += note
    return sound


class BeepEndpoint:
    """Closes a stretch after 0.3 s below a threshold."""

    def __init__(self) -> None:
        self._held: list[NDArray[np.float32]] = []
        self._at = 0
        self._quiet = 0
        self._rest = np.zeros(0, np.float32)

    @property
    def in_speech(self) -> bool:
        return bool(self._held)

    def push(self, samples: NDArray[np.float32]) -> Sequence[Block]:
        samples = np.concatenate([self._rest, samples])
        frame = SAMPLE_RATE_HZ // 100
        closed = []
        for first in range(0, len(samples) - frame + 1, frame):
            part = samples[first : first + frame]
            loud = float(np.sqrt(np.mean(part**2))) > _LOUD
            if loud or self._held:
                self._held.append(part)
            self._quiet = 0 if loud else self._quiet + 1
            self._at += frame
            if self._held and self._quiet >= 30:
                closed.append(self._close())
        self._rest = samples[len(samples) - len(samples) % frame :]
        return closed

    def _close(self) -> Block:
        sound = np.concatenate(self._held)
        start_s = (self._at - len(sound)) / SAMPLE_RATE_HZ
        self._held = []
        return Block(start_s=start_s, samples=sound)

    def flush(self) -> Sequence[Block]:
        return [self._close()] if self._held else []


class PassThrough:
    def push(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        return samples

    def flush(self) -> NDArray[np.float32]:
        return np.zeros(0, np.float32)

    def with_plain(self, stretch: Block) -> Block:
        return stretch


class BeepRecognizer:
    name = "beeps"

    def decode(self, stretch: Block) -> Utterance | None:
        samples, start_s = stretch.samples, stretch.start_s
        size = int(BEEP_S * SAMPLE_RATE_HZ)
        words = []
        for first in range(0, len(samples) - size // 2, size):
            part = samples[first : first + size]
            if float(np.sqrt(np.mean(part**2))) < _LOUD:
                continue
            spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part))))
            pitch = float(np.argmax(spectrum)) * SAMPLE_RATE_HZ / len(part)
            known = {**MARKS, **KINDS}
            nearest = min(known, key=lambda hz: abs(hz - pitch))
            if abs(nearest - pitch) > 40:
                continue
            at_s = start_s + first / SAMPLE_RATE_HZ
            words.append(Word(text=known[nearest], start_s=at_s, end_s=at_s + BEEP_S))
        if not words:
            return None
        return Utterance(
            words=tuple(words), start_s=words[0].start_s, end_s=words[-1].end_s
        )


def parse(utterances: Sequence[Utterance], recording: str) -> list[Event]:
    words = [word for utterance in utterances for word in utterance.words]
    events = []
    for mark, kind in itertools.pairwise(words):
        if mark.text not in MARKS.values() or kind.text not in KINDS.values():
            continue
        mumbled = kind.text == "mumble"
        event_kind = EventKind.BACK if mumbled else EventKind(kind.text)
        events.append(
            Event(
                kind=event_kind,
                mark="" if event_kind is EventKind.SCRATCH else mark.text,
                recording=recording,
                start_s=mark.start_s,
                end_s=kind.end_s,
                confidence=0.3 if mumbled else 1.0,
                heard=f"{mark.text} {kind.text}",
            )
        )
    return events


def ears() -> Ears:
    return Ears(
        recognizer=BeepRecognizer(),
        parse=parse,
        make_cleaner=PassThrough,
        make_endpoint=BeepEndpoint,
    )


def main() -> None:
    """Run `treeward listen` with these ears (for tests that kill it)."""
    from unittest.mock import patch

    from treeward.cli.listen import command

    with patch("treeward.live.opening.open_ears", lambda *_, **__: ears()):
        command.main(args=sys.argv[1:], prog_name="listen")


if __name__ == "__main__":
    main()
