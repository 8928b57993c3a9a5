"""How far each row to look at would move the place, worked out between corrections.

It runs where the answer is worked out, right after it, a row at a time, and stops as
soon as there is a newer correction to answer. What was worked out stands until the
answer has moved so far that it may be another.

Works out the distances anew, a moment after the last correction.

One thread, one calculation at a time; what is asked for meanwhile makes it run once
more. The page asks for the newest answer and sees how old it is.
"""

from __future__ import annotations

import threading
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from treeward.errors import TreewardError
from treeward.hunt.partial import RowMove, farthest_m
from treeward.review.store import lacks, to_look_at

from .tally import UNKNOWN_RANK, moves_payload

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from treeward.notes.events import Event
    from treeward.report.model import HuntResult
    from treeward.review.file import ReviewRow
    from treeward.survey.records import Fix

    from .desk import Desk


MOST_ROWS = 40  # weighed in one go, up to a second each; choice
MOST_READINGS = 2  # of each row that are tried beside leaving it out; choice
MOVED_M = 30.0  # by so much the answer must have moved to weigh all again; choice


class Weighing:
    """What is known of how much hangs on each row.

    `changes` grows with every row weighed and when all are done; `done` tells whether
    all rows to look at were weighed since the last correction.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.moves: dict[str, RowMove] = {}  # by row
        self.changes = 0
        self.done = False
        self._at: Fix | None = None  # the answer that `moves` were held against

    def work(self, result: HuntResult, go_on: Callable[[], bool]) -> None:
        """Weigh the rows to look at, worst first, while `go_on` says so.

        `result` is the answer to review.csv as it stands.
        """
        if self.done:
            self.done = False
            self.changes += 1
        fix = result.fix
        if fix is None or not fix.colonies:
            return
        if (
            self._at is None
            or not self._at.colonies
            or farthest_m(fix, self._at) > MOVED_M
        ):
            self.moves, self._at = {}, fix
        try:
            sheet = self._desk.sheet()
            queue = to_look_at(sheet.rows, sheet.machine)[:MOST_ROWS]
            wanted = {
                row.name: readings
                for row in queue
                if row.name not in self.moves
                # What hangs on a value that nobody heard cannot be told.
                and ((readings := self._readings(row)) or not lacks(row))
            }
            if wanted and go_on():
                for move in self._desk.hunt.row_moves(result, wanted):
                    self.moves[move.row] = move
                    self.changes += 1
                    if not go_on():
                        return
        except (TreewardError, ArithmeticError, LookupError, ValueError):
            return  # told where the answer is; the rows keep their old order
        self.done = True
        self.changes += 1

    def told(self) -> dict[str, Any]:
        """Return what is known of each row, in words; see `tally.moves_payload`."""
        units = self._desk.hunt.file.hunt.units
        return moves_payload(list(self.moves.values()), units, done=self.done)

    def weigh_now(self) -> None:
        """Weigh the rows once, as long as it takes; nothing where there is no place."""
        try:
            result = self._desk.hunt.locate()
        except (TreewardError, ArithmeticError, LookupError, ValueError):
            return  # treeward locate tells why
        self.work(result, lambda: True)

    def in_order(self, rows: Sequence[ReviewRow]) -> list[ReviewRow]:
        """Return rows as the page has them: first what the place depends on."""
        known = self.told()["rows"]

        def place(row: ReviewRow) -> tuple[int, float]:
            move = known.get(row.name, {})
            return move.get("rank", UNKNOWN_RANK), -move.get("moves_m", 0.0)

        return sorted(rows, key=place)

    def _readings(self, row: ReviewRow) -> list[Event]:
        others = self._desk.reader.alternatives(row.event)
        readings = [reading for _, _, reading in others if reading is not None]
        return [
            replace(row.event, kind=one.event, mark=one.mark, value=one.value, flags=())
            for one in readings[:MOST_READINGS]
        ]


QUIET_S = 0.8  # a pause in the corrections this long sets the calculation off; guess


class Estimator:
    """Keeps an answer that follows the corrections.

    `locate` works it out from review.csv as it stands, after having waited `quiet_s`
    for further corrections. `afterwards` is called in the same thread with each answer,
    and with what tells it to go on: false once something newer was asked for.
    """

    def __init__(
        self,
        locate: Callable[[], HuntResult],
        *,
        quiet_s: float = QUIET_S,
        afterwards: Callable[[HuntResult, Callable[[], bool]], None] | None = None,
    ) -> None:
        self._locate = locate
        self._afterwards = afterwards
        self._quiet_s = quiet_s
        self._wake = threading.Condition()
        self._open = True
        self.asked = 0  # number of the newest request
        self.answered = 0  # the request that `result` or `fault` answers
        self.result: HuntResult | None = None
        self.fault = ""
        self._thread = threading.Thread(target=self._run, name="estimator", daemon=True)
        self._thread.start()

    def ask(self) -> None:
        """Take note that something changed; returns at once."""
        with self._wake:
            self.asked += 1
            self._wake.notify_all()

    def settle(self, timeout_s: float) -> bool:
        """Wait until the newest request is answered; False if that took too long."""
        with self._wake:
            return self._wake.wait_for(lambda: self.answered >= self.asked, timeout_s)

    def close(self) -> None:
        """Stop after what is under way."""
        with self._wake:
            self._open = False
            self._wake.notify_all()

    def _run(self) -> None:
        while True:
            with self._wake:
                self._wake.wait_for(lambda: not self._open or self._due())
                while self._open and self._more_within_quiet():
                    pass
                if not self._open:
                    return
                number = self.asked
            result, fault = None, ""
            try:
                result = self._locate()
            except TreewardError as error:
                fault = error.line()
            except (ArithmeticError, LookupError, ValueError, MemoryError) as error:
                # A number that cannot be computed must not end the reviewing.
                fault = f"the distances cannot be worked out: {error}"
            with self._wake:
                self.result, self.fault, self.answered = result, fault, number
                self._wake.notify_all()
            if result is not None and self._afterwards is not None:
                self._afterwards(result, lambda: self._open and not self._due())

    def _more_within_quiet(self) -> bool:
        number = self.asked

        def more() -> bool:
            return not self._open or self.asked != number

        return self._wake.wait_for(more, self._quiet_s)

    def _due(self) -> bool:
        return self.asked > self.answered
