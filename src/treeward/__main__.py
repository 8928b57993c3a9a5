"""`python -m treeward` is the `treeward` program, and so is the installed command."""

import sys


def run() -> None:
    """Run the program; Ctrl-C ends it with one line, even while it still starts."""
    try:
        from treeward.cli import main

        main()
    except KeyboardInterrupt:
        sys.stderr.write("Stopped.\n")
        sys.exit(1)
    finally:
        _let_end_in_peace()


def _let_end_in_peace() -> None:
    """Ignore a second Ctrl-C while Python puts itself away."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)


if __name__ == "__main__":
    run()
