"""Lines without a note, as transcribe lists and keeps them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from click.testing import CliRunner

from treeward.cli.transcribe import command
from treeward.hunt.hunt import Hunt
from treeward.hunt.unread_lines import unread_of

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
    result = CliRunner().invoke(command, [str(path), "--hunt", str(hunt.path)])

    assert result.exit_code == 0, result.output
    assert "1 line without a note to look at" in result.output
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
