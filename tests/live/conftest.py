"""What tests of listening share: a hunt folder, and ears that need no model."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))  # for `live.stand_in`

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
