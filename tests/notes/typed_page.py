"""Typed pages for tests: the phrase book, the day, and notes in words."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from treeward.language.phrasebook import PhraseBook

if TYPE_CHECKING:
    from treeward.notes.events import Event

ZONE = ZoneInfo("Europe/London")
BOOK = PhraseBook.load()
DAY = date(2026, 7, 14)


def told(event: Event, *, doubt: bool = False) -> str:
    """Give a note as "9:05 away yellow"; with `doubt`, one in doubt ends in "?"."""
    clock = f"{event.clock:%-H:%M}" if event.clock else ""
    unsure = "?" if doubt and event.doubtful else ""
    parts = (clock, event.kind, event.mark, event.value, unsure)
    return " ".join(part for part in parts if part)
