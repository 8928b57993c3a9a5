"""The `treeward` program: thin modules, a function for each command.

Options that several commands share. What takes long tells on stderr how far it is, so
that stdout stays clean: a bar with the time left while recordings are heard, and what
is being done elsewhere.
"""

from __future__ import annotations

import importlib
import os
import signal
import sys
import threading
import time
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self, TextIO, TypeVar

import click

from treeward import __version__
from treeward.errors import TreewardError
from treeward.measures import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from types import FrameType

    from rich.console import Console
    from rich.progress import Progress, TaskID
    from rich.status import Status

    from treeward.hunt.hunt import Hunt

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


class PathName(click.Path):
    """The name of a file or folder on the command line, as a `Path`.

    A folder where a file is wanted, or the other way round, is a fault of the input
    as any other: one line, without click's usage lines.
    """

    def __init__(self, *, file_okay: bool = True, dir_okay: bool = True) -> None:
        super().__init__(path_type=Path, file_okay=file_okay, dir_okay=dir_okay)

    def convert(
        self,
        value: str | os.PathLike[str],
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> Any:  # noqa: ANN401  (as click has it)
        """Return the path; raises TreewardError where the wrong kind is there."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            path = Path(value)
            if path.is_dir() == self.dir_okay:
                what = "may not be read"
                mend = "See that you have the right to it."
            else:
                wanted = "folder" if self.dir_okay else "file"
                is_a = "file" if self.dir_okay else "folder"
                asked = param.make_metavar(ctx) if param and ctx else ""
                if isinstance(param, click.Option):
                    asked = param.opts[0]
                what = f"is a {is_a}, and {asked} wants a {wanted}"
                mend = f"Name a {wanted}."
            raise TreewardError(what, where=str(path), mend=mend) from None


F = TypeVar("F", bound="Callable[..., Any]")


def _hunt(help_line: str, **settings: Any) -> Callable[[F], F]:  # noqa: ANN401
    return click.option(
        "--hunt",
        "hunt_dir",
        type=PathName(file_okay=False),
        default=Path(),
        metavar="DIR",
        help=help_line,
        **settings,
    )


def hunt_option(function: F) -> F:
    """Add --hunt DIR, passed on as `hunt_dir`; the folder one stands in by default."""
    return _hunt("The hunt's folder, when it is not the one you stand in.")(function)


def own_data_option(what: str) -> Callable[[F], F]:
    """Add --hunt DIR to a command that works outside a hunt too, and heeds `what`."""
    return _hunt(f"A hunt whose own {what} counts too.", callback=_is_a_hunt)


def _is_a_hunt(context: click.Context, option: click.Parameter, folder: Path) -> Path:
    """Refuse a folder that was named and is no hunt; standing outside one is fine."""
    from click.core import ParameterSource

    source = context.get_parameter_source(option.name or "")
    if source is not ParameterSource.DEFAULT:
        from treeward.hunt_file import read_hunt_file

        read_hunt_file(folder / "hunt.toml")
    return folder


def json_option(function: F) -> F:
    """Add --json, passed on as `as_json`."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print the result as JSON."
    )(function)


def recover_first(hunt: Hunt) -> None:
    """Bring them into review.csv and say so on standard error.

    So is said which rows and corrections have gone from review.csv since it was
    written.
    """
    from treeward.live.opening import recover_sessions

    for line in recover_sessions(hunt):
        click.echo(line, err=True)
    for line in (hunt.review.gone_line(), hunt.review.reverted_line()):
        if line:
            click.echo(line, err=True)


def is_terminal(stream: TextIO | None) -> bool:
    """Tell whether somebody sits at a stream; None is one that is closed."""
    return stream is not None and stream.isatty()


SILENT_S = 4.0  # of a step, before a plain line says what is being done; choice


class Doing(AbstractContextManager["Doing"]):
    """Says on stderr what is being done, where that takes more than some seconds.

    On a terminal it is shown while it lasts; elsewhere a plain line is printed once a
    step has taken `SILENT_S`.
    """

    def __init__(self) -> None:
        self._status: Status | None = None
        self._timer: threading.Timer | None = None

    def __exit__(self, *_: object) -> None:
        """End the last step, and clear it away."""
        self._end()

    def step(self, what: str) -> None:
        """Begin a step: what it does, as "working out where the colony is"."""
        from rich.console import Console
        from rich.text import Text

        self._end()
        console = Console(stderr=True)
        if console.is_terminal:
            self._status = console.status(Text(f"{what} ..."))
            self._status.start()
            return
        self._timer = threading.Timer(SILENT_S, _print_to, (console, f"{what} ..."))
        self._timer.daemon = True
        self._timer.start()

    def _end(self) -> None:
        if self._status is not None:
            self._status.stop()
        if self._timer is not None:
            self._timer.cancel()
            self._timer.join()  # a line that is being printed is whole
        self._status = self._timer = None


def _print_to(console: Console, line: str) -> None:
    console.print(line, markup=False, highlight=False, soft_wrap=True)


SPEED_OVER_S = 600.0  # how long back the pace is looked at; talk and quiet alternate


class ProgressBar:
    """Shows how far the hearing of all recordings has come, and the time left.

    Where stderr is no terminal, a plain line for each recording that is taken up.
    """

    def __init__(self) -> None:
        from rich.console import Console

        self._console = Console(stderr=True)
        self._progress: Progress | None = None
        self._task: TaskID | None = None
        self._begun_at_s = 0.0  # of the monotonic clock
        self._total_s = 0.0
        self._known_before_s = self._known_s = 0.0

    def __enter__(self) -> Self:
        """Start to show."""
        from rich.progress import (
            BarColumn,
            Progress,
            TaskProgressColumn,
            TextColumn,
            TimeRemainingColumn,
        )

        if self._console.is_terminal:
            self._progress = Progress(
                TextColumn("{task.description}", markup=False),
                BarColumn(),
                TaskProgressColumn(),
                TimeRemainingColumn(),
                TextColumn("left"),
                console=self._console,
                transient=True,
                speed_estimate_period=SPEED_OVER_S,
            )
            self._progress.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Clear the bar away."""
        if self._progress is not None:
            self._progress.stop()

    def begin(self, recordings: int, total_s: float, done_s: float) -> None:
        """Show that hearing begins."""
        self._begun_at_s = time.monotonic()
        self._total_s = total_s
        self._known_before_s = self._known_s = done_s
        if self._progress is None:
            known = f", {done_s / 60:.1f} of them known already" if done_s else ""
            sound = counted(recordings, "recording")
            _print_to(self._console, f"{sound}, {total_s / 60:.1f} min{known}")
            return
        self._task = self._progress.add_task(
            "hearing", total=total_s or None, completed=round(done_s)
        )

    def take_up(self, name: str, from_s: float, to_s: float) -> None:
        """Show which recording, or how much of it, is taken up."""
        if self._progress is not None and self._task is not None:
            self._progress.update(self._task, description=f"hearing {name}")
            return
        span = f"{from_s / 60:.1f} to {to_s / 60:.1f} min" if to_s else "to its end"
        left = self.time_left_s()
        about = f"; about {left / 60:.0f} min left for all" if left else ""
        _print_to(self._console, f"hearing {name}, {span}{about}")

    def advance(self, done_s: float) -> None:
        """Move the bar."""
        self._known_s = done_s
        if self._progress is not None and self._task is not None:
            self._progress.update(self._task, completed=done_s)

    def time_left_s(self) -> float | None:
        """Guess how long all of it still takes; None at the beginning."""
        spent_s = time.monotonic() - self._begun_at_s
        heard_s = self._known_s - self._known_before_s
        if heard_s <= 0 or self._total_s <= self._known_s:
            return None
        return spent_s / heard_s * (self._total_s - self._known_s)

    def end(self) -> None:
        """Take the bar away."""
        if self._progress is not None and self._task is not None:
            self._progress.remove_task(self._task)
            self._task = None
