"""What was said or written around a note: what may tell what it meant."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING, TypeVar

from treeward.errors import TreewardError
from treeward.hunt.recordings import is_transcript
from treeward.speech.transcripts import read_text, read_transcript
from treeward.speech.utterances import WordSource
from treeward.within import file_within

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from treeward.hunt.hunt import Hunt
    from treeward.speech.utterances import Utterance, Word


AROUND_S = 8.0  # before a note and after it: a sentence or two; choice
_ROUNDED_S = 0.02  # more than a second of review.csv may be off
_NO_LINES = ("", "")
_Kept = TypeVar("_Kept")


@dataclass(frozen=True, slots=True)
class _Said:
    """A word, and which line or breath it is of."""

    start_s: float
    end_s: float
    text: str
    line: int


class Talk:
    """What stands around the notes of a hunt's recordings, transcripts and pages.

    Of a recording the words between its notes, as they were heard; none where
    hunt.toml says `keep_talk = false`. Of a timed transcript and of typed notes their
    own lines. A file is read once, and again when it was written since.
    """

    def __init__(self, hunt: Hunt) -> None:
        self._hunt = hunt
        self._words: dict[str, tuple[tuple[int, int], tuple[_Said, ...]]] = {}
        self._lines: dict[str, tuple[tuple[int, int], tuple[str, ...]]] = {}

    def around(
        self,
        recording: str,
        start_s: float | None,
        end_s: float | None = None,
        heard: str = "",
    ) -> tuple[str, str]:
        """Return what was said shortly before a note and after it.

        Parameters
        ----------
        recording
            Its name; "" for a note written by hand.
        start_s, end_s
            Where the note stands in it; None for one of a typed page.
        heard
            The words that it was made of.

        Returns
        -------
        tuple of str
            The words before and those after, with a line feed between lines.
        """
        written = file_within(self._hunt.recordings_dir, recording)
        of_text = written is not None and is_transcript(written)
        if written is not None and of_text and start_s is None:
            return _lines_around(_fresh(self._lines, recording, written, _lines), heard)
        if not recording or start_s is None:
            return _NO_LINES
        if written is not None and of_text:
            said = _fresh(self._words, recording, written, _transcript)
        elif self._hunt.file.speech.keep_talk:
            heard_file = self._hunt.heard_file(recording)
            said = _fresh(
                self._words,
                recording,
                heard_file.path,
                lambda _: _words(heard_file.read().utterances, WordSource.TALK),
            )
        else:
            return _NO_LINES
        last_s = start_s if end_s is None else max(start_s, end_s)
        return _words_around(said, start_s, last_s, heard, neighbours=of_text)


def _fresh(
    shelf: dict[str, tuple[tuple[int, int], tuple[_Kept, ...]]],
    name: str,
    path: Path,
    read: Callable[[Path], tuple[_Kept, ...]],
) -> tuple[_Kept, ...]:
    """Return what a file holds, read anew where it is not as it was."""
    try:
        found = path.stat()
    except OSError:
        return ()
    stamp = (found.st_mtime_ns, found.st_size)
    kept = shelf.get(name)
    if kept is None or kept[0] != stamp:
        try:
            shelf[name] = kept = (stamp, read(path))
        except TreewardError:
            return ()  # `treeward transcribe` tells what is wrong with it
    return kept[1]


def _transcript(path: Path) -> tuple[_Said, ...]:
    return _words(read_transcript(path), WordSource.TEXT)


def _lines(path: Path) -> tuple[str, ...]:
    lines = (" ".join(line.split()) for line in read_text(path).splitlines())
    return tuple(line for line in lines if line)


def _words(utterances: Iterable[Utterance], source: WordSource) -> tuple[_Said, ...]:
    def said(word: Word, line: int) -> _Said:
        return _Said(word.start_s, word.end_s, " ".join(word.text.split()), line)

    found = [
        said(word, line)
        for line, utterance in enumerate(utterances)
        for word in utterance.words
        if word.source is source
    ]
    return tuple(sorted(found, key=attrgetter("start_s")))


def _words_around(
    said: Sequence[_Said],
    start_s: float,
    end_s: float,
    heard: str,
    *,
    neighbours: bool,
) -> tuple[str, str]:
    """Return the words within `AROUND_S` of a note but for its own.

    With `neighbours` its line as a whole, and those before and after it too.
    """
    by_start = attrgetter("start_s")
    own = bisect_left(said, start_s - _ROUNDED_S, key=by_start)
    past = bisect_left(said, end_s - _ROUNDED_S, lo=own, key=by_start)
    # A note told late begins before its words; they are the last before its end.
    count = len(heard.split())
    told = [_bare(word.text) for word in said[max(0, past - count) : past]]
    if told == [_bare(word) for word in heard.split()]:
        own = past - count
    first = bisect_left(said, start_s - AROUND_S, hi=own, key=by_start)
    last = bisect_left(said, end_s + AROUND_S, lo=past, key=by_start)
    if neighbours:
        first, last = _whole_lines(said, own, past, first, last)
    return _joined(said[first:own]), _joined(said[past:last])


def _whole_lines(
    said: Sequence[_Said], own: int, past: int, first: int, last: int
) -> tuple[int, int]:
    """Widen a run of words to whole lines, with one before the note and one after."""
    lines = [word.line for word in said]
    if not lines:
        return first, last
    begun = min(own, len(lines) - 1)
    ended = max(begun, past - 1)
    from_line = min(lines[begun] - 1, *lines[first : first + 1])
    to_line = max(lines[ended] + 1, *lines[max(0, last - 1) : last])
    return bisect_left(lines, from_line), bisect_right(lines, to_line)


def _bare(word: str) -> str:
    return "".join(letter for letter in word.lower() if letter.isalnum())


def _joined(said: Sequence[_Said]) -> str:
    text = ""
    for before, word in zip((None, *said), said, strict=False):
        if before is not None:
            text += " " if before.line == word.line else "\n"
        text += word.text
    return text


def _lines_around(lines: Sequence[str], heard: str) -> tuple[str, str]:
    """Return the line before and after the one that a typed note was made of."""
    own = " ".join(heard.split())  # of a long line the beginning
    for at, line in enumerate(lines):
        if own and line.startswith(own):
            return "".join(lines[max(0, at - 1) : at]), "".join(lines[at + 1 : at + 2])
    return _NO_LINES
