"""What was said between the notes is kept as subtitles that others read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import webvtt

from treeward.hunt.transcription import talk_webvtt
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from pathlib import Path


def word(text: str, start_s: float, source: WordSource) -> Word:
    return Word(text=text, start_s=start_s, end_s=start_s + 0.4, source=source)


def test_talk_is_kept_and_notes_are_not(tmp_path: Path) -> None:
    utterance = Utterance(
        words=(
            word("Lovely", 61.0, WordSource.TALK),
            word("<light>", 61.5, WordSource.TALK),
            word("yellow back", 63.0, WordSource.PHRASE),
        ),
        start_s=61.0,
        end_s=63.4,
    )
    path = tmp_path / "talk.vtt"
    path.write_text(talk_webvtt([utterance]), encoding="utf-8")

    (cue,) = webvtt.read(str(path)).captions

    assert cue.start == "00:01:01.000"
    assert cue.end == "00:01:01.900"
    assert "Lovely" in cue.text
    assert "yellow back" not in cue.text


def test_nothing_is_written_where_nothing_was_said() -> None:
    note = word("yellow back", 3.0, WordSource.PHRASE)

    assert talk_webvtt([Utterance(words=(note,), start_s=3.0, end_s=3.4)]) == ""
