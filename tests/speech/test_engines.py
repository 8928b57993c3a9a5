"""Which engine is used, and what is said where none can be."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from treeward.errors import SpeechError
from treeward.language.phrasebook import PhraseBook
from treeward.speech import recognizer

if TYPE_CHECKING:
    from pathlib import Path

HUNT_TOML = '[hunt]\nname = "Marl Hollow"\ntimezone = "Europe/London"\n'


@pytest.fixture(autouse=True)
def nowhere_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let no model of this machine be found by accident."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    monkeypatch.delenv("VOSK_MODEL_PATH", raising=False)


@pytest.fixture
def embedded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder in place of the model that comes with Treeward."""
    folder = tmp_path / "package" / "tiny-en"
    folder.mkdir(parents=True)
    (folder / recognizer.ENCODER).touch()
    monkeypatch.setattr(recognizer, "embedded_folder", lambda: folder)
    return folder


def vosk_model(folder: Path) -> None:
    (folder / "am").mkdir(parents=True)
    (folder / "am" / "final.mdl").touch()


def test_the_embedded_engine_comes_first(embedded: Path, tmp_path: Path) -> None:
    vosk_model(tmp_path / "models" / "vosk-model-small-en-us-0.15")

    for asked in (None, recognizer.EMBEDDED):
        chosen = recognizer.choose(asked, tmp_path)
        assert (chosen.engine, chosen.path) == ("neural", embedded)
        assert chosen.instead == ""


@pytest.mark.usefixtures("embedded")
def test_vosk_is_used_where_it_is_asked_for(tmp_path: Path) -> None:
    vosk_model(tmp_path / "models" / "vosk-model-small-en-us-0.15")

    chosen = recognizer.choose("vosk-model-small-en-us-0.15", tmp_path)

    assert chosen.engine == "vosk"
    assert chosen.instead == ""


def test_a_missing_package_is_one_line(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(recognizer, "embedded_folder", lambda: None)

    with pytest.raises(SpeechError, match="is not installed") as caught:
        recognizer.open_recognizer(PhraseBook.load(), hunt_dir=tmp_path)

    assert recognizer.mend() in caught.value.line()
    assert "\n" not in caught.value.line()


@pytest.mark.usefixtures("embedded")
def test_a_folder_of_the_same_family_is_taken_by_option_and_by_hunt_toml(
    tmp_path: Path,
) -> None:
    own = tmp_path / "hunt" / "own-model"
    own.mkdir(parents=True)
    (own / recognizer.ENCODER).touch()
    hunt_toml = tmp_path / "hunt" / "hunt.toml"
    hunt_toml.write_text(HUNT_TOML + '[speech]\nmodel = "own-model"\n', "utf-8")

    by_option = recognizer.choose(str(own), None)
    by_hunt = recognizer.choose(None, tmp_path / "hunt")
    over = recognizer.choose(recognizer.EMBEDDED, tmp_path / "hunt")

    for chosen in (by_option, by_hunt):
        assert (chosen.engine, chosen.model) == ("neural", "own-model")
    assert over.model == recognizer.EMBEDDED


def test_an_unknown_model_is_told_with_those_there_are(tmp_path: Path) -> None:
    vosk_model(tmp_path / "models" / "vosk-model-small-en-us-0.15")

    with pytest.raises(SpeechError, match="no speech model 'parrot'") as caught:
        recognizer.choose("parrot", tmp_path)

    assert "tiny-en, vosk-model-small-en-us-0.15" in caught.value.line()


@pytest.mark.model
@pytest.mark.parametrize(
    "name", ["encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin"]
)
@pytest.mark.parametrize("missing", [False, True])
def test_a_spoilt_or_missing_file_is_named_in_one_line(
    tmp_path: Path, name: str, missing: bool
) -> None:
    real = recognizer.embedded_folder()
    if real is None:
        pytest.skip("moonshine-voice is not installed")
    own = tmp_path / "own"
    shutil.copytree(real, own)
    (own / name).unlink()
    if not missing:
        (own / name).write_bytes(b"\xff\xffno such thing")
    (own / recognizer.ENCODER).touch()

    with pytest.raises(SpeechError) as caught:
        recognizer.open_recognizer(PhraseBook.load(), model=str(own))

    line = caught.value.line()
    assert name in line
    assert "\n" not in line


def test_a_machine_without_a_wheel_is_told_of_vosk(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert "moonshine-voice" in recognizer.mend()
    monkeypatch.setattr("platform.machine", lambda: "ppc64")
    assert "treeward models --get vosk" in recognizer.mend()
    assert "moonshine" not in recognizer.mend()
