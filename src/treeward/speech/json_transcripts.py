"""JSON transcripts: word lists, Vosk results and whisper-style segments."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any, cast

from treeward.audio.blocks import LONGEST_S
from treeward.errors import TranscriptError

from .utterances import (
    Utterance,
    Word,
    WordSource,
    in_utterances,
    spread,
    without_controls,
)

if TYPE_CHECKING:
    from pathlib import Path

_SHAPES = (
    'Give a list of {"word", "start", "end"}, Vosk\'s {"result": [...]}, or'
    ' {"segments": [{"start", "end", "text"}]}'
)
_CONFIDENCE_KEYS = ("conf", "confidence", "probability", "score")


class _Reader:
    def __init__(self, path: Path) -> None:
        self.path = path

    def fault(self, what: str, at: str) -> TranscriptError:
        return TranscriptError(what, where=f"{self.path} {at}", mend=_SHAPES)

    def number(self, entry: dict[str, Any], key: str, at: str) -> float:
        value = entry.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fault(f"{key} is {_shown(value)}, not a number", at)
        if not -LONGEST_S < value < LONGEST_S or not math.isfinite(value):
            raise self.fault(f"{key} is {_shown(value)} seconds", at)
        return float(value)

    def times(self, entry: dict[str, Any], at: str) -> tuple[float, float]:
        start_s = self.number(entry, "start", at)
        end_s = self.number(entry, "end", at)
        if start_s < 0 or end_s < start_s:
            raise self.fault(f"starts at {start_s:g} s and ends at {end_s:g} s", at)
        return start_s, end_s

    def word(self, entry: object, at: str) -> list[Word]:
        if not isinstance(entry, dict):
            raise self.fault(f"is {_shown(entry)}, not a word with its times", at)
        fields = cast("dict[str, Any]", entry)
        text = fields.get("word", fields.get("text"))
        if not isinstance(text, str):
            raise self.fault("has no word", at)
        start_s, end_s = self.times(fields, at)
        confidence = 1.0
        for key in _CONFIDENCE_KEYS:
            if key in fields and fields[key] is not None:
                confidence = min(max(self.number(fields, key, at), 0.0), 1.0)
                break
        texts = without_controls(text).lower().split()
        if not texts:
            return []
        return [
            Word(
                text=" ".join(texts),
                start_s=start_s,
                end_s=end_s,
                confidence=confidence,
                source=WordSource.TEXT,
            )
        ]

    def words(self, entries: object, at: str) -> list[Word]:
        if not isinstance(entries, list):
            raise self.fault("is no list of words", at)
        found: list[Word] = []
        for number, entry in enumerate(entries, start=1):
            found += self.word(entry, f"{at} word {number}".strip())
        return found

    def segment(self, entry: object, at: str) -> list[Utterance]:
        if not isinstance(entry, dict):
            raise self.fault(f"is {_shown(entry)}, not a segment", at)
        fields = cast("dict[str, Any]", entry)
        if fields.get("words"):
            return in_utterances(self.words(fields["words"], at))
        if isinstance(fields.get("offsets"), dict):  # whisper.cpp, milliseconds
            offsets = fields["offsets"]
            fields = {
                **fields,
                "start": self.number(offsets, "from", at) / 1000.0,
                "end": self.number(offsets, "to", at) / 1000.0,
            }
        text = fields.get("text")
        if not isinstance(text, str):
            raise self.fault("has no text", at)
        start_s, end_s = self.times(fields, at)
        words = spread(without_controls(text).split(), start_s, end_s)
        if not words:
            return []
        return [Utterance(words=tuple(words), start_s=start_s, end_s=end_s)]

    def value(self, data: object, at: str) -> list[Utterance]:
        if isinstance(data, list):
            return self._list(data, at)
        if not isinstance(data, dict):
            raise self.fault(f"holds {_shown(data)}", at)
        fields = cast("dict[str, Any]", data)
        for key in ("segments", "transcription"):
            if key in fields:
                return self._segments(fields[key], f"{at} {key}".strip())
        for key in ("result", "words"):
            if key in fields:
                return in_utterances(self.words(fields[key], at))
        if isinstance(fields.get("results"), list):
            return self._list(fields["results"], at)
        if set(fields) <= {"text", "partial"}:
            return []  # Vosk writes these where nothing was said
        raise self.fault("holds neither words nor segments", at)

    def _segments(self, entries: object, at: str) -> list[Utterance]:
        if not isinstance(entries, list):
            raise self.fault("is no list", at)
        found: list[Utterance] = []
        for number, entry in enumerate(entries, start=1):
            found += self.segment(entry, f"{at} segment {number}")
        return found

    def _list(self, entries: list[Any], at: str) -> list[Utterance]:
        words: list[Word] = []
        found: list[Utterance] = []
        for number, entry in enumerate(entries, start=1):
            here = f"{at} entry {number}"
            if isinstance(entry, dict) and "word" in entry:
                words += self.word(entry, here)
            elif isinstance(entry, dict) and "start" in entry and "text" in entry:
                found += self.segment(entry, here)
            elif isinstance(entry, dict):
                found += self.value(entry, here)
            else:
                raise self.fault(f"is {_shown(entry)}", here)
        return found + in_utterances(words)


def _shown(value: object) -> str:
    text = repr(value) if not isinstance(value, int) or abs(value) < 10**12 else "huge"
    return text if len(text) <= 40 else f"{text[:37]}..."


def read_json(path: Path, text: str) -> list[Utterance]:
    """Read a JSON transcript, or one JSON value a line.

    Raises
    ------
    TranscriptError
        Not JSON, or of no known shape; the message names the line, and the word or
        the segment by its number.
    """
    reader = _Reader(path)
    try:
        return _found(path, reader.value(json.loads(text), "line 1"))
    except json.JSONDecodeError as error:
        rows = enumerate(text.split("\n"), start=1)
        lines = [(number, row) for number, row in rows if row.strip()]
        if not _whole(lines[0][1]):
            raise _not_json(path, error.lineno, error.msg) from error
    except (RecursionError, ValueError) as error:
        raise _not_json(path, 1, "nested too deeply, or a number too long") from error
    found: list[Utterance] = []
    for number, line in lines:
        try:
            found += reader.value(json.loads(line), f"line {number}")
        except json.JSONDecodeError as error:
            raise _not_json(path, number, error.msg) from error
        except (RecursionError, ValueError) as error:
            raise _not_json(path, number, "nested too deeply") from error
    return _found(path, found)


def _whole(line: str) -> bool:
    """Tell whether a line is a JSON value by itself."""
    try:
        json.loads(line)
    except (RecursionError, ValueError):
        return False
    return True


def _found(path: Path, found: list[Utterance]) -> list[Utterance]:
    if not found:
        raise TranscriptError("holds no words", where=f"{path} line 1", mend=_SHAPES)
    return found


def _not_json(path: Path, line: int, what: str) -> TranscriptError:
    return TranscriptError(
        f"is not JSON: {what}", where=f"{path} line {line}", mend=_SHAPES
    )
