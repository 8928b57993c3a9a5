"""What a typed or heard phrase says, as cells of a row."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, Need

if TYPE_CHECKING:
    from treeward.language.kinds import EventKind
    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.events import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedReading:
    """One way to read a note."""

    event: EventKind
    mark: str = ""
    value: str = ""

    def cells(self) -> dict[str, str]:
        """Return the three cells that it fills."""
        return {"event": self.event.value, "mark": self.mark, "value": self.value}


class PhraseReader:
    """Reads phrases by a hunt's phrase book."""

    def __init__(self, book: PhraseBook) -> None:
        self._book = book
        self._cached = lru_cache(maxsize=4096)(self._parse)

    def read(self, text: str) -> TypedReading | None:
        """Return what "yellow away" or "bearing 210" says; None if nothing, or two."""
        return self._cached(" ".join(text.lower().split())[:200])

    def alternatives(
        self, event: Event
    ) -> list[tuple[str, float, TypedReading | None]]:
        """Return the other readings of a row: words, confidence, and cells if any."""
        found = []
        for other in event.alternatives:
            spelt = f"{event.kind.value} {event.mark} " if event.mark else ""
            if spelt and other.text.startswith(spelt):
                value = other.text.removeprefix(spelt)
                reading: TypedReading | None = TypedReading(
                    event=event.kind, mark=event.mark, value=value
                )
            else:
                reading = self.read(other.text)
            same = reading is not None and reading.cells() == {
                "event": event.kind.value,
                "mark": event.mark,
                "value": event.value,
            }
            if not same:
                found.append((other.text, other.confidence, reading))
        return found

    def _parse(self, text: str) -> TypedReading | None:
        from treeward.notes.typed import parse_typed

        events = parse_typed(text, self._book)
        if len(events) != 1:
            return None
        event = events[0]
        if KINDS[event.kind].value is Need.MUST and not event.value:
            return None
        return TypedReading(event=event.kind, mark=event.mark, value=event.value)
