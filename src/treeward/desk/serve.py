"""Serves the review page on this machine only, until the person is done."""

from __future__ import annotations

import html
import os
import shutil
import socket
import stat
import tempfile
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from treeward.errors import TreewardError
from treeward.files import PREFIX
from treeward.within import held

from .guard import Guard

if TYPE_CHECKING:
    from collections.abc import Iterator

    import uvicorn

    from treeward.hunt.hunt import Hunt

_DOORSTEP = """\
<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="referrer" content="no-referrer">
<meta http-equiv="refresh" content="0; url={address}">
<title>Treeward review</title>
<p><a href="{address}">To the review page</a></p>
"""


class ReviewServer:
    """The review page on a free port of 127.0.0.1.

    Parameters
    ----------
    hunt
        The hunt to review.
    """

    def __init__(self, hunt: Hunt) -> None:
        import uvicorn

        from .app import ReviewApp
        from .guard import PatientProtocol

        self._hunt_dir = hunt.path
        self._machine_dir = hunt.machine_dir
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)  # Windows has it
        if exclusive is not None:
            self._socket.setsockopt(socket.SOL_SOCKET, exclusive, 1)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.listen()  # a browser that is quicker than we are waits in line
        self.app = ReviewApp(hunt, on_finish=self.stop)
        self.guard = Guard(self.app.starlette, port=self._socket.getsockname()[1])
        self._uvicorn: uvicorn.Server = uvicorn.Server(
            uvicorn.Config(
                self.guard,
                http=PatientProtocol,
                log_level="critical",
                access_log=False,
                lifespan="off",
                ws="none",
                server_header=False,
                timeout_graceful_shutdown=2,
            )
        )

    @property
    def address(self) -> str:
        """The address to open, good once."""
        return self.guard.address

    @contextmanager
    def doorstep(self) -> Iterator[str]:
        """Give the address of a file that leads to the page, as long as that is served.

        What a browser is started with, every user of the machine can read; so that is
        not the key, but a file that its owner alone may read. It lies in the hunt,
        where also a browser may look that is kept out of the system's folders for
        temporary files, or there, if the hunt's disk does not know owners.
        """
        text = _DOORSTEP.format(address=html.escape(self.address)).encode()
        with _private_file(self._hunt_dir, self._machine_dir, text) as path:
            yield path.resolve().as_uri()

    def run(self) -> None:
        """Serve until `stop` is called or Ctrl-C is pressed."""
        try:
            self._uvicorn.run(sockets=[self._socket])
        finally:
            self.app.estimator.close()
            self._socket.close()

    def stop(self) -> None:
        """End soon; may be called from another thread."""
        self._uvicorn.should_exit = True


@contextmanager
def _private_file(hunt_dir: Path, folder: Path, data: bytes) -> Iterator[Path]:
    """Give a file that nobody else can read, gone when the block ends."""
    if os.name != "nt":  # there a folder's rights hold; the person's own is better
        with suppress(OSError, TreewardError), held(hunt_dir, folder, make=True) as own:
            name = own.make_file(f"{PREFIX}open-", ".html")
            try:
                found = own.look(name)
                if found and not found.st_mode & (stat.S_IRWXG | stat.S_IRWXO):
                    (own.path / name).write_bytes(data)
                    yield own.path / name
                    return
            finally:
                own.remove(name)
    temporary = Path(tempfile.mkdtemp(prefix="treeward-"))  # its owner's alone
    try:
        path = temporary / "open.html"
        path.write_bytes(data)
        yield path
    finally:
        shutil.rmtree(temporary, ignore_errors=True)
