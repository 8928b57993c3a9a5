"""Files are written beside and then renamed, so that none is ever half written."""

from __future__ import annotations

import os
import tempfile
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from treeward.errors import TreewardError

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Give a temporary path beside `path`; it becomes `path` when the block ends well.

    When the block raises, `path` stays as it was and the temporary file goes.

    Raises
    ------
    TreewardError
        If another program holds the file open (Windows) or it may not be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(
        dir=path.parent, prefix=f".{path.stem}-", suffix=path.suffix
    )
    os.close(handle)
    beside = Path(name)
    try:
        yield beside
        with beside.open("rb+") as written:
            os.fsync(written.fileno())
        with suppress(OSError):  # mkstemp is private to its owner; keep what was set
            beside.chmod(path.stat().st_mode if path.exists() else 0o644)
        try:
            beside.replace(path)
        except PermissionError as error:
            raise TreewardError(
                "cannot be replaced, another program may have it open",
                where=str(path),
                mend="Close it there and run the command again.",
            ) from error
    finally:
        with suppress(OSError):  # what went wrong before matters more
            beside.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write a whole UTF-8 file at once, line ends as given."""
    with replacing(path) as beside:
        beside.write_bytes(text.encode("utf-8"))
