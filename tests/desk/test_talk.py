"""The words between the notes, shown beside a row of the review."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import pytest
from rich.console import Console

from treeward.desk.desk import Desk
from treeward.desk.sources import Talk
from treeward.desk.terminal import TerminalReview
from treeward.hunt.heard import HeardBy
from treeward.hunt.hunt import Hunt
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from pathlib import Path

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


LINES = (
    (10.0, "station one, it is ten past two."),
    (40.0, "white's back. I think she is the big one."),
    (44.0, "mind the nettles. now she's off, two forty. lovely."),
    (130.0, "no, that was the blue one."),
    (190.0, "shall we have the sandwiches?"),
)


def narrated(folder: Path) -> Hunt:
    cues = [
        f"00:0{at_s // 60:.0f}:{at_s % 60:06.3f} --> "
        f"00:0{at_s // 60:.0f}:{at_s % 60 + 3.5:06.3f}\n{line}"
        for at_s, line in LINES
    ]
    path = folder / "morning 2026-07-14.vtt"
    path.write_text("WEBVTT\n\n" + "\n\n".join(cues) + "\n", encoding="utf-8")
    hunt = Hunt.create(folder / "hunt", name="Marl Hollow", timezone="Europe/London")
    hunt.transcribe([path])
    return hunt


def around(hunt: Hunt, kind: str) -> tuple[str, str]:
    row = next(r for r in Desk(hunt).state()["rows"] if r["cells"]["event"] == kind)
    return row["talk_before"], row["talk_after"]


def test_a_transcripts_own_lines_stand_around_its_rows(tmp_path: Path) -> None:
    hunt = narrated(tmp_path)

    assert around(hunt, "back") == (
        LINES[0][1],
        f"i think she is the big one.\n{LINES[2][1]}",
    )
    for kind in ("away", "bearing"):  # read from the whole line, which the row holds
        assert around(hunt, kind) == (LINES[1][1].lower(), LINES[3][1])
    # Nothing that was kept of sound is asked for.
    toml = hunt.path / "hunt.toml"
    quiet = toml.read_text("utf-8") + "\n[speech]\nkeep_talk = false\n"
    toml.write_text(quiet, "utf-8")
    assert around(Hunt(hunt.path), "station")[0] == ""
    assert around(Hunt(hunt.path), "station")[1].endswith(LINES[1][1].lower())


def test_the_lines_of_a_typed_page_stand_around_its_rows(tmp_path: Path) -> None:
    hunt = Hunt.create(tmp_path / "hunt", name="Marl Hollow", timezone="Europe/London")
    page = tmp_path / "page.txt"
    page.write_text(
        "2026-07-14, station 1\n\n9:05 yellow away, 210\nor was it the white one?\n"
        "9:11 yellow   back\n",
        "utf-8",
    )
    hunt.transcribe([page])

    assert around(hunt, "away") == ("2026-07-14, station 1", "or was it the white one?")
    assert around(hunt, "bearing") == around(hunt, "away")
    assert around(hunt, "back") == ("or was it the white one?", "")


def test_of_free_speech_in_sound_a_note_does_not_stand_around_itself(
    talked: tuple[Prepared, dict[str, Any]],
) -> None:
    prepared, row = talked
    at_s = row["start_s"]
    hear(
        prepared.desk.hunt,
        ("lovely", at_s - 2, WordSource.TALK),
        ("yellow", at_s, WordSource.TALK),
        ("left", at_s + 0.6, WordSource.TALK),
        ("again", at_s + 1.2, WordSource.TALK),
    )

    found = prepared.desk.talk.around(SOUND, at_s, at_s + 1.1, "yellow left")

    assert found == ("lovely", "again")
    # One told late begins before it was said.
    late = prepared.desk.talk.around(SOUND, at_s - 5, at_s + 1.1, "yellow left")
    assert late == ("lovely", "again")


def test_a_recording_of_a_name_that_leads_elsewhere_shows_nothing(
    tmp_path: Path,
) -> None:
    hunt = narrated(tmp_path)
    (tmp_path / "hunt" / "other.vtt").write_text(
        "WEBVTT\n\n00:00:10.000 --> 00:00:13.000\nsomebody's own words\n", "utf-8"
    )
    talk = Desk(hunt).talk

    for name in ("../other.vtt", str(tmp_path / "hunt" / "other.vtt"), "a\0.vtt"):
        assert talk.around(name, 5.0) == ("", "")
    (hunt.recordings_dir / "page.vtt").write_text("no transcript", "utf-8")
    assert talk.around("page.vtt", 5.0) == ("", "")
