"""Lines without a note, as transcribe lists and keeps them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from treeward.cli.transcribe import transcribe_command
from treeward.errors import ReviewError
from treeward.hunt.hunt import Hunt
from treeward.hunt.transcription import dismiss, open_lines, unread_of
from treeward.language.phrasebook import PhraseBook
from treeward.notes.clocked import read_clocked

if TYPE_CHECKING:
    from pathlib import Path

LINES = (
    "Station one, ten past two.",
    "White's back.",
    "I wonder about red.",
    "Lovely morning.",
    "It takes them two to three minutes in the hive.",
    "White's away, two forty.",
)


def transcript(folder: Path, *lines: str) -> Path:
    cues = [
        f"00:00:{10 * n:02}.000 --> 00:00:{10 * n + 4:02}.000\n{line}"
        for n, line in enumerate(lines)
    ]
    path = folder / "morning 2026-07-14.vtt"
    path.write_text("WEBVTT\n\n" + "\n\n".join(cues) + "\n", encoding="utf-8")
    return path


def started(folder: Path) -> Hunt:
    return Hunt.create(folder / "hunt", name="Marl Hollow", timezone="Europe/London")


def test_lines_without_a_note_are_listed_and_kept(tmp_path: Path) -> None:
    hunt = started(tmp_path)
    done = hunt.transcribe([transcript(tmp_path, *LINES)])

    (line,) = done.unread
    assert (line.text, line.marks) == ("i wonder about red", ("red",))
    assert unread_of(Hunt(hunt.path)) == [line]


def test_transcribe_says_how_many_lines_there_are_to_look_at(tmp_path: Path) -> None:
    hunt = started(tmp_path)
    path = transcript(tmp_path, *LINES)
    result = CliRunner().invoke(
        transcribe_command, [str(path), "--hunt", str(hunt.path)]
    )

    assert result.exit_code == 0, result.output
    assert "to look at: 1 line without a note" in result.output
    assert "1 line of what was read now made no note" in result.output
    assert "0:20  i wonder about red" in result.output
    assert "in_hive_s = [120, 180] under [model] in hunt.toml" in result.output


def test_lines_go_with_the_transcript_that_no_longer_holds_them(tmp_path: Path) -> None:
    hunt = started(tmp_path)
    kept = transcript(hunt.recordings_dir, *LINES)
    hunt.transcribe()
    transcript(hunt.recordings_dir, *LINES[:2])
    hunt.transcribe()

    assert kept.exists()
    assert unread_of(hunt) == []


def test_a_broken_file_of_kept_lines_counts_as_none(tmp_path: Path) -> None:
    hunt = started(tmp_path)
    hunt.transcribe([transcript(tmp_path, *LINES)])
    file = hunt.machine_dir / "unread.json"
    assert json.loads(file.read_text(encoding="utf-8"))
    for text in ("", "[1]", '{"a": [{"start_s": -1}]}', '{"a": 3}'):
        file.write_text(text, encoding="utf-8")

        assert unread_of(hunt) == []


PAGE = "2026-07-14, station 1\n9:05 yellow away\n9:07 blue ???\n9:11 yellow back\n"


def typed(folder: Path, text: str = PAGE) -> Path:
    path = folder / "page.txt"
    path.write_text(text, encoding="utf-8")
    return path


def test_typed_lines_are_kept_with_their_number_and_time(tmp_path: Path) -> None:
    hunt = started(tmp_path)
    done = hunt.transcribe([typed(tmp_path)])

    (line,) = done.unread
    assert (line.place, line.text, line.marks) == ("line 3", "9:07 blue ???", ("blue",))
    assert line.clock is not None
    assert f"{line.clock:%Y-%m-%d %H:%M}" == "2026-07-14 09:07"
    assert unread_of(hunt) == [line]
    run = CliRunner().invoke(transcribe_command, ["--hunt", str(hunt.path)])
    assert "page.txt line 3  9:07 blue ???" in run.output


def test_a_dismissed_line_stays_away_when_it_is_read_again(tmp_path: Path) -> None:
    hunt = started(tmp_path)
    done = hunt.transcribe([transcript(tmp_path, *LINES)])
    assert dismiss(hunt, done.unread[0])
    assert not dismiss(hunt, done.unread[0])  # it is already

    assert hunt.transcribe(fresh=True).unread == ()
    assert open_lines(Hunt(hunt.path), ()) == []
    # Another line at the same second is judged anew.
    other = [line.replace("I wonder about red", "White or so") for line in LINES]
    transcript(hunt.recordings_dir, *other)
    (line,) = hunt.transcribe().unread
    assert line.text == "white or so"


def test_a_dismissed_line_of_a_page_stays_away_though_lines_come_above(
    tmp_path: Path,
) -> None:
    hunt = started(tmp_path)
    text = PAGE + "9:07 blue ???\n"
    first, second = hunt.transcribe([typed(tmp_path, text)]).unread
    dismiss(hunt, second)
    typed(hunt.recordings_dir, text.replace("9:05", "9:04 blue back\n9:05"))

    (line,) = hunt.transcribe().unread

    assert (line.text, line.line) == (first.text, 4)  # of two alike, the other
    dismiss(hunt, unread_of(hunt)[1], undo=True)
    assert [one.line for one in hunt.transcribe().unread] == [4, 6]


def test_only_a_line_that_is_there_can_be_dismissed(tmp_path: Path) -> None:
    hunt = started(tmp_path)
    (line,) = hunt.transcribe([typed(tmp_path)]).unread
    typed(hunt.recordings_dir, PAGE.replace("9:07 blue ???\n", ""))
    hunt.transcribe()

    with pytest.raises(ReviewError, match="no such line any more"):
        dismiss(hunt, line)


@pytest.mark.parametrize(
    "entry",
    [
        {"line": "x", "clock": "", "text": "a", "marks": []},
        {"line": 3, "clock": "2026-07-14T09:00", "text": "a", "marks": []},
        {"line": 3, "clock": "soon", "text": "a", "marks": []},
        {"line": 3, "text": "a", "marks": []},
    ],
)
def test_a_spoilt_line_of_a_page_counts_as_none(
    tmp_path: Path, entry: dict[str, object]
) -> None:
    hunt = started(tmp_path)
    hunt.transcribe([typed(tmp_path)])
    for name in ("unread.json", "dismissed.json"):
        text = json.dumps({"page.txt": [entry]})
        (hunt.machine_dir / name).write_text(text, encoding="utf-8")

    assert open_lines(hunt, ()) == []


def test_of_a_long_line_the_beginning_is_kept() -> None:
    zone, book = ZoneInfo("Europe/London"), PhraseBook.load()
    text = "2026-07-14\n9:05 " + "blue or not " * 400

    page = read_clocked(text, book, zone, name="page.txt")

    assert [len(one.text) for one in page.unread] == [500]
