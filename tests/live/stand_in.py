"""Ears for tests: beeps stand for words, so that no model is needed.

A note is two beeps: the first one's pitch is the mark, the second one's the kind. The
sound must be cut with `loudness.LoudActivity`, since a beep is no voice.
"""

from __future__ import annotations

import itertools
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))  # for `loudness`

from loudness import IN_USE, LoudActivity
from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.language.kinds import EventKind
from treeward.live.ears import Ears
from treeward.notes.events import Event
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

MARKS = {400: "red", 500: "yellow", 600: "blue", 700: "white"}
KINDS = {1000: "back", 1200: "away", 1400: "scratch", 1600: "mumble", 1800: "found"}
_WITHOUT_MARK = (EventKind.SCRATCH, EventKind.FOUND)
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


class BeepRecognizer:
    name = model = "beeps"

    def decode(self, stretch: Block) -> Utterance | None:
        samples, size = stretch.samples, int(BEEP_S * SAMPLE_RATE_HZ)
        known = {**MARKS, **KINDS}
        words: list[Word] = []
        at = 0
        while len(loud := np.flatnonzero(np.abs(samples[at:]) > _LOUD)):
            at += int(loud[0])
            part = samples[at : at + size]
            if len(part) < size // 2:
                break
            spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part))))
            pitch = float(np.argmax(spectrum)) * SAMPLE_RATE_HZ / len(part)
            nearest = min(known, key=lambda hz: abs(hz - pitch))
            if abs(nearest - pitch) <= 40:
                at_s = stretch.start_s + at / SAMPLE_RATE_HZ
                words.append(
                    Word(text=known[nearest], start_s=at_s, end_s=at_s + BEEP_S)
                )
            at += size
        if not words:
            return None
        for place, (first, second) in enumerate(itertools.pairwise(words)):
            if first.text in MARKS.values() and second.text in KINDS.values():
                words[place : place + 2] = [
                    replace(word, source=WordSource.PHRASE) for word in (first, second)
                ]
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
                mark="" if event_kind in _WITHOUT_MARK else mark.text,
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
    )


def main() -> None:
    """Run `treeward listen` with these ears (for tests that kill it)."""
    from unittest.mock import patch

    from treeward.cli.listen import listen_command

    with (
        patch("treeward.live.opening.open_ears", lambda *_, **__: ears()),
        patch(IN_USE, LoudActivity),
    ):
        listen_command.main(args=sys.argv[1:], prog_name="listen")


if __name__ == "__main__":
    main()
