"""Files read whole or refused; files written beside and renamed, never half.

`replacing` does so for one file, `replacing_set` for files that belong together. What a
killed command left beside is finished or cleared away by `clear_leftovers`, which
whoever next holds the hunt's lock calls. Of a hunt each is told its folder, `within`:
no link below that is followed (see `treeward.within`).

Where the files that ship with Treeward lie, in a wheel or in a checkout.
"""

from __future__ import annotations

import glob
import json
import os
import re
import shutil
import stat
import tempfile
import time
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from treeward.errors import TreewardError
from treeward.within import held

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from treeward.within import Held

PREFIX = ".treeward-"  # of everything that is written beside
LEFT_AFTER_S = 3600.0  # no command writes at one file for so long; choice
_TEMPORARY = re.compile(
    rf"{re.escape(PREFIX)}(?:old-)?([^/\\]*)-[0-9a-z_]{{8,12}}(?=[./\\]|$)(\.[^/\\]*)?"
)
_COMPLETE = "complete.json"  # lies in a set of files once all of them are there
_MOST_BYTES = 1_000_000  # of that file, which holds a few dozen names


def meant(path: str) -> str:
    """Return the name of the file that a temporary one beside it is for.

    Examples
    --------
    >>> meant("fern-bank/.treeward-results-0123456789ab/map.png")
    'fern-bank/results/map.png'
    >>> meant("fern-bank/.treeward-review-0123456789ab.csv")
    'fern-bank/review.csv'
    """
    return _TEMPORARY.sub(r"\1\2", path)


@contextmanager
def replacing(path: Path, *, within: Path | None = None) -> Iterator[Path]:
    """Give a temporary path beside `path`; it becomes `path` when the block ends well.

    When the block raises, `path` stays as it was and the temporary file goes.

    Parameters
    ----------
    path
        The file.
    within
        The hunt that it belongs to: no link below it is followed or replaced.

    Raises
    ------
    TreewardError
        If another program holds the file open (Windows), it may not be written, or
        there is a link on the way to it.
    """
    with held(within or path.parent, path.parent, make=True) as folder:
        if within is not None:
            folder.refuse_link(path.name)
        name = folder.make_file(f"{PREFIX}{path.stem[:100]}-", path.suffix)
        try:
            yield folder.path / name
            folder.flush(name)
            before = folder.look(path.name)  # the new file is private to its owner
            kept = before is not None and stat.S_ISREG(before.st_mode)
            folder.permit(
                name, stat.S_IMODE(before.st_mode) if kept and before else 0o644
            )
            try:
                folder.replace(name, path.name, links=within is None)
            except PermissionError as error:
                raise TreewardError(
                    "cannot be replaced, another program may have it open",
                    where=str(path),
                    mend="Close it there and run the command again.",
                ) from error
        finally:
            with suppress(OSError):  # what went wrong before is what is to be told
                folder.remove(name)


def write_text(path: Path, text: str, *, within: Path | None = None) -> None:
    """Write a whole UTF-8 file at once, line ends as given; see `replacing`."""
    write_bytes(path, text.encode("utf-8"), within=within)


def write_bytes(path: Path, data: bytes, *, within: Path | None = None) -> None:
    """Write a whole file at once; see `replacing`."""
    with replacing(path, within=within) as beside:
        try:
            beside.write_bytes(data)
        except OSError as error:
            error.filename = str(path)  # a full disk does not say which
            raise


@contextmanager
def replacing_set(
    directory: Path, managed: Iterable[str], *, within: Path | None = None
) -> Iterator[Path]:
    """Give a folder beside `directory`; its files move in when the block ends well.

    All of them move in or none: where one cannot, the old ones are put back, and a
    move that a kill cut short is finished by `clear_leftovers`. Files that are
    `managed` but were not written this time are taken away; all others stay.
    `within` is the hunt that `directory` belongs to.

    Raises
    ------
    OSError
        If a file cannot be written or replaced.
    HuntError
        If a link stands in the way, or where a file is to be.
    """
    head = f"{PREFIX}{directory.name}-"
    with held(within or directory.parent, directory.parent, make=True) as parent:
        name = parent.make_folder(head)
        beside = parent.path / name
        try:
            yield beside
            names = sorted(path.name for path in beside.iterdir())
            stale = sorted(set(managed) - set(names))
            with (
                parent.below(directory.name, make=True) as target,
                parent.below(name) as source,
                _kept(parent, target, [*names, *stale]) as kept,
            ):
                said = {"directory": directory.name, "files": names, "stale": stale}
                write_text(beside / _COMPLETE, json.dumps(said))
                try:
                    _move_in(source, target, names, stale)
                except OSError:
                    source.remove(_COMPLETE)
                    _put_back(kept, target, [*names, *stale])
                    raise
            for older in directory.parent.glob(f"{glob.escape(head)}*"):
                with suppress(OSError), parent.below(older.name) as one:
                    one.remove(_COMPLETE)  # not to come after this
        finally:
            parent.remove_folder(name)


@contextmanager
def _kept(parent: Held, target: Held, names: Iterable[str]) -> Iterator[Held]:
    """Give a folder with copies of those files, for as long as the block lasts."""
    name = parent.make_folder(f"{PREFIX}old-{target.path.name}-")
    try:
        with parent.below(name) as kept:
            for each in names:
                target.refuse_link(each)
                if target.look(each) is not None:
                    shutil.copy2(target.path / each, kept.path / each)
            yield kept
    finally:
        parent.remove_folder(name)


def _put_back(kept: Held, target: Held, names: Iterable[str]) -> None:
    for name in names:
        with suppress(OSError):
            if kept.look(name) is not None:
                kept.replace(name, name, target)
            else:
                target.remove(name)


def _move_in(
    source: Held, target: Held, names: Iterable[str], stale: Iterable[str]
) -> None:
    for name in names:
        if source.look(name) is not None:
            source.replace(name, name, target)
    for name in stale:
        target.remove(name)


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
    head = f"{PREFIX}{Path(os.path.realpath(directory)).name}-"
    for left in directory.parent.glob(f"{glob.escape(head)}*"):
        if time.time() - left.lstat().st_mtime > LEFT_AFTER_S:  # of a killed command
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
    may belong to a command that needs no lock, and stays. A hunt may come from
    somebody else: nothing that a leftover says leads out of it.
    """
    for place, folders, files in os.walk(folder):
        left = [name for name in (*folders, *files) if name.startswith(PREFIX)]
        folders[:] = [name for name in folders if name not in left]
        if not left:
            continue
        with suppress(OSError, TreewardError), held(folder, Path(place)) as parent:
            for name in left:
                with suppress(OSError, TreewardError):
                    _clear(parent, name)


def _clear(parent: Held, name: str) -> None:
    found = parent.look(name)
    if found is None:
        return
    if stat.S_ISDIR(found.st_mode):
        with parent.below(name) as source:
            mark = source.look(_COMPLETE)
            if mark is not None and stat.S_ISREG(mark.st_mode):
                with suppress(ValueError, KeyError, TypeError, RecursionError):
                    _finish(parent, source)
                    parent.remove_folder(name)
                    return
    if time.time() - found.st_mtime < LEFT_AFTER_S:
        return
    if stat.S_ISDIR(found.st_mode):
        parent.remove_folder(name)
    else:
        parent.remove(name)


def _finish(parent: Held, source: Held) -> None:
    """Move a complete set in."""
    raw = read_plain(source.path / _COMPLETE, most_bytes=_MOST_BYTES)
    said = json.loads(raw.decode("utf-8"))
    home = _plain_name(said["directory"])
    if not source.path.name.startswith(f"{PREFIX}{home}-"):
        raise ValueError(home)
    names = [_plain_name(name) for name in said["files"]]
    stale = [_plain_name(name) for name in said["stale"]]
    with parent.below(home, make=True) as target:
        _move_in(source, target, names, stale)


def _plain_name(name: str) -> str:
    if name in {"", ".", ".."} or set(name) & set("/\\:"):
        raise ValueError(name)
    return name


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


def read_kept(path: Path, *, most_bytes: int) -> dict[str, Any]:
    """Return the table of a JSON file that a program of ours keeps.

    Empty where it is missing or spoilt: what it said is then found out anew.
    """
    try:
        kept = json.loads(read_plain(path, most_bytes=most_bytes))
    except (OSError, ValueError, RecursionError):
        return {}
    return kept if isinstance(kept, dict) else {}


def kept_number(value: object, *, most: float) -> float:
    """Return a number of a kept JSON file, from 0 to `most`.

    Raises
    ------
    ValueError, TypeError
        It is none, or lies elsewhere.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(value)
    if not 0.0 <= value <= most:  # nor is it one that is no number
        raise ValueError(value)
    return float(value)


def kept_text(value: object) -> str:
    """Return a text of a kept JSON file.

    Raises
    ------
    ValueError, TypeError
        It is none, or holds half a pair, which could not be written again.
    """
    if not isinstance(value, str):
        raise TypeError(value)
    value.encode()
    return value


_PACKAGE = Path(__file__).resolve().parent
_CHECKOUT = _PACKAGE.parent.parent


def _shipped(installed: str, in_checkout: str) -> Path:
    """Return the installed copy, or the checkout's own when run from there."""
    path = _PACKAGE / installed
    return path if path.exists() else _CHECKOUT / in_checkout


def phrasebook_path() -> Path:
    """Return the phrase book that ships with Treeward."""
    return _shipped("_models/phrasebook.toml", "models/phrasebook.toml")


def free_speech_path() -> Path:
    """Return the network that reads free speech; see models/README.md."""
    return _shipped("_models/free_speech.npz", "models/free_speech.npz")


def models_dir() -> Path:
    """Return the folder where a Vosk model is looked for first."""
    return _shipped("_models", "models")


def example_hunt_dir() -> Path:
    """Return the example hunt, as `treeward demo` copies it."""
    return _shipped("_example_hunt", "fixtures/example_hunt")
