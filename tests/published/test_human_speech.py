"""Human speech that is no note makes none.

Sources of the sound: the samples in the package moonshine-voice (its assets, Useful
Sensors), two_cities.wav (the opening of Dickens's "A Tale of Two Cities") and
beckett.wav; and, with transcripts, the test data in the source distribution
of the package pocketsphinx (its test/data, Carnegie Mellon University), which holds
a TIDIGITS recording (tidigits),
LibriVox readings of Jane Austen's "Sense and Sensibility" (librivox/transcription)
and playing cards (cards/cards.transcription). Nothing of it is kept here: it is taken
from the folder TREEWARD_SPEECH_DATA (an unpacked source distribution), or fetched by
pip into pytest's cache. Offline the tests are skipped, unless CI says they must run.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.audio.reader import read_blocks
from treeward.language.phrasebook import PhraseBook
from treeward.notes.parser import parse_notes
from treeward.speech.neural import file_in_package
from treeward.speech.recognizer import EMBEDDED, open_recognizer, transcribe

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from treeward.speech.recognizer import Recognizer

pytestmark = [pytest.mark.model, pytest.mark.slow]

VERSION = "5.1.1"  # of the source distribution


@pytest.fixture(scope="session")
def speech_data(pytestconfig: pytest.Config) -> Path:
    """Give test/data of PocketSphinx's source distribution."""
    named = os.environ.get("TREEWARD_SPEECH_DATA")
    if named:
        return Path(named) / "test" / "data"
    room = pytestconfig.cache.mkdir("pocketsphinx-source")
    unpacked = room / f"pocketsphinx-{VERSION}"
    if not unpacked.is_dir():
        command = [sys.executable, "-m", "pip", "download", "--no-deps", "-q"]
        command += ["--no-binary", "pocketsphinx", f"pocketsphinx=={VERSION}"]
        done = subprocess.run(
            [*command, "-d", str(room)], check=False, capture_output=True, text=True
        )
        if done.returncode:
            message = f"no source distribution: {done.stderr.strip()[-300:]}"
            if os.environ.get("CI") or os.environ.get("TREEWARD_REQUIRE_ALL_TESTS"):
                pytest.fail(message)
            pytest.skip(message)
        with tarfile.open(room / f"{unpacked.name}.tar.gz") as tar:
            tar.extractall(room, filter="data")
    return unpacked / "test" / "data"


@pytest.fixture(scope="session")
def book() -> PhraseBook:
    return PhraseBook.load()


@pytest.fixture(scope="session")
def engine(book: PhraseBook) -> Recognizer:
    return open_recognizer(book, model=EMBEDDED)


def as_samples(path: Path) -> NDArray[np.float32]:
    if path.suffix == ".raw":  # headerless, 16 kHz, 16 bit
        return (np.fromfile(path, "<i2") / 32768).astype(np.float32)
    return np.concatenate([block.samples for block in read_blocks(path)])


def as_blocks(*paths: Path) -> Iterator[Block]:
    """Give recordings one after the other, with half a second between."""
    at = 0
    for path in paths:
        for samples in (as_samples(path), np.zeros(SAMPLE_RATE_HZ // 2, np.float32)):
            yield Block(start_s=at / SAMPLE_RATE_HZ, samples=samples)
            at += len(samples)


@pytest.mark.parametrize(
    ("name", "words"),
    [("two_cities.wav", ("best of times", "worst of times")), ("beckett.wav", ())],
)
def test_a_book_read_aloud_makes_no_notes(
    book: PhraseBook, engine: Recognizer, name: str, words: tuple[str, ...]
) -> None:
    path = file_in_package("moonshine_voice", f"assets/{name}")
    if path is None:
        pytest.skip(f"moonshine-voice carries no {name} here")
    heard = list(transcribe(as_blocks(path), engine))
    assert any(utterance.words for utterance in heard)
    assert parse_notes(heard, book) == []
    text = " ".join(utterance.text for utterance in heard).lower()
    for said in words:
        assert said in text


def test_digits_without_an_anchor_are_no_note(
    speech_data: Path, book: PhraseBook, engine: Recognizer
) -> None:
    blocks = as_blocks(
        speech_data / "tidigits" / "dhd.2934z.raw", speech_data / "numbers.raw"
    )
    heard = list(transcribe(blocks, engine))
    assert any(utterance.words for utterance in heard)
    assert parse_notes(heard, book) == []


def test_read_prose_makes_no_notes(
    speech_data: Path, book: PhraseBook, engine: Recognizer
) -> None:
    paths = sorted((speech_data / "librivox").glob("*.wav"))
    assert len(paths) == 5
    heard = list(transcribe(as_blocks(*paths), engine))
    assert parse_notes(heard, book) == []
    text = " ".join(utterance.text for utterance in heard).lower()
    # librivox/transcription: words that are plainly read were heard as such
    for word in ("consider", "rather", "married", "made"):
        assert word in text


def test_playing_cards_and_robot_commands_make_no_notes(
    speech_data: Path, book: PhraseBook, engine: Recognizer
) -> None:
    paths = [
        *sorted((speech_data / "cards").glob("*.wav")),
        speech_data / "goforward.raw",
        speech_data / "something.raw",
    ]
    heard = list(transcribe(as_blocks(*paths), engine))
    text = " ".join(utterance.text for utterance in heard).lower()
    assert "go forward" in text
    assert parse_notes(heard, book) == []
