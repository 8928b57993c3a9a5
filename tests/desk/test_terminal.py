"""The review in the terminal: one key for each deed, saved at once."""

from __future__ import annotations

import io
import sys
from typing import TYPE_CHECKING

import pytest
from rich.console import Console

from treeward.desk.terminal import TerminalReview, review_dict, row_lines
from treeward.live.microphone import Player, ProgramPlayer

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from .conftest import Prepared

pytestmark = pytest.mark.usefixtures("unweighed")


class Loudspeaker:
    """Keeps what it was given to play."""

    def __init__(self, name: str = "PortAudio") -> None:
        self.name = name
        self.played: list[tuple[int, int]] = []

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> None:
        self.played.append((len(samples), rate_hz))


def sit(
    prepared: Prepared,
    keys: Sequence[str],
    typed: Sequence[str] = (),
    *,
    player: Player | None = None,
    all_rows: bool = False,
    asked: list[str] | None = None,
) -> str:
    """Press keys, answer questions, and return what was shown."""
    out = io.StringIO()
    waiting, answers = list(keys), list(typed)

    def ask(question: str) -> str:
        if asked is not None:
            asked.append(question)
        return answers.pop(0)

    sitting = TerminalReview(
        prepared.desk,
        Console(file=out, width=100, color_system=None),
        read_key=lambda: waiting.pop(0),
        ask=ask,
        player=player or Loudspeaker(),
    )
    sitting.run(all_rows=all_rows)
    assert waiting == []
    assert answers == []
    return out.getvalue()


def test_each_row_shows_what_was_heard_what_else_it_may_be_and_why(
    prepared: Prepared,
) -> None:
    shown = sit(prepared, ["n", "q"])

    assert "1 of 4" in shown
    assert "no bearing heard after 'bearing'" in shown
    assert "heard “white away”, 41% sure" in shown
    assert "1 yellow away 34%" in shown
    assert "heard with little confidence (0.41)" in shown


def test_keys_keep_take_a_reading_drop_and_end(prepared: Prepared) -> None:
    names = prepared.doubtful

    shown = sit(prepared, ["n", "1", "\r", "d"])
    assert prepared.row(names["mark"]).event.mark == "yellow"
    assert prepared.row(names["right"]).decision == "keep"
    assert prepared.row(names["talk"]).decision == "drop"
    assert "That was the last one; still to look at: 1 note." in shown
    assert "Trips: 10 trips, 7 bearings." in shown
    # Her departure was heard as another bee's, so her visit was taken for flight.
    assert "  - yellow 10:20:17 round trip 4 min 38 s" in shown
    assert "  + yellow 10:16:41 away 3 min 36 s" in shown


def test_a_value_that_is_missing_cannot_be_kept(prepared: Prepared) -> None:
    shown = sit(prepared, ["k", "q"])

    assert "It has no value: change it (c) or drop it (d)." in shown
    assert prepared.row(prepared.doubtful["value"]).decision == ""


def test_a_note_is_changed_as_it_was_said(prepared: Prepared) -> None:
    sit(prepared, ["c", "q"], ["bearing two one zero"])

    event = prepared.row(prepared.doubtful["value"]).event
    assert (event.kind, event.mark, event.value) == ("bearing", "white", "210")


def test_what_is_told_freely_is_shown_before_it_is_saved(prepared: Prepared) -> None:
    name = prepared.doubtful["value"]
    asked: list[str] = []

    sit(prepared, ["c", "q"], ["red away, bearing one oh eight", "n"], asked=asked)
    assert "It becomes: bearing 108 (red); and added: red away." in asked[1]
    assert prepared.row(name).event.mark == "white"

    sit(prepared, ["c", "q"], ["red away, bearing one oh eight", ""])
    assert (prepared.row(name).event.mark, prepared.row(name).event.value) == (
        "red",
        "108",
    )
    assert prepared.row("h0001").event.kind == "away"


def test_a_note_is_changed_cell_by_cell(prepared: Prepared) -> None:
    sit(prepared, ["c", "q"], ["", "", "-", "215", "10:13:10", "by the photo"])

    row = prepared.row(prepared.doubtful["value"])
    assert (row.event.mark, row.event.value) == ("", "215")
    assert f"{row.event.clock:%H:%M:%S}" == "10:13:10"
    assert row.remark == "by the photo"


def test_what_cannot_be_read_is_said_and_the_row_stays(prepared: Prepared) -> None:
    before = prepared.hunt.review_path.read_bytes()

    shown = sit(prepared, ["c", "c", "q"], ["lovely weather", "bearing 999"])

    assert shown.count("Not saved:") == 2
    assert "is no note" in shown
    assert prepared.hunt.review_path.read_bytes() == before


def test_a_note_is_added_after_this_one_and_undone(prepared: Prepared) -> None:
    before = prepared.hunt.review_path.read_bytes()

    shown = sit(prepared, ["a", "q"], ["blue back", ""])

    added = prepared.row("h0001").event
    beside = prepared.row(prepared.doubtful["value"]).event
    assert (added.kind, added.mark) == ("back", "blue")
    assert added.clock is not None
    assert beside.clock is not None
    assert abs((added.clock - beside.clock).total_seconds()) < 1
    assert "Added as h0001." in shown
    sit(prepared, ["a", "u", "q"], ["white back", "10:20"])
    names = [row.name for row in prepared.desk.sheet().rows]
    assert "h0002" not in names
    assert prepared.hunt.review_path.read_bytes() != before


def test_undo_brings_back_the_file_and_the_row(prepared: Prepared) -> None:
    before = prepared.hunt.review_path.read_bytes()

    shown = sit(prepared, ["n", "1", "d", "u", "u", "u", "q"])

    assert prepared.hunt.review_path.read_bytes() == before
    assert "There is nothing to undo." in shown


def test_the_sound_around_the_row_is_played(prepared: Prepared) -> None:
    player = Loudspeaker()

    sit(prepared, ["p", "q"], player=player)

    assert player.played == [(round((2.5 + 1.0 + 2.0) * 16_000), 16_000)]


def test_a_player_that_fails_is_told_in_a_line(prepared: Prepared) -> None:
    code = "import sys; sys.exit('ALSA lib: no card\\nmore of it')"
    player = ProgramPlayer("aplay", lambda _: [sys.executable, "-c", code])
    missing = ProgramPlayer("paplay", lambda wav: [str(wav.parent / "nowhere")])

    shown = sit(prepared, ["p", "q"], player=player)
    other = sit(prepared, ["p", "q"], player=missing)

    said = " ".join(shown.split())
    assert "It could not be played (aplay: ALSA lib: no card)." in said
    assert "more of it" not in said
    assert "It could not be played (paplay:" in " ".join(other.split())


def test_without_a_loudspeaker_it_says_so(prepared: Prepared) -> None:
    shown = sit(prepared, ["p", "q"], player=Loudspeaker("none"))

    assert "no loudspeaker was found" in shown


def test_a_change_of_another_program_meanwhile_stays(prepared: Prepared) -> None:
    name = prepared.doubtful["mark"]
    keys = ["n", "c", "q"]

    def ask(_question: str) -> str:
        prepared.change_by_hand(name, mark="blue")
        return "yellow away"

    out = io.StringIO()
    TerminalReview(
        prepared.desk,
        Console(file=out, width=200, color_system=None),
        read_key=lambda: keys.pop(0),
        ask=ask,
        player=Loudspeaker(),
    ).run()

    assert "another program wrote 'blue' meanwhile" in out.getvalue()
    assert prepared.row(name).event.mark == "blue"


def test_ctrl_c_at_a_question_leaves_the_row_as_it_was(prepared: Prepared) -> None:
    before = prepared.hunt.review_path.read_bytes()
    keys = ["c", "q"]

    def ask(_question: str) -> str:
        raise KeyboardInterrupt

    out = io.StringIO()
    TerminalReview(
        prepared.desk,
        Console(file=out, width=100, color_system=None),
        read_key=lambda: keys.pop(0),
        ask=ask,
        player=Loudspeaker(),
    ).run()

    assert "Left as it was." in out.getvalue()
    assert prepared.hunt.review_path.read_bytes() == before


@pytest.mark.parametrize(
    ("down", "up"),
    [("\x1b[B", "\x1b[A"), ("\xe0P", "\xe0H")],
    ids=["terminals", "Windows consoles"],
)
def test_other_keys_list_the_keys_and_the_arrows_move(
    prepared: Prepared, down: str, up: str
) -> None:
    shown = sit(prepared, ["?", "²", down, up, "9", "q"])

    assert "play the sound around it" in shown
    assert "There is no reading 9 to take." in shown
    assert "2 of 4" in shown
    assert shown.index("2 of 4") < shown.rindex("1 of 4")


def test_the_list_is_worst_first_and_tells_all_of_a_row(prepared: Prepared) -> None:
    names = prepared.doubtful
    lines = row_lines(prepared.desk, all_rows=False)
    values = review_dict(prepared.desk, all_rows=False)["rows"]

    order = [names["value"], names["mark"], names["right"], names["talk"]]
    assert [value["row"] for value in values] == order
    assert [line.split()[0] for line in lines if line[:1] == "r"] == order
    assert "or yellow away (0.34); white back (0.08)" in "\n".join(lines)
    assert lines[-1].startswith("To look at: 4 notes, of ")
    assert values[1]["alternatives"][0] == {
        "text": "yellow away",
        "confidence": 0.34,
        "cells": {"event": "away", "mark": "yellow", "value": ""},
    }
    everything = review_dict(prepared.desk, all_rows=True)["rows"]
    assert len(everything) == len(prepared.desk.sheet().rows)
