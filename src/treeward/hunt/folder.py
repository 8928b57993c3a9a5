"""The hunt folder: where things lie in it, and what hunt.toml says.

hunt.toml as `treeward new` writes it, from new_hunt.toml, and values as TOML has them.
"""

from __future__ import annotations

import json
import time
from contextlib import contextmanager, suppress
from datetime import date, datetime
from functools import cached_property
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from treeward.errors import HuntError
from treeward.files import clear_leftovers, read_kept, write_text
from treeward.hunt_file import HuntFile, parse_hunt_table, read_hunt_file
from treeward.language.phrasebook import PhraseBook
from treeward.measures import Position, format_position
from treeward.review.store import ReviewStore
from treeward.within import held, open_plain, refuse_links

from .heard import HeardFile, heard_name
from .recordings import find_recordings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from os import PathLike
    from zoneinfo import ZoneInfo


_TEMPLATE = files("treeward.hunt") / "new_hunt.toml"


def filled_template(*, name: str, timezone: str) -> str:
    """Return hunt.toml for a new hunt, the texts quoted as TOML wants them."""
    text = _TEMPLATE.read_text("utf-8").replace('"TIMEZONE"', quoted(timezone), 1)
    return text.replace('"NAME"', quoted(name), 1)


def quoted(text: str) -> str:
    """Return a text as TOML quotes it, without what cannot be shown."""
    kept = "".join(c for c in text if c >= " " and c != "\x7f")
    return json.dumps(kept, ensure_ascii=False)  # which escapes what is left as TOML


def toml_value(value: Any) -> str:  # noqa: ANN401  (what TOML holds)
    """Write a value as TOML: text, numbers, true and false, days, places, and lists.

    Numbers keep all their digits, whole ones none behind the point.
    """
    match value:
        case str():
            return quoted(value)
        case bool():
            return "true" if value else "false"
        case int() | float():
            return repr(value).removesuffix(".0")
        case date():
            return value.isoformat()
        case Position():
            return quoted(format_position(value))
        case list() | tuple():
            return f"[{', '.join(toml_value(one) for one in value)}]"
        case _:
            msg = f"{value!r} has no place in TOML"
            raise TypeError(msg)


class HuntFolder:
    """The folder of one search for one or more colonies.

    Parameters
    ----------
    path
        The folder that holds hunt.toml.
    plain
        Heed no `learned_from` of hunt.toml: the plain prior.

    Raises
    ------
    HuntError
        At the first use of hunt.toml, if it is missing or faulty.
    """

    def __init__(self, path: str | PathLike[str], *, plain: bool = False) -> None:
        self.path = Path(path)
        self._plain = plain
        self.recordings_dir = self.path / "recordings"
        self.results_dir = self.path / "results"
        self.review_path = self.path / "review.csv"
        self.machine_dir = self.path / ".treeward"

    @classmethod
    def create(cls, path: str | PathLike[str], *, name: str, timezone: str) -> Self:
        """Start a hunt: hunt.toml with every key explained, and empty folders.

        Raises
        ------
        HuntError
            If a hunt is there already.
        """
        hunt = cls(path)
        hunt_toml = hunt.path / "hunt.toml"
        if hunt_toml.exists():
            raise HuntError(
                "a hunt is here already",
                where=str(hunt_toml),
                mend="Name another folder.",
            )
        if hunt.path.exists() and not hunt.path.is_dir():
            where = str(hunt.path)
            raise HuntError("is a file", where=where, mend="Name another folder.")
        parse_hunt_table(
            {"hunt": {"name": name, "timezone": timezone}}, where=str(hunt_toml)
        )
        hunt.recordings_dir.mkdir(parents=True, exist_ok=True)
        filled = filled_template(name=name, timezone=timezone)
        write_text(hunt_toml, filled, within=hunt.path)
        return hunt

    @cached_property
    def file(self) -> HuntFile:
        """hunt.toml, read and checked."""
        return read_hunt_file(self.path / "hunt.toml", plain=self._plain)

    @property
    def zone(self) -> ZoneInfo:
        """The hunt's time zone."""
        return self.file.hunt.zone

    @cached_property
    def phrase_book(self) -> PhraseBook:
        """What can be said in this hunt."""
        return PhraseBook.for_hunt(self.path)

    @property
    def review(self) -> ReviewStore:
        """Both copies of the review."""
        return ReviewStore(
            self.review_path, self.machine_dir, self.zone, book=lambda: self.phrase_book
        )

    @contextmanager
    def locked(
        self, command: str = "command", *, wait_s: float = 0.0
    ) -> Iterator[None]:
        """Keep a second program from writing into this hunt meanwhile.

        `command` is what others are told to be at work; another one is waited for
        `wait_s`.

        Raises
        ------
        HuntError
            If another one is at work.
        """
        owner = self.machine_dir / OWNER_NAME

        def busy() -> HuntError:
            return HuntError(
                f"another Treeward command is at work on this hunt{_told(owner)}",
                where=str(self.path),
                mend="Wait until it has ended, then run this again.",
            )

        said = json.dumps({"command": command, "since_s": time.time()})
        lock = self.machine_dir / LOCK_NAME
        with only_one(lock, owner, said, busy=busy, within=self.path, wait_s=wait_s):
            clear_leftovers(self.path)
            yield

    def recordings(self) -> list[Path]:
        """List the hunt's recordings and transcripts."""
        return find_recordings(self.recordings_dir)

    def heard_file(self, name: str) -> HeardFile:
        """Return where the hearing of a recording is kept."""
        path = self.machine_dir / "heard" / heard_name(name)
        return HeardFile(path, within=self.path)

    def positions(self) -> dict[str, tuple[Position, str]]:
        """Give the positions that hunt.toml states, by station id."""
        return {
            station.id: (station.position, "hunt.toml")
            for station in self.file.station
            if station.position is not None
        }


LOCK_NAME = "lock"
OWNER_NAME = "at_work.json"  # beside the lock, which Windows lets nobody else read
_MOST_OWNER_BYTES = 10_000  # of it: a command's name and a time


@contextmanager
def only_one(
    lock_path: Path,
    owner: Path,
    said: str,
    *,
    busy: Callable[[], HuntError],
    within: Path,
    wait_s: float = 0.0,
) -> Iterator[None]:
    """Hold a lock; the system lets go of it when we die.

    Parameters
    ----------
    lock_path
        The lock's file, in a folder that is made where it is not there.
    owner, said
        A file beside it and what it says meanwhile, for the message to others.
    busy
        Makes what is raised where another one holds the lock still.
    within
        The hunt, out of which no link may lead.
    wait_s
        How long to wait for another one.
    """
    from filelock import FileLock, Timeout

    refuse_links(within)
    with held(within, lock_path.parent, make=True):
        pass
    lock = FileLock(lock_path, timeout=wait_s, poll_interval=0.1)
    try:
        lock.acquire()
    except Timeout:
        raise busy() from None
    try:
        # A full disk must not stop what is at work.
        with suppress(OSError), open_plain(owner, "wb", within=within) as file:
            file.write(said.encode())
        yield
    finally:
        with suppress(OSError):
            owner.unlink(missing_ok=True)
        lock.release()


def _told(owner: Path) -> str:
    """Say who holds the lock and since when, as far as that is known."""
    said = read_kept(owner, most_bytes=_MOST_OWNER_BYTES)
    try:
        since = datetime.fromtimestamp(said["since_s"]).astimezone()
        return f" (treeward {said['command']}, since {since:%H:%M:%S})"
    except (
        OSError,
        ValueError,
        LookupError,
        TypeError,
        ArithmeticError,
        RecursionError,
    ):
        return ""
