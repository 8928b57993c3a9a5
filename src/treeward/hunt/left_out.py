"""What lies among the recordings and is not heard, said once and in no one's way.

A file that could not be read is not tried again, and not complained of at length,
before it has changed, somebody names it, or Treeward is another version. What is kept
of it is a line in `.treeward/left_out.json`.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from treeward import __version__
from treeward.files import read_plain, write_text

from .recordings import (
    SOUND_SUFFIXES,
    TRANSCRIPT_SUFFIXES,
    has_plain_name,
    recording_name,
)

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence
    from pathlib import Path

_MOST_BYTES = 4_000_000  # a line for each broken file; choice


class LeftOut:
    """The recordings of a hunt that could not be read the last time.

    Parameters
    ----------
    hunt_dir, machine_dir, recordings_dir
        The hunt, its `.treeward` folder, and its recordings.
    """

    def __init__(self, hunt_dir: Path, machine_dir: Path, recordings_dir: Path) -> None:
        self._hunt_dir = hunt_dir
        self._path = machine_dir / "left_out.json"
        self._recordings_dir = recordings_dir
        self._known = self._read()

    def without(self, paths: Iterable[Path]) -> tuple[list[Path], tuple[str, ...]]:
        """Return the files to be read, and lines about those that are left out."""
        taken: list[Path] = []
        names: list[str] = []
        for path in paths:
            name = recording_name(path, self._recordings_dir)
            if self._known.get(name) == _stamp(path):
                names.append(name)
            else:
                taken.append(path)
        lines = []
        if names:
            files = "1 file" if len(names) == 1 else f"{len(names)} files"
            lines.append(
                f"left out as before, {files} not to be read: {', '.join(names[:5])}"
                f"{', ...' if len(names) > 5 else ''}; name one to try it again, or "
                "take it away"
            )
        return taken, (*lines, *_oddities(self._recordings_dir))

    def note(self, tried: Iterable[Path], faults: Collection[str]) -> None:
        """Keep which of the files that were tried could not be read, by name."""
        known = dict(self._known)
        for path in tried:
            name = recording_name(path, self._recordings_dir)
            known.pop(name, None)
            if name in faults and path.is_file():
                known[name] = _stamp(path)
        if known != self._known:
            self._known = known
            write_text(self._path, json.dumps(known, indent=1), within=self._hunt_dir)

    def _read(self) -> dict[str, list[object]]:
        try:
            kept = json.loads(read_plain(self._path, most_bytes=_MOST_BYTES))
        except (OSError, ValueError, RecursionError):
            return {}  # spoilt: the files are tried again
        if not isinstance(kept, dict):
            return {}
        return {str(name): list(stamp) for name, stamp in kept.items() if _ok(stamp)}


def _oddities(recordings_dir: Path) -> tuple[str, ...]:
    """Give a line for each recording that cannot be one for its name or its link."""
    lines = []
    for path in _sounds_in(recordings_dir):
        shown = path.relative_to(recordings_dir).as_posix()
        if not has_plain_name(path.relative_to(recordings_dir)):
            shown = ascii(shown)[1:-1]
            lines.append(f"left out: the name {shown} is not UTF-8; rename it")
        elif path.is_symlink() and not path.exists():
            lines.append(
                f"left out: {shown} is a link that leads nowhere; take it away"
            )
    return tuple(lines)


def _sounds_in(recordings_dir: Path) -> Sequence[Path]:
    if not recordings_dir.is_dir():
        return ()
    wanted = SOUND_SUFFIXES | TRANSCRIPT_SUFFIXES
    return sorted(p for p in recordings_dir.rglob("*") if p.suffix.lower() in wanted)


def _stamp(path: Path) -> list[object]:
    found = path.stat()
    return [found.st_size, found.st_mtime_ns, __version__]


def _ok(stamp: object) -> bool:
    return isinstance(stamp, list)
