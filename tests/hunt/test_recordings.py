"""The recordings of a hunt: taken in, named, dated, and left out with a line."""

from __future__ import annotations

import json
import os
import sys
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

import pytest
import soundfile

from treeward.errors import HuntError
from treeward.hunt.recordings import (
    SOUND_SUFFIXES,
    TRANSCRIPT_SUFFIXES,
    LeftOut,
    as_first_seen,
    days_told,
    digest,
    file_modified,
    files_below,
    find_recordings,
    has_plain_name,
    is_corrected,
    is_transcript,
    keep_facts,
    kept_starts,
    passed_over,
    recording_name,
    take_in,
    unreadable,
)
from treeward.notes.clock import ClockResult
from treeward.notes.clock_evidence import ClockSource, RecordingFacts

if TYPE_CHECKING:
    from pathlib import Path

ODD_FILES = pytest.mark.skipif(
    sys.platform != "linux", reason="pipes, links and names that other disks refuse"
)
MAY, JULY = (datetime(2026, month, 14, 10, 20, tzinfo=UTC) for month in (5, 7))


@pytest.fixture
def home(tmp_path: Path) -> Path:
    folder = tmp_path / "hunt" / "recordings"
    folder.mkdir(parents=True)
    return folder


def file(path: Path, text: str = "sound") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, "utf-8")
    return path


@pytest.mark.parametrize(
    ("name", "is_one"),
    [("a.vtt", True), ("a.SRT", True), ("a.csv", True), ("a.wav", False), ("a", False)],
)
def test_a_transcript_is_told_by_its_ending(
    tmp_path: Path, name: str, *, is_one: bool
) -> None:
    assert is_transcript(tmp_path / name) is is_one


def test_no_ending_is_of_sound_and_of_text() -> None:
    assert not SOUND_SUFFIXES & TRANSCRIPT_SUFFIXES


def test_names_that_are_not_text_are_known(tmp_path: Path) -> None:
    assert has_plain_name(tmp_path / "café.wav")
    assert not has_plain_name(tmp_path / "caf\udce9.wav")


def test_what_lies_in_the_hunt_is_taken_as_it_is(home: Path) -> None:
    own = file(home / "day" / "a.wav")
    assert take_in([own], home) == [own]
    assert [path.name for path in home.rglob("*.wav")] == ["a.wav"]


def test_what_lies_elsewhere_is_copied_once_with_its_time(
    tmp_path: Path, home: Path
) -> None:
    memo = file(tmp_path / "phone" / "memo.wav")
    os.utime(memo, (1_780_000_000, 1_780_000_000))
    for _ in range(2):
        assert take_in([memo], home) == [home / "memo.wav"]
    assert (home / "memo.wav").read_text("utf-8") == "sound"
    assert file_modified(home / "memo.wav") == datetime.fromtimestamp(
        1_780_000_000, tz=UTC
    )
    assert memo.exists()


def test_two_recordings_of_one_name_are_not_mixed_up(
    tmp_path: Path, home: Path
) -> None:
    file(home / "memo.wav", "another")
    with pytest.raises(HuntError, match=r"another recording named memo\.wav") as told:
        take_in([file(tmp_path / "memo.wav")], home)
    assert told.value.where == str(tmp_path / "memo.wav")
    assert told.value.mend == "Rename one of them."
    assert (home / "memo.wav").read_text("utf-8") == "another"


@ODD_FILES
def test_what_is_no_file_is_refused_with_its_name(tmp_path: Path, home: Path) -> None:
    (tmp_path / "folder.wav").mkdir()
    (tmp_path / "link.wav").symlink_to(tmp_path / "nowhere.wav")
    os.mkfifo(tmp_path / "pipe.wav")
    ring = tmp_path / "ring.wav"
    ring.symlink_to(ring)
    for name, said in (
        ("none.wav", "there is no such file"),
        ("folder.wav", "is a folder"),
        ("pipe.wav", "is a pipe or a device"),
        ("ring.wav", "is a link that leads nowhere"),
        ("caf\udce9.wav", "has a name that is not UTF-8"),
    ):
        with pytest.raises(HuntError, match=said) as told:
            take_in([tmp_path / name], home)
        assert told.value.where == str(tmp_path / name)
        assert told.value.mend
    assert list(home.iterdir()) == []


LINES = ["WEBVTT", "yellow away", "yellow back", "blue away"]


def test_a_corrected_transcript_takes_the_old_ones_place(
    tmp_path: Path, home: Path
) -> None:
    file(home / "memo.vtt", "\n".join(LINES))
    corrected = "\n".join([*LINES[:3], "blue back"])
    told: list[str] = []
    taken = take_in([file(tmp_path / "memo.vtt", corrected)], home, tell=told.append)
    assert taken == [home / "memo.vtt"]
    assert (home / "memo.vtt").read_text("utf-8") == corrected
    assert (home / "memo.vtt.old").read_text("utf-8") == "\n".join(LINES)
    (line,) = told
    assert line.startswith("memo.vtt was read again as it is now")
    assert line.endswith("kept as memo.vtt.old")


@pytest.mark.parametrize(
    ("old", "new", "corrected"),
    [
        ("a b c d", "a b c x", True),
        ("a b c d", "a b c d", False),  # it is the same
        ("a b c d", "a b x y", False),  # half is no more than half
        ("a b c d", "a b", False),
        ("a b c", "a b", True),
        ("a b", "a b c d", False),  # of the longer one
        ("a b c d", "d c b x", True),  # in whatever order
    ],
)
def test_a_transcript_is_a_corrected_one_if_most_lines_are_the_same(
    tmp_path: Path, old: str, new: str, *, corrected: bool
) -> None:
    one = file(tmp_path / "one.srt", old.replace(" ", "\n"))
    other = file(tmp_path / "other.srt", new.replace(" ", " \r\n"))
    assert is_corrected(one, other) is corrected


def test_sound_is_never_taken_for_corrected(tmp_path: Path) -> None:
    one = file(tmp_path / "one.wav", "a\nb\nc\nd")
    assert not is_corrected(one, file(tmp_path / "other.wav", "a\nb\nc\nx"))
    assert not is_corrected(tmp_path / "none.vtt", file(tmp_path / "b.vtt", "a\nb"))


def test_what_holds_no_sound_is_told_before_it_is_copied(
    tmp_path: Path, home: Path
) -> None:
    noise = file(tmp_path / "noise.wav", "no sound at all")
    good = tmp_path / "good.wav"
    soundfile.write(good, [0.0] * 1600, 16_000)
    own = file(home / "own.wav", "nor this")
    notes = file(tmp_path / "notes.txt", "9:05 yellow away")
    files = [own, notes, tmp_path / "none.wav", noise, good]
    faults = unreadable(files, home)
    assert list(faults) == [noise]
    assert "noise.wav" in faults[noise]
    assert "\n" not in faults[noise]


def test_a_spreadsheets_own_file_is_to_be_saved_as_csv(
    tmp_path: Path, home: Path
) -> None:
    sheet = file(tmp_path / "tally-sheet.ods", "PK")
    own = file(home / "tally-sheet.XLSX", "PK")
    faults = unreadable([sheet, own], home)
    assert list(faults) == [sheet, own]
    for line in faults.values():
        assert "Save it there as CSV" in line


@ODD_FILES
def test_recordings_are_listed_by_name_and_nothing_else(home: Path) -> None:
    for name in ("b.wav", "a.MP3", "day/c.m4a", ".hidden.wav", "cover.jpg", "b.old"):
        file(home / name)
    file(home / "b.events.vtt")
    file(home / "caf\udce9.wav")
    (home / "folder.wav").mkdir()
    names = [p.relative_to(home).as_posix() for p in find_recordings(home)]
    assert names == ["a.MP3", "b.wav", "day/c.m4a"]
    assert find_recordings(home / "none") == []


def test_a_transcript_stands_for_the_recording_beside_it(home: Path) -> None:
    for name in ("a.wav", "a.vtt", "b.wav", "day/b.srt", "c.txt", "c.flac"):
        file(home / name)
    names = [p.relative_to(home).as_posix() for p in find_recordings(home)]
    assert names == ["a.vtt", "b.wav", "c.txt", "day/b.srt"]


@ODD_FILES
def test_a_recording_is_called_by_its_way_below_the_folder(
    tmp_path: Path, home: Path
) -> None:
    assert recording_name(file(home / "day" / "a.wav"), home) == "day/a.wav"
    elsewhere = file(tmp_path / "phone" / "b.wav")
    (home / "link.wav").symlink_to(elsewhere)
    assert recording_name(home / "link.wav", home) == "link.wav"
    # The hunt itself may be reached through a link.
    (tmp_path / "short").symlink_to(tmp_path / "hunt")
    by_link = tmp_path / "short" / "recordings" / "day" / "a.wav"
    assert recording_name(by_link, home) == "day/a.wav"


def test_a_digest_is_of_the_bytes(tmp_path: Path) -> None:
    # FIPS 180-2, appendix B.1: SHA-256 of "abc".
    told = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest(file(tmp_path / "a", "abc")).hex() == told


def left_out(home: Path) -> LeftOut:
    return LeftOut(home.parent, home.parent / ".treeward", home)


def test_a_file_that_could_not_be_read_is_left_out_until_it_changes(
    home: Path,
) -> None:
    broken, good = file(home / "broken.wav"), file(home / "good.wav")
    left_out(home).note([broken, good], ["broken.wav"])

    taken, lines = left_out(home).without([broken, good])
    assert taken == [good]
    (line,) = lines
    assert line.startswith("left out as before, 1 file not to be read: broken.wav; ")
    file(broken, "mended")
    assert left_out(home).without([broken, good]) == ([broken, good], ())
    # Of the same size, but written at another time.
    left_out(home).note([broken], ["broken.wav"])
    os.utime(broken, (1, 1))
    assert left_out(home).without([broken]) == ([broken], ())


def test_a_file_that_is_read_at_last_is_forgotten(home: Path) -> None:
    broken = file(home / "broken.wav")
    kept = left_out(home)
    kept.note([broken], ["broken.wav"])
    kept.note([broken], [])
    assert left_out(home).without([broken]) == ([broken], ())
    # What was not tried stays as it was, and what is gone is not kept.
    other = file(home / "other.wav")
    kept.note([broken], ["broken.wav"])
    kept.note([other, home / "gone.wav"], ["gone.wav"])
    taken, (line,) = left_out(home).without([broken, other])
    assert taken == [other]
    assert "1 file not to be read: broken.wav;" in line


@pytest.mark.parametrize(("count", "more"), [(5, False), (6, True)])
def test_of_many_broken_files_five_are_named(
    home: Path, count: int, *, more: bool
) -> None:
    files = [file(home / f"{n}.wav") for n in range(count)]
    left_out(home).note(files, [path.name for path in files])
    _, (line,) = left_out(home).without(files)
    assert f"{count} files not to be read: 0.wav, 1.wav, 2.wav, 3.wav, 4.wav" in line
    assert (", ...;" in line) is more
    assert "5.wav" not in line


@pytest.mark.parametrize("text", ["", "[]", "[" * 5000, '{"a.wav": 7}', "\udc00"])
def test_a_spoilt_list_of_broken_files_tries_them_all(home: Path, text: str) -> None:
    own = file(home / "a.wav")
    path = file(home.parent / ".treeward" / "left_out.json", "")
    path.write_text(text, "utf-8", errors="surrogatepass")
    assert left_out(home).without([own]) == ([own], ())


def test_nothing_is_written_where_nothing_changed(home: Path) -> None:
    own = file(home / "a.wav")
    left_out(home).note([own], [])
    assert not (home.parent / ".treeward").exists()


@ODD_FILES
def test_names_and_links_that_cannot_be_recordings_are_told(home: Path) -> None:
    file(home / "day" / "caf\udce9.wav")
    file(home / "good.wav")
    (home / "lost.wav").symlink_to(home / "nowhere.wav")
    (home / "found.wav").symlink_to(home / "good.wav")
    (home / "lost.jpg").symlink_to(home / "nowhere.jpg")
    _, lines = left_out(home).without([])
    assert lines == (
        r"left out: the name day/caf\udce9.wav is not UTF-8; rename it",
        "left out: lost.wav is a link that leads nowhere; take it away",
    )


def facts(name: str = "memo.wav", *, at: datetime = JULY) -> RecordingFacts:
    return RecordingFacts(name=name, created=at, file_modified=at)


def clock(name: str = "memo.wav", day: date | None = date(2026, 7, 14)) -> ClockResult:
    return ClockResult(
        recording=name, start=None, events=(), day=day,
        day_from=ClockSource.FILE_NAME,
    )  # fmt: skip


def test_a_recording_keeps_the_times_that_it_was_first_seen_with(
    tmp_path: Path,
) -> None:
    machine = tmp_path / ".treeward"
    assert as_first_seen(machine, facts(), 900) == facts()
    keep_facts(machine, [(facts(at=MAY), 900)], [clock()])
    assert as_first_seen(machine, facts(), 900) == facts(at=MAY)
    assert as_first_seen(machine, facts(), 901) == facts()  # it is another one
    assert as_first_seen(machine, facts("b.wav"), 900) == facts("b.wav")


def test_times_that_were_not_known_at_first_are_taken_as_they_are(
    tmp_path: Path,
) -> None:
    never = RecordingFacts(name="memo.wav")
    keep_facts(tmp_path / ".treeward", [(never, 900)], [])
    assert as_first_seen(tmp_path / ".treeward", facts(), 900) == facts()


def test_the_day_of_a_recording_is_told_with_what_tells_it(tmp_path: Path) -> None:
    machine = tmp_path / ".treeward"
    seen = [(facts(name), 1) for name in ("memo.wav", "b.wav", "c.wav")]
    keep_facts(machine, seen, [clock(), clock("b.wav", None)])
    assert days_told(machine) == {
        "memo.wav": ("2026-07-14", ClockSource.FILE_NAME.value)
    }
    # Another run adds to what is kept, and corrects it.
    keep_facts(machine, [(facts("d.wav"), 1)], [clock("d.wav", date(2026, 7, 15))])
    keep_facts(machine, [(facts(), 1)], [clock(day=date(2026, 7, 16))])
    assert days_told(machine) == {
        "memo.wav": ("2026-07-16", ClockSource.FILE_NAME.value),
        "d.wav": ("2026-07-15", ClockSource.FILE_NAME.value),
    }


def test_what_is_kept_is_not_written_anew_without_need(tmp_path: Path) -> None:
    machine = tmp_path / ".treeward"
    keep_facts(machine, [(facts(), 1)], [clock()])
    os.utime(machine / "recordings.json", (1, 1))
    keep_facts(machine, [(facts(), 1)], [clock()])
    assert (machine / "recordings.json").stat().st_mtime == 1


def test_names_stand_in_what_is_kept_as_they_are_written(tmp_path: Path) -> None:
    keep_facts(tmp_path / ".treeward", [(facts("café.wav"), 1)], [])
    text = (tmp_path / ".treeward" / "recordings.json").read_text("utf-8")
    assert '"café.wav"' in text


@pytest.mark.parametrize(
    ("clock_text", "taken"),
    [
        ("1900-01-01T00:00:00+00:00", True),
        ("2200-12-31T00:00:00+00:00", True),
        ("1899-12-31T00:00:00+00:00", False),
        ("2201-01-01T00:00:00+00:00", False),
        ("yesterday", False),
        (7, False),
    ],
)
def test_a_kept_time_of_no_hunt_is_not_taken(
    tmp_path: Path, clock_text: object, *, taken: bool
) -> None:
    kept = {"size_bytes": 9, "created": clock_text, "file_modified": clock_text}
    file(tmp_path / "recordings.json", json.dumps({"memo.wav": kept}))
    seen = as_first_seen(tmp_path, facts(), 9)
    assert (seen != facts()) is taken
    assert (seen.created == seen.file_modified == JULY) is not taken


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        '{"memo.wav": 7}',
        '{"memo.wav": {"day": 20260714, "day_from": "x"}}',
        '{"memo.wav": {"day": "2026-02-30", "day_from": "x"}}',
        '{"memo.wav": {"day": "2026-07-14", "day_from": 7}}',
        '{"memo.wav": {"day": "2026-07-14", "day_from": "\\udc00"}}',
        "[" * 5000,
    ],
)
def test_spoilt_facts_are_worked_out_anew(tmp_path: Path, text: str) -> None:
    file(tmp_path / "recordings.json", text)
    assert days_told(tmp_path) == {}
    assert as_first_seen(tmp_path, facts(), 9) == facts()


def test_a_day_without_what_tells_it_is_a_day(tmp_path: Path) -> None:
    file(tmp_path / "recordings.json", '{"memo.wav": {"day": "2026-07-14"}}')
    assert days_told(tmp_path) == {"memo.wav": ("2026-07-14", "")}


def test_starts_that_were_given_are_kept_and_spoilt_ones_are_none(
    tmp_path: Path,
) -> None:
    assert kept_starts(tmp_path) == {}
    path = file(tmp_path / "starts.json", '{"a.wav": "2026-07-14 10:20", "b": 3}')
    assert kept_starts(tmp_path) == {"a.wav": "2026-07-14 10:20"}
    for text in ("[1]", "{", "[" * 5000):
        file(path, text)
        assert kept_starts(tmp_path) == {}


@pytest.mark.parametrize(
    ("name", "what", "is_one"),
    [
        ("a.TXT", "notes typed off", True),
        ("a.tsv", "a table", True),
        ("a.json", "words", True),
        ("a.vtt.old", "what was there before", False),
        (".vtt", "a hidden file", False),
        ("vtt", "no ending", False),
    ],
)
def test_the_last_ending_alone_tells_a_transcript(
    tmp_path: Path, name: str, what: str, *, is_one: bool
) -> None:
    assert is_transcript(tmp_path / name) is is_one, what


def test_files_are_taken_in_their_order_and_none_twice(
    tmp_path: Path, home: Path
) -> None:
    own = file(home / "b.wav", "own")
    other = file(tmp_path / "z.wav", "z")
    same = file(tmp_path / "b.wav", "own")  # as the hunt has it
    taken = take_in([other, own, same], home)
    assert taken == [home / "z.wav", own, own]
    assert sorted(path.name for path in home.iterdir()) == ["b.wav", "z.wav"]


def test_a_transcript_corrected_twice_keeps_what_was_there_last(
    tmp_path: Path, home: Path
) -> None:
    texts = ["\n".join([*LINES, last]) for last in ("one", "two", "three")]
    told: list[str] = []
    for text in texts:
        take_in([file(tmp_path / "memo.vtt", text)], home, tell=told.append)
    assert (home / "memo.vtt").read_text("utf-8") == texts[2]
    assert (home / "memo.vtt.old").read_text("utf-8") == texts[1]
    assert len(told) == 2
    # Another transcript of that name is none that was corrected.
    with pytest.raises(HuntError, match="another recording named"):
        take_in([file(tmp_path / "memo.vtt", "9:05 blue away")], home)
    assert (home / "memo.vtt").read_text("utf-8") == texts[2]
    assert len(told) == 2


def test_one_file_that_is_refused_leaves_those_after_it_alone(
    tmp_path: Path, home: Path
) -> None:
    one, two = file(tmp_path / "one.wav", "1"), file(tmp_path / "two.wav", "2")
    with pytest.raises(HuntError, match="no such file"):
        take_in([one, tmp_path / "none.wav", two], home)
    assert [path.name for path in home.iterdir()] == ["one.wav"]


@ODD_FILES
def test_a_link_to_a_recording_elsewhere_is_copied_as_what_it_leads_to(
    tmp_path: Path, home: Path
) -> None:
    memo = file(tmp_path / "phone" / "memo.wav")
    (tmp_path / "short.wav").symlink_to(memo)
    assert take_in([tmp_path / "short.wav"], home) == [home / "memo.wav"]
    assert not (home / "memo.wav").is_symlink()


@pytest.mark.parametrize("name", ["a.ods", "a.PDF", "a.docx", "a.xls", "a.rtf"])
def test_documents_are_told_where_they_are_files(
    tmp_path: Path, home: Path, name: str
) -> None:
    paths = [file(tmp_path / name), tmp_path / "none" / name]
    assert list(unreadable(paths, home)) == paths[:1]


def test_files_of_a_hunt_are_all_but_labels_and_hidden_ones(home: Path) -> None:
    names = ("b.txt", "a/z.jpg", "a.events.txt", ".c.wav", "a/.d", "events.wav")
    for name in (*names, "b.events"):
        file(home / name)
    found = [path.relative_to(home).as_posix() for path in files_below(home)]
    assert found == ["a/z.jpg", "b.events", "b.txt", "events.wav"]


def test_a_transcript_stands_for_each_recording_of_its_name_and_each_for_itself(
    home: Path,
) -> None:
    for name in ("a.wav", "a.mp3", "a.vtt", "a.srt", "a.b.wav", "day/a.wav"):
        file(home / name)
    names = [path.relative_to(home).as_posix() for path in find_recordings(home)]
    assert names == ["a.b.wav", "a.srt", "a.vtt", "day/a.wav"]


def test_another_version_tries_broken_files_again(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = file(home / "day" / "broken.wav")
    left_out(home).note([broken], ["day/broken.wav"])
    assert left_out(home).without([broken])[0] == []
    monkeypatch.setattr("treeward.hunt.recordings.__version__", "another")
    assert left_out(home).without([broken]) == ([broken], ())


def test_what_is_kept_of_broken_files_is_kept_at_once_and_not_without_need(
    home: Path,
) -> None:
    broken, other = file(home / "a.wav"), file(home / "b.wav")
    kept = left_out(home)
    kept.note([broken, other], ["a.wav", "b.wav"])
    assert kept.without([broken])[0] == []  # it knows it itself
    path = home.parent / ".treeward" / "left_out.json"
    assert set(json.loads(path.read_text("utf-8"))) == {"a.wav", "b.wav"}
    os.utime(path, (1, 1))
    kept.note([broken], ["a.wav"])
    assert path.stat().st_mtime == 1
    kept.note([broken], [])
    assert set(json.loads(path.read_text("utf-8"))) == {"b.wav"}


def test_what_is_kept_of_a_recording_is_when_and_by_what(tmp_path: Path) -> None:
    machine = tmp_path / ".treeward"
    undated = RecordingFacts(name="b.wav", file_modified=MAY)
    seen = [(facts(), 900), (undated, 7), (facts("c.wav"), 8)]
    keep_facts(machine, seen, [clock(), clock("b.wav", None), clock("z.wav")])
    day_from = ClockSource.FILE_NAME.value
    july, may = "2026-07-14T10:20:00+00:00", "2026-05-14T10:20:00+00:00"
    assert json.loads((machine / "recordings.json").read_text("utf-8")) == {
        "memo.wav": {
            "size_bytes": 900, "created": july, "file_modified": july,
            "day": "2026-07-14", "day_from": day_from,
        },
        "b.wav": {
            "size_bytes": 7, "created": None, "file_modified": may,
            "day": None, "day_from": day_from,
        },
        "c.wav": {
            "size_bytes": 8, "created": july, "file_modified": july,
            "day": None, "day_from": None,
        },
    }  # fmt: skip


def test_of_two_times_each_is_kept_for_itself(tmp_path: Path) -> None:
    kept = {"size_bytes": 9, "created": "2026-05-14T10:20:00+00:00"}
    file(tmp_path / "recordings.json", json.dumps({"memo.wav": kept}))
    seen = as_first_seen(tmp_path, facts(), 9)
    assert (seen.created, seen.file_modified) == (MAY, JULY)
    kept["file_modified"] = kept.pop("created")
    file(tmp_path / "recordings.json", json.dumps({"memo.wav": kept}))
    seen = as_first_seen(tmp_path, facts(), 9)
    assert (seen.created, seen.file_modified) == (JULY, MAY)


# In bytes: a list of so many is read whole, and a larger one is not.
@pytest.mark.parametrize(
    ("name", "most"),
    [("starts.json", 4e6), ("left_out.json", 4e6), ("recordings.json", 16e6)],
)
def test_lists_that_no_hunt_fills_are_not_read(
    home: Path, name: str, most: float
) -> None:
    own = file(home / "a.wav")
    left_out(home).note([own], ["a.wav"])
    machine = home.parent / ".treeward"
    keep_facts(machine, [(facts("a.wav"), 1)], [clock("a.wav")])
    file(machine / "starts.json", '{"a.wav": "10:20"}')

    def known() -> dict[str, bool]:
        return {
            "starts.json": bool(kept_starts(machine)),
            "left_out.json": left_out(home).without([own])[0] == [],
            "recordings.json": bool(days_told(machine)),
        }

    path = machine / name
    text = path.read_text("utf-8")
    path.write_text(text + " " * (int(most) - len(text)), "utf-8")
    assert all(known().values())
    path.write_text(text + " " * (int(most) + 1 - len(text)), "utf-8")
    assert [one for one, is_known in known().items() if not is_known] == [name]


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("notes", "9:05 yellow away 48\n", "Rename it notes.txt"),
        ("notes.note", "9:05 gelb \u00fc\n" * 900, "Rename it notes.txt"),
        ("notes.md", "9:05 yellow away 48\n", ""),
        ("picture.png", "\x89PNG\r\n\x1a\n\0\0", "not a recording"),
        ("noise.wav", "no sound at all", "not a recording"),
    ],
)
def test_text_by_another_name_is_told_to_be_text(
    tmp_path: Path, home: Path, name: str, text: str, told: str
) -> None:
    faults = unreadable([path := file(tmp_path / name, text)], home)
    assert told in faults.get(path, "")
    assert bool(faults) is bool(told)


def test_what_is_passed_over_in_recordings_is_said_in_a_line(home: Path) -> None:
    for name in ("a.txt", "b.md", "a.txt.old", "walk.gpx", ".hidden"):
        file(home / name)
    assert passed_over(home) == ""
    file(home / "dish.png")
    file(home / "notes")
    assert passed_over(home) == (
        "passed over, 2 files of no kind that is read: dish.png, notes; if it is text, "
        "rename it .txt"
    )
    # Notes beside a recording are read as well as it.
    file(home / "b.wav")
    assert [path.name for path in find_recordings(home)] == ["a.txt", "b.md", "b.wav"]
