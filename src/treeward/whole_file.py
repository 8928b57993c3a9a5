"""A file that a person wrote or chose, read as a whole or refused in one line."""

from __future__ import annotations

import os
import stat
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
        The file is missing, too large, no file but a pipe or a device, or cannot be
        read.
    """
    try:
        raw = read_plain(path, most_bytes=most_bytes)
    except FileTooLargeError as fault:
        raise error(
            f"is {fault.size_bytes / 1e6:.3g} MB large, more than the "
            f"{most_bytes / 1e6:.3g} MB that are read",
            where=str(path),
            mend=too_large,
        ) from None
    except FileNotFoundError as fault:
        what, mend = missing or (f"cannot be read ({fault.strerror})", unreadable)
        raise error(what, where=str(path), mend=mend) from None
    except OSError as fault:
        raise error(
            f"cannot be read ({fault.strerror or fault})",
            where=str(path),
            mend=unreadable,
        ) from fault
    return raw


class FileTooLargeError(OSError):
    """A file is larger than what is read of its kind."""

    def __init__(self, size_bytes: int) -> None:
        super().__init__("it is too large")
        self.size_bytes = size_bytes


def read_plain(path: Path, *, most_bytes: int) -> bytes:
    """Return the bytes of a file that no line to the person is made of.

    Raises
    ------
    OSError
        It is missing, larger, or a pipe, device or folder; opening a pipe would wait
        for its other end, and a device may have no end.
    """
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    with open(os.open(path, flags), "rb") as file:  # noqa: PTH123 (a descriptor)
        found = os.fstat(file.fileno())
        if not stat.S_ISREG(found.st_mode):
            raise OSError(0, "it is a pipe, a device or a folder")
        if found.st_size > most_bytes:
            raise FileTooLargeError(found.st_size)
        raw = file.read(most_bytes + 1)  # it may grow meanwhile
    if len(raw) > most_bytes:
        raise FileTooLargeError(len(raw))
    return raw
