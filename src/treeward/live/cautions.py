"""What everybody is told before the first time at the water's edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

SEEN_NAME = "cautions-read.txt"

_TEXT = """
Stings can kill. If you have ever reacted badly to one, do not work alone, carry what
your doctor gave you, and know the emergency number and where you are. Swelling away
from the sting, trouble breathing, dizziness: call at once.

This is not medical advice.

Ask the landowner or manager before you enter, and before you place a station.

A colony you find may be somebody's hive, or protected. Finding it gives no right to
open, move, take or harm it; removal belongs to qualified people, under the law of the
place. Do not publish where it is without consent.

Do not climb, and do not cut trees. Watch your footing, the water and the weather.

Leave no syrup open: it sets bees robbing and spreads disease. Take it home.
"""
CAUTIONS = tuple(" ".join(part.split()) for part in _TEXT.split("\n\n"))


def cautions_due(hunt_dir: Path) -> bool:
    """Return whether this hunt has not shown the cautions yet."""
    return not (hunt_dir / ".treeward" / SEEN_NAME).exists()


def cautions_shown(hunt_dir: Path) -> None:
    """Remember that they were shown."""
    folder = hunt_dir / ".treeward"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / SEEN_NAME).write_text("\n".join(CAUTIONS) + "\n", encoding="utf-8")
