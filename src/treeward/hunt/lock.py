"""One command at a time writes into a hunt, and the second is told which is at work.

The system lets go of the lock when its holder dies, however it dies. Whoever gets it
next clears away what a killed command left half made.
"""

from __future__ import annotations

import json
import time
from contextlib import contextmanager, suppress
from datetime import datetime
from typing import TYPE_CHECKING

from treeward.errors import HuntError
from treeward.files import clear_leftovers, read_plain
from treeward.within import held, open_plain, refuse_links

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

LOCK_NAME = "lock"
_MOST_OWNER_BYTES = 10_000  # of it: a command's name and a time
OWNER_NAME = "at_work.json"  # beside the lock, which Windows lets nobody else read


@contextmanager
def only_command(
    hunt_dir: Path, machine_dir: Path, command: str, *, wait_s: float = 0.0
) -> Iterator[None]:
    """Hold the hunt's lock.

    Parameters
    ----------
    hunt_dir, machine_dir
        The hunt, and its `.treeward` folder.
    command
        What is at work, to be told to others.
    wait_s
        How long to wait for another command that is at work.

    Raises
    ------
    HuntError
        If another one is at work still.
    """
    from filelock import FileLock, Timeout

    refuse_links(hunt_dir)
    with held(hunt_dir, machine_dir, make=True):
        pass
    lock = FileLock(machine_dir / LOCK_NAME, timeout=wait_s, poll_interval=0.1)
    owner = machine_dir / OWNER_NAME
    try:
        lock.acquire()
    except Timeout as error:
        raise HuntError(
            f"another Treeward command is at work on this hunt{_told(owner)}",
            where=str(hunt_dir),
            mend="Wait until it has ended, then run this again.",
        ) from error
    try:
        with suppress(OSError):  # only for the message to others
            said = {"command": command, "since_s": time.time()}
            with open_plain(owner, "wb", within=hunt_dir) as file:
                file.write(json.dumps(said).encode())
        clear_leftovers(hunt_dir)
        yield
    finally:
        with suppress(OSError):
            owner.unlink(missing_ok=True)
        lock.release()


def _told(owner: Path) -> str:
    """Say who holds the lock and since when, as far as that is known."""
    try:
        said = json.loads(read_plain(owner, most_bytes=_MOST_OWNER_BYTES))
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
