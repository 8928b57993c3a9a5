"""`python -m treeward` is the `treeward` program, and so is the installed command.

Ctrl-C ends it with one line at any moment, so little is imported before `run` is there
to answer it.
"""

from __future__ import annotations

import sys

TYPE_CHECKING = False  # type checkers take it for typing's, which is slow to import
if TYPE_CHECKING:
    from collections.abc import Callable


def run() -> None:
    """Run the program."""
    told = sys.unraisablehook
    sys.unraisablehook = _not_swallowed(told)
    try:
        from treeward.cli import main

        main()
    except KeyboardInterrupt:
        sys.stderr.write("Stopped.\n")
        sys.exit(1)
    finally:
        _let_end_in_peace()
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


def _let_end_in_peace() -> None:
    """Ignore a second Ctrl-C while Python puts itself away."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)


if __name__ == "__main__":
    run()
