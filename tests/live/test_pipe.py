"""Dictated through a real pipe, then heard again: rows lie at their sound."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
import threading
import time
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from drawing import mostly_slow
from live import stand_in
from treeward.audio import SAMPLE_RATE_HZ
from treeward.cli import transcribe
from treeward.hunt.hunt import Hunt
from treeward.notes.flags import FlagCode
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.audio import Block

RATE = 2 * SAMPLE_RATE_HZ  # bytes a second
NOTES = [
    (0.6, "red", "away"),
    (1.6, "blue", "away"),
    (3.0, "white", "away"),
    (4.2, "red", "back"),
    (5.6, "yellow", "away"),
    (6.8, "blue", "back"),
]


class BeepEngine:
    """Finds the beeps of a stretch wherever they lie in it."""

    name, model = "beeps", "1"

    def decode(self, stretch: Block) -> Utterance | None:
        words = [
            Word(
                text=f"{mark} {kind}",
                start_s=stretch.start_s + first / SAMPLE_RATE_HZ,
                end_s=stretch.start_s + first / SAMPLE_RATE_HZ + 2 * stand_in.BEEP_S,
                confidence=0.95,
                source=WordSource.PHRASE,
            )
            for first, mark, kind in beeps_in(stretch.samples)
        ]
        if not words:
            return None
        return Utterance(
            words=tuple(words), start_s=stretch.start_s, end_s=stretch.end_s
        )


def beeps_in(sound: NDArray[np.float32]) -> Iterator[tuple[int, str, str]]:
    """Yield (first sample, mark, kind) of each pair of beeps."""
    size = int(stand_in.BEEP_S * SAMPLE_RATE_HZ)
    loud = np.abs(sound) > 0.02
    at = 0
    while loud[at:].any():
        at += int(np.argmax(loud[at:]))
        names = []
        for part in (sound[at : at + size], sound[at + size : at + 2 * size]):
            if len(part) < size // 2:
                return
            pitch = np.argmax(np.abs(np.fft.rfft(part))) * SAMPLE_RATE_HZ / len(part)
            known = {**stand_in.MARKS, **stand_in.KINDS}
            names.append(known[min(known, key=lambda hz: abs(hz - pitch))])
        yield at, names[0], names[1]
        at += 2 * size + size // 2


def dictate(hunt_dir: Path, sound: NDArray[np.float32], *, burst_s: float) -> str:
    """Feed a listener by a pipe that holds `burst_s` of sound when it starts."""
    pcm = np.rint(sound * 32767).astype("<i2").tobytes()
    process = subprocess.Popen(
        [sys.executable, stand_in.__file__, "--hunt", str(hunt_dir), "--plain",
         "--no-sounds", "--input", "-"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip

    def feed() -> None:
        assert process.stdin is not None
        begun = time.monotonic()
        for first in range(0, len(pcm), 3200):
            due_s = first / RATE - burst_s
            time.sleep(max(0.0, begun + due_s - time.monotonic()))
            process.stdin.write(pcm[first : first + 3200])
            process.stdin.flush()
        process.stdin.close()

    feeder = threading.Thread(target=feed)
    feeder.start()
    assert process.stdout is not None
    said = process.stdout.read().decode()
    process.stdout.close()
    assert process.wait(timeout=60) == 0, said
    feeder.join()
    return said


def rows_of(hunt_dir: Path) -> list[dict[str, str]]:
    with (hunt_dir / "review.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.slow
@pytest.mark.parametrize("burst_s", mostly_slow([1.5, 60.0], quick=[60.0]))
def test_what_was_dictated_through_a_pipe_lies_at_its_sound(
    hunt_dir: Path, monkeypatch: pytest.MonkeyPatch, burst_s: float
) -> None:
    sound = stand_in.spoken_at(NOTES, 8.0)
    dictate(hunt_dir, sound, burst_s=burst_s)

    (recording,) = (hunt_dir / "recordings").glob("live-*.flac")
    kept, _ = soundfile.read(recording, dtype="float32")
    began_s = int(np.argmax(kept != 0)) / SAMPLE_RATE_HZ
    # The second beep of a pair would be taken for a first one in half a pair.
    truly = [(first / SAMPLE_RATE_HZ, m, k) for first, m, k in beeps_in(kept)]
    assert [(m, k) for _, m, k in truly] == [(m, k) for _, m, k in NOTES]
    for (at_s, _, _), (said_s, _, _) in zip(truly, NOTES, strict=True):
        assert at_s - began_s == pytest.approx(said_s, abs=0.02)

    dictated = rows_of(hunt_dir)
    assert [(r["mark"], r["event"]) for r in dictated] == [(m, k) for _, m, k in NOTES]
    for row, (at_s, _, _) in zip(dictated, truly, strict=True):
        assert float(row["start_s"]) == pytest.approx(at_s, abs=0.2)

    path = hunt_dir / "review.csv"
    path.write_text(path.read_text("utf-8").replace(",white,", ",blue-white,"), "utf-8")
    monkeypatch.setattr(
        "treeward.speech.recognizer.open_recognizer", lambda *_a, **_k: BeepEngine()
    )
    done = CliRunner().invoke(
        transcribe.transcribe_command, ["--hunt", str(hunt_dir), "--jobs", "1"]
    )
    assert done.exit_code == 0, done.output

    again = Hunt(hunt_dir).rows()
    wanted = [("blue-white" if m == "white" else m, k) for _, m, k in NOTES]
    assert [(r.event.mark, r.event.kind.value) for r in again] == wanted
    for found, (at_s, _, _) in zip(again, truly, strict=True):
        assert found.event.start_s == pytest.approx(at_s, abs=0.2)
    assert not any(r.event.has(FlagCode.HEARD_LIVE_AS) for r in again)
