"""Lines of a recording that made no note but look as if they should, as last read.

They are kept in .treeward/unread.json, for the review to show and make notes of.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from treeward.files import kept_number, kept_text, read_plain, write_text
from treeward.notes.unread import Unread

if TYPE_CHECKING:
    from collections.abc import Iterable

    from .folder import HuntFolder
    from .transcription import Recorded

_FILE = "unread.json"
_MOST_BYTES = 16_000_000  # a season's talk is a tenth of it; guess
_MOST_S = 1e7  # no recording is longer; as of heard recordings


def unread_of(hunt: HuntFolder) -> list[Unread]:
    """Give the lines to look at of all recordings, in order."""
    return [line for lines in _read(hunt).values() for line in lines]


def keep_unread(hunt: HuntFolder, recorded: Iterable[Recorded]) -> None:
    """Keep the lines to look at of what was read now; of others they stay."""
    before = _read(hunt)
    kept = dict(before)
    for one in recorded:
        if not one.fault:
            kept[one.name] = list(one.unread)
    kept = {name: lines for name, lines in sorted(kept.items()) if lines}
    if kept == before:
        return
    entries = {
        name: [
            {
                "start_s": round(line.start_s, 3),
                "end_s": round(line.end_s, 3),
                "text": line.text,
                "marks": list(line.marks),
            }
            for line in lines
        ]
        for name, lines in kept.items()
    }
    text = json.dumps(entries, indent=1, ensure_ascii=False)
    write_text(hunt.machine_dir / _FILE, text, within=hunt.path)


def _read(hunt: HuntFolder) -> dict[str, list[Unread]]:
    try:
        kept = json.loads(read_plain(hunt.machine_dir / _FILE, most_bytes=_MOST_BYTES))
        return {
            kept_text(name): [_line(name, entry) for entry in lines]
            for name, lines in kept.items()
        }
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return {}  # the next transcribe makes them anew


def _line(name: str, entry: dict[str, Any]) -> Unread:
    return Unread(
        recording=name,
        start_s=kept_number(entry["start_s"], most=_MOST_S),
        end_s=kept_number(entry["end_s"], most=_MOST_S),
        text=kept_text(entry["text"]),
        marks=tuple(kept_text(mark) for mark in entry["marks"]),
    )
