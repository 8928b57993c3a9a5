"""Notes that were pasted: shown before they are taken, then kept as transcribe does."""

from __future__ import annotations

import csv
from datetime import date
from typing import TYPE_CHECKING

import pytest

from treeward.desk.sources import MOST_LETTERS, look_at_pasted, take_pasted
from treeward.errors import HuntError, TranscriptError
from treeward.hunt.hunt import Hunt

if TYPE_CHECKING:
    from pathlib import Path

DAY = date(2026, 7, 14)
PAGE = "9:05 yellow away, north east\n9:07 blue ???\n9:11 yellow back\n"


@pytest.fixture
def hunt(tmp_path: Path) -> Hunt:
    return Hunt.create(tmp_path / "hunt", name="Marl Hollow", timezone="Europe/London")


def rows(hunt: Hunt) -> list[tuple[str, str, str, str]]:
    text = hunt.review_path.read_text("utf-8-sig")
    return [
        (row["clock"][:16], row["event"], row["mark"], row["value"])
        for row in csv.DictReader(text.splitlines())
    ]


def test_what_would_be_read_is_told_and_nothing_is_taken(hunt: Hunt) -> None:
    page = look_at_pasted(hunt, PAGE, DAY)

    assert [(e.kind, e.mark, e.value) for e in page.events] == [
        ("away", "yellow", ""),
        ("bearing", "yellow", "45 ne"),
        ("back", "yellow", ""),
    ]
    assert [(line.place, line.text) for line in page.unread] == [
        ("line 2", "9:07 blue ???")
    ]
    assert (page.name, page.replaces, page.known) == (
        "typed-2026-07-14.txt",
        False,
        0,
    )
    assert list(hunt.recordings_dir.iterdir()) == []
    assert not hunt.review_path.exists()


def test_what_is_taken_is_what_transcribe_makes_of_such_a_file(
    hunt: Hunt, tmp_path: Path
) -> None:
    other = Hunt.create(tmp_path / "other", name="x", timezone="Europe/London")
    file = tmp_path / "typed-2026-07-14.txt"
    file.write_text(PAGE, encoding="utf-8")

    take_pasted(hunt, PAGE, DAY)
    other.transcribe([file])

    assert hunt.review_path.read_bytes() == other.review_path.read_bytes()
    kept = hunt.recordings_dir / file.name
    assert kept.read_text("utf-8") == PAGE
    assert Hunt(hunt.path).transcribe().rows == 3  # read again, nothing changes


def test_the_day_in_the_text_stands_over_the_one_beside_it(hunt: Hunt) -> None:
    page, _ = take_pasted(hunt, f"15 July 2026\n{PAGE}", None)

    assert page.name == "typed-2026-07-15.txt"
    assert {row[0][:10] for row in rows(hunt)} == {"2026-07-15"}


def test_a_longer_state_of_the_page_takes_the_place_of_the_earlier(hunt: Hunt) -> None:
    take_pasted(hunt, PAGE, DAY)
    text = hunt.review_path.read_text("utf-8-sig").replace("yellow,45 ne", "yellow,52")
    hunt.review_path.write_text(text, "utf-8-sig")

    page = look_at_pasted(hunt, f"{PAGE}9:20 yellow away\n", DAY)
    assert (page.name, page.replaces, page.known) == ("typed-2026-07-14.txt", True, 0)
    take_pasted(hunt, f"{PAGE}9:20 yellow away\n", DAY)

    assert [row[1:] for row in rows(hunt)] == [
        ("away", "yellow", ""),
        ("bearing", "yellow", "52"),
        ("back", "yellow", ""),
        ("away", "yellow", ""),
    ]
    old = hunt.recordings_dir / "typed-2026-07-14.txt.old"
    assert old.read_text("utf-8") == PAGE


def test_another_page_of_the_day_gets_a_name_of_its_own(hunt: Hunt) -> None:
    take_pasted(hunt, PAGE, DAY)
    other = "9:05 yellow away\n14:05 white away\n14:11 white back"

    page = look_at_pasted(hunt, other, DAY)
    assert (page.name, page.known) == ("typed-2026-07-14-2.txt", 1)
    take_pasted(hunt, other, DAY)

    assert len(rows(hunt)) == 6


@pytest.mark.parametrize(
    ("text", "day", "fault"),
    [
        (PAGE, None, "Give the day, or write it above them"),
        ("we met at the gate", DAY, "no notes with clock times"),
        ("[9:05] yellow away", DAY, "no notes with clock times"),
        ("", DAY, "no notes with clock times"),
        ("9:05 yellow away\0", DAY, "no text"),
        ("9:05 yellow away\n" * 4000, DAY, f"more than {MOST_LETTERS} letters"),
        ("9:05 yellow ???", DAY, "there is no note in it"),
    ],
)
def test_what_cannot_be_taken_is_one_line_and_leaves_nothing(
    hunt: Hunt, text: str, day: date | None, fault: str
) -> None:
    with pytest.raises((HuntError, TranscriptError), match=fault) as caught:
        take_pasted(hunt, text, day)

    assert "\n" not in str(caught.value)
    assert "/" not in caught.value.line()  # nor a path of this machine's
    assert list(hunt.recordings_dir.iterdir()) == []


def test_the_same_page_is_not_taken_twice(hunt: Hunt) -> None:
    take_pasted(hunt, PAGE, DAY)
    before = hunt.review_path.read_bytes()

    with pytest.raises(HuntError, match=r"already, as typed-2026-07-14\.txt"):
        take_pasted(hunt, PAGE, DAY)

    assert hunt.review_path.read_bytes() == before


def test_while_another_command_is_at_work_nothing_is_taken(hunt: Hunt) -> None:
    with hunt.locked("transcribe"), pytest.raises(HuntError, match="at work"):
        take_pasted(Hunt(hunt.path), PAGE, DAY)

    assert list(hunt.recordings_dir.iterdir()) == []
