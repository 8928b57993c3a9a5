"""What was heard in a recording, kept so that a stopped run can go on.

One file of JSON lines for each recording, in the hunt's `.treeward/heard/`: a line
that says what heard it, then a line for each utterance as soon as it is known, then
`{"done": true}`. A line cut short by a crash is dropped when the file is read.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from treeward.atomic import write_text
from treeward.speech.records import Alternative, Utterance, Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardBy:
    """What decides whether an earlier hearing is still good."""

    engine: str
    model: str
    phrase_book: str  # digest
    size_bytes: int
    modified_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """An earlier hearing: the utterances so far, and how far it got."""

    by: HeardBy | None
    utterances: tuple[Utterance, ...]
    reached_s: float
    done: bool
    remarks: tuple[str, ...] = ()  # "the file is cut off after 12:30"


class HeardFile:
    """The file that holds one recording's hearing."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def read(self) -> Heard:
        """Return what is kept; nothing where there is no file or it is unreadable."""
        by: HeardBy | None = None
        utterances: list[Utterance] = []
        remarks: list[str] = []
        reached_s, done = 0.0, False
        for entry in self._entries():
            if "by" in entry:
                by = HeardBy(**entry["by"])
            elif "words" in entry:
                utterances.append(_utterance_from(entry))
            elif "remark" in entry:
                remarks.append(str(entry["remark"]))
            reached_s = max(reached_s, float(entry.get("reached_s", 0.0)))
            done = done or bool(entry.get("done"))
        return Heard(
            by=by,
            utterances=tuple(utterances),
            reached_s=reached_s,
            done=done,
            remarks=tuple(remarks),
        )

    def begin(self, by: HeardBy) -> None:
        """Start afresh: forget what is kept."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        values = {name: getattr(by, name) for name in HeardBy.__slots__}
        self.path.write_text(_line({"by": values}), "utf-8")

    def resume(self) -> Heard:
        """Return what is kept, and cut off what a crash left half written."""
        heard = self.read()
        if heard.by is not None:
            by = {name: getattr(heard.by, name) for name in HeardBy.__slots__}
            lines = [_line({"by": by})]
            lines += [_line({"remark": text}) for text in heard.remarks]
            lines += [_line(_entry_of(utterance)) for utterance in heard.utterances]
            lines.append(_line({"reached_s": heard.reached_s}))
            if heard.done:
                lines.append(_line({"done": True}))
            write_text(self.path, "".join(lines))
        return heard

    def add(self, utterances: Iterable[Utterance], *, reached_s: float) -> None:
        """Keep what was heard up to `reached_s`, from where a later run goes on."""
        lines = [_line(_entry_of(utterance)) for utterance in utterances]
        self._append("".join(lines) + _line({"reached_s": round(reached_s, 3)}))

    def remark(self, text: str) -> None:
        """Keep a remark about the recording as a whole."""
        self._append(_line({"remark": text}))

    def finish(self) -> None:
        """Note that the recording was heard to its end."""
        self._append(_line({"done": True}))

    def _append(self, text: str) -> None:
        with self.path.open("a", encoding="utf-8", newline="\n") as file:
            file.write(text)

    def _entries(self) -> list[dict[str, Any]]:
        try:
            lines = self.path.read_text("utf-8", errors="replace").splitlines()
        except OSError:
            return []
        entries = []
        pending: list[dict[str, Any]] = []
        for line in lines:
            try:
                entry = json.loads(line)
            except ValueError:
                break  # cut short; what follows cannot be trusted
            pending.append(entry)
            # Utterances count only with the mark that says how far they reach, so
            # that going on never hears a stretch twice or leaves one out.
            if "words" not in entry:
                entries += pending
                pending = []
        return entries


def _line(value: dict[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False) + "\n"


def _entry_of(utterance: Utterance) -> dict[str, Any]:
    return {
        "start_s": round(utterance.start_s, 3),
        "end_s": round(utterance.end_s, 3),
        "words": [
            {
                "text": word.text,
                "start_s": round(word.start_s, 3),
                "end_s": round(word.end_s, 3),
                "confidence": round(word.confidence, 4),
                "source": word.source.value,
                "alternatives": [
                    [a.text, round(a.confidence, 4)] for a in word.alternatives
                ],
            }
            for word in utterance.words
        ],
    }


def _utterance_from(entry: dict[str, Any]) -> Utterance:
    words = tuple(
        Word(
            text=word["text"],
            start_s=word["start_s"],
            end_s=word["end_s"],
            confidence=word["confidence"],
            source=WordSource(word["source"]),
            alternatives=tuple(
                Alternative(text=text, confidence=confidence)
                for text, confidence in word["alternatives"]
            ),
        )
        for word in entry["words"]
    )
    return Utterance(words=words, start_s=entry["start_s"], end_s=entry["end_s"])
