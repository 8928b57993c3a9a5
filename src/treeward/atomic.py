"""Files are written beside and then renamed, so that none is ever half written.

`replacing` does so for one file, `replacing_set` for files that belong together. What a
killed command left beside is finished or cleared away by `clear_leftovers`, which
whoever next holds the hunt's lock calls.
"""

from __future__ import annotations

import glob
import json
import os
import shutil
import tempfile
import time
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from treeward.errors import TreewardError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

PREFIX = ".treeward-"  # of everything that is written beside
LEFT_AFTER_S = 3600.0  # no command writes at one file for so long; choice
_COMPLETE = "complete.json"  # lies in a set of files once all of them are there


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
        dir=path.parent, prefix=f"{PREFIX}{path.stem[:100]}-", suffix=path.suffix
    )
    beside = Path(name)
    try:
        os.close(handle)
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
        with suppress(OSError):  # what went wrong before is what is to be told
            beside.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write a whole UTF-8 file at once, line ends as given."""
    with replacing(path) as beside:
        beside.write_bytes(text.encode("utf-8"))


@contextmanager
def replacing_set(directory: Path, managed: Iterable[str]) -> Iterator[Path]:
    """Give a folder beside `directory`; its files move in when the block ends well.

    All of them move in or none: where one cannot, the old ones are put back, and a
    move that a kill cut short is finished by `clear_leftovers`. Files that are
    `managed` but were not written this time are taken away; all others stay.

    Raises
    ------
    OSError
        If a file cannot be written or replaced.
    """
    directory.parent.mkdir(parents=True, exist_ok=True)
    head = f"{PREFIX}{directory.name}-"
    beside = Path(tempfile.mkdtemp(prefix=head, dir=directory.parent))
    try:
        yield beside
        names = sorted(path.name for path in beside.iterdir())
        stale = sorted(set(managed) - set(names))
        directory.mkdir(parents=True, exist_ok=True)
        kept = _keep(directory, [*names, *stale])
        try:
            said = {"directory": directory.name, "files": names, "stale": stale}
            write_text(beside / _COMPLETE, json.dumps(said))
            try:
                _move_in(beside, directory, names, stale)
            except OSError:
                (beside / _COMPLETE).unlink(missing_ok=True)
                _put_back(kept, directory, [*names, *stale])
                raise
            for older in directory.parent.glob(f"{glob.escape(head)}*"):
                (older / _COMPLETE).unlink(missing_ok=True)  # not to come after this
        finally:
            shutil.rmtree(kept, ignore_errors=True)
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _keep(directory: Path, names: Iterable[str]) -> Path:
    kept = Path(
        tempfile.mkdtemp(prefix=f"{PREFIX}old-{directory.name}-", dir=directory.parent)
    )
    for name in names:
        if (directory / name).exists():
            shutil.copy2(directory / name, kept / name)
    return kept


def _put_back(kept: Path, directory: Path, names: Iterable[str]) -> None:
    for name in names:
        with suppress(OSError):
            if (kept / name).exists():
                (kept / name).replace(directory / name)
            else:
                (directory / name).unlink(missing_ok=True)


def _move_in(
    beside: Path, directory: Path, names: Iterable[str], stale: Iterable[str]
) -> None:
    for name in names:
        if (beside / name).exists():
            (beside / name).replace(directory / name)
    for name in stale:
        (directory / name).unlink(missing_ok=True)


@contextmanager
def new_folder(directory: Path) -> Iterator[Path]:
    """Give a folder beside `directory`; when the block ends well it becomes that.

    So a folder is there with all that belongs in it, or not at all. `directory` must
    not be there yet, or be empty.

    Raises
    ------
    OSError
        If it cannot be written, or somebody else has filled `directory` meanwhile.
    """
    directory.parent.mkdir(parents=True, exist_ok=True)
    head = f"{PREFIX}{directory.resolve().name}-"
    for left in directory.parent.glob(f"{glob.escape(head)}*"):
        if time.time() - left.stat().st_mtime > LEFT_AFTER_S:  # of a killed command
            shutil.rmtree(left, ignore_errors=True)
    beside = Path(tempfile.mkdtemp(prefix=head, dir=directory.parent))
    try:
        beside.chmod(0o755)
        yield beside
        if directory.exists():  # somebody may stand in it, so it stays the same one
            for path in sorted(beside.iterdir(), reverse=True):
                path.rename(directory / path.name)
        else:
            beside.rename(directory)
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def clear_leftovers(folder: Path) -> None:
    """Finish what a killed command had complete, and clear away what it had not.

    Only whoever holds the folder's lock may call this. What is younger than an hour
    may belong to a command that needs no lock, and stays.
    """
    for path in list(folder.rglob(f"{PREFIX}*")):
        with suppress(OSError, ValueError, KeyError, TypeError):
            if (path / _COMPLETE).is_file():
                said = json.loads((path / _COMPLETE).read_text("utf-8"))
                # A hunt may come from somebody else: no name may lead out of it.
                home = path.parent / _plain_name(said["directory"])
                names = [_plain_name(name) for name in said["files"]]
                stale = [_plain_name(name) for name in said["stale"]]
                home.mkdir(exist_ok=True)
                _move_in(path, home, names, stale)
                shutil.rmtree(path, ignore_errors=True)
            elif time.time() - path.stat().st_mtime < LEFT_AFTER_S:
                continue
            elif path.is_dir():
                shutil.rmtree(path, ignore_errors=True)
            else:
                path.unlink(missing_ok=True)


def _plain_name(name: str) -> str:
    if name in {"", ".", ".."} or set(name) & set("/\\:"):
        raise ValueError(name)
    return name
