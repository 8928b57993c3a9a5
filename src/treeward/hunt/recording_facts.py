"""When a recording was made, as it was first seen, whatever became of the file since.

Copying a hunt gives its files new times, which would move its days. So the times that
a file had when it was first heard are kept in .treeward/recordings.json, and count as
long as the file is of the same size.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from treeward.files import read_plain, write_text

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from treeward.notes.clock import ClockResult
    from treeward.notes.clock_evidence import RecordingFacts

_FILE = "recordings.json"
_YEARS = range(1900, 2201)  # of a clock; others are a slip, and not in every zone
_MOST_BYTES = 16_000_000  # some 200 bytes for each recording; choice


def as_first_seen(
    machine_dir: Path, facts: RecordingFacts, size_bytes: int
) -> RecordingFacts:
    """Return the facts of a recording with the times its file had at first.

    Parameters
    ----------
    machine_dir
        The hunt's .treeward.
    facts
        As the file tells them now.
    size_bytes
        Of the file; another size is another recording.
    """
    kept = _read(machine_dir).get(facts.name, {})
    if kept.get("size_bytes") != size_bytes:
        return facts
    return replace(
        facts,
        created=_clock(kept.get("created")) or facts.created,
        file_modified=_clock(kept.get("file_modified")) or facts.file_modified,
    )


def keep_facts(
    machine_dir: Path,
    seen: Iterable[tuple[RecordingFacts, int]],
    clocks: Iterable[ClockResult],
) -> None:
    """Keep when recordings were made, and what their day was taken from.

    Parameters
    ----------
    seen
        Facts and sizes of the recordings, as `as_first_seen` gave them.
    clocks
        Where they were put on the clock.
    """
    kept = _read(machine_dir)
    days = {clock.recording: clock for clock in clocks}
    for facts, size_bytes in seen:
        clock = days.get(facts.name)
        kept[facts.name] = {
            "size_bytes": size_bytes,
            "created": _text(facts.created),
            "file_modified": _text(facts.file_modified),
            "day": clock.day.isoformat() if clock and clock.day else None,
            "day_from": clock.day_from if clock else None,
        }
    text = json.dumps(kept, indent=1, ensure_ascii=False)
    if text != json.dumps(_read(machine_dir), indent=1, ensure_ascii=False):
        write_text(machine_dir / _FILE, text, within=machine_dir.parent)


def days_told(machine_dir: Path) -> dict[str, tuple[str, str]]:
    """Return recording -> its day, ISO 8601, and what tells it; as last decided."""
    days = {}
    for name, one in _read(machine_dir).items():
        told = one.get("day_from") or ""
        if (day := _day(one.get("day"))) and isinstance(told, str):
            days[name] = (day, told)
    return days


def _read(machine_dir: Path) -> dict[str, dict[str, Any]]:
    try:
        kept = json.loads(read_plain(machine_dir / _FILE, most_bytes=_MOST_BYTES))
        json.dumps(kept, ensure_ascii=False).encode()  # half a letter is no text
    except (OSError, ValueError, RecursionError):
        return {}  # they are worked out anew from the files as they are
    if not isinstance(kept, dict):
        return {}
    return {name: one for name, one in kept.items() if isinstance(one, dict)}


def _day(text: object) -> str:
    try:
        return date.fromisoformat(text).isoformat() if isinstance(text, str) else ""
    except ValueError:
        return ""


def _clock(text: object) -> datetime | None:
    try:
        clock = datetime.fromisoformat(text) if isinstance(text, str) else None
    except ValueError:
        return None
    return clock if clock and clock.year in _YEARS else None


def _text(clock: datetime | None) -> str | None:
    return None if clock is None else clock.isoformat()
