"""treeward doctor says how to mend what does not work."""

from __future__ import annotations

from typing import TYPE_CHECKING

from click.testing import CliRunner

from treeward.cli.doctor import doctor_command
from treeward.errors import SpeechError
from treeward.speech import recognizer
from treeward.speech.recognizer import mend

if TYPE_CHECKING:
    import pytest


def test_an_engine_that_does_not_open_fails_with_its_mend(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise SpeechError("no such file")

    monkeypatch.setattr("treeward.speech.recognizer.open_recognizer", refuse)

    done = CliRunner().invoke(doctor_command, [])

    assert done.exit_code == 1
    assert "cannot be opened (no such file)" in done.output
    assert mend() in done.output


def test_a_missing_voice_activity_network_fails_with_its_mend(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    recognizer._network.cache_clear()
    monkeypatch.setattr(recognizer, "file_in_package", lambda *_: None)

    done = CliRunner().invoke(doctor_command, [])

    assert done.exit_code == 1
    assert "BROKEN  voice activity: the voice activity network is not" in done.output
    assert recognizer.MEND in done.output
