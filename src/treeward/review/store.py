"""The copies of the review: the person's review.csv, and two of the machine's own.

`.treeward/review_machine.csv` is what the machine heard; it tells a person's change
from the machine's words, so the two must belong together even after a crash between
their writing. What is written is therefore laid ready first, and moved into place from
there; of both review.csv is the first. So copies that lie ready without one belong to
the review.csv that was written, and count.

`.treeward/review_last.csv` is review.csv as it was written last. Rows that it has and
review.csv lacks have gone meanwhile: a spreadsheet that was open all along saved its
old view, or the file was cut off. They are told of, and put back by the next command
that writes; to leave a row out one writes `drop`.

Where rows stand by what the machine wrote of them: which need a look, which of them
first, and how many are left. Every screen and file that says how many notes and lines
are to be looked at has it from `left_of`.
"""

from __future__ import annotations

import csv
import hashlib
import io
import stat
import time
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

from treeward.errors import ReviewChangedError, ReviewError, TreewardError
from treeward.files import PREFIX, read_plain, write_bytes
from treeward.language.kinds import KINDS, EventKind, Need
from treeward.measures import counted
from treeward.notes.flags import OF_CELLS, OF_THE_CLOCK, Flag, FlagCode, sentences_of
from treeward.within import held

from .file import PERSON_COLUMNS, cells_of, read_review, write_review
from .merge import all_of_the_persons, put_back
from .table import MOST_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from treeward.language.phrasebook import PhraseBook
    from treeward.within import Held

    from .file import ReviewRow

_TRIES = 4  # times that another command may write while we read
_TRIAL, _LAST, _MACHINE = "review.csv", "review_last.csv", "review_machine.csv"
_MOST_NAMED = 5  # rows in a line for the person; choice
_WEIGHT_REFUSED = 1.2  # of a time that does not fit the others; guess
_LEAST_DOUBT = 0.3  # of a row that was flagged in spite of a high confidence; guess
_ONE_REFUSAL = frozenset({FlagCode.UNFIT_TIME, FlagCode.TAKEN_AS_OTHERS})
# What a row that the person changed is still to be looked at for.
_TO_JUDGE = OF_CELLS | {FlagCode.HEARD_ANEW, FlagCode.NO_LONGER_HEARD}
_CHANGED = ("clock", "event", "mark", "value")


class ReviewStore:
    """Reads and writes the copies; `machine_dir` is the hunt's `.treeward` folder.

    `book` gives the hunt's phrase book, which names the marks.
    """

    def __init__(
        self,
        review_path: Path,
        machine_dir: Path,
        zone: ZoneInfo,
        *,
        book: Callable[[], PhraseBook] | None = None,
    ) -> None:
        self.review_path = review_path
        self._hunt_dir = review_path.parent
        self._zone = zone
        self._book = book
        self._machine_dir = machine_dir
        self._ready_dir = machine_dir / "ready"

    def machine_rows(self) -> list[ReviewRow]:
        """Return what the machine wrote last; empty before its first run.

        Where that copy is spoilt it is made anew of review.csv as it was written
        last, and every cell counts as the person's: nothing of theirs is lost by it.
        """
        path = self._copy(_MACHINE)
        if not path.exists() and not self._last_path.exists():
            return []
        with suppress(ReviewError, OSError):
            if _row_names(path) >= {n for n in self.names_written() if n[:1] == "r"}:
                return read_review(path, self._zone)
        for other in (self._last_path, self.review_path):
            with suppress(ReviewError):
                rows = read_review(other, self._zone)
                return [all_of_the_persons(r) for r in rows if r.name[:1] == "r"]
        return []

    def read(self) -> tuple[list[ReviewRow], list[ReviewRow] | None]:
        """Return the machine's rows, and the person's (None where there is no file).

        Raises
        ------
        ReviewError
            With a line for every cell that cannot be read.
        """
        for _ in range(_TRIES):
            before = self.digest()
            try:
                pair = self._pair()
            except ReviewError:
                if self.digest() == before:
                    raise
            else:
                if self.digest() == before:  # else another command wrote in between
                    return pair
        return self._pair()

    def _pair(self) -> tuple[list[ReviewRow], list[ReviewRow] | None]:
        machine = self.machine_rows()
        if not self.review_path.exists():
            return machine, None
        rows = read_review(
            self.review_path,
            self._zone,
            machine=machine,
            taken=self.names_written(),
            book=self._book() if self._book else None,
        )
        return machine, rows

    def gone(self, current: Sequence[ReviewRow]) -> list[ReviewRow]:
        """Return rows that were written last and that `current` lacks.

        Each has the flag of it, and all that the person had made of it.
        """
        if not self._last_path.exists():
            return []
        there = {row.name for row in current}
        if self.names_written() <= there:
            return []
        try:
            last = read_review(self._last_path, self._zone)
        except ReviewError:  # spoilt; the next writing makes it anew
            return []
        written = {row.name for row in last}
        # Rows that lost their names, with the column that held them.
        alike = {_said(row) for row in current if row.name not in written}
        return [
            replace(row, event=replace(row.event, flags=_flagged(row)))
            for row in last
            if row.name not in there and _said(row) not in alike
        ]

    def with_gone(
        self, current: Sequence[ReviewRow] | None
    ) -> tuple[list[ReviewRow] | None, list[ReviewRow]]:
        """Return rows with those that have gone put back, and these alone."""
        if current is None:
            return None, []
        gone = self.gone(current)
        return put_back(current, gone), gone

    def gone_line(self) -> str:
        """Say which rows have gone, "" where none have or the file cannot be read."""
        try:
            _, current = self.read()
            gone = self.gone(current or []) if current is not None else []
        except TreewardError:
            return ""  # the command that follows tells what is wrong
        if not gone:
            return ""
        return (
            f"{gone_words(gone)} gone from review.csv since Treeward wrote it. They do "
            "not count now; the next treeward transcribe, or the next correction in "
            "treeward review, puts them back. To leave a row out, write drop in it."
        )

    def reverted_line(self) -> str:
        """Say which corrections stood when Treeward wrote review.csv and do no more.

        "" where there are none, or the file cannot be read.
        """
        try:
            if _digest(self._last_path) == self.digest():
                return ""  # nobody has saved it since
            machine, current = self.read()
            last = read_review(self._last_path, self._zone)
        except (TreewardError, OSError):
            return ""  # the command that follows tells what is wrong
        heard = {row.name: cells_of(row) for row in machine}
        now = {row.name: cells_of(row) for row in current or ()}
        gone = [
            f"{row.name} {column}: was {was!r}, is {there[column] or 'empty'!s} again"
            for row in last
            if (there := now.get(row.name)) and (before := heard.get(row.name))
            for column, was in cells_of(row).items()
            if column in PERSON_COLUMNS and was and was != before[column]
            if there[column] == before[column]
        ]
        if not gone:
            return ""
        more = len(gone) - _MOST_NAMED
        shown = "; ".join(gone[:_MOST_NAMED]) + (f"; {more} more" if more > 0 else "")
        return (
            f"{counted(len(gone), 'correction')} gone from review.csv since Treeward "
            f"wrote it ({shown}). If an old copy was saved over it, correct that again."
        )

    def settle(self) -> None:
        """Put right what an update that was cut off between the copies left."""
        self._move_in()
        self._forget_ready()

    def digest(self) -> str:
        """Return a digest of review.csv as it is now; "" where there is none."""
        return _digest(self.review_path) if self.review_path.is_file() else ""

    def write(
        self,
        rows: Sequence[ReviewRow],
        machine: Sequence[ReviewRow] | None,
        *,
        seen: str | None = None,
    ) -> Path | None:
        """Write all copies so that a crash at any moment leaves a pair that fits.

        Parameters
        ----------
        rows
            For review.csv.
        machine
            For the machine's copy; None where that stays as it is.
        seen
            Digest of review.csv as `rows` were made from it.

        Returns
        -------
        Path or None
            A copy of what another program saved in the very moment of the writing,
            kept beside review.csv.

        Raises
        ------
        ReviewChangedError
            If review.csv is no longer the one that was seen.
        """
        self.settle()
        with self._own(self._ready_dir) as ready:
            trial = self._ready_dir / _TRIAL
            write_review(trial, rows, within=self._hunt_dir)
            last = self._ready_dir / _LAST
            write_bytes(last, trial.read_bytes(), within=self._hunt_dir)
            if machine is not None:
                path = self._ready_dir / _MACHINE
                write_review(path, machine, within=self._hunt_dir)
            loser = self._replace_review(ready, seen)
        self._move_in()
        self._forget_ready()
        return loser

    def _replace_review(self, ready: Held, seen: str | None) -> Path | None:
        """Let the trial become review.csv, and keep what was saved in that moment."""
        name = self.review_path.name
        with held(self._hunt_dir, self._hunt_dir) as home:
            before = home.look(name)
            if before is not None and stat.S_ISREG(before.st_mode):
                ready.permit(_TRIAL, stat.S_IMODE(before.st_mode))
            with self._by_other_name(home, before is not None) as other:
                if seen is not None and self.digest() != seen:
                    raise ReviewChangedError(
                        "is being saved by another program",
                        where=str(self.review_path),
                        mend="Wait until it has been saved there, then do this again.",
                    )
                try:
                    ready.replace(_TRIAL, name, home)
                except PermissionError as error:
                    raise ReviewError(
                        "cannot be replaced, another program may have it open",
                        where=str(self.review_path),
                        mend="Close it there and run the command again.",
                    ) from error
                if seen is None or not other or _digest(home.path / other) == seen:
                    return None
                kept = f"review-saved-{time.strftime('%H%M%S')}.csv"
                home.replace(other, kept)
                return home.path / kept

    @contextmanager
    def _by_other_name(self, home: Held, there: bool) -> Iterator[str]:
        """Give review.csv a second name meanwhile; "" where the disk has no such."""
        other = f"{PREFIX}saved-{time.time_ns()}.csv"
        if not there or not home.name_twice(self.review_path.name, other):
            other = ""
        try:
            yield other
        finally:
            if other:
                home.remove(other)

    def _move_in(self) -> None:
        """Move to its place what lies ready with a review.csv that was written."""
        for name in (_MACHINE, _LAST):
            if self._copy(name).parent == self._ready_dir:
                with self._own(self._ready_dir) as ready, self._own() as own:
                    try:
                        ready.replace(name, name, own)
                    except OSError:
                        if name == _MACHINE:
                            raise

    def _copy(self, name: str) -> Path:
        """Return where the copy lies that belongs to review.csv as written last."""
        left = self._ready_dir / name
        written = left.is_file() and not (self._ready_dir / _TRIAL).exists()
        return (self._ready_dir if written else self._machine_dir) / name

    @property
    def _last_path(self) -> Path:
        return self._copy(_LAST)

    def names_written(self) -> set[str]:
        """Return the names of all rows of review.csv as it was written last."""
        try:
            return _row_names(self._last_path)
        except OSError:
            return set()

    def _forget_ready(self) -> None:
        if self._ready_dir.is_dir():
            with self._own(self._ready_dir) as ready:
                # The trial last, without which the others would count.
                for name in sorted(ready.names(), key=lambda name: name == _TRIAL):
                    ready.remove(name)

    @contextmanager
    def _own(self, folder: Path | None = None) -> Iterator[Held]:
        with held(self._hunt_dir, folder or self._machine_dir, make=True) as found:
            yield found


def gone_words(rows: Sequence[ReviewRow]) -> str:
    """Say which rows: "3 rows (r0002, r0003, h0001) had"."""
    names = [row.name for row in rows]
    shown = ", ".join(names[:_MOST_NAMED])
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    if len(names) == 1:
        return f"1 row ({shown}) has"
    return f"{len(names)} rows ({shown}{more}) have"


def _flagged(row: ReviewRow) -> tuple[Flag, ...]:
    back = Flag(FlagCode.PUT_BACK)
    return (*(flag for flag in row.event.flags if flag != back), back)


def _said(row: ReviewRow) -> tuple[object, ...]:
    event = row.event
    return (
        event.clock, event.kind, event.mark, event.value, event.recording, event.start_s
    )  # fmt: skip


def _row_names(path: Path) -> set[str]:
    """Return the first cell of every row of a copy that we wrote."""
    text = read_plain(path, most_bytes=2 * MOST_BYTES).decode("utf-8-sig", "replace")
    with suppress(csv.Error):
        lines = csv.reader(io.StringIO(text.replace("\0", " "), newline=""))
        next(lines, None)
        return {line[0] for line in lines if line}
    return set()


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()[:32]


class Status(StrEnum):
    """Where a row stands in the review."""

    LOOK = "look"  # needs a look
    PLAIN = "plain"  # nothing speaks against it
    KEPT = "kept"
    CHANGED = "changed"
    ADDED = "added"
    DROPPED = "dropped"


def status_of(row: ReviewRow, written: ReviewRow | None) -> Status:
    """Tell where a row stands beside what the machine wrote, None where it did not."""
    if row.decision == "drop":
        return Status.DROPPED
    open_again = any(flag.code in _TO_JUDGE for flag in row.event.flags)
    if lacks(row) or (open_again and not row.decision):
        return Status.LOOK
    if row.decision == "keep":
        return Status.KEPT
    if written is None:
        return Status.LOOK if row.event.flags else Status.ADDED
    cells, before = cells_of(row), cells_of(written)
    if any(cells[name] != before[name] for name in _CHANGED):
        return Status.CHANGED
    return Status.LOOK if row.event.flags else Status.PLAIN


def lacks(row: ReviewRow) -> str:
    """Name what a row cannot do without and has not: "value", "mark" or ""."""
    event = row.event
    if KINDS[event.kind].value is Need.MUST and not event.value:
        return "value"
    if KINDS[event.kind].mark is Need.MUST and not event.mark:
        return "mark"
    return ""


def reasons_of(row: ReviewRow) -> tuple[str, ...]:
    """Say in words why a row needs a look.

    Of a time that the clock refused, all that it was taken for is said in one, and with
    it the time that the others make it.
    """
    missing = lacks(row)
    flags = row.event.flags
    if any(flag.code is FlagCode.UNFIT_TIME for flag in flags):
        flags = tuple(flag for flag in flags if flag.code not in _ONE_REFUSAL)
        return (*sentences_of(flags), _refused_text(row))
    said = sentences_of(flags)
    if missing and not said:
        return (f"{row.event.kind.value} without a {missing}",)
    return said


def _refused_text(row: ReviewRow) -> str:
    """Say of a time that does not fit the others what it was taken for."""
    event = row.event
    retaken = (f for f in event.flags if f.code is FlagCode.TAKEN_AS_OTHERS)
    heard = next((flag.words[0] for flag in retaken if flag.words), "")
    said = f"heard as {event.value}, which does not fit the other times"
    if heard:
        said = f"heard as {heard} or {event.value}; neither fits the other times"
    by_others = f", by which it was {event.clock:%H:%M}" if event.clock else ""
    return f"{said}{by_others}: it sets no clock"


def worry(row: ReviewRow) -> float:
    """Return how much may be wrong because of this row; larger is worse.

    The weight of its kind times the chance that it is wrong: 1 where something is
    missing, otherwise what is left of the engine's confidence. A time that the clock
    has refused already moves nothing any more, but may be another note misheard.
    """
    doubt = max(_LEAST_DOUBT, 1.0 - row.event.confidence)
    if lacks(row):
        doubt = 1.0
    elif row.event.has(FlagCode.HEARD_ANEW):
        doubt = max(doubt, 0.9)  # the person and the machine disagree; guess
    more_reasons = 0.05 * max(0, len(row.event.flags) - 1)
    weight = KINDS[row.event.kind].weight
    refused = any(flag.code in OF_THE_CLOCK for flag in row.event.flags)
    if row.event.kind is EventKind.TIME and refused:
        weight = min(weight, _WEIGHT_REFUSED)
    return weight * min(1.0, doubt + more_reasons)


def to_look_at(
    rows: Sequence[ReviewRow], machine: Mapping[str, ReviewRow]
) -> list[ReviewRow]:
    """Return the rows that need a look, worst first, then in the file's order."""
    doubtful = [
        row for row in rows if status_of(row, machine.get(row.name)) is Status.LOOK
    ]
    return sorted(doubtful, key=lambda row: -worry(row))


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What is still to be looked at.

    `rows` names the notes that need a look; `lines` counts the lines that name a bee
    and made no note, and that nobody has judged; `of` counts all notes.
    """

    rows: tuple[str, ...] = ()
    lines: int = 0
    of: int = 0

    @property
    def notes(self) -> int:
        """How many notes need a look."""
        return len(self.rows)

    @property
    def any(self) -> bool:
        """Whether anything is left."""
        return bool(self.rows or self.lines)


def left_of(
    rows: Sequence[ReviewRow], machine: Mapping[str, ReviewRow], *, lines: int
) -> Left:
    """Count what is still to be looked at.

    `machine` is what the machine wrote, by row; `lines` is how many lines without a
    note nobody has judged.
    """
    names = tuple(row.name for row in to_look_at(rows, machine))
    return Left(rows=names, lines=lines, of=len(rows))
