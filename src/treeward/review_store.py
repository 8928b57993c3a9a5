"""The two copies of the review: the person's review.csv, and the machine's own.

The machine's copy (`.treeward/review_machine.csv`) is what tells a person's change
from the machine's words, so the two must belong together even after a crash between
their writing. The next machine copy is therefore laid ready first, then review.csv is
replaced, then the machine's copy; a copy that still lies ready at the next start is
taken if review.csv is the one it was made for.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from treeward.errors import ReviewError
from treeward.notes.review_file import read_review, write_review

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from treeward.notes.review_file import ReviewRow

_TRIES = 4  # times that another command may write while we read


class ReviewStore:
    """Reads and writes both copies.

    Parameters
    ----------
    review_path
        The person's review.csv.
    machine_dir
        The hunt's `.treeward` folder.
    zone
        The hunt's time zone.
    """

    def __init__(self, review_path: Path, machine_dir: Path, zone: ZoneInfo) -> None:
        self.review_path = review_path
        self._zone = zone
        self._machine_path = machine_dir / "review_machine.csv"
        self._ready_dir = machine_dir / "ready"

    def machine_rows(self) -> list[ReviewRow]:
        """Return what the machine wrote last; empty before its first run."""
        path = self._ready_for_this_review() or self._machine_path
        if not path.exists():
            return []
        try:
            return read_review(path, self._zone)
        except ReviewError as error:
            raise ReviewError(
                f"Treeward's own copy of the review is spoilt ({error.line()})",
                where=str(path),
                mend="Take it away: then every row of review.csv counts as yours.",
            ) from error

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
        return machine, read_review(self.review_path, self._zone, machine=machine)

    def settle(self) -> None:
        """Put right what an update that was cut off between the two copies left."""
        if left := self._ready_for_this_review():
            left.replace(self._machine_path)
        self._forget_ready()

    def digest(self) -> str:
        """Return a digest of review.csv as it is now; "" where there is none."""
        return _digest(self.review_path) if self.review_path.is_file() else ""

    def write(self, rows: Sequence[ReviewRow], machine: Sequence[ReviewRow]) -> None:
        """Write both copies so that a crash at any moment leaves a pair that fits."""
        self.settle()
        self._ready_dir.mkdir(parents=True, exist_ok=True)
        trial = self._ready_dir / "review.csv"
        write_review(trial, rows)
        ready = self._ready_dir / f"{_digest(trial)}.csv"
        write_review(ready, machine)
        self.review_path.parent.mkdir(parents=True, exist_ok=True)
        write_review(self.review_path, rows)
        ready.replace(self._machine_path)
        self._forget_ready()

    def _ready_for_this_review(self) -> Path | None:
        if not self._ready_dir.is_dir() or not self.review_path.exists():
            return None
        path = self._ready_dir / f"{_digest(self.review_path)}.csv"
        return path if path.exists() else None

    def _forget_ready(self) -> None:
        if self._ready_dir.is_dir():
            for path in self._ready_dir.iterdir():
                path.unlink(missing_ok=True)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()[:32]
