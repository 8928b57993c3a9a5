"""Serves the review page on this machine only, until the person is done."""

from __future__ import annotations

import socket
from typing import TYPE_CHECKING

from .door import Door

if TYPE_CHECKING:
    import uvicorn

    from .records import DeskHunt


class ReviewServer:
    """The review page on a free port of 127.0.0.1.

    Parameters
    ----------
    hunt
        The hunt to review.
    """

    def __init__(self, hunt: DeskHunt) -> None:
        import uvicorn

        from .app import ReviewApp

        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)  # Windows has it
        if exclusive is not None:
            self._socket.setsockopt(socket.SOL_SOCKET, exclusive, 1)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.listen()  # a browser that is quicker than we are waits in line
        self.app = ReviewApp(hunt, on_finish=self.stop)
        self.door = Door(self.app.starlette, port=self._socket.getsockname()[1])
        self._uvicorn: uvicorn.Server = uvicorn.Server(
            uvicorn.Config(
                self.door,
                log_level="critical",
                access_log=False,
                lifespan="off",
                ws="none",
                server_header=False,
                timeout_graceful_shutdown=2,
                limit_concurrency=64,
            )
        )

    @property
    def address(self) -> str:
        """The address to open, good once."""
        return self.door.address

    def run(self) -> None:
        """Serve until `stop` is called or Ctrl-C is pressed."""
        try:
            self._uvicorn.run(sockets=[self._socket])
        finally:
            self.app.surveyor.close()
            self._socket.close()

    def stop(self) -> None:
        """End soon; may be called from another thread."""
        self._uvicorn.should_exit = True
