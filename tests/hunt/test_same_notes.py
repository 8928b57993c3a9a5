"""The same notes in two files of a hunt: copied under another name, or renamed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from treeward.cli.transcribe import summary_lines
from treeward.hunt.hunt import Hunt

if TYPE_CHECKING:
    from pathlib import Path

PAGE = """14 July 2026
station 1
9:05 yellow away 48
9:11 yellow back
9:12 yellow away 46
9:18 yellow back
9:20 white away 50
9:27 white back
"""
ROWS = 10  # station, 3 x away and bearing, 3 x back


@pytest.fixture
def hunt(tmp_path: Path) -> Hunt:
    return Hunt.create(tmp_path / "hunt", name="Marl Hollow", timezone="Europe/London")


def page(hunt: Hunt, name: str, text: str = PAGE) -> Path:
    path = hunt.recordings_dir / name
    path.write_text(text, "utf-8")
    return path


def correct(hunt: Hunt, was: str, now: str) -> None:
    text = hunt.review_path.read_text("utf-8")
    assert was in text
    hunt.review_path.write_text(text.replace(was, now, 1), "utf-8")


def values(hunt: Hunt) -> list[str]:
    return [r.event.value for r in hunt.rows() if r.event.kind.value == "bearing"]


def test_a_copy_under_another_name_counts_once_and_is_told_of(hunt: Hunt) -> None:
    page(hunt, "day.txt")
    page(hunt, "day (1).txt")

    done = hunt.transcribe()

    assert done.rows == ROWS
    assert {row.event.recording for row in hunt.rows()} == {"day.txt"}
    said = summary_lines(done, hunt.review_path)
    assert "day (1).txt: 0 notes" in said
    assert (
        "  the same notes stand in day.txt and count once: take one of the two files "
        "away"
    ) in said


def test_a_copy_that_comes_later_brings_back_no_note_that_was_corrected(
    hunt: Hunt,
) -> None:
    page(hunt, "day.txt")
    hunt.transcribe()
    correct(hunt, "yellow,46,", "yellow,47,")

    hunt.transcribe([page(hunt, "a.txt")])
    hunt.transcribe()

    assert values(hunt) == ["48", "47", "50"]


def test_of_a_page_that_was_continued_only_the_rest_is_new(hunt: Hunt) -> None:
    page(hunt, "day.txt")
    hunt.transcribe()
    page(hunt, "day later.txt", f"{PAGE}9:30 white away 52\n")

    done = hunt.transcribe()

    assert done.rows == ROWS + 2
    assert values(hunt) == ["48", "46", "50", "52"]


def test_what_was_corrected_goes_with_a_file_that_is_renamed(hunt: Hunt) -> None:
    path = page(hunt, "day.txt")
    hunt.transcribe()
    correct(hunt, "yellow,46,", "yellow,47,")
    path.rename(path.with_name("july.txt"))

    done = hunt.transcribe()

    assert {row.event.recording for row in hunt.rows()} == {"july.txt"}
    assert (done.rows, done.kept_changes) == (ROWS, 1)
    assert values(hunt) == ["48", "47", "50"]
    assert (
        "july.txt holds the notes of day.txt, which is gone: its rows are of july.txt "
        "now"
    ) in done.remarks
    assert not any("which is gone" in remark for remark in hunt.transcribe().remarks)


def test_other_days_and_other_notes_are_no_copies(hunt: Hunt) -> None:
    page(hunt, "one.txt")
    page(hunt, "two.txt", PAGE.replace("14 July", "15 July"))
    few = "station 1\n9:05 yellow away 48\n9:25 pink back\n9:33 pink away\n"
    page(hunt, "three.txt", f"14 July 2026\n{few}")

    done = hunt.transcribe()

    days = {row.event.clock.day for row in hunt.rows() if row.event.clock}
    assert days == {14, 15}
    assert all("count once" not in r for one in done.recordings for r in one.remarks)
