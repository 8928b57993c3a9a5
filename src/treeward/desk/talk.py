"""What was said around a note, between the notes: what may tell what it meant."""

from __future__ import annotations

from bisect import bisect_left
from operator import itemgetter
from typing import TYPE_CHECKING

from treeward.speech.utterances import WordSource

if TYPE_CHECKING:
    from treeward.hunt.hunt import Hunt

    Words = tuple[tuple[float, str], ...]  # start_s, text; in order of time

AROUND_S = 8.0  # before a note and after it: a sentence or two; choice


class Talk:
    """The words between the notes of a hunt's recordings, as they were heard.

    Nothing where hunt.toml says `keep_talk = false`. A recording's words are read
    once, and again when its hearing was written since.
    """

    def __init__(self, hunt: Hunt) -> None:
        self._hunt = hunt
        self._kept: dict[str, tuple[tuple[int, int], Words]] = {}

    def around(
        self, recording: str, start_s: float | None, end_s: float | None = None
    ) -> tuple[str, str]:
        """Return the words said shortly before a note and after its beginning.

        Parameters
        ----------
        recording
            Its name; "" for a note written by hand.
        start_s, end_s
            Where the note stands in it.
        """
        if not recording or start_s is None or not self._hunt.file.speech.keep_talk:
            return "", ""
        words = self._words(recording)
        last_s = max(start_s, start_s if end_s is None else end_s) + AROUND_S
        first, at, last = (
            bisect_left(words, second, key=itemgetter(0))
            for second in (start_s - AROUND_S, start_s, last_s)
        )
        before, after = words[first:at], words[at:last]
        return " ".join(w for _, w in before), " ".join(w for _, w in after)

    def _words(self, recording: str) -> Words:
        file = self._hunt.heard_file(recording)
        try:
            found = file.path.stat()
        except OSError:
            return ()
        stamp = (found.st_mtime_ns, found.st_size)
        kept = self._kept.get(recording)
        if kept is None or kept[0] != stamp:
            words = tuple(
                sorted(
                    (word.start_s, " ".join(word.text.split()))
                    for utterance in file.read().utterances
                    for word in utterance.words
                    if word.source is WordSource.TALK
                )
            )
            self._kept[recording] = kept = (stamp, words)
        return kept[1]
