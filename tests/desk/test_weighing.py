"""What the place depends on is looked at first."""

from __future__ import annotations

import io
import re
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import pytest
from rich.console import Console

from treeward.desk.terminal import TerminalReview, review_dict, row_lines
from treeward.desk.weighing import MOST_READINGS, Weighing
from treeward.errors import HuntError
from treeward.hunt.partial import RowMove

from .pages import DESK

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from treeward.notes.events import Event
    from treeward.report.model import HuntResult

    from .conftest import Prepared
    from .pages import Sitting


def answer(latitude_deg: float) -> HuntResult:
    place = SimpleNamespace(latitude_deg=latitude_deg, longitude_deg=-3.6)
    fix = SimpleNamespace(colonies=(place,))
    return cast("HuntResult", SimpleNamespace(fix=fix))


class Scales:
    """Stands for the hunt's own weighing; notes what it was asked for."""

    def __init__(self) -> None:
        self.asked: list[Mapping[str, Sequence[Event]]] = []

    def row_moves(
        self, _: HuntResult, readings: Mapping[str, Sequence[Event]]
    ) -> Iterator[RowMove]:
        self.asked.append(readings)
        for number, row in enumerate(readings):
            yield RowMove(row=row, moves_m=10.0 * number)


@pytest.fixture
def scales(prepared: Prepared, monkeypatch: pytest.MonkeyPatch) -> Scales:
    made = Scales()
    monkeypatch.setattr(prepared.hunt, "row_moves", made.row_moves)
    return made


def test_every_row_to_look_at_is_weighed_with_its_other_readings(
    prepared: Prepared, scales: Scales
) -> None:
    weighing = Weighing(prepared.desk)
    weighing.work(answer(52.3), lambda: True)

    assert weighing.done
    heard = {row for what, row in prepared.doubtful.items() if what != "value"}
    assert set(weighing.moves) == heard  # a bearing without its value may be any
    (asked,) = scales.asked
    of_mark = asked[prepared.doubtful["mark"]]
    assert [(e.kind, e.mark) for e in of_mark] == [
        ("away", "yellow"),
        ("back", "white"),
    ][:MOST_READINGS]
    assert all(not event.flags for event in of_mark)


def test_a_newer_correction_stops_it_and_the_rest_is_done_later(
    prepared: Prepared, scales: Scales
) -> None:
    weighing = Weighing(prepared.desk)
    left = iter([True, True, False])
    weighing.work(answer(52.3), lambda: next(left))
    assert (weighing.done, len(weighing.moves)) == (False, 2)

    weighing.work(answer(52.3), lambda: True)

    assert len(weighing.moves) == len(scales.asked[0])
    assert set(scales.asked[1]) == set(scales.asked[0]) - set(list(scales.asked[0])[:2])


def test_all_is_weighed_anew_once_the_answer_is_another(
    prepared: Prepared, scales: Scales
) -> None:
    weighing = Weighing(prepared.desk)
    weighing.work(answer(52.3), lambda: True)
    weighing.work(answer(52.30001), lambda: True)  # a metre away
    assert len(scales.asked) == 1
    weighing.work(answer(52.31), lambda: True)  # a kilometre away

    assert len(scales.asked) == 2
    assert set(scales.asked[1]) == set(scales.asked[0])


def test_terminal_list_and_json_go_in_the_same_order_and_say_how_far(
    prepared: Prepared, scales: Scales, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(prepared.hunt, "locate", lambda: answer(52.3))
    names = prepared.doubtful

    values = review_dict(prepared.desk, all_rows=False)["rows"]
    lines = row_lines(prepared.desk, all_rows=False)

    far = [n for n in scales.asked[0] if n != next(iter(scales.asked[0]))]
    order = [*reversed(far), names["value"], next(iter(scales.asked[0]))]
    assert [value["row"] for value in values] == order
    assert [line.split()[0] for line in lines if line[:1] == "r"] == order
    assert values[0]["moves"] == "moves the place by up to 20 m"
    assert values[0]["moves_m"] == 20.0
    assert [value["moves"] for value in values[2:]] == ["", "hardly moves the place"]
    assert "moves the place by up to 20 m" in lines[1]
    keys = iter("nnn")
    out = io.StringIO()
    TerminalReview(
        prepared.desk,
        Console(file=out, width=100, color_system=None),
        read_key=lambda: next(keys, "q"),
        ask=str,
        player=SilentPlayer(),
    ).run()
    shown = out.getvalue()
    assert [
        row for _, row in sorted((shown.index(f" {r} "), r) for r in order)
    ] == order
    assert "moves the place by up to 20 m" in shown


class SilentPlayer:
    """Stands for a machine without a loudspeaker."""

    name = "none"

    def play(self, _samples: Any, _rate_hz: int) -> str | None:
        """Play nothing."""
        return None


def test_without_a_place_rows_come_by_how_doubtful_they_are(
    prepared: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    def nowhere() -> HuntResult:
        raise HuntError("no station has a place")

    monkeypatch.setattr(prepared.hunt, "locate", nowhere)
    names = prepared.doubtful

    values = review_dict(prepared.desk, all_rows=False)["rows"]

    wanted = [names[n] for n in ("value", "mark", "right", "talk")]
    assert [value["row"] for value in values] == wanted
    assert {(value["moves"], value["moves_m"]) for value in values} == {("", None)}


@pytest.mark.slow
@pytest.mark.model
def test_the_list_says_how_far_each_row_moves_the_place_and_begins_with_the_farthest(
    open_page: Callable[..., Sitting], whole_hunt: Prepared
) -> None:
    sitting = open_page(whole_hunt, DESK)
    page: Any = sitting.page
    page.wait_for_selector('#rows[data-ordered="yes"]', timeout=90_000)

    names = whole_hunt.doubtful
    said = {
        name: page.inner_text(f'#rows [data-row="{row}"]')
        for name, row in names.items()
    }
    far = re.compile(r"moves the place by up to ([\d.]+) m")
    assert "hardly moves the place" in said["talk"]
    assert all("moves the place" in text for text in said.values())
    metres = {n: float(m[1]) for n, text in said.items() if (m := far.search(text))}
    assert "right" in metres or "mark" in metres
    shown = [
        button.get_attribute("data-row")
        for button in page.query_selector_all("#rows button")
    ]
    by_place = sorted(metres, key=lambda name: -metres[name])
    assert shown[: len(by_place)] == [names[name] for name in by_place]
    assert shown[-1] == names["talk"]
    assert sitting.current() == shown[0]  # nobody has gone anywhere yet
    assert sitting.faults == []
