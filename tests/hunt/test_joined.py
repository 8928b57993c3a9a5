"""Pieces made one recording, at the edges; and what else a session leaves on disk."""

from __future__ import annotations

import json
import os
import shutil
import sys
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile

from conftest import refuse_if_open
from treeward.audio.recorder import SPARE_BYTES, frames_of
from treeward.errors import HuntError
from treeward.hunt.journal import (
    BALLAST_NAME,
    LONGEST_MS,
    Joined,
    Journal,
    clear_joined,
    event_of,
    is_pieces,
    join_pieces,
    read_journal,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.within import Held

RATE_HZ = 16_000
LINKS = pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")


def ramp(samples: int, first: int = 1) -> NDArray[np.int16]:
    """Return sound of which no two stretches are alike."""
    return ((first + np.arange(samples)) % 30_000).astype(np.int16)


def piece(folder: Path, at_ms: int, samples: NDArray[np.int16]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    soundfile.write(folder / f"{at_ms:010d}.flac", samples, RATE_HZ, subtype="PCM_16")


def joined_of(folder: Path, *pieces: tuple[int, NDArray[np.int16]]) -> Joined:
    """Join pieces, each at its millisecond, in `folder`."""
    for at_ms, samples in pieces:
        piece(folder / "live-1", at_ms, samples)
    joined = join_pieces(folder / "live-1", folder / "live-1.flac")
    assert joined is not None
    return joined


def read(path: Path) -> NDArray[np.int16]:
    samples: NDArray[np.int16] = soundfile.read(path, dtype="int16")[0]
    return samples


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# The second piece is named 201 ms, sample 3216.
@pytest.mark.parametrize(
    ("first", "silence"),
    [
        (3201, 0),  # 15 samples later: the name is rounded, it follows on
        (3200, 16),  # a millisecond later: so much was not heard
        (3231, 0),  # 15 samples earlier: nothing is left out
    ],
)
def test_a_seam_is_less_than_a_millisecond(
    tmp_path: Path, first: int, silence: int
) -> None:
    joined = joined_of(tmp_path, (0, ramp(first)), (201, ramp(800)))
    assert read(joined.path).tolist() == [
        *ramp(first).tolist(), *[0] * silence, *ramp(800).tolist()
    ]  # fmt: skip


def test_a_millisecond_that_was_heard_twice_is_left_out(tmp_path: Path) -> None:
    joined = joined_of(tmp_path, (0, ramp(3232)), (201, ramp(800)))
    assert read(joined.path)[3232:].tolist() == ramp(800)[16:].tolist()
    assert joined.sound_s == (3232 + 784) / RATE_HZ


def test_long_silence_and_long_sound_come_through_whole(tmp_path: Path) -> None:
    late = ramp(10 * RATE_HZ + 7)
    joined = joined_of(tmp_path, (0, ramp(160)), (25_000, late))
    whole = read(joined.path)
    assert len(whole) == 25 * RATE_HZ + len(late)
    assert not whole[160 : 25 * RATE_HZ].any()
    assert np.array_equal(whole[25 * RATE_HZ :], late)
    assert joined.sound_s == (160 + len(late)) / RATE_HZ


def test_a_piece_within_another_adds_nothing(tmp_path: Path) -> None:
    joined = joined_of(tmp_path, (0, ramp(8000)), (100, ramp(800)), (500, ramp(160, 9)))
    assert read(joined.path).tolist() == [*ramp(8000).tolist(), *ramp(160, 9).tolist()]
    assert joined.sound_s == 8160 / RATE_HZ


@pytest.mark.parametrize(("over_ms", "apart"), [(0, False), (1, True)])
def test_a_recording_lasts_at_most_so_long_and_what_is_later_is_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, over_ms: int, *, apart: bool
) -> None:
    assert LONGEST_MS == 48 * 3600 * 1000
    monkeypatch.setattr("treeward.hunt.journal.LONGEST_MS", 500)
    joined = joined_of(tmp_path, (0, ramp(160)), (500 + over_ms, ramp(160, 9)))
    assert joined.path == tmp_path / "live-1.flac"
    assert len(read(joined.path)) == (160 if apart else 8000 + 160)
    assert len(joined.remarks) == apart
    assert (tmp_path / "live-1-from-501.flac").exists() is apart
    assert not (tmp_path / "live-1").exists()


def test_sound_kept_apart_writes_over_nothing(tmp_path: Path) -> None:
    name = f"live-1-from-{LONGEST_MS + 1}"
    (tmp_path / f"{name}.flac").write_bytes(b"mine")
    joined = joined_of(tmp_path, (LONGEST_MS + 1, ramp(160)))
    assert (tmp_path / f"{name}.flac").read_bytes() == b"mine"
    assert np.array_equal(read(tmp_path / f"{name}-part-2.flac"), ramp(160))
    assert joined.remarks[0].startswith(f"{name}-part-2.flac: sound from 48 h on")


@pytest.mark.parametrize(("lacking", "fault"), [(0, ""), (1, "no room")])
def test_room_for_all_pieces_and_the_notes_is_room_enough(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lacking: int, fault: str
) -> None:
    folder = tmp_path / "live-1"
    for at_ms in (0, 100):
        piece(folder, at_ms, ramp(1600))
    needed = sum(path.stat().st_size for path in folder.iterdir()) + SPARE_BYTES
    room = SimpleNamespace(free=needed - lacking)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: room)
    joined = joined_of(tmp_path)
    assert joined.fault == fault
    if fault:
        assert (joined.path, joined.sound_s) == (folder, 0.0)
        assert names(folder) == ["0000000000.flac", "0000000100.flac"]
        assert names(tmp_path) == ["live-1"]
    else:
        assert names(tmp_path) == ["live-1.flac"]


def cut_short(*_: object) -> int:
    return 17


def disk_fault(*_: object) -> int:
    raise OSError(5, "Input/output error")


@pytest.mark.parametrize(
    ("reading", "fault"), [(cut_short, "disk full"), (disk_fault, "Input/output error")]
)
def test_what_does_not_read_back_whole_leaves_the_pieces(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    reading: Callable[..., int],
    fault: str,
) -> None:
    piece(tmp_path / "live-1", 0, ramp(1600))
    (tmp_path / ".live-1.flac.part").write_bytes(b"half, of an earlier start")

    def told(folder: Held, name: str) -> int:
        return reading() if name.endswith(".part") else frames_of(folder, name)

    monkeypatch.setattr("treeward.hunt.journal.frames_of", told)
    joined = joined_of(tmp_path)
    assert fault in joined.fault
    assert joined.path == tmp_path / "live-1"
    assert names(tmp_path) == ["live-1"]
    monkeypatch.undo()
    assert joined_of(tmp_path).fault == ""
    assert names(tmp_path) == ["live-1.flac"]


def beside(folder: Path, one: NDArray[np.int16], *, at_ms: int = 1000) -> bool:
    """Tell whether a piece is kept beside the recording that is there."""
    piece(folder / "live-1", at_ms, one)
    made = join_pieces(folder / "live-1", folder / "live-1.flac")
    return made is not None


@pytest.mark.parametrize(
    ("off", "kept"),
    [(-17, True), (-16, False), (0, False), (15, False), (16, True)],
)
def test_a_piece_is_in_the_recording_within_a_millisecond_of_its_name(
    tmp_path: Path, off: int, *, kept: bool
) -> None:
    one = ramp(1600)
    whole = np.zeros(RATE_HZ + 1600 + 100, np.int16)
    whole[RATE_HZ + off : RATE_HZ + off + 1600] = one
    soundfile.write(tmp_path / "live-1.flac", whole, RATE_HZ, subtype="PCM_16")
    assert beside(tmp_path, one) is kept


@pytest.mark.parametrize(
    ("samples", "changed", "kept"),
    [
        (1600, 799, False),  # the first half of a short piece may have been cut off
        (1600, 800, True),
        (1600, 1599, True),
        (3 * RATE_HZ, RATE_HZ - 1, False),  # the first second of a long one
        (3 * RATE_HZ, RATE_HZ, True),
    ],
)
def test_what_may_have_been_cut_off_is_not_compared(
    tmp_path: Path, samples: int, changed: int, *, kept: bool
) -> None:
    one = ramp(samples)
    whole = np.concatenate([np.zeros(RATE_HZ, np.int16), one])
    whole[RATE_HZ + changed] += 1
    soundfile.write(tmp_path / "live-1.flac", whole, RATE_HZ, subtype="PCM_16")
    assert beside(tmp_path, one) is kept


def test_a_recording_that_ends_with_the_piece_has_it_and_one_cut_short_has_not(
    tmp_path: Path,
) -> None:
    one = ramp(1600)
    soundfile.write(tmp_path / "live-1.flac", one, RATE_HZ, subtype="PCM_16")
    assert not beside(tmp_path, one, at_ms=0)
    soundfile.write(tmp_path / "live-1.flac", one[:-1], RATE_HZ, subtype="PCM_16")
    assert beside(tmp_path, one, at_ms=0)


@pytest.mark.parametrize(("rate_hz", "channels"), [(8_000, 1), (RATE_HZ, 2)])
def test_only_sound_as_we_write_it_is_compared_and_joined(
    tmp_path: Path, rate_hz: int, channels: int
) -> None:
    odd = np.repeat(ramp(1600)[:, np.newaxis], channels, axis=1)
    soundfile.write(tmp_path / "live-1.flac", odd, rate_hz, subtype="PCM_16")
    assert beside(tmp_path, ramp(1600), at_ms=0)
    (tmp_path / "live-1").mkdir()
    spoilt = tmp_path / "live-1" / "0000000000.flac"
    soundfile.write(spoilt, odd, rate_hz, subtype="PCM_16")
    joined = joined_of(tmp_path, (200, ramp(160)))
    assert names(tmp_path / "live-1.left") == ["0000000000.flac"]
    assert joined.remarks[0].startswith(str(tmp_path / "live-1.left"))


def test_a_recording_that_cannot_be_read_has_nothing(tmp_path: Path) -> None:
    (tmp_path / "live-1.flac").write_bytes(b"no sound")
    assert beside(tmp_path, ramp(1600))
    assert (tmp_path / "live-1.flac").read_bytes() == b"no sound"


def test_two_pieces_are_in_the_recording_only_if_both_are(tmp_path: Path) -> None:
    joined_of(tmp_path, (0, ramp(1600)), (200, ramp(1600, 99)))
    piece(tmp_path / "live-1", 0, ramp(1600))
    assert beside(tmp_path, ramp(1600, 500), at_ms=200)
    assert names(tmp_path) == ["live-1-part-2.flac", "live-1.flac"]


def test_a_piece_left_as_wav_is_joined_and_its_flac_counts_before_it(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "live-1"
    piece(folder, 0, ramp(160))
    for at_ms, first in ((0, 900), (10, 5)):
        samples = ramp(160, first)
        soundfile.write(folder / f"{at_ms:010d}.wav", samples, RATE_HZ, "PCM_16")
    # Names that are no milliseconds are none of ours.
    soundfile.write(folder / "a1.wav", ramp(160), RATE_HZ, "PCM_16")
    soundfile.write(folder / f"{'9' * 16}.wav", ramp(160), RATE_HZ, "PCM_16")
    (folder / "0000000020.wav").mkdir()
    (folder / "0000000030.part").mkdir()
    whole = read(joined_of(tmp_path).path).tolist()
    assert whole[160:] == ramp(160, 5).tolist()
    assert len(whole) == 320


@LINKS
def test_a_link_is_no_folder_of_pieces(tmp_path: Path) -> None:
    piece(tmp_path / "elsewhere", 0, ramp(160))
    (tmp_path / "live-1").symlink_to(tmp_path / "elsewhere")
    assert not is_pieces(tmp_path / "live-1")
    assert join_pieces(tmp_path / "live-1", tmp_path / "live-1.flac") is None
    assert names(tmp_path / "elsewhere") == ["0000000000.flac"]


@LINKS
def test_nothing_is_joined_or_cleared_through_a_link(tmp_path: Path) -> None:
    hunt, out = tmp_path / "hunt", tmp_path / "out"
    piece(out / "live" / "live-1", 0, ramp(160))
    (out / "live" / "live-2.joined").mkdir()
    (hunt / "recordings").mkdir(parents=True)
    (hunt / ".treeward").symlink_to(out)
    live = hunt / ".treeward" / "live"
    with pytest.raises(HuntError, match="link"):
        join_pieces(live / "live-1", hunt / "recordings" / "live-1.flac", within=hunt)
    with pytest.raises(HuntError, match="link"):
        clear_joined(live, within=hunt)
    with pytest.raises(HuntError, match="link"):
        Journal(live / "a.jsonl", within=hunt)
    assert names(out / "live") == ["live-1", "live-2.joined"]
    assert names(hunt / "recordings") == []


def test_a_folder_that_an_earlier_removal_left_gives_way(tmp_path: Path) -> None:
    (tmp_path / "live-1.joined").mkdir()
    (tmp_path / "live-1.joined" / "0000000000.flac").write_bytes(b"old")
    joined_of(tmp_path, (0, ramp(160)))
    assert names(tmp_path) == ["live-1.flac"]


def test_pieces_that_are_spoilt_altogether_leave_no_recording(tmp_path: Path) -> None:
    (tmp_path / "live-1").mkdir()
    (tmp_path / "live-1" / "0000000000.flac").write_bytes(b"no sound")
    joined = joined_of(tmp_path)
    assert (joined.sound_s, joined.fault, len(joined.remarks)) == (0, "", 1)
    assert names(tmp_path) == ["live-1.left"]


def test_a_journal_goes_on_where_it_was_and_keeps_its_room(tmp_path: Path) -> None:
    path = tmp_path / "hunt" / ".treeward" / "live" / "a.jsonl"
    for n, mark in ((1, "grün"), (2, "red")):
        journal = Journal(path, within=tmp_path)
        room = path.with_name(BALLAST_NAME)
        assert room.stat().st_size == 256 * 1024
        assert len(set(room.read_bytes())) == 256  # nothing that could be packed
        assert journal.write({"n": n, "mark": mark})
        assert journal.waiting == 0
        journal.close()
        journal.close()
        assert names(path.parent) == ["a.jsonl"]
        assert not journal.retry()
    assert path.read_text("utf-8") == '{"n":1,"mark":"grün"}\n{"n":2,"mark":"red"}\n'


@pytest.mark.skipif(sys.platform != "linux", reason="where open files are listed")
def test_a_journal_that_is_closed_holds_neither_file_nor_folder(
    tmp_path: Path,
) -> None:
    journal = Journal(tmp_path / "a.jsonl")
    with pytest.raises(PermissionError, match="held open"):
        refuse_if_open(tmp_path)
    journal.close()
    refuse_if_open(tmp_path)


def test_room_that_another_listener_set_aside_is_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / BALLAST_NAME).write_bytes(b"room")
    journal = Journal(tmp_path / "a.jsonl")
    assert (tmp_path / BALLAST_NAME).read_bytes() == b"room"
    journal.close()


def test_where_no_room_can_be_set_aside_notes_are_written_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> bytes:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.urandom", full)
    journal = Journal(tmp_path / "a.jsonl")
    assert names(tmp_path) == ["a.jsonl"]
    assert journal.write({"n": 1})
    journal.close()


class Refusing:
    """A file that takes part of a line, and lines again once there is room."""

    def __init__(self, inner: Any) -> None:
        self.inner = inner
        self.full = True

    def write(self, data: bytes) -> int:
        return int(self.inner.write(data[:3] if self.full else data))

    def __getattr__(self, name: str) -> Any:
        return getattr(self.inner, name)


def test_half_a_line_is_taken_back_and_what_waits_is_written_at_the_end(
    tmp_path: Path,
) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(b'{"n":1}\n')
    journal = Journal(path)
    disk = Refusing(journal._file)
    journal._file = disk
    assert not journal.write({"n": 2})
    assert not (tmp_path / BALLAST_NAME).exists()  # given back, and still no room
    assert not journal.retry()
    assert path.read_bytes() == b'{"n":1}\n'
    assert journal.waiting == 1
    disk.full = False
    journal.close()
    assert path.read_bytes() == b'{"n":1}\n{"n":2}\n'


def record_of(size: int) -> bytes:
    """Return a record of so many bytes."""
    return b'{"n":"' + b"x" * (size - 8) + b'"}'


@pytest.mark.parametrize(("size", "broken"), [(2**20, 0), (2**20 + 1, 2)])
def test_a_record_of_a_mebibyte_is_read_and_a_longer_one_is_broken(
    tmp_path: Path, size: int, broken: int
) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(record_of(size) + b'\n{"n":"y"}\n')
    text = read_journal(path)
    assert text.records[-1] == {"n": "y"}
    assert len(text.records) == (1 if broken else 2)
    assert text.broken_lines == broken  # in two parts, none of them a record


@pytest.mark.parametrize(
    ("key", "value", "good"),
    [
        ("confidence", 1.0, True),
        ("confidence", 1.01, False),
        ("confidence", 0, True),
        ("alternatives", [["red away", 1.0]], True),
        ("alternatives", [["red away", 1.01]], False),
        ("alternatives", [["red away", 1.0, 2]], False),
        ("start_s", 0, True),
        ("end_s", -0.001, False),
        ("clock", "", True),
    ],
)
def test_shares_go_to_one_and_seconds_begin_at_none(
    key: str, value: object, *, good: bool
) -> None:
    record = {"kind": "back", "start_s": 1.0, "end_s": 2.0, key: value}
    if good:
        event = event_of(json.loads(json.dumps(record)))
        assert event.confidence == (value if key == "confidence" else 1.0)
        assert event.clock is None
        assert event.start_s == (value if key == "start_s" else 1.0)
        assert event.end_s == 2.0
    else:
        with pytest.raises((ValueError, TypeError)):
            event_of(record)
