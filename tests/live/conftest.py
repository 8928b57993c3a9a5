"""What tests of listening share: a hunt folder, and ears that need no model."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from loudness import IN_USE, LoudActivity

if TYPE_CHECKING:
    from pathlib import Path

HUNT_TOML = """
[hunt]
name = "Test Moor"
timezone = "Europe/London"
[[station]]
id = "1"
position = "52.301200, -3.610400"
"""


@pytest.fixture
def hunt_dir(tmp_path: Path) -> Path:
    """A hunt with one station."""
    folder = tmp_path / "moor"
    folder.mkdir()
    (folder / "hunt.toml").write_text(HUNT_TOML, encoding="utf-8")
    return folder


@pytest.fixture(autouse=True)
def beeps_are_voices(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut sound where beeps are, which the network takes for no voices."""
    monkeypatch.setattr(IN_USE, LoudActivity)
