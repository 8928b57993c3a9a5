"""The words between the notes, shown beside a row of the review."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import pytest
from rich.console import Console

from treeward.desk.talk import Talk
from treeward.desk.terminal import TerminalReview
from treeward.hunt.heard import HeardBy
from treeward.hunt.hunt import Hunt
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from .conftest import Prepared

SOUND = "station-1.flac"
BY = HeardBy(engine="e", model="m", phrase_book="p", size_bytes=1, modified_ns=1)


class Silent:
    """A computer without a loudspeaker."""

    name = "none"

    def play(self, _samples: object, _rate_hz: int) -> str | None:
        return "no loudspeaker"


def hear(hunt: Hunt, *words: tuple[str, float, WordSource]) -> None:
    file = hunt.heard_file(SOUND)
    file.path.parent.mkdir(parents=True, exist_ok=True)
    file.begin(BY)
    file.add(
        [
            Utterance(
                start_s=start_s,
                end_s=start_s + 0.5,
                words=(
                    Word(
                        text=text, start_s=start_s, end_s=start_s + 0.5, source=source
                    ),
                ),
            )
            for text, start_s, source in words
        ],
        reached_s=900.0,
    )


@pytest.fixture
def talked(prepared: Prepared) -> tuple[Prepared, dict[str, Any]]:
    """Let people talk around the first row of the queue that has sound."""
    state = prepared.desk.state()
    name = next(
        name
        for name in state["queue"]
        if any(
            row["row"] == name and row["recording"] == SOUND and row["start_s"] > 20
            for row in state["rows"]
        )
    )
    row = next(row for row in state["rows"] if row["row"] == name)
    at_s = row["start_s"]
    hear(
        prepared.desk.hunt,
        ("long ago", at_s - 20, WordSource.TALK),
        ("i think [b]she", at_s - 3, WordSource.TALK),
        ("yellow away", at_s, WordSource.PHRASE),
        ("no that was blue", at_s + 2, WordSource.TALK),
        ("much later", at_s + 30, WordSource.TALK),
    )
    return prepared, row


def shown(prepared: Prepared, row: dict[str, Any]) -> str:
    out = io.StringIO()
    keys = ["n"] * prepared.desk.state()["queue"].index(row["row"]) + ["q"]
    TerminalReview(
        prepared.desk,
        Console(file=out, width=120, color_system=None),
        read_key=lambda: keys.pop(0),
        ask=lambda _question: "",
        player=Silent(),
    ).run()
    return out.getvalue()


def test_the_page_is_given_what_was_said_around_a_row(
    talked: tuple[Prepared, dict[str, Any]],
) -> None:
    prepared, row = talked

    now = next(r for r in prepared.desk.state()["rows"] if r["row"] == row["row"])

    assert now["talk_before"] == "i think [b]she"
    assert now["talk_after"] == "no that was blue"


@pytest.mark.usefixtures("unweighed")
def test_the_terminal_shows_what_was_said_around_a_row(
    talked: tuple[Prepared, dict[str, Any]],
) -> None:
    text = shown(*talked)

    assert "said before: “i think [b]she”" in text
    assert "said after: “no that was blue”" in text
    assert "long ago" not in text
    assert "much later" not in text


def test_nothing_is_shown_where_no_talk_is_to_be_kept(
    talked: tuple[Prepared, dict[str, Any]],
) -> None:
    prepared, row = talked
    toml = prepared.desk.hunt.path / "hunt.toml"
    toml.write_text(
        toml.read_text("utf-8") + "\n[speech]\nkeep_talk = false\n", "utf-8"
    )

    around = Talk(Hunt(prepared.desk.hunt.path)).around(SOUND, row["start_s"])

    assert around == ("", "")


def test_a_recording_heard_anew_is_read_anew(
    talked: tuple[Prepared, dict[str, Any]],
) -> None:
    prepared, row = talked
    talk = prepared.desk.talk
    assert talk.around(SOUND, row["start_s"])[1] == "no that was blue"

    hear(prepared.desk.hunt, ("it was white", row["start_s"] + 1, WordSource.TALK))

    assert talk.around(SOUND, row["start_s"]) == ("", "it was white")
    assert talk.around("nowhere.flac", 5.0) == ("", "")
    assert talk.around("", None) == ("", "")
