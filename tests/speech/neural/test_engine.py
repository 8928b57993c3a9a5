"""The real model on what a synthesiser says, and on sound that says nothing."""

from __future__ import annotations

import shutil
import subprocess
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile

from drawing import mostly_slow
from treeward.audio import Block
from treeward.language.phrasebook import PhraseBook
from treeward.notes.parser import parse_notes
from treeward.simulate.sound import retune
from treeward.speech.neural.engine import _beyond
from treeward.speech.recognizer import (
    EMBEDDED,
    embedded_folder,
    open_recognizer,
    transcribe,
)
from treeward.speech.utterances import WordSource

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.speech.recognizer import Recognizer

RATE_HZ = 16_000
BOOK = PhraseBook.load()
pytestmark = pytest.mark.model


@pytest.fixture(scope="module")
def engine() -> Recognizer:
    if embedded_folder() is None:
        pytest.skip("moonshine-voice is not installed")
    return open_recognizer(BOOK, model=EMBEDDED)


def say(folder: Path, text: str, *, gain: float = 0.5) -> NDArray[np.float32]:
    if shutil.which("espeak-ng") is None:
        pytest.skip("espeak-ng is not installed (apt install espeak-ng)")
    path = folder / "said.wav"
    subprocess.run(["espeak-ng", "-v", "en-gb", "-w", path, text], check=True)
    samples, rate_hz = soundfile.read(path)
    quiet = np.zeros(RATE_HZ)
    sound = np.concatenate([quiet, gain * retune(samples, rate_hz, RATE_HZ), quiet])
    sound = sound + 0.001 * np.random.default_rng(1).standard_normal(len(sound))
    clipped: NDArray[np.float32] = np.clip(sound, -1, 1).astype(np.float32)
    return clipped


def notes(engine: Recognizer, sound: NDArray[np.float32]) -> list[tuple[str, ...]]:
    heard = list(transcribe([Block(start_s=0.0, samples=sound)], engine))
    return [(e.kind.value, e.mark, e.value) for e in parse_notes(heard, BOOK)]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("yellow landed", [("back", "yellow", "")]),
        ("white away", [("away", "white", "")]),
        ("bearing two one zero", [("bearing", "", "210")]),
        ("heading two seven zero", [("bearing", "", "270")]),
        ("station one", [("station", "", "1")]),
        (
            "red away, bearing one four three",
            [("away", "red", ""), ("bearing", "red", "143")],
        ),
    ],
)
def test_notes_are_heard(
    engine: Recognizer, tmp_path: Path, text: str, wanted: list[tuple[str, ...]]
) -> None:
    assert notes(engine, say(tmp_path, text)) == wanted


def test_clipped_notes_are_heard(engine: Recognizer, tmp_path: Path) -> None:
    sound = say(tmp_path, "yellow landed", gain=4.0)

    assert np.abs(sound).max() == 1.0
    assert notes(engine, sound) == [("back", "yellow", "")]


def test_talk_makes_no_notes(engine: Recognizer, tmp_path: Path) -> None:
    text = "shall we have some tea now, my feet are cold and the children are hungry"

    assert notes(engine, say(tmp_path, text)) == []


@pytest.mark.slow
def test_talk_keeps_several_texts_only_where_they_are_asked_for(
    engine: Recognizer, tmp_path: Path
) -> None:
    sound = Block(
        start_s=0.0, samples=say(tmp_path, "he is read and settling down on his comb")
    )
    freely = open_recognizer(BOOK, model=EMBEDDED, free=True)

    (one,) = transcribe([sound], engine)
    (several,) = transcribe([sound], freely)

    assert not any(word.alternatives for word in one.words)
    first, *rest = several.words
    assert first.source is WordSource.TALK
    assert len(first.alternatives) > 1
    assert several.text == first.alternatives[0].text
    assert not any(word.alternatives for word in rest)


@pytest.mark.parametrize(
    "seconds", mostly_slow([0.01, 0.1, 1.0, 9.5, 20.0], quick=[0.01, 0.1])
)
@pytest.mark.parametrize("kind", ["silence", "noise", "chord"])
def test_sound_of_any_length_that_says_nothing_makes_no_notes(
    engine: Recognizer, seconds: float, kind: str
) -> None:
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    sound = {
        "silence": 0 * time_s,
        "noise": 0.1 * np.random.default_rng(7).standard_normal(len(time_s)),
        "chord": sum(0.1 * np.sin(2 * np.pi * hz * time_s) for hz in (262, 330, 392)),
    }[kind].astype(np.float32)  # type: ignore[union-attr]

    heard = engine.decode(Block(start_s=0.0, samples=sound))

    assert parse_notes([heard] if heard else [], BOOK) == []


@pytest.mark.parametrize(
    ("text", "note", "value", "goes_on"),
    [
        ("Yellow away, 039.", "yellow away", "", "039."),
        ("Yellow's back, and so is red.", "yellow is back", "", "and so is red."),
        ("Yellow's back.", "yellow is back", "", ""),
        ("Blue bag two nine", "blue back", "", "two nine"),
        ("Blue gone two nine", "blue back", "", "two nine"),
        ("Bearing 174 for her.", "bearing one seven five", "175", "for her."),
        ("You're always so kind", "red gone", "", ""),
    ],
)
def test_what_goes_on_after_a_note_is_kept(
    text: str, note: str, value: str, goes_on: str
) -> None:
    said: Any = SimpleNamespace(text=note, part={"value": value}.__getitem__)

    rest = list(_beyond(text, [said], [(0.5, 2.5)], 10.0))

    assert " ".join(word.text for word in rest) == goes_on
    assert all(10.5 < word.start_s < word.end_s <= 12.5 for word in rest)
