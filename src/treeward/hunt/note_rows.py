"""The rows of review.csv as the report shows them, and plays them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.errors import SoundError
from treeward.language.kinds import KINDS, Need
from treeward.notes.flags import sentences_of
from treeward.within import file_within

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from treeward.notes.events import Event
    from treeward.report.model import NoteRow
    from treeward.review.file import ReviewRow

BEFORE_S = 1.5  # sound kept before a note, to hear what led to it; choice
AFTER_S = 1.0  # and after it; choice
LONGEST_S = 60.0  # a note is a few seconds; more is an end that was typed wrongly


def note_rows(rows: Sequence[ReviewRow]) -> dict[str, NoteRow]:
    """Return each row with where it was heard and what it says, by its name."""
    from treeward.report.model import NoteRow

    return {
        row.name: NoteRow(
            row=row.name,
            recording=row.event.recording,
            start_s=row.event.start_s,
            end_s=row.event.end_s,
            clock=row.event.clock,
            said=said_in_words(row.event),
            heard=row.event.heard,
            confidence=row.event.confidence,
            flag="; ".join(sentences_of(row.event.flags)),
            decision=row.decision,
        )
        for row in rows
    }


def said_in_words(event: Event) -> str:
    """Say an event in plain words: "yellow away", "bearing 210 (yellow)"."""
    parts = [event.mark, event.kind.value, event.value]
    if KINDS[event.kind].value is not Need.NEVER and event.mark:
        parts = [event.kind.value, event.value, f"({event.mark})"]
    return " ".join(part for part in parts if part)


def clips_of(notes: Iterable[NoteRow], recordings_dir: Path) -> dict[str, bytes]:
    """Cut a clip for every note whose recording is at hand, by row."""
    from treeward.audio.reader import cut_clip

    clips = {}
    for note in notes:
        path = file_within(recordings_dir, note.recording)
        if path is None or note.start_s is None:
            continue
        end_s = note.start_s if note.end_s is None else note.end_s
        end_s = min(end_s, note.start_s + LONGEST_S)
        try:
            clips[note.row] = cut_clip(path, note.start_s - BEFORE_S, end_s + AFTER_S)
        except SoundError:
            continue  # the report stands without this clip
    return clips
