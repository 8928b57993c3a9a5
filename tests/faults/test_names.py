"""Odd files, odd names and odd words: each is one line, and in nobody's way."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from filelock import FileLock

from drawing import mostly_slow
from treeward import Hunt
from treeward.errors import HuntError, ListenerAtWorkError, NotesError, ReviewError
from treeward.files import meant
from treeward.hunt.recordings import days_told, take_in
from treeward.hunt.review_update import ReviewUpdate
from treeward.live.opening import LOCK_NAME, only_listener
from treeward.notes.clock_evidence import parse_start

from . import contract, kept
from .contract import MEMO, ZONE, check_line

if TYPE_CHECKING:
    from collections.abc import Iterator

POSIX = pytest.mark.skipif(os.name == "nt", reason="links and such names: POSIX")
DEEP = "[" * 200_000
CORRECTED = MEMO.replace("Yellow", "White")


@pytest.fixture
def hunt(tmp_path: Path) -> Hunt:
    made = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    (made.recordings_dir / "2026-07-14_1000.vtt").write_text(MEMO, "utf-8")
    made.transcribe()
    return made


def treeward(*arguments: str | bytes, cwd: Path) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-m", "treeward", *arguments],
        cwd=cwd,
        capture_output=True,
        text=True,
        encoding="utf-8",
        errors="replace",
        timeout=60,
        check=False,
    )
    assert "Traceback" not in done.stderr
    assert "fault of Treeward's own" not in done.stderr
    return done


# --- files ----------------------------------------------------------------------


@pytest.mark.slow
@POSIX
def test_a_device_or_a_pipe_is_not_copied_in(hunt: Hunt, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    for name in ("/dev/zero", str(tmp_path / "pipe.wav")):
        done = treeward("transcribe", name, cwd=hunt.path)
        assert done.returncode == 1
        check_line(done.stderr.strip(), name)
        assert "a pipe or a device" in done.stderr
    assert [p.name for p in hunt.recordings_dir.iterdir()] == ["2026-07-14_1000.vtt"]


@pytest.mark.slow
@POSIX
def test_a_link_to_itself_is_a_line(hunt: Hunt, tmp_path: Path) -> None:
    (tmp_path / "loop.wav").symlink_to("loop.wav")
    (tmp_path / "me").symlink_to("me")
    for arguments in (
        ("transcribe", "../loop.wav"),
        ("trips", "--hunt", "../me"),
        ("new", "../me", "--timezone", "Europe/London"),
        ("simulate", "../me"),
        ("demo", "../me"),
        ("phrases", "--card", "../me/card.pdf"),
    ):
        done = treeward(*arguments, cwd=hunt.path)
        assert done.returncode == 1, arguments
        assert len(done.stderr.splitlines()) == 1, done.stderr
        assert "loop" in done.stderr or "me" in done.stderr


@POSIX
def test_links_in_a_ring_among_the_recordings_are_in_nobodys_way(hunt: Hunt) -> None:
    (hunt.recordings_dir / "loop.wav").symlink_to("loop.wav")
    (hunt.recordings_dir / "self").symlink_to(".")
    (hunt.recordings_dir / "gone.wav").symlink_to("nowhere.wav")

    done = hunt.transcribe()

    assert not done.faults
    told = [line for line in done.remarks if "leads nowhere" in line]
    assert [line.split()[2] for line in told] == ["gone.wav", "loop.wav"]


@pytest.mark.slow
@POSIX
def test_names_that_are_not_utf_8_are_in_nobodys_way(
    hunt: Hunt, tmp_path: Path
) -> None:
    odd = os.fsdecode(b"b\xffd.vtt")
    try:
        (hunt.recordings_dir / odd).write_text(MEMO, "utf-8")
    except OSError:
        pytest.skip("this disk holds no such names")
    (hunt.recordings_dir / os.fsdecode(b"s\xff.wav")).write_bytes(b"RIFF")
    (tmp_path / odd).write_text(MEMO, "utf-8")

    done = treeward("transcribe", cwd=hunt.path)
    named = treeward("transcribe", os.fsencode(tmp_path / odd), cwd=hunt.path)

    assert done.returncode == 0, done.stderr
    assert r"left out: the name b\udcffd.vtt is not UTF-8; rename it" in done.stdout
    assert r"s\udcff.wav" in done.stdout
    assert named.returncode == 1
    assert "not UTF-8" in named.stderr
    assert "Rename it." in named.stderr
    for command in ("trips", "locate", "review"):
        treeward(command, cwd=hunt.path)
    treeward("trips", "--json", cwd=hunt.path)
    folder = os.fsencode(tmp_path) + b"/n\xffw"
    new = treeward("new", folder, "--timezone", "Europe/London", cwd=hunt.path)
    assert new.returncode == 1
    assert "hunt.toml" not in new.stderr


def test_a_file_that_cannot_be_read_is_told_of_once(hunt: Hunt) -> None:
    broken = hunt.recordings_dir / "broken.srt"
    broken.write_text("nothing\n", "utf-8")

    first, second = hunt.transcribe(), hunt.transcribe()
    named = hunt.transcribe([broken])
    broken.write_text("1\n00:00:01,000 --> 00:00:02,000\nyellow away\n", "utf-8")
    mended = hunt.transcribe()

    assert len(first.faults) == 1
    assert not second.faults
    assert sum("broken.srt" in line for line in second.remarks) == 1
    assert len(named.faults) == 1
    assert not mended.faults
    assert any(one.name == "broken.srt" and one.events for one in mended.recordings)
    (hunt.machine_dir / "left_out.json").write_text(DEEP, "utf-8")
    assert not hunt.transcribe().faults


def test_a_corrected_transcript_is_read_again_under_its_name(
    hunt: Hunt, tmp_path: Path
) -> None:
    mine = tmp_path / "2026-07-14_1000.vtt"
    mine.write_text(CORRECTED, "utf-8")

    done = hunt.transcribe([mine])

    assert {row.event.mark for row in hunt.rows()} >= {"white"}
    kept = hunt.recordings_dir / "2026-07-14_1000.vtt.old"
    assert kept.read_text("utf-8") == MEMO
    assert any("is kept as 2026-07-14_1000.vtt.old" in line for line in done.remarks)
    mine.write_text("WEBVTT\n\n00:07.000 --> 00:09.000\nBlue back.\n", "utf-8")
    with pytest.raises(HuntError, match="already has another recording"):
        take_in([mine], hunt.recordings_dir)


@pytest.mark.slow
@pytest.mark.parametrize(
    "place",
    mostly_slow(
        [
            "starts.json",
            "at_work.json",
            "left_out.json",
            "heard/2026-07-14_1000.vtt.jsonl",
            "heard/memo.wav.jsonl",
            "live/live-2026-07-14_100000.jsonl",
            "review_machine.csv",
            "review_last.csv",
        ],
        quick=["starts.json", "heard/memo.wav.jsonl", "review_machine.csv"],
    ),
)
@pytest.mark.parametrize(
    "text",
    mostly_slow(
        [
            DEEP,
            '{"a":' * 100_000,
            "[1",
            "null",
            '{"since_s": 1e999}',
            "9" * 5000,
            "\0" * 99,
        ],
        quick=[DEEP, "null", "9" * 5000],
    ),
)
def test_what_is_kept_may_hold_anything(hunt: Hunt, place: str, text: str) -> None:
    before = {row.name: row.event for row in hunt.rows()}
    path = hunt.machine_dir / place
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, "utf-8")

    hunt.transcribe()
    from treeward.live.opening import recover_sessions

    recover_sessions(hunt)
    hunt.trips()

    assert {row.name: row.event for row in Hunt(hunt.path).rows()} == before


ODD: tuple[object, ...] = (
    5,
    None,
    True,
    [],
    {},
    1e300,
    "\ud800",
    "",
    -1,
    [["a", 1]],
    10**400,
)


def places_in(value: object) -> Iterator[tuple[Any, Any]]:
    """Yield every (holder, key) of a JSON value."""
    pairs: Any = ()
    if isinstance(value, dict):
        pairs = list(value.items())
    elif isinstance(value, list):
        pairs = list(enumerate(value))
    for key, inner in pairs:
        yield value, key
        yield from places_in(inner)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["heard", "journal", "facts", "left out", "complete"])
def test_a_kept_line_may_hold_any_value_anywhere(kind: str, tmp_path: Path) -> None:
    lines = kept.TEXTS[kind][0].splitlines()
    ground = contract.Ground(tmp_path.resolve())
    tried = 0
    for number, line in enumerate(lines):
        parsed = json.loads(line)
        for holder, key in places_in(parsed):
            before = holder[key]
            for odd in ODD:
                holder[key] = odd
                text = "\n".join(
                    [*lines[:number], json.dumps(parsed), *lines[number + 1 :]]
                )
                assert contract.walk(
                    kind, kept.PLACES[kind][0], f"{text}\n".encode(), ground
                )
                tried += 1
            holder[key] = before
    assert tried > 40


@pytest.mark.slow
@pytest.mark.parametrize(
    "key",
    mostly_slow(["created", "file_modified", "day", "day_from"], quick=["created"]),
)
@pytest.mark.parametrize(
    "odd",
    [
        "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "2026-07-14T10:00:00",
        "2026-02-30", "soon", "\x1b[2J", "\ud800", 20260714, [], {"day": 1}, True,
    ],
)  # fmt: skip
def test_kept_facts_may_say_anything_of_a_recording(
    key: str, odd: object, tmp_path: Path
) -> None:
    facts = json.loads(kept.TEXTS["facts"][0])
    facts[kept.SOUND][key] = odd
    ground = contract.Ground(tmp_path.resolve())
    place = kept.PLACES["facts"][0]

    assert contract.walk("facts", place, json.dumps(facts).encode(), ground)

    hunt = Hunt(ground.hunt_dir)
    (hunt.machine_dir / "recordings.json").write_text(json.dumps(facts), "utf-8")
    for day, told in days_told(hunt.machine_dir).values():
        assert date.fromisoformat(day).isoformat() == day
        assert len(told.encode()) < 100


def test_a_start_that_is_spoilt_on_the_disk_is_left_out(hunt: Hunt) -> None:
    kept_starts = hunt.machine_dir / "starts.json"
    kept_starts.write_text('{"2026-07-14_1000.vtt": "2026-07-14 4 10:00"}', "utf-8")

    assert not hunt.transcribe().faults


def test_kept_starts_that_are_no_text_are_left_out(hunt: Hunt) -> None:
    name = "2026-07-14_1000.vtt"
    kept_starts = hunt.machine_dir / "starts.json"
    spoilt = {"a": 5, "b": ["2026-07-14 10:00"], "d": None, "c": {}}
    good = {"e": "2026-07-14 09:00"}
    kept_starts.write_text(json.dumps({**spoilt, **good}), "utf-8")

    ReviewUpdate(hunt).keep_start(hunt.recordings_dir / name, "2026-07-14 10:00")

    assert json.loads(kept_starts.read_text("utf-8")) == {
        **good,
        name: "2026-07-14 10:00",
    }


def test_kept_facts_of_recordings_are_read_up_to_a_size(hunt: Hunt) -> None:
    told = '{"a.flac": {"day": "2026-07-14", "day_from": "name"}}'
    path = hunt.machine_dir / "recordings.json"
    path.write_text(told, "utf-8")
    assert days_told(hunt.machine_dir) == {"a.flac": ("2026-07-14", "name")}

    path.write_text(told + " " * 20_000_000, "utf-8")

    assert days_told(hunt.machine_dir) == {}


@POSIX
def test_a_pipe_in_the_place_of_kept_facts_is_not_waited_for(hunt: Hunt) -> None:
    (hunt.machine_dir / "recordings.json").unlink(missing_ok=True)
    os.mkfifo(hunt.machine_dir / "recordings.json")

    assert days_told(hunt.machine_dir) == {}


@pytest.mark.parametrize("said", [b"\xff\xfe4\x007\x00", b"47\n\x1b[2J", b"7" * 10**6])
def test_who_listens_already_may_be_told_by_anything(hunt: Hunt, said: bytes) -> None:
    hunt.machine_dir.joinpath(f"{LOCK_NAME}.owner").write_bytes(said)

    with (
        FileLock(hunt.machine_dir / LOCK_NAME),
        pytest.raises(ListenerAtWorkError, match="another treeward listen") as caught,
        only_listener(hunt.path),
    ):
        pass

    check_line(caught.value.line(), str(hunt.path))


@POSIX
def test_prompts_are_read_from_a_file_alone(hunt: Hunt) -> None:
    from treeward.practice.prompts import read_prompts

    with pytest.raises(NotesError, match=r"/dev/zero: cannot be read \(it is a pipe"):
        read_prompts(Path("/dev/zero"), hunt.phrase_book)


def test_what_a_killed_command_left_may_hold_anything(hunt: Hunt) -> None:
    for number, text in enumerate((DEEP, "[]", "{}", '{"directory": 5}', "\0")):
        left = hunt.path / f".treeward-results-{number}"
        left.mkdir()
        (left / "complete.json").write_text(text, "utf-8")

    assert not hunt.transcribe().faults


# --- words ------------------------------------------------------------------------


def test_no_name_of_a_temporary_file_is_shown() -> None:
    assert meant("/a/.treeward-results-0a1b2c3d4e5f/map.png") == "/a/results/map.png"
    assert meant("/a/.treeward-review-0a1b2c3d4e5f.csv") == "/a/review.csv"
    assert meant("/a/.treeward-old-results-0a1b2c3d4e5f/b") == "/a/results/b"
    assert meant(".treeward-my-hunt-0a1b2c3d4e5f") == "my-hunt"
    assert meant("C:\\h\\.treeward-hunt-0a1b2c3d4e5f.toml") == "C:\\h\\hunt.toml"
    assert meant("/a/.treeward/lock") == "/a/.treeward/lock"


@pytest.mark.slow
def test_new_speaks_of_no_hunt_toml_that_it_did_not_write(tmp_path: Path) -> None:
    for arguments, said in (
        (["--timezone", "Mars/Olympus"], "--timezone 'Mars/Olympus' is no IANA time"),
        (["--timezone", "Europe/London", "--name", "x" * 61], "more than 60 letters"),
        (["--timezone", "Europe/London", "--name", "a\nb"], "odd letters"),
    ):
        done = treeward("new", "fern", *arguments, cwd=tmp_path)
        assert done.returncode == 1
        assert said in done.stderr
        assert "hunt.toml" not in done.stderr
        assert len(done.stderr.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_a_typed_sheet_without_dates_is_one_line(typed_hunt: Path) -> None:
    review = typed_hunt / "review.csv"
    dated = review.read_text("utf-8")
    review.write_text(dated.replace("2026-07-14 ", ""), "utf-8")

    with pytest.raises(ReviewError) as caught:
        Hunt(typed_hunt).trips()

    lines: tuple[str, ...] = getattr(caught.value, "lines", ())
    assert len(lines) == 1
    assert (
        "row 2: clock: '10:00:00' has no date. Write the date in this row" in lines[0]
    )
    heading, first, *rest = [*dated.replace("2026-07-14 ", "").split("\n")]
    mended = "\n".join([heading, f"2026-07-14 {first}", *rest])
    review.write_text(mended, "utf-8")
    assert len(Hunt(typed_hunt).trips().trips) == 6


@pytest.mark.parametrize(
    "text", ["2026-07-14 9:00", "2026-07-14T9:00", "2026-07-14 09:00"]
)
def test_a_start_without_a_leading_nought_is_a_time(text: str) -> None:
    start, resolution_s = parse_start(text, ZONE, where="--start")

    assert f"{start:%Y-%m-%d %H:%M}" == "2026-07-14 09:00"
    assert resolution_s == 60.0


def test_a_full_disk_is_told_by_the_file_that_was_meant(
    typed_hunt: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = Hunt(typed_hunt)
    result = hunt.locate()

    def full(_result: object, folder: Path, _clips: object) -> dict[str, str]:
        raise OSError(28, "No space left on device", str(folder / "map.png"))

    monkeypatch.setattr("treeward.report.writing._write_all", full)
    with pytest.raises(Exception, match=r"results/map\.png") as caught:
        hunt.write_results(result)

    assert not re.search(r"\.treeward-", str(caught.value))
    assert json.dumps(str(caught.value))
