"""What is compared: Treeward's recognizer, and the same with the marks named.

"marks named" is Treeward where hunt.toml names the marks that are painted, as README
advises: here those that the recording's notes speak of.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Protocol

from treeward.audio.reader import read_blocks
from treeward.files import phrasebook_path
from treeward.hunt_tables import DOUBT_BELOW
from treeward.language.phrasebook import PhraseBook
from treeward.notes.parser import parse_notes
from treeward.notes.second_look import read_again
from treeward.speech.recognizer import open_recognizer, transcribe

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.notes.events import Event

SYSTEMS = ("treeward", "marks named")


class System(Protocol):
    """A way from sound to events."""

    def get_ready(self, path: Path) -> None:
        """Do what is done before a recording is heard, and not timed."""

    def hear(self, path: Path) -> list[Event]:
        """Return the events of one recording."""


class Treeward:
    """The recognizer and parser as they are used by `treeward transcribe`."""

    def __init__(self) -> None:
        self.book = PhraseBook.load(phrasebook_path())
        self.engine = open_recognizer(self.book)

    def get_ready(self, path: Path) -> None:
        """Open the recognizer anew, as each recording is by another speaker."""
        del path
        self.engine = open_recognizer(self.book)

    def hear(self, path: Path) -> list[Event]:
        """Return the events of one recording."""
        utterances = list(transcribe(read_blocks(path), self.engine))
        events = parse_notes(utterances, self.book)
        return read_again(events, flag_below=DOUBT_BELOW)


class MarksNamed(Treeward):
    """The same in a hunt whose hunt.toml names its marks."""

    def get_ready(self, path: Path) -> None:
        """Listen for the marks of this recording only."""
        truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        marks = {each["mark"] for each in truth["events"]} - {""}
        self.book = PhraseBook.load(phrasebook_path()).only(sorted(marks))
        self.engine = open_recognizer(self.book)


def open_system(name: str) -> System:
    """Open one of SYSTEMS."""
    return MarksNamed() if name == "marks named" else Treeward()
