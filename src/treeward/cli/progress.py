"""A progress bar with the time left, on stderr, so that stdout stays clean."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from types import TracebackType

    from rich.progress import Progress, TaskID


class ProgressBar:
    """Shows how far the hearing of each recording has come.

    Where stderr is no terminal, a plain line for each recording instead.
    """

    def __init__(self) -> None:
        from rich.console import Console

        self._console = Console(stderr=True)
        self._progress: Progress | None = None
        self._task: TaskID | None = None

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

    def begin(self, name: str, total_s: float | None, done_s: float) -> None:
        """Show a recording that is taken up."""
        length = f" ({total_s / 60:.1f} min)" if total_s else ""
        if self._progress is None:
            going_on = f", going on at {done_s / 60:.1f} min" if done_s else ""
            self._console.print(
                f"hearing {name}{length}{going_on}", markup=False, highlight=False
            )
            return
        self._task = self._progress.add_task(f"hearing {name}", total=total_s)
        self.advance(done_s)

    def advance(self, done_s: float) -> None:
        """Move the bar."""
        if self._progress is not None and self._task is not None:
            self._progress.update(self._task, completed=done_s)

    def end(self) -> None:
        """Take the bar away."""
        if self._progress is not None and self._task is not None:
            self._progress.remove_task(self._task)
            self._task = None
