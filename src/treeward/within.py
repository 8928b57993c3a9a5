"""A file that a cell of review.csv names lies in its folder, or counts as missing."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def file_within(folder: Path, name: str) -> Path | None:
    """Return the file of that name in the folder or below it.

    None where there is none, and where the name leads out of the folder: "../x.wav",
    an absolute path, or a link that points elsewhere.
    """
    try:
        path = folder / name
        home = folder.resolve()
        within = bool(name) and path.resolve().is_relative_to(home) and path.is_file()
    except (
        OSError,
        ValueError,
        RuntimeError,
    ):  # too long, a zero byte, links in a ring
        return None
    return path if within else None
