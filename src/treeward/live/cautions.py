"""The cautions are shown once in each hunt, before the first listening."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.cautions import CAUTIONS
from treeward.files import write_text

if TYPE_CHECKING:
    from pathlib import Path

SEEN_NAME = "cautions-read.txt"


def cautions_due(hunt_dir: Path) -> bool:
    """Return whether this hunt has not shown the cautions yet."""
    return not (hunt_dir / ".treeward" / SEEN_NAME).exists()


def cautions_shown(hunt_dir: Path) -> None:
    """Remember that they were shown."""
    folder = hunt_dir / ".treeward"
    text = "".join(f"{head}. {body}\n" for head, body in CAUTIONS)
    write_text(folder / SEEN_NAME, text, within=hunt_dir)
