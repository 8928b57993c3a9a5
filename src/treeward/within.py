"""No file outside its folder: what a hunt holds is written and removed within it.

A hunt may come from somebody else, with links in it that lead out of it. So no folder
between the hunt and a file, and no file that is written, may be a link. Where the
system has descriptors of folders, each is opened in the one above it without following
links, and what is done is done by its descriptor: what was looked at is what is
changed. Elsewhere the way is resolved first and must be the one that was named.
"""

from __future__ import annotations

import errno
import os
import secrets
import shutil
import stat
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from treeward.errors import HuntError

if TYPE_CHECKING:
    from collections.abc import Iterator

# Descriptors of folders: on Linux and macOS, not on Windows.
BY_DESCRIPTOR = (
    {os.open, os.mkdir, os.rename, os.unlink, os.stat} <= os.supports_dir_fd
    and hasattr(os, "O_NOFOLLOW")
    and hasattr(os, "O_DIRECTORY")
    and shutil.rmtree.avoids_symlink_attacks
)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)  # opening a pipe waits for its other end
_BINARY = getattr(os, "O_BINARY", 0)
_FOLDER = os.O_RDONLY | getattr(os, "O_DIRECTORY", 0)
_WRITTEN_INTO = (".treeward", "recordings", "results", "review.csv")
_BESIDE_SOUND = (".events.vtt", ".events.txt", ".part")  # what we write there


def file_within(folder: Path, name: str) -> Path | None:
    """Return the file of that name in the folder or below it.

    None where there is none, and where the name leads out of the folder: "../x.wav",
    an absolute path, or a link that points elsewhere.
    """
    try:
        path = folder / name
        home = folder.resolve()
        within = bool(name) and path.resolve().is_relative_to(home) and path.is_file()
    # A name too long, a zero byte, links in a ring.
    except (OSError, ValueError, RuntimeError):
        return None
    return path if within else None


def refuse_links(hunt_dir: Path) -> None:
    """Refuse a hunt in which a link stands where Treeward writes.

    Every command that writes calls this once it is about to, before it makes a file.

    Raises
    ------
    HuntError
        Naming the first link, or the first thing in Treeward's own folder that is
        neither a file nor a folder.
    """
    for name in _WRITTEN_INTO:
        _refuse_link(hunt_dir / name)
    for folder, folders, files in os.walk(hunt_dir / ".treeward"):
        for name in (*folders, *files):
            _refuse_link(Path(folder, name))
        for name in files:
            _refuse_device(Path(folder, name))
    for folder, folders, files in os.walk(hunt_dir / "recordings"):
        for name in (*folders, *files):
            if name.endswith(_BESIDE_SOUND):
                _refuse_link(Path(folder, name))


def open_plain(
    path: Path,
    mode: str,
    *,
    within: Path | None = None,
    **options: Any,  # noqa: ANN401 (as open)
) -> Any:  # noqa: ANN401 (as open)
    """Open a file as `open` does, but no link, and nothing that is not a file.

    Parameters
    ----------
    path, mode
        As `open` takes them.
    within
        The hunt that it belongs to: no link on the way from there is followed.

    Raises
    ------
    HuntError
        If it is a link, or a pipe, a device or the like.
    OSError
        As `open` does.
    """
    with held(within or path.parent, path.parent) as folder:
        return folder.open_file(path.name, mode, **options)


class Held:
    """A folder in which files are made, renamed and removed by name; see `held`.

    `path` is for reading and for what has just been made by `make_file` and
    `make_folder`.
    """

    def __init__(self, path: Path, handle: int | None, root: Path) -> None:
        self.path = path
        self._handle = handle  # None where the system has no such descriptors
        self._root = root

    def make_file(self, prefix: str, suffix: str) -> str:
        """Make an empty file that only its owner may read; return its name."""
        name = f"{prefix}{secrets.token_hex(6)}{suffix}"
        flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | _NO_LINK | _BINARY
        os.close(os.open(self._at(name), flags, 0o600, dir_fd=self._handle))
        return name

    def make_folder(self, prefix: str) -> str:
        """Make a folder that only its owner may open; return its name."""
        name = f"{prefix}{secrets.token_hex(6)}"
        os.mkdir(self._at(name), 0o700, dir_fd=self._handle)
        return name

    def open_file(self, name: str, mode: str, **options: Any) -> Any:  # noqa: ANN401 (as open)
        """Open a file as `open` does, but no link, and nothing that is not a file."""

        def opener(_: str, flags: int) -> int:
            return self.descriptor(name, flags)

        return open(self.path / name, mode, opener=opener, **options)

    def descriptor(self, name: str, flags: int) -> int:
        """Open a file as `os.open` does, but no link, and nothing that is not a file.

        Raises
        ------
        HuntError
            If it is a link, or a pipe, a device or the like.
        OSError
            As `os.open` does.
        """
        self.refuse_link(name)
        flags |= _NO_LINK | _NO_WAIT | _BINARY
        try:
            handle = os.open(self._at(name), flags, 0o644, dir_fd=self._handle)
        except OSError as error:
            if error.errno in {errno.ELOOP, errno.ENXIO}:
                raise _no_file(self.path / name) from error
            error.filename = str(self.path / name)
            raise
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            os.close(handle)
            raise _no_file(self.path / name)
        return handle

    @contextmanager
    def lent(self, name: str, *, new: bool = False) -> Iterator[int | str]:
        """Give a file to a library that opens files itself.

        A descriptor, which the library leaves open; a path where the system has no
        descriptors of folders. A `new` one is made, and may not be there yet.
        """
        made = os.O_RDWR | os.O_CREAT | os.O_EXCL if new else os.O_RDONLY
        handle = self.descriptor(name, made)
        try:
            yield handle if self._handle is not None else self._at(name)
        finally:
            os.close(handle)

    def names(self) -> list[str]:
        """Return the names of all that is in it, in order."""
        place = self.path if self._handle is None else self._handle
        return sorted(os.listdir(place))  # noqa: PTH208 (of a descriptor)

    def is_file(self, name: str) -> bool:
        """Tell whether there is a file of that name, and no link to one."""
        found = self.look(name)
        return found is not None and stat.S_ISREG(found.st_mode)

    def flush(self, name: str) -> None:
        """See that a file's bytes are on the disk."""
        handle = self.descriptor(name, os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

    def replace(
        self, name: str, new: str, into: Held | None = None, *, links: bool = False
    ) -> None:
        """Rename a file, over another that is there, over a link only if `links`."""
        target = into or self
        if not links:
            target.refuse_link(new)
        try:
            os.replace(
                self._at(name),
                target._at(new),
                src_dir_fd=self._handle,
                dst_dir_fd=target._handle,
            )
        except OSError as error:
            error.filename, error.filename2 = str(target.path / new), None
            raise

    def name_twice(self, name: str, new: str) -> bool:
        """Give a file a second name; return False where the disk has no such thing."""
        try:
            os.link(
                self._at(name),
                self._at(new),
                src_dir_fd=self._handle,
                dst_dir_fd=self._handle,
                follow_symlinks=False,
            )
        except (OSError, NotImplementedError):
            return False
        return True

    def remove(self, name: str) -> None:
        """Take a file away, or the link of that name; nothing where there is none."""
        with suppress(FileNotFoundError):
            os.unlink(self._at(name), dir_fd=self._handle)

    def remove_folder(self, name: str) -> None:
        """Take a folder away with all in it, as far as that goes; no link's aim."""
        if self._handle is None:
            if not _is_link(self.path / name):
                shutil.rmtree(self.path / name, ignore_errors=True)
        else:
            shutil.rmtree(name, ignore_errors=True, dir_fd=self._handle)

    def look(self, name: str) -> os.stat_result | None:
        """Return what is known of a file or a link itself; None where there is none."""
        with suppress(FileNotFoundError):
            return os.stat(self._at(name), dir_fd=self._handle, follow_symlinks=False)
        return None

    def permit(self, name: str, mode: int) -> None:
        """Set who may read and write a file, as far as the system does that."""
        with suppress(OSError, NotImplementedError):
            if os.chmod in os.supports_dir_fd and self._handle is not None:
                os.chmod(name, mode, dir_fd=self._handle)
            else:
                self.path.joinpath(name).chmod(mode)

    def refuse_link(self, name: str) -> None:
        """Raise HuntError where a link of that name stands here."""
        found = self.look(name)
        if found is not None and (
            stat.S_ISLNK(found.st_mode)
            or (self._handle is None and _is_link(self.path / name))
        ):
            raise link_refused(self.path / name)

    @contextmanager
    def below(self, name: str, *, make: bool = False) -> Iterator[Held]:
        """Give a folder in this one, made if it is wanted and not there."""
        self.refuse_link(name)
        if make:
            with suppress(FileExistsError):
                os.mkdir(self._at(name), 0o777, dir_fd=self._handle)
        if self._handle is None:
            _refuse_way(self._root, self.path / name)
            if not (self.path / name).is_dir():
                raise NotADirectoryError(
                    errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(self.path / name)
                )
            yield Held(self.path / name, None, self._root)
            return
        try:
            handle = os.open(name, _FOLDER | _NO_LINK, dir_fd=self._handle)
        except OSError as error:
            self.refuse_link(name)
            error.filename = str(self.path / name)
            raise
        try:
            yield Held(self.path / name, handle, self._root)
        finally:
            os.close(handle)

    def _at(self, name: str) -> str:
        """Return how a file is named to the system; refuse a way with a link in it."""
        if self._handle is not None:
            return name
        _refuse_way(self._root, self.path)
        return str(self.path / name)


@contextmanager
def held(root: Path, folder: Path, *, make: bool = False) -> Iterator[Held]:
    """Give a folder, with no link on the way to it from `root`.

    Parameters
    ----------
    root
        Where the way begins; it may be a link itself, the person named it.
    folder
        `root`, or a folder below it.
    make
        Make what is missing of the way.

    Raises
    ------
    HuntError
        If there is a link on the way.
    OSError
        If a folder is missing or cannot be opened.
    """
    parts = folder.relative_to(root).parts
    if make:
        root.mkdir(parents=True, exist_ok=True)
    handle = os.open(root, _FOLDER) if BY_DESCRIPTOR else None
    try:
        with _down(Held(root, handle, root), parts, make=make) as found:
            yield found
    finally:
        if handle is not None:
            os.close(handle)


@contextmanager
def _down(top: Held, parts: tuple[str, ...], *, make: bool) -> Iterator[Held]:
    if not parts:
        yield top
        return
    with (
        top.below(parts[0], make=make) as next_one,
        _down(next_one, parts[1:], make=make) as found,
    ):
        yield found


def link_refused(path: Path) -> HuntError:
    """Return the fault that tells of a link."""
    return HuntError(
        "is a link, and nothing of a hunt is written through a link",
        where=str(path),
        mend="Put the file or folder itself in its place; a link may lead to it from "
        "elsewhere.",
    )


def _no_file(path: Path) -> HuntError:
    if _is_link(path):
        return link_refused(path)
    return HuntError(
        "is neither a file nor a folder",
        where=str(path),
        mend="Take it away and run the command again.",
    )


def _is_link(path: Path) -> bool:
    """Tell a link, and on Windows a junction too, which Python 3.11 takes for none."""
    try:
        found = path.lstat()
    except OSError:
        return False
    if stat.S_ISLNK(found.st_mode):
        return True
    return bool(getattr(found, "st_reparse_tag", 0) == 0xA0000003)  # a mount point


def _refuse_link(path: Path) -> None:
    if _is_link(path):
        raise link_refused(path)


def _refuse_device(path: Path) -> None:
    """Refuse a pipe or the like, and a file that is in another place as well."""
    with suppress(OSError):
        found = path.lstat()
        if not stat.S_ISREG(found.st_mode):
            raise _no_file(path)
        if found.st_nlink > 1:
            raise HuntError(
                "is one and the same file as another elsewhere (a hard link)",
                where=str(path),
                mend="Copy the hunt's folder afresh, with all in it, and use the copy.",
            )


def _refuse_way(root: Path, path: Path) -> None:
    """Refuse a way that, resolved, is another than the one that was named."""
    named = Path(os.path.realpath(root)) / path.relative_to(root)
    if os.path.normcase(os.path.realpath(path)) != os.path.normcase(named):
        raise link_refused(path)
