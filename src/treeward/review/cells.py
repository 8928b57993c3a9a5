"""The cells of a review file that are neither plain text nor a clock."""

from __future__ import annotations

import math
import re

from treeward.speech.utterances import Alternative

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
