"""A file that a person wrote or chose, read as a whole or refused in one line."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.errors import TreewardError


def read_whole(
    path: Path,
    *,
    most_bytes: int,
    error: type[TreewardError],
    too_large: str,
    missing: tuple[str, str] | None = None,
    unreadable: str = "Check that it is a file you may read.",
) -> bytes:
    """Return the bytes of a file.

    Parameters
    ----------
    path
        The file.
    most_bytes
        A larger file is not what it should be, and would fill the memory.
    error
        What is raised.
    too_large, unreadable
        How to mend a file that is too large, or cannot be read.
    missing
        What is said of a file that is not there, and how to mend that; as of one
        that cannot be read where None.

    Raises
    ------
    TreewardError
        The file is missing, too large, or cannot be read.
    """
    try:
        size_bytes = path.stat().st_size
        if size_bytes > most_bytes:
            raise error(
                f"is {size_bytes / 1e6:.3g} MB large, more than the "
                f"{most_bytes / 1e6:.3g} MB that are read",
                where=str(path),
                mend=too_large,
            )
        return path.read_bytes()
    except FileNotFoundError as fault:
        what, mend = missing or (f"cannot be read ({fault.strerror})", unreadable)
        raise error(what, where=str(path), mend=mend) from None
    except OSError as fault:
        raise error(
            f"cannot be read ({fault.strerror or fault})",
            where=str(path),
            mend=unreadable,
        ) from fault
