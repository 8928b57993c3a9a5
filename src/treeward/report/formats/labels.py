"""Events beside a recording: WebVTT for players, a label track for sound editors."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from treeward.report.model import NoteRow

SHORTEST_S = 0.5  # a cue must last long enough to be seen; choice


def stamp(seconds: float) -> str:
    """Write seconds as a WebVTT time stamp."""
    thousandths = round(seconds * 1000)
    hours, rest = divmod(thousandths, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    return f"{hours:02d}:{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


def _timed(
    rows: Iterable[NoteRow], recording: str
) -> list[tuple[float, float, NoteRow]]:
    found = []
    for note in rows:
        if note.recording != recording or note.start_s is None:
            continue
        start = max(note.start_s, 0.0)
        end = note.end_s if note.end_s is not None else start
        found.append((start, max(end, start + SHORTEST_S), note))
    return sorted(found, key=lambda item: (item[0], item[1], item[2].row))


def _one_line(text: str) -> str:
    return " ".join(text.split())


def webvtt_text(rows: Iterable[NoteRow], recording: str) -> str:
    """Write the notes of one recording as WebVTT cues (W3C WebVTT 1).

    Each cue is named after its row of review.csv.
    """
    parts = ["WEBVTT"]
    for start, end, note in _timed(rows, recording):
        said = _one_line(note.said or note.heard) or "note"
        said = escaped(said)
        name = _one_line(note.row).replace("-->", "->")
        head = f"row {name}\n" if name else ""
        parts.append(f"{head}{stamp(start)} --> {stamp(end)}\n{said}")
    return "\n\n".join(parts) + "\n"


def escaped(text: str) -> str:
    """Write text so that WebVTT takes nothing in it for markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def label_track_text(rows: Iterable[NoteRow], recording: str) -> str:
    """Write start, end and text, tab-separated, seconds: a sound editor's labels."""
    lines = []
    for start, end, note in _timed(rows, recording):
        said = _one_line(note.said or note.heard) or "note"
        row = f" (row {_one_line(note.row)})" if note.row else ""
        lines.append(f"{start:.6f}\t{end:.6f}\t{said}{row}\n")
    return "".join(lines)
