"""Works out the distances anew, a moment after the last correction.

One thread, one calculation at a time; what is asked for meanwhile makes it run once
more. The page asks for the newest answer and sees how old it is.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from treeward.errors import TreewardError

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.report.model import HuntResult

QUIET_S = 0.8  # a pause in the corrections this long sets the calculation off; guess


class Estimator:
    """Keeps an answer that follows the corrections.

    Parameters
    ----------
    locate
        Works out the answer from review.csv as it stands.
    quiet_s
        How long to wait for further corrections.
    afterwards
        Called in the same thread with each answer, and with what tells it to go on:
        false once something newer was asked for.
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
        self._asked = 0
        self._open = True
        self.answered = 0  # the request that `result` or `fault` answers
        self.result: HuntResult | None = None
        self.fault = ""
        self._thread = threading.Thread(target=self._run, name="estimator", daemon=True)
        self._thread.start()

    @property
    def asked(self) -> int:
        """Number of the newest request."""
        return self._asked

    def ask(self) -> None:
        """Take note that something changed; returns at once."""
        with self._wake:
            self._asked += 1
            self._wake.notify_all()

    def settle(self, timeout_s: float) -> bool:
        """Wait until the newest request is answered; False if that took too long."""
        with self._wake:
            return self._wake.wait_for(lambda: self.answered >= self._asked, timeout_s)

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
                number = self._asked
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
        number = self._asked

        def more() -> bool:
            return not self._open or self._asked != number

        return self._wake.wait_for(more, self._quiet_s)

    def _due(self) -> bool:
        return self._asked > self.answered
