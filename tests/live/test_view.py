from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from treeward.live.messages import BeeState, Estimate, Level, NoteLine, Snapshot
from treeward.live.notebook import found_steps
from treeward.live.view import ListenView, big, big_width

NOW = datetime(2026, 7, 14, 21, 0, 7, tzinfo=ZoneInfo("Europe/London"))


def bee(mark: str, where: str, for_s: float, due: str = "") -> BeeState:
    since = NOW - timedelta(seconds=for_s)
    return BeeState(
        mark=mark,
        where=where,
        since=since,
        for_s=for_s,
        trips=3,
        usual_away_s=350.0,
        due_from=since + timedelta(seconds=320),
        due_until=since + timedelta(seconds=380),
        due=due,
        bearing_deg=212.4,
    )


SHOT = Snapshot(
    now=NOW,
    hunt="Test Moor",
    station="1",
    bees=(bee("yellow", "away", 430, "overdue"), bee("blue-white", "here", 61)),
    notes=(NoteLine(clock=NOW, text="blue-white back"),),
    level=Level(rms_dbfs=-30, peak_dbfs=-12),
    estimate=Estimate(
        station="1", bees=2, trips=9, median_m=642, low90_m=420, high90_m=1010,
        trips_to_halve=11,
    ),
    sunset=NOW + timedelta(minutes=31),
    kept_s=600,
    events=23,
)  # fmt: skip


def screen(shot: Snapshot, width: int = 100, height: int = 30) -> list[str]:
    console = Console(
        file=io.StringIO(), width=width, height=height, force_terminal=False
    )
    with console.capture() as captured:
        console.print(ListenView(shot), height=height, end="")
    return captured.get().removesuffix("\n").split("\n")


def test_screen_says_who_is_out_and_what_it_knows() -> None:
    text = "\n".join(screen(SHOT))

    for expected in (
        "Test Moor", "station 1", "21:00:07", "AWAY  OVERDUE", "HERE", "usual 5:50",
        "20:58-20:59", "3 trips", "bearing 212°", "blue-white back", "420 m to 1.0 km",
        "11 more halve it", "sunset, end of flight 21:31 (in 31 min)",
        "-12 dB", "kept 10:00", "23 notes",
    ):  # fmt: skip
        assert expected in text
    for line in big("7:10"):  # seven minutes ten, three lines high
        assert line.rstrip() in text


def test_screen_says_when_to_get_up() -> None:
    assert SHOT.estimate is not None

    def shown(**more: object) -> str:
        estimate = replace(SHOT.estimate, **more)  # type: ignore[type-var]
        return "\n".join(screen(replace(SHOT, estimate=estimate)))

    bees = ("yellow", "blue-white")
    assert "more of yellow, blue-white won't help" in shown(enough_of=bees)
    assert "more bearings here won't help" in shown(bearings_enough=True)
    text = shown(enough_of=bees, move_m=412.0, move_true_deg=8.4)
    assert "enough here; move: 410 m on 008 true" in text
    assert "11 more halve it" not in text


def test_times_are_large() -> None:
    assert big("1:0") == ("▄█  ▄ █▀█ ", " █  ▄ █ █ ", "▀▀▀   ▀▀▀ ")
    assert big_width("1:0") == 10


@given(st.text("ABCXYZ0123:-. ", max_size=12))
def test_letters_are_as_wide_as_said(text: str) -> None:
    assert {len(line) for line in big(text)} == {big_width(text)}


@settings(max_examples=25, deadline=None)
@given(
    st.integers(60, 200),
    st.integers(20, 60),
    st.integers(0, 14),
    st.booleans(),
    st.booleans(),
)
def test_every_size_of_terminal_is_filled_exactly(
    width: int, height: int, bees: int, faulty: bool, found: bool
) -> None:
    colours = ["red", "yellow", "blue-white", "green abdomen", "unmarked"]
    rows = tuple(
        replace(bee(colours[i % 5], "away", 60.0 * i), mark=f"{colours[i % 5]}")
        for i in range(bees)
    )
    faults = ("the disk is full: sound is not kept, notes are",) if faulty else ()

    steps = found_steps(NOW) if found else ()
    shot = replace(SHOT, bees=rows, faults=faults, next_steps=steps)

    lines = screen(shot, width, height)

    assert {len(line) for line in lines} == {width}
    assert len(lines) == height
    assert "Test Moor" in lines[0]
    assert "sunset" in lines[-1]


@pytest.mark.parametrize(
    ("shot", "expected"),
    [
        (replace(SHOT, bees=()), "No bee noted yet"),
        (replace(SHOT, station=""), "say the station"),
        (replace(SHOT, watching=False), "PAUSED"),
        (replace(SHOT, estimate=None), "none yet"),
        (replace(SHOT, units="imperial"), "460 yd to"),
        (replace(SHOT, faults=("the microphone is away",)), "the microphone is away"),
        (replace(SHOT, sunset=None), "23 notes"),
        (replace(SHOT, next_steps=found_steps(NOW)), "treeward found --from-note"),
    ],
)
def test_what_else_the_screen_can_say(shot: Snapshot, expected: str) -> None:
    assert expected in "\n".join(screen(shot))
