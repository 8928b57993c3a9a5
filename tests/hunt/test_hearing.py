"""What is heard does not depend on how many processes hear, or on interruptions."""

from __future__ import annotations

import importlib
import multiprocessing
import os
import sys
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile

from drawing import mostly_slow
from loudness import IN_USE, LoudActivity
from treeward import Hunt
from treeward.hunt.hearing import MOST_JOBS, hear_all, usual_jobs

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.hunt.transcription import Recorded

# An engine that other processes can import. What it says depends on how the sound was
# cut.
ENGINE = """
import os
from dataclasses import dataclass
from loudness import LoudActivity
from treeward.errors import SoundError
from treeward.hunt.hearing import EngineChoice
from treeward.speech.utterances import Utterance, Word, WordSource
from treeward.speech import recognizer

class Engine:
    name, model = "scripted", "1"

    def __init__(self, fails):
        self.fails = fails

    def decode(self, stretch):
        start_s = stretch.start_s
        late = start_s > 10  # in the long recording, after some notes
        if late and self.fails == "dies":
            os._exit(3)
        if late and self.fails == "raises":
            raise ZeroDivisionError("in the engine")
        if late and self.fails == "faulty":
            raise SoundError("is faulty", where="there")
        word = Word(text="yellow back", start_s=start_s + 0.1, end_s=start_s + 0.9,
                    confidence=1 / (1 + len(stretch.samples) / 16000),
                    source=WordSource.PHRASE)
        return Utterance(words=(word,), start_s=word.start_s, end_s=word.end_s)

@dataclass(frozen=True, slots=True, kw_only=True)
class Choice(EngineChoice):
    fails: str = ""

    def open(self, say=None):
        recognizer.VoiceActivity = LoudActivity
        return Engine(self.fails)
"""


@pytest.fixture
def choice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    (tmp_path / "scripted_engine.py").write_text(ENGINE, "utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "scripted_engine", raising=False)
    monkeypatch.setattr(IN_USE, LoudActivity)  # and undone here, after the engine's own
    return importlib.import_module("scripted_engine").Choice


@pytest.fixture
def hunt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Hunt:
    monkeypatch.setattr("treeward.hunt.hearing.PIECE_S", 30.0)
    made = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    for name, seconds in (("a.wav", 70), ("b.wav", 20), ("c.wav", 45)):
        speech_like(made.recordings_dir / name, seconds)
    return made


@cache
def spoken_like(seconds: int) -> NDArray[np.float32]:
    rng = np.random.default_rng(5)
    time_s = np.arange(seconds * 16_000) / 16_000
    second = time_s[:16_000]  # whole periods of the voice
    voice = sum(np.sin(2 * np.pi * 140 * k * second) / k for k in range(1, 20))
    burst = 0.5 * (1 + np.sign(np.sin(2 * np.pi * 0.35 * time_s)))
    sound = 0.1 * np.tile(voice, seconds) * burst
    sound += 0.002 * rng.standard_normal(len(time_s))
    return np.asarray(sound, dtype=np.float32)


def speech_like(path: Path, seconds: int) -> None:
    soundfile.write(path, spoken_like(seconds), 16_000)


class Watched:
    """Keeps what a watcher is told."""

    def __init__(self, stop_after: int = 10**9) -> None:
        self.stop_after = stop_after
        self.totals: list[tuple[int, float, float]] = []
        self.taken_up: list[str] = []
        self.known_s: list[float] = []
        self.ended = 0

    def begin(self, recordings: int, total_s: float, done_s: float) -> None:
        self.totals.append((recordings, total_s, done_s))

    def take_up(self, name: str, from_s: float, to_s: float) -> None:
        assert to_s >= from_s
        self.taken_up.append(name)

    def advance(self, done_s: float) -> None:
        self.known_s.append(done_s)
        if len(self.known_s) >= self.stop_after:
            raise KeyboardInterrupt

    def end(self) -> None:
        self.ended += 1


def notes(recorded: Sequence[Recorded]) -> list[tuple[str, float, float]]:
    return [
        (one.name, round(event.start_s or 0.0, 3), round(event.confidence, 4))
        for one in recorded
        for event in one.events
    ]


@pytest.mark.slow
def test_two_processes_hear_what_one_hears(hunt: Hunt, choice: Any) -> None:
    engine, watched = choice(hunt_dir=hunt.path), Watched()

    alone, name, stopped = hear_all(hunt, hunt.recordings(), engine)
    together, _, _ = hear_all(
        hunt, hunt.recordings(), engine, jobs=2, fresh=True, watcher=watched
    )

    assert (name, stopped) == ("scripted", False)
    assert len(notes(alone)) > 30
    assert notes(together) == notes(alone)
    assert all(one.complete and not one.fault for one in together)
    assert sorted(watched.taken_up) == ["a.wav"] * 3 + ["b.wav"] + ["c.wav"] * 2
    assert [round(n) for n in watched.totals[0]] == [3, 135, 0]
    assert watched.known_s[-1] == pytest.approx(135, abs=0.1)
    assert watched.known_s == sorted(watched.known_s)
    assert watched.ended == 1
    assert multiprocessing.active_children() == []


@pytest.mark.slow
@pytest.mark.parametrize("jobs", mostly_slow([1, 2], quick=[1]))
def test_ctrl_c_keeps_what_was_heard_and_leaves_no_process(
    hunt: Hunt,
    choice: Any,
    jobs: int,
) -> None:
    engine = choice(hunt_dir=hunt.path)
    whole, _, _ = hear_all(hunt, hunt.recordings(), engine)

    part, _, stopped = hear_all(
        hunt,
        hunt.recordings(),
        engine,
        jobs=jobs,
        fresh=True,
        watcher=Watched(stop_after=4),
    )
    children = multiprocessing.active_children()
    watched = Watched()
    rest, _, stopped_again = hear_all(
        hunt, hunt.recordings(), engine, jobs=jobs, watcher=watched
    )

    assert stopped
    assert not stopped_again
    assert children == []
    assert 0 < len(notes(part)) < len(notes(whole))
    assert not all(one.complete for one in part)
    assert [note[:2] for note in notes(rest)] == [note[:2] for note in notes(whole)]
    assert all(one.complete for one in rest)
    assert watched.totals[0][2] > 0  # what was known already is not heard again


@pytest.mark.parametrize(
    ("fails", "jobs", "words"),
    [
        pytest.param(
            "dies", 2, "the process that heard it ended (3)", marks=pytest.mark.slow
        ),
        ("raises", 2, "cannot be heard (ZeroDivisionError: in the engine)"),
        ("faulty", 1, "there: is faulty"),
    ],
)
def test_a_failure_is_told_and_the_rest_is_heard(
    hunt: Hunt,
    choice: Any,
    fails: str,
    jobs: int,
    words: str,
) -> None:
    (hunt.recordings_dir / "c.wav").unlink()
    (hunt.recordings_dir / "b.wav").unlink()
    for name in ("b.wav", "c.wav"):
        speech_like(hunt.recordings_dir / name, 5)
    engine = choice(hunt_dir=hunt.path, fails=fails)

    recorded, _, stopped = hear_all(hunt, hunt.recordings(), engine, jobs=jobs)

    assert not stopped
    assert words in recorded[0].fault
    assert [one.fault for one in recorded[1:]] == ["", ""]
    assert all(one.events for one in recorded[1:])


def test_a_long_recording_without_any_sound_is_told(
    hunt: Hunt,
    choice: Any,
) -> None:
    silent = hunt.recordings_dir / "a.wav"
    soundfile.write(silent, np.zeros(70 * 16_000), 16_000)

    recorded, _, _ = hear_all(hunt, [silent], choice(hunt_dir=hunt.path))

    assert "is silent throughout (70 s)" in recorded[0].fault


def test_quiet_at_the_beginning_of_a_long_recording_is_no_fault(
    hunt: Hunt,
    choice: Any,
) -> None:
    path = hunt.recordings_dir / "a.wav"
    sound, rate_hz = soundfile.read(path)
    sound[: 40 * rate_hz] = 0
    soundfile.write(path, sound, rate_hz)

    recorded, _, _ = hear_all(hunt, [path], choice(hunt_dir=hunt.path))

    assert not recorded[0].fault
    assert recorded[0].complete
    assert recorded[0].events


def test_unasked_there_is_a_process_for_each_core() -> None:
    assert 1 <= usual_jobs() <= min(MOST_JOBS, os.cpu_count() or 1)
