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
