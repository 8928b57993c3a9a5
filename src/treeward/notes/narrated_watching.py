"""Notes about the watching itself: pause, resume, and taking a note back."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from . import sayings
from .sentences import plain_phrase
from .told import Told

if TYPE_CHECKING:
    from collections.abc import Mapping

    from treeward.language.phrasebook import PhraseBook

_OFF = r"(?:recorder|recording|watching|watch|tape|microphone)"
_WILL = r"(?:(?:i|we|will|am|are|going to|let me|let us|have|gonna) )*"
_PAUSES = re.compile(
    rf"{_WILL}(?:stop|stopping|stopped|pause|pausing|paused|end|ending|switch off"
    rf"|turn off|switching off|turning off)(?: the| this| my)? {_OFF}"
    rf"(?: off| here| there)? "
    rf"|(?:nobody|no one) (?:is )?watching |{_WILL}(?:take|taking|having) a break "
    rf"|{_WILL}pausing (?:here|for) "
)
_RESUMES = re.compile(
    rf"(?:(?:we|i|am|are|back|the|is|have|okay) )*"
    rf"(?:{_OFF}|started|starting|resuming|resumed)(?: (?:the|this|my|{_OFF}|is|on))*"
    rf" (?:again|once more|resumed|resuming|back on) "
    r"|(?:and )?back to (?:the )?watching |(?:and )?back on watch "
    rf"|(?:resuming|resumed)(?: the| this)? {_OFF} "
)
_SCRATCHES = re.compile(
    r"(?:(?:i|will|please) )*(?:scratch|forget|ignore|strike|delete|cancel|disregard) "
    r"(?:that|the last|that last|what i said)(?: (?:last )?(?:one|note|bit))? "
    r"|(?:i )?take that back |(?:correction|my mistake) "
)


class Watching:
    """Finds commands and their everyday wordings in the text of sentences."""

    def __init__(self, book: PhraseBook) -> None:
        self._commands: Mapping[str, EventKind] = {
            f"{plain_phrase(way)} ": EventKind(kind)
            for kind, ways in book.commands.items()
            for way in ways
        }

    def at(self, text: str, place: int) -> Told | None:
        """Find a note about the watching that starts at `place`."""
        for way, kind in self._commands.items():
            if text.startswith(way, place):
                end = place + len(way)
                if kind is EventKind.SCRATCH or sayings.STOP.match(text, end):
                    return Told(kind=kind, start=place, end=end)
        for pattern, kind in (
            (_SCRATCHES, EventKind.SCRATCH),
            (_RESUMES, EventKind.RESUME),
            (_PAUSES, EventKind.PAUSE),
        ):
            match = pattern.match(text, place)
            if match:
                return Told(kind=kind, start=place, end=match.end())
        return None
