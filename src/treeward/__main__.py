"""`python -m treeward` is the `treeward` program, and so is the installed command.

Ctrl-C ends it with one line at any moment, so little is imported before `run` is there
to answer it.
"""

from __future__ import annotations

import sys

TYPE_CHECKING = False  # type checkers take it for typing's, which is slow to import
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import TextIO


def run() -> None:
    """Run the program."""
    told = sys.unraisablehook
    sys.unraisablehook = _not_swallowed(told)
    _open_closed_streams()
    if sys.stdout is not None:
        sys.stdout = _bearing(sys.stdout)
    if sys.stderr is not None:
        sys.stderr = _bearing(sys.stderr)
    try:
        from treeward.cli import main

        main()
    except KeyboardInterrupt:
        if sys.stderr is not None:
            sys.stderr.write("Stopped.\n")
        sys.exit(1)
    finally:
        _let_end_in_peace()
        _flush()
        sys.unraisablehook = told


def _not_swallowed(
    told: Callable[[sys.UnraisableHookArgs], object],
) -> Callable[[sys.UnraisableHookArgs], None]:
    """Raise Ctrl-C again where a library in another language would swallow it."""

    def hook(unraisable: sys.UnraisableHookArgs) -> None:
        if isinstance(unraisable.exc_value, KeyboardInterrupt):
            import _thread
            import threading

            # From beside, and a little later: here it would be swallowed once more.
            again = threading.Timer(0.05, _thread.interrupt_main)
            again.daemon = True
            again.start()
        else:
            told(unraisable)

    return hook


def _open_closed_streams() -> None:
    """Let the first three descriptors be taken, or the next file would get one."""
    import os

    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest that is free


def _bearing(stream: TextIO) -> TextIO:
    """Let a command come to its end though nobody reads what it says any more.

    A pipe that was left (`| head`) or a terminal that was closed then takes everything
    and keeps nothing. Consoles of Windows are left as they are.
    """
    import io

    buffer = getattr(stream, "buffer", None)
    raw = getattr(buffer, "raw", buffer)  # unbuffered, it stands there itself
    if type(raw) is not io.FileIO:
        return stream

    import errno

    left = {errno.EPIPE, errno.EIO, errno.ENXIO, errno.ESHUTDOWN, errno.EBADF}
    if sys.platform == "win32":
        left.add(errno.EINVAL)  # what a pipe without a reader says there

    class Bearing(io.FileIO):
        def write(self, data: bytes | memoryview, /) -> int:  # type: ignore[override]
            try:
                return super().write(data)
            except OSError as error:
                if error.errno not in left:
                    raise
                return memoryview(data).nbytes

    stream.flush()
    line_buffering = getattr(stream, "line_buffering", False)
    # A terminal's and standard error's words are not held back.
    beneath = Bearing(raw.fileno(), "w", closefd=False)
    return io.TextIOWrapper(
        io.BufferedWriter(beneath),  # type: ignore[type-var]
        encoding=stream.encoding,
        errors=stream.errors,
        line_buffering=line_buffering,
        write_through=getattr(stream, "write_through", False),
    )


def _flush() -> None:
    """Send off what is held back; what cannot be sent was told or is not wanted."""
    import os

    for stream in (sys.stdout, sys.stderr):
        if stream is None:
            continue
        try:
            stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _let_end_in_peace() -> None:
    """Ignore a second Ctrl-C while Python puts itself away."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)


if __name__ == "__main__":
    run()
