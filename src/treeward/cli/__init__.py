"""The `treeward` program: thin modules, a function for each command."""

from __future__ import annotations

import importlib
import os
import signal
import sys
import threading
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from treeward import __version__
from treeward.errors import TreewardError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from types import FrameType

CTRL_C_COUNTS_S = 5.0  # an error that comes later is one of its own; guess

# Command -> (module that holds `<name>_command`, help line). The line stands here so
# that `treeward --help` need not import the modules.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("new", "Copy the example hunt and run all of it, sound to map."),
    "new": ("new", "Start a hunt: hunt.toml with comments, empty folders."),
    "phrases": ("doctor", "What can be said, as text or as a card to print."),
    "practice": ("listen", "How well your voice and microphone are heard."),
    "listen": ("listen", "Dictate live: hears, answers, keeps, says who is due."),
    "transcribe": ("transcribe", "Recordings or timed transcripts to review.csv."),
    "review": ("transcribe", "Rows to look at, here or in a browser with the sound."),
    "trips": ("locate", "Visits, trips, and what is doubtful."),
    "locate": ("locate", "Distance, search area, next station, report, maps."),
    "found": ("season", "The colony was found: forecast against find."),
    "season": ("season", "What your found hunts teach; colonies through the year."),
    "merge": ("transcribe", "Two people's hunts as one."),
    "simulate": ("new", "An invented hunt with a known answer."),
    "models": ("doctor", "Speech engines and models found here."),
    "doctor": ("doctor", "What works on this machine, and how to mend the rest."),
}


class CommandTable(click.Group):
    """A group that imports a command only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Return the commands in the order in which a hunt uses them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command, or None where there is none so called."""
        if cmd_name not in COMMANDS:
            if cmd_name and not cmd_name.startswith("-"):
                import difflib

                near = difflib.get_close_matches(cmd_name, COMMANDS, n=1, cutoff=0.7)
                hint = f" Did you mean {near[0]!r}?" if near else ""
                ctx.fail(f"There is no command {cmd_name!r}.{hint}")
            return None
        module = importlib.import_module(f"treeward.cli.{COMMANDS[cmd_name][0]}")
        command = getattr(module, f"{cmd_name}_command")
        assert isinstance(command, click.Command)  # noqa: S101
        return command

    def format_commands(
        self,
        ctx: click.Context,  # noqa: ARG002
        formatter: click.HelpFormatter,
    ) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=CommandTable, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="treeward")
def group() -> None:
    """Hear spoken bee-lining notes and work out where the colony is.

    Start with `treeward demo`, then `treeward new DIR` for a hunt of your own.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the program; a fault in the input is one line and exit status 1."""
    _speak_utf8()
    code: Any = 0
    with _ctrl_c_noted() as pressed:
        try:
            code = group.main(args=arguments, standalone_mode=False)
        except TreewardError as error:
            _fail(error)
        except click.ClickException as error:
            error.show()
            sys.exit(error.exit_code)
        except (click.Abort, KeyboardInterrupt):
            _stopped()
        except BrokenPipeError:
            sys.stderr.close()  # the reader left; nothing is wrong
            sys.exit(0)
        except MemoryError:
            click.echo("treeward: there is not enough memory for this.", err=True)
            sys.exit(1)
        except OSError as error:
            from treeward.files import meant

            # What is written beside is named by what it is for.
            where = f"{meant(os.fsdecode(error.filename))}: " if error.filename else ""
            where = where if where.isprintable() else ascii(where)[1:-1]
            click.echo(
                f"treeward: {where}{error.strerror or error}. "
                "Check the name, your rights to it, and that the disk has room.",
                err=True,
            )
            sys.exit(1)
        except Exception as error:  # noqa: BLE001  (nobody is to see a traceback)
            if pressed and time.monotonic() - pressed[-1] < CTRL_C_COUNTS_S:
                _stopped()
            _own_fault(error)
    sys.exit(code if isinstance(code, int) else 0)


@contextmanager
def _ctrl_c_noted() -> Iterator[list[float]]:
    """Keep in a list when Ctrl-C was pressed.

    A library in another language may make an error of its own out of it: Matplotlib,
    amid drawing, says "Invalid bounding box".
    """
    pressed: list[float] = []
    usual = signal.getsignal(signal.SIGINT)
    here = threading.current_thread() is threading.main_thread()
    if usual is not signal.default_int_handler or not here:
        yield pressed
        return

    def note(number: int, frame: FrameType | None) -> None:
        pressed.append(time.monotonic())
        signal.default_int_handler(number, frame)

    signal.signal(signal.SIGINT, note)
    try:
        yield pressed
    finally:
        if signal.getsignal(signal.SIGINT) is note:
            signal.signal(signal.SIGINT, usual)


def _stopped() -> None:
    click.echo("Stopped. What was finished is kept.", err=True)
    sys.exit(1)


def _own_fault(error: Exception) -> None:
    """Own up to a fault of ours, and keep what a report of it needs."""
    import platform
    import tempfile
    import traceback

    said = " ".join(f"{type(error).__name__}: {error}".split())[:200]
    told = f"Treeward {__version__}, {platform.platform()}, {sys.version.split()[0]}\n"
    told += f"{sys.argv}\n{''.join(traceback.format_exception(error))}"
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="treeward-fault-", suffix=".txt", encoding="utf-8", delete=False
        ) as file:
            file.write(told)
        kept = f"Please report it with {file.name}, which tells where it happened."
    except OSError:
        kept = "Please report it with the command that you gave."
    click.echo(f"treeward: a fault of Treeward's own ({said!a}). {kept}", err=True)
    sys.exit(1)


def _fail(error: TreewardError) -> None:
    lines: tuple[str, ...] = getattr(error, "lines", ()) or (error.line(),)
    for line in lines:
        click.echo(f"treeward: {line}", err=True)
    sys.exit(1)


def _speak_utf8() -> None:
    """Keep a degree sign from failing on a console with an old code page."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
