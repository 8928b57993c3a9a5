"""Connections to the page: who keeps one open and says nothing is hung up on.

Any program on this machine may connect, also hundreds of times, and send half a
request or none. So a request must begin within HEAD_S of the connection, or of the
answer before it; and where too many wait, the one that has waited longest has to go.
The page's own connections say at once what they want.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from uvicorn.protocols.http.h11_impl import H11Protocol

if TYPE_CHECKING:
    import asyncio

HEAD_S = 10.0  # a browser sends a request's head in a few ms; choice
MOST_WAITING = 100  # a browser opens six to a host; macOS lets a program have 256 files


class PatientProtocol(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it, with an end to the patience."""

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (uvicorn's)
        super().__init__(*args, **options)
        self._since_s = 0.0
        self._patience: asyncio.TimerHandle | None = None
        self._answered: object = None  # the cycle of request and answer that is over

    @property
    def waiting(self) -> bool:
        """Whether no request has come in, or the last one has been answered."""
        return self.cycle is self._answered  # None before the first

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, in place of another that waits, if there are too many."""
        super().connection_made(transport)
        self._be_patient()
        waiting = [
            other
            for other in self.connections
            if isinstance(other, PatientProtocol) and other.waiting
        ]
        if len(waiting) > MOST_WAITING:
            min(waiting, key=lambda other: other._since_s)._hang_up()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the patience with it."""
        self._be_done()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Read on; the patience ends when a whole head has come."""
        super().data_received(data)
        if not self.waiting:
            self._be_done()

    def on_response_complete(self) -> None:
        """Wait for the next request, no longer than for the first."""
        self._answered = self.cycle
        self._be_patient()
        super().on_response_complete()
        if not self.waiting:
            self._be_done()

    def _be_patient(self) -> None:
        self._be_done()
        self._since_s = self.loop.time()
        self._patience = self.loop.call_later(HEAD_S, self._hang_up)

    def _be_done(self) -> None:
        if self._patience is not None:
            self._patience.cancel()
            self._patience = None

    def _hang_up(self) -> None:
        self._be_done()
        self.connections.discard(self)
        if not self.transport.is_closing():
            self.transport.abort()
