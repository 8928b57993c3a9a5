"""treeward practice, run with the real engine on what a synthesiser says."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from treeward.cli.listen import practice_command
from treeward.errors import NotesError, SoundError, SpeechError, TreewardError
from treeward.language.phrasebook import PhraseBook
from treeward.live import answer
from treeward.simulate.sound import retune
from treeward.speech import recognizer
from treeward.speech.recognizer import EMBEDDED, open_recognizer

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from treeward.speech.recognizer import Recognizer

RATE_HZ = 16_000
SAID = (
    "yellow landed",
    "heading two seven zero",
    "white away",
    "clock ten sixteen",
    "orange gone",
    "station one",
    "bearing one four three",
    "wind light",
)
HUNT_TOML = '[hunt]\nname = "Marl Hollow"\ntimezone = "Europe/London"\n'


def practice(cwd: Path, *arguments: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "treeward", "practice", *arguments],
        capture_output=True,
        cwd=cwd,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", "TERM": "dumb"},
        check=False,
        timeout=120,
        stdin=subprocess.DEVNULL,
    )


def write_prompts(folder: Path, texts: Sequence[str]) -> str:
    (folder / "prompts.txt").write_text("\n".join(texts) + "\n", "utf-8")
    return "prompts.txt"


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The phrases of SAID, a second apart, said by a synthesiser in faint noise."""
    if not (shutil.which("espeak-ng") or shutil.which("espeak")):
        pytest.skip("espeak-ng is not installed (apt install espeak-ng)")
    voice = answer.find_synthesiser()
    assert voice is not None
    pause = np.zeros(RATE_HZ)
    parts = [pause]
    for text in SAID:
        said = voice.say(text)
        assert said is not None
        samples, rate_hz = said
        parts += [0.4 * retune(samples.astype(np.float64), rate_hz, RATE_HZ), pause]
    sound = np.concatenate(parts)
    sound += 0.001 * np.random.default_rng(3).standard_normal(len(sound))
    path = tmp_path_factory.mktemp("spoken") / "spoken.wav"
    soundfile.write(path, sound, RATE_HZ)
    return path


@pytest.mark.slow
@pytest.mark.model
def test_a_recording_of_the_prompts_is_scored(spoken: Path, tmp_path: Path) -> None:
    # One was not said, and one is asked for in words that were not said.
    asked = [*SAID[:2], "blue back", *SAID[2:7], "wind strong"]
    prompts = write_prompts(tmp_path, asked)

    run = practice(tmp_path, "--prompts", prompts, "--input", str(spoken), "--json")

    assert run.returncode == 0, run.stderr
    result = json.loads(run.stdout)
    states = {each["prompt"]: each["state"] for each in result["attempts"]}
    assert list(states) == asked
    assert states["blue back"] == "missed"
    assert states["wind strong"] == "wrong"
    assert sum(states[text] in {"right", "flagged"} for text in SAID[:7]) >= 6
    assert result["engine"] == "neural"
    assert -35 < result["sound"]["speech_dbfs"] < -10
    assert result["sound"]["faults"] == []
    sensitivity = result["sensitivity"]
    assert sensitivity["wrong_flagged"] >= 0.9 * sensitivity["wrong"] > 0
    (wind,) = (w for w in result["words"] if w["words"] == "strong")
    assert wind["instead"] == {"light": 1}


@pytest.fixture(scope="module")
def engine() -> Recognizer:
    """The engine opened once for the tests that share a process."""
    return open_recognizer(PhraseBook.load(), model=EMBEDDED)


def invoke(*arguments: str, **options: Any) -> str:
    result = CliRunner().invoke(practice_command, list(arguments), **options)
    if isinstance(result.exception, TreewardError):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.mark.slow
@pytest.mark.model
def test_sound_on_standard_input_is_listened_to_prompt_by_prompt(
    spoken: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    engine: Recognizer,
) -> None:
    monkeypatch.setattr(recognizer, "open_recognizer", lambda *_, **__: engine)
    (tmp_path / "hunt.toml").write_text(
        HUNT_TOML + "[speech]\nflag_below = 0.25\n", "utf-8"
    )
    prompts = str(tmp_path / write_prompts(tmp_path, SAID))

    text = invoke(
        "--hunt", str(tmp_path), "--prompts", prompts, "--input", "-",
        input=spoken.read_bytes(),
    )  # fmt: skip

    assert "  1/8   Say:  yellow landed" in text
    assert "  8/8   Say:  wind light" in text
    assert int(text.partition(" of 8 prompts")[0].split()[-1]) >= 7
    assert "rows are flagged below a confidence of 0.25" in text
    assert "Words to avoid: none" in text


@pytest.mark.slow
@pytest.mark.model
def test_a_recording_without_a_voice_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, engine: Recognizer
) -> None:
    monkeypatch.setattr(recognizer, "open_recognizer", lambda *_, **__: engine)
    noise = 0.0003 * np.random.default_rng(4).standard_normal(3 * RATE_HZ)
    soundfile.write(tmp_path / "quiet.wav", noise, RATE_HZ)

    with pytest.raises(SoundError, match=r"quiet\.wav: nobody is heard speaking"):
        invoke("--input", str(tmp_path / "quiet.wav"))


def test_prompts_can_be_printed_for_a_recorder(tmp_path: Path) -> None:
    (tmp_path / "hunt.toml").write_text(HUNT_TOML + 'marks = ["yellow"]\n', "utf-8")
    asked = ("--hunt", str(tmp_path), "--list", "--count", "8")

    lines = invoke(*asked).splitlines()

    assert len(lines) == 8
    assert lines[0] == "yellow back"
    assert json.loads(invoke(*asked, "--json")) == lines


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--prompts", "prompts.txt", "--count", "3"), "exclude each other"),
        (("--device", "1", "--input", "-"), "exclude each other"),
        (("--read-aloud", "--input", "x.wav"), "--read-aloud goes with a microphone"),
        (("--catch", "0"), "--catch"),
    ],
)
def test_options_that_do_not_fit_are_usage_errors(
    arguments: tuple[str, ...], message: str
) -> None:
    result = CliRunner().invoke(practice_command, list(arguments))

    assert result.exit_code == 2
    assert message in result.output


def test_faults_of_the_input_are_one_line(tmp_path: Path) -> None:
    prompts = str(tmp_path / write_prompts(tmp_path, ["yellow back", "nice weather"]))

    with pytest.raises(NotesError, match="line 2: 'nice weather' is no note") as first:
        invoke("--prompts", prompts)
    with pytest.raises(SoundError, match=r"missing\.wav") as second:
        invoke("--input", str(tmp_path / "missing.wav"))

    assert "\n" not in first.value.line() + second.value.line()


def test_without_a_voice_to_read_aloud_the_way_out_is_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(recognizer, "open_recognizer", lambda *_, **__: None)
    monkeypatch.setattr(answer, "find_synthesiser", lambda: None)

    with pytest.raises(SpeechError, match=r"no speech synthesiser.*espeak-ng"):
        invoke("--read-aloud")
