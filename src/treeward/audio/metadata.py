"""When a recording was begun, as its container says."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

_KEYS = (
    "creation_time",
    "com.apple.quicktime.creationdate",
    "date",
    "origination_date",  # of a broadcast WAV (EBU Tech 3285)
)
_FIRST_YEAR, _LAST_YEAR = 1900, 2200  # others cannot be reckoned with


def creation_time(path: Path) -> datetime | None:
    """Read when a recording was begun from its container's metadata.

    Returns
    -------
    datetime or None
        Aware where the container names a zone, else naive; None where it says
        nothing, or only the day.
    """
    import av
    from av.error import FFmpegError

    try:
        options = {"protocol_whitelist": "file"}  # a playlist must not reach out
        with av.open(str(path.resolve()), options=options) as container:
            found = dict(container.metadata)
            for stream in container.streams:
                found = dict(stream.metadata) | found
    except (FFmpegError, ValueError):
        return None
    lower = {key.lower(): value.strip() for key, value in found.items()}
    for key in _KEYS:
        text = lower.get(key, "")
        if key == "origination_date" and text:
            text = f"{text}T{lower.get('origination_time', '')}".rstrip("T")
        moment = _parsed(text)
        if moment is not None:
            return moment
    return None


def _parsed(text: str) -> datetime | None:
    if text[4:5] == ":":  # "2026:05:14 10:20:30", as cameras write it
        text = text.replace(":", "-", 2)
    if "T" not in text and " " not in text:  # a bare day says nothing of the time
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if _FIRST_YEAR <= moment.year <= _LAST_YEAR else None
