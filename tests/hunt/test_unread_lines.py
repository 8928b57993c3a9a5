"""Lines without a note, as transcribe lists and keeps them."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from treeward.cli.transcribe import summary_lines, transcribe_command
from treeward.errors import ReviewError
from treeward.hunt.heard import HeardBy
from treeward.hunt.hunt import Hunt
from treeward.hunt.transcription import (
    Recorded,
    Transcribed,
    dismiss,
    open_lines,
    recorded_of,
    unread_of,
)
from treeward.language.phrasebook import PhraseBook
from treeward.notes.clocked import read_clocked
from treeward.notes.unread import Unread
from treeward.review.store import Left
from treeward.speech.utterances import Utterance, WordSource, spread

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


def test_a_line_stays_though_a_note_begins_where_it_ends(tmp_path: Path) -> None:
    hunt = started(tmp_path)
    path = transcript(tmp_path, *LINES[:3], "White's away, two forty.")
    text = path.read_text("utf-8")  # of cues without a gap, as most programs write
    path.write_text(re.sub(r"(\d)4\.000$", r"\g<1>9.999", text, flags=re.MULTILINE))

    (line,) = hunt.transcribe([path]).unread

    assert line.text == "i wonder about red"


NOT_FREE = (
    "lovely morning.",
    "the yellow one has just landed.",
    "she's off again.",
    "one more over here in the corner.",
    "we might have the sandwiches now.",
    "and there goes blue, two ten.",
)


def heard(hunt: Hunt, *sentences: str) -> None:
    """Keep a hearing of talk between two notes."""
    name = "memo.wav"
    rate_hz = 8000
    hunt.recordings_dir.mkdir(parents=True, exist_ok=True)
    silence = np.zeros(rate_hz * 60, np.float32)
    soundfile.write(hunt.recordings_dir / name, silence, rate_hz)
    file = hunt.heard_file(name)
    file.path.parent.mkdir(parents=True, exist_ok=True)
    file.begin(
        HeardBy(engine="e", model="m", phrase_book="p", size_bytes=1, modified_ns=1)
    )
    said = []
    for number, sentence in enumerate(sentences):
        at_s = 2.0 + 8.0 * number
        words = tuple(
            replace(word, source=WordSource.TALK)
            for word in spread(sentence.split(), at_s, at_s + 4.0)
        )
        said.append(Utterance(words=words, start_s=at_s, end_s=at_s + 4.0))
    file.add(said, reached_s=60.0)


def read(hunt: Hunt) -> Recorded:
    path = hunt.recordings_dir / "memo.wav"
    return recorded_of(hunt, path, hunt.heard_file(path.name), name=path.name)


def test_of_a_recording_what_tells_of_bees_is_listed_and_makes_no_note(
    tmp_path: Path,
) -> None:
    hunt = started(tmp_path)
    heard(hunt, *NOT_FREE)

    recorded = read(hunt)

    assert recorded.events == ()
    assert [line.text for line in recorded.unread] == [
        "the yellow one has just landed",
        "she's off again",
        "and there goes blue two ten",
    ]


def test_no_talk_is_listed_where_none_is_to_be_kept(tmp_path: Path) -> None:
    hunt = started(tmp_path)
    toml = hunt.path / "hunt.toml"
    toml.write_text(toml.read_text("utf-8") + "[speech]\nkeep_talk = false\n", "utf-8")
    heard(hunt, *NOT_FREE)

    assert read(Hunt(hunt.path)).unread == ()


def test_transcribe_says_how_many_sentences_may_tell_of_bees() -> None:
    line = Unread(recording="a.wav", text="she's off", start_s=1.0, end_s=2.0)
    typed = Unread(recording="page.txt", text="9:07 blue ???", line=3)
    done = Transcribed(
        recordings=(
            Recorded(name="a.wav", unread=(line,), not_free=True),
            Recorded(name="page.txt", unread=(typed,)),
        ),
        engine="e",
        rows=4,
        left=Left(lines=3),
        kept_changes=0,
        unread=(line, replace(line, start_s=3.0, end_s=4.0), typed),
    )

    said = summary_lines(done, Path("review.csv"))

    assert (
        "2 sentences seem to tell of bees: see the list below the rows "
        "(treeward review), or set free = true under [speech] in hunt.toml"
    ) in said
    assert "1 line of what was read now made no note" in "\n".join(said)
    assert "she's off" not in "\n".join(said)


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
