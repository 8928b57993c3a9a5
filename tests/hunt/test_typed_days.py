"""The day of notes typed with clock times, where the person gives it."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner, Result

from treeward.cli.transcribe import transcribe_command
from treeward.hunt.hunt import Hunt

if TYPE_CHECKING:
    from pathlib import Path

PAGE = "9:05 yellow away, north east\n9:11 yellow back\n"


@pytest.fixture
def hunt(tmp_path: Path) -> Hunt:
    return Hunt.create(tmp_path / "hunt", name="Marl Hollow", timezone="Europe/London")


def transcribe(hunt: Hunt, path: Path, *options: str) -> Result:
    return CliRunner().invoke(
        transcribe_command, [str(path), "--hunt", str(hunt.path), *options]
    )


def written(folder: Path, text: str = PAGE, name: str = "page.txt") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def clocks(hunt: Hunt) -> list[str]:
    return [f"{row.event.clock:%Y-%m-%d %H:%M}" for row in hunt.rows()]


@pytest.mark.parametrize("start", ["2026-07-14", "2026-07-14 09:00", "2026-07-14 9:00"])
def test_a_start_tells_the_day_of_typed_notes(
    hunt: Hunt, tmp_path: Path, start: str
) -> None:
    run = transcribe(hunt, written(tmp_path), "--start", start)

    assert run.exit_code == 0, run.output
    assert clocks(hunt) == ["2026-07-14 09:05"] * 2 + ["2026-07-14 09:11"]
    assert "page.txt: 14 Jul 2026, the day as it was given" in run.output
    Hunt(hunt.path).transcribe()  # nor is it forgotten
    assert clocks(hunt)[0] == "2026-07-14 09:05"


def test_a_start_in_the_hunts_file_tells_it_too(hunt: Hunt, tmp_path: Path) -> None:
    file = hunt.path / "hunt.toml"
    text = file.read_text("utf-8")
    file.write_text(f'{text}\n[start]\n"page.txt" = "2026-07-14"\n', "utf-8")

    Hunt(hunt.path).transcribe([written(tmp_path)])

    assert clocks(hunt)[0] == "2026-07-14 09:05"


def test_a_day_that_is_written_stands_over_the_given_one_and_that_is_said(
    hunt: Hunt, tmp_path: Path
) -> None:
    page = written(tmp_path, f"15 July 2026\n{PAGE}")

    run = transcribe(hunt, page, "--start", "2026-07-14")

    assert clocks(hunt)[0] == "2026-07-15 09:05"
    assert "2026-07-15 stands in it, 2026-07-14 was given" in run.output
    assert "15 Jul 2026, the day as it was given" not in run.output


def test_the_given_day_stands_over_the_files_name(hunt: Hunt, tmp_path: Path) -> None:
    page = written(tmp_path, name="copied 2026-09-01.txt")

    transcribe(hunt, page, "--start", "2026-07-14")

    assert clocks(hunt)[0] == "2026-07-14 09:05"


@pytest.mark.parametrize("start", ["soon", "14:00", "2026-13-01", "0001-01-01"])
def test_a_start_that_is_no_day_is_refused(
    hunt: Hunt, tmp_path: Path, start: str
) -> None:
    run = transcribe(hunt, written(tmp_path), "--start", start)

    assert run.exit_code == 1
    assert not hunt.review_path.exists()


def test_without_a_day_the_ways_to_give_it_are_told(hunt: Hunt, tmp_path: Path) -> None:
    run = transcribe(hunt, written(tmp_path))

    assert run.exit_code == 1
    assert "give --start 2026-07-14" in run.output


def test_a_recording_still_wants_the_time_of_its_start(
    hunt: Hunt, tmp_path: Path
) -> None:
    told = written(tmp_path, "[0:05] yellow away\n[0:40] yellow back\n")

    run = transcribe(hunt, told, "--start", "2026-07-14")

    assert "nothing tells the time of day on 2026-07-14; give --start" in run.output
    assert "'2026-07-14 09:00', or a spoken time" in run.output
    assert [row.event.clock for row in hunt.rows()] == [None, None]
    transcribe(hunt, told, "--start", "2026-07-14 09:00")
    assert clocks(hunt)[0] == "2026-07-14 09:00"


def test_times_near_zero_are_since_the_start_that_was_given(
    hunt: Hunt, tmp_path: Path
) -> None:
    page = written(tmp_path, "00:30 yellow away\n06:40 yellow back\n61:00 white back\n")

    run = transcribe(hunt, page, "--start", "2026-07-14 09:00")

    assert clocks(hunt) == [
        "2026-07-14 09:00",
        "2026-07-14 09:06",
        "2026-07-14 10:01",
    ]
    assert "taken as minutes and seconds since the start given" in run.output
    Hunt(hunt.path).transcribe()
    assert clocks(hunt)[1] == "2026-07-14 09:06"


def test_a_page_without_times_is_refused_by_its_first_note(
    hunt: Hunt, tmp_path: Path
) -> None:
    run = transcribe(hunt, written(tmp_path, "Station 1\nyellow away 48\n"))

    assert "page.txt line 2: 'yellow away 48' names a bee and no time" in run.output


SPOKEN = """WEBVTT

00:00:00.000 --> 00:00:04.000
{first}

00:00:30.000 --> 00:00:33.000
Yellow away.

00:06:30.000 --> 00:06:33.000
Yellow back.
"""


def test_a_date_alone_is_start_enough_where_a_time_is_spoken(
    hunt: Hunt, tmp_path: Path
) -> None:
    page = written(tmp_path, SPOKEN.format(first="Time nine oh five."), "page.vtt")

    run = transcribe(hunt, page, "--start", "2026-07-14")

    assert run.exit_code == 0, run.output
    assert clocks(hunt)[0] == "2026-07-14 09:05"
    Hunt(hunt.path).transcribe()
    assert clocks(hunt)[0] == "2026-07-14 09:05"


def test_a_spoken_date_without_a_year_is_of_the_year_of_the_file(
    hunt: Hunt, tmp_path: Path
) -> None:
    first = "Date fourteenth of July. Time nine oh five."
    page = written(tmp_path, SPOKEN.format(first=first), "page.vtt")
    at_s = datetime(2025, 8, 2, tzinfo=UTC).timestamp()
    os.utime(page, (at_s, at_s))

    run = transcribe(hunt, page)

    assert clocks(hunt)[-1] == "2025-07-14 09:12"
    assert (
        "no year was said with the date 14 July; 2025 was taken, by when the file was "
        "written"
    ) in run.output


def test_a_spoken_date_with_its_year_says_nothing_of_the_file(
    hunt: Hunt, tmp_path: Path
) -> None:
    first = "Date fourteenth of July twenty twenty six. Time nine oh five."
    page = written(tmp_path, SPOKEN.format(first=first), "page.vtt")

    run = transcribe(hunt, page)

    assert clocks(hunt)[-1] == "2026-07-14 09:12"
    assert "no year was said" not in run.output
