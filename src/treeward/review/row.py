"""A row of review.csv: an event, what the person said of it, and its cells as text."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, cast

from treeward.language.kinds import ALSO_WRITTEN, EventKind
from treeward.notes.events import Event
from treeward.notes.flags import sentences_of
from treeward.speech.utterances import Alternative

from .clock import format_clock

if TYPE_CHECKING:
    from treeward.notes.events import Event

Decision = Literal["", "keep", "drop"]

_SPOTS = frozenset({"thorax", "abdomen"})
# What a person may change in a row.
PERSON_COLUMNS = ("clock", "event", "mark", "value", "decision", "remark")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewRow:
    """One row of review.csv: an event, and what the person said of it.

    `event.row` is the row's name. `extra` holds columns that the person added, by
    name; they are written back behind the others. `line` is the line in the file
    that was read, for messages.
    """

    event: Event
    decision: Decision = ""
    remark: str = ""
    extra: tuple[tuple[str, str], ...] = ()
    line: int | None = field(default=None, compare=False)

    @property
    def name(self) -> str:
        """The row's name, stable across re-runs."""
        return self.event.row


def cells_of(row: ReviewRow) -> dict[str, str]:
    """Return a row as the text of its cells, by column."""
    event = row.event
    return {
        "row": event.row,
        "recording": event.recording,
        "start_s": format_seconds(event.start_s),
        "end_s": format_seconds(event.end_s),
        "clock": "" if event.clock is None else format_clock(event.clock),
        "event": event.kind.value,
        "mark": event.mark,
        "value": event.value,
        "confidence": f"{event.confidence:.2f}",
        "heard": event.heard,
        "alternatives": format_alternatives(event.alternatives),
        "flag": join_texts(sentences_of(event.flags), ";"),
        "decision": row.decision,
        "remark": row.remark,
    } | dict(row.extra)


def normal_mark(text: str) -> str:
    """Write a mark as events hold it: "Blue / White" is "blue-white".

    One or two colours joined by "-", then optionally a spot.
    """
    plain = re.sub(r"\s*[-/+]\s*", "-", " ".join(text.lower().split()))
    words = plain.split(" ")
    if len(words) > 1 and "-" not in words[0] and words[1] not in _SPOTS:
        plain = " ".join([f"{words[0]}-{words[1]}", *words[2:]])
    return plain


def decision_from(text: str) -> Decision:
    """Read a decision; raises ValueError for another word."""
    plain = text.strip().lower()
    if plain not in {"", "keep", "drop"}:
        raise ValueError(plain)
    return cast("Decision", plain)


def kind_from(text: str) -> EventKind:
    """Read an event's kind in any capitals, or as people write it ("gone", "landed").

    Raises
    ------
    ValueError
        The word is no kind.
    """
    plain = text.strip().lower()
    return ALSO_WRITTEN.get(plain) or EventKind(plain)


_ALTERNATIVE = re.compile(
    r"^(?P<text>.*?)\s*\((?P<confidence>[01](?:[.,]\d+)?)\)$", re.DOTALL
)


class CellError(ValueError):
    """A cell that cannot be read; says what is wrong, and what to write."""

    def __init__(self, what: str, mend: str) -> None:
        self.what = what
        self.mend = mend
        super().__init__(what)


def parse_number(text: str, *, decimal_comma: bool) -> float | None:
    """Read a number as a spreadsheet wrote it; None for an empty cell.

    "12.5", "12,5", "1.234,5" and "1,234.5"; a comma alone is a decimal comma, for
    Treeward writes no thousands.
    """
    plain = text.strip().replace("\u00a0", "").replace("\u202f", "").replace(" ", "")
    if not plain:
        return None
    if "," in plain and "." in plain:
        drop = "." if plain.rindex(",") > plain.rindex(".") else ","
        plain = plain.replace(drop, "")
    plain = plain.replace(",", ".")
    if plain.endswith("%"):
        plain = f"{plain[:-1]}e-2"
    try:
        number = float(plain)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        example = "12,5" if decimal_comma else "12.5"
        raise CellError(f"{text.strip()!r} is no number", f"Write it as {example}.")
    return number


def format_seconds(seconds: float | None) -> str:
    """Write seconds to the hundredth; "" where there are none."""
    return "" if seconds is None else f"{seconds:.2f}"


def join_texts(texts: tuple[str, ...], separator: str) -> str:
    """Put several texts into one cell, so that `split_texts` finds them again."""
    escaped = (
        t.replace("\\", "\\\\").replace(separator, f"\\{separator}") for t in texts
    )
    return f"{separator} ".join(escaped)


def split_texts(cell: str, separator: str) -> tuple[str, ...]:
    """Take the texts of a cell apart again; an empty cell holds none."""
    parts = re.findall(rf"((?:\\.|[^\\{re.escape(separator)}]|\\$)+)", cell, re.DOTALL)
    texts = (re.sub(r"\\(.)", r"\1", part, flags=re.DOTALL).strip() for part in parts)
    return tuple(text for text in texts if text)


def format_alternatives(alternatives: tuple[Alternative, ...]) -> str:
    """Write "yellow back (0.31); yellow mark (0.07)"."""
    return join_texts(
        tuple(f"{a.text} ({a.confidence:.2f})" for a in alternatives), ";"
    )


def parse_alternatives(cell: str) -> tuple[Alternative, ...]:
    """Read alternatives; one whose confidence was lost has confidence 0."""
    found: list[Alternative] = []
    for text in split_texts(cell, ";"):
        match = _ALTERNATIVE.match(text)
        if match is None:
            found.append(Alternative(text=text, confidence=0.0))
        else:
            confidence = float(match["confidence"].replace(",", "."))
            found.append(
                Alternative(text=match["text"], confidence=min(1.0, confidence))
            )
    return tuple(found)
