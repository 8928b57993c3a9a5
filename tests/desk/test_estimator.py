from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any, cast

import pytest

from treeward.desk.weighing import Estimator
from treeward.errors import HuntError

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.report.model import HuntResult

LONG_S = 20.0  # a test that waits so long has failed


def estimator(locate: Callable[[], Any]) -> Estimator:
    return Estimator(cast("Callable[[], HuntResult]", locate), quiet_s=0.05)


def test_many_corrections_in_a_row_make_one_calculation() -> None:
    calls: list[int] = []
    office = estimator(lambda: calls.append(1))

    for _ in range(5):
        office.ask()

    assert office.settle(LONG_S)
    assert len(calls) == 1
    office.close()


def test_a_correction_during_a_calculation_is_answered_by_another() -> None:
    begun, go_on = threading.Event(), threading.Event()
    calls: list[int] = []

    def locate() -> int:
        calls.append(1)
        begun.set()
        assert go_on.wait(LONG_S)
        return len(calls)

    office = estimator(locate)
    office.ask()
    assert begun.wait(LONG_S)
    office.ask()
    go_on.set()

    assert office.settle(LONG_S)
    assert cast("Any", office.result) == 2
    office.close()


@pytest.mark.parametrize(
    ("error", "fault"),
    [
        (HuntError("is missing", where="hunt.toml"), "hunt.toml: is missing"),
        (ValueError("grid"), "the distances cannot be worked out: grid"),
    ],
)
def test_a_fault_is_said_and_the_next_request_is_still_answered(
    error: Exception, fault: str
) -> None:
    answers: list[Any] = [error, "an answer"]

    def locate() -> Any:
        answer = answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer

    office = estimator(locate)
    office.ask()
    assert office.settle(LONG_S)
    assert office.fault == fault
    office.ask()
    assert office.settle(LONG_S)

    assert cast("Any", office.result) == "an answer"
    assert office.fault == ""
    office.close()
