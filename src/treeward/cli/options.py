"""Options that several commands share.

What takes long tells on stderr how far it is, so that stdout stays clean: a bar with
the time left while recordings are heard, and what is being done elsewhere.
"""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self, TypeVar

import click

from treeward.units import counted

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import TracebackType

    from rich.console import Console
    from rich.progress import Progress, TaskID
    from rich.status import Status

    from treeward.hunt.hunt import Hunt


F = TypeVar("F", bound="Callable[..., Any]")


def _hunt(help_line: str, **settings: Any) -> Callable[[F], F]:  # noqa: ANN401
    return click.option(
        "--hunt",
        "hunt_dir",
        type=click.Path(path_type=Path, file_okay=False),
        default=Path(),
        metavar="DIR",
        help=help_line,
        **settings,
    )


def hunt_option(function: F) -> F:
    """Add --hunt DIR, passed on as `hunt_dir`; the folder one stands in by default."""
    return _hunt("The hunt's folder, when it is not the one you stand in.")(function)


def own_data_option(what: str) -> Callable[[F], F]:
    """Add --hunt DIR to a command that works outside a hunt too.

    Parameters
    ----------
    what
        The file or folder of a hunt that such a command heeds.
    """
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

    So is said which rows have gone from review.csv since it was written.
    """
    from treeward.live.opening import recover_sessions

    for line in recover_sessions(hunt):
        click.echo(line, err=True)
    if line := hunt.review.gone_line():
        click.echo(line, err=True)


SILENT_S = 4.0  # of a step, before a plain line says what is being done; choice


class Doing:
    """Says on stderr what is being done, where that takes more than some seconds.

    On a terminal it is shown while it lasts; elsewhere a plain line is printed once a
    step has taken `SILENT_S`.
    """

    def __init__(self) -> None:
        self._status: Status | None = None
        self._timer: threading.Timer | None = None

    def __enter__(self) -> Self:
        """Start without a step."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
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

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
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
            self._print(f"{sound}, {total_s / 60:.1f} min{known}")
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
        self._print(f"hearing {name}, {span}{about}")

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

    def _print(self, line: str) -> None:
        _print_to(self._console, line)
