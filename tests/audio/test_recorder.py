from __future__ import annotations

import errno
import os
import shutil
from collections import namedtuple
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from treeward.audio import SAMPLE_RATE_HZ
from treeward.audio.recorder import Recorder, finish_piece, mend_wav
from treeward.hunt.journal import join_pieces
from treeward.within import Held, held

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

Usage = namedtuple("Usage", "total used free")


def noise(seconds: float, seed: int = 1) -> NDArray[np.float32]:
    rng = np.random.default_rng(seed)
    n = round(seconds * SAMPLE_RATE_HZ)
    pcm = rng.integers(-20_000, 20_000, n)
    return (pcm / 32768).astype(np.float32)


def read(path: Path) -> NDArray[np.float32]:
    samples, rate = soundfile.read(path, dtype="float32")
    assert rate == SAMPLE_RATE_HZ
    return np.asarray(samples, np.float32)


def test_every_moment_of_a_piece_can_be_played(tmp_path: Path) -> None:
    keeper = Recorder(tmp_path)
    assert keeper.begin(12.345)
    sound = noise(1.0)

    for first in range(0, len(sound), 1600):
        keeper.write(sound[first : first + 1600])
        so_far = read(tmp_path / "0000012345.wav")
        assert np.array_equal(so_far, sound[: first + 1600])

    keeper.close()


def test_closed_piece_is_flac_with_the_same_samples(tmp_path: Path) -> None:
    keeper = Recorder(tmp_path)
    keeper.begin(0.0)
    sound = noise(2.0)
    keeper.write(sound)
    keeper.close()

    assert [p.name for p in tmp_path.iterdir()] == ["0000000000.flac"]
    assert np.array_equal(read(tmp_path / "0000000000.flac"), sound)


@pytest.mark.parametrize("cut", [1, 2, 3, 1601])
def test_piece_whose_header_lags_behind_is_mended(tmp_path: Path, cut: int) -> None:
    """As a kill between writing sound and header leaves it."""
    keeper = Recorder(tmp_path)
    keeper.begin(0.0)
    keeper.write(noise(0.5))
    path = tmp_path / "0000000000.wav"
    torn = tmp_path / "0000000001.wav"
    torn.write_bytes(path.read_bytes() + bytes(cut))
    keeper.close()

    with torn.open("rb+") as file:
        samples = mend_wav(file)

    assert samples == SAMPLE_RATE_HZ // 2 + cut // 2
    assert len(read(torn)) == samples


def test_piece_without_sound_goes_away(tmp_path: Path) -> None:
    empty = tmp_path / "0000000000.wav"
    empty.write_bytes(b"RIF")

    with held(tmp_path, tmp_path) as folder:
        assert finish_piece(folder, empty.name) is None
    assert not empty.exists()


def test_full_disk_is_told_and_sound_waits_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeper = Recorder(tmp_path)
    keeper.begin(0.0)
    sound = noise(3.0)
    keeper.write(sound[:16_000])
    real_write = os.write

    def full(fd: int, data: bytes) -> int:
        # Half of what is asked for still fits, as on a real disk.
        if len(data) > 100:
            real_write(fd, bytes(data)[: len(data) // 2])
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", full)
        assert keeper.write(sound[16_000:32_000])
        fault = keeper.fault
    keeper.write(sound[32_000:])
    mended = keeper.fault
    keeper.close()

    assert fault == "the disk is full"
    assert mended == ""
    assert np.array_equal(read(tmp_path / "0000000000.flac"), sound)


def test_more_than_a_minute_is_not_held_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeper = Recorder(tmp_path)
    keeper.begin(0.0)
    monkeypatch.setattr(keeper, "_has_room", lambda **_: False)

    held = [keeper.write(noise(10.0)) for _ in range(7)]
    keeper.close()

    assert held == [True] * 6 + [False]


def test_no_piece_begins_where_only_the_notes_have_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keeper = Recorder(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(10**9, 10**9, 500_000))

    assert not keeper.begin(0.0)
    assert keeper.fault == "the disk is full"
    keeper.close()


def write_piece(folder: Path, at_ms: int, sound: NDArray[np.float32]) -> None:
    folder.mkdir(exist_ok=True)
    soundfile.write(folder / f"{at_ms:010d}.flac", sound, SAMPLE_RATE_HZ, "PCM_16")


def test_pieces_are_joined_second_for_second(tmp_path: Path) -> None:
    pieces = tmp_path / "live-1"
    first, second = noise(1.0, 1), noise(1.0, 2)
    write_piece(pieces, 500, first)
    write_piece(pieces, 3000, second)

    joined = join_pieces(pieces, tmp_path / "live-1.flac")

    assert joined is not None
    assert (joined.sound_s, joined.fault) == (2.0, "")
    whole = read(tmp_path / "live-1.flac")
    assert np.array_equal(whole[8000:24_000], first)
    assert np.array_equal(whole[48_000:], second)
    assert not whole[:8000].any()
    assert not whole[24_000:48_000].any()
    assert not pieces.exists()


def test_a_sound_card_that_runs_fast_is_cut_back_between_pieces(
    tmp_path: Path,
) -> None:
    pieces = tmp_path / "live-1"
    first, second = noise(1.03, 1), noise(1.0, 2)
    write_piece(pieces, 0, first)
    write_piece(pieces, 1000, second)  # by the clock only a second had gone

    joined = join_pieces(pieces, tmp_path / "live-1.flac")

    assert joined is not None
    whole = read(tmp_path / "live-1.flac")
    assert np.array_equal(whole[: len(first)], first)
    assert np.array_equal(whole[len(first) :], second[480:])


def test_pieces_stay_where_the_joined_file_does_not_fit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pieces = tmp_path / "live-1"
    write_piece(pieces, 0, noise(1.0))
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(1, 1, 0))

    joined = join_pieces(pieces, tmp_path / "live-1.flac")

    assert joined is not None
    assert joined.fault == "no room"
    assert [p.name for p in pieces.iterdir()] == ["0000000000.flac"]


def test_nothing_to_join(tmp_path: Path) -> None:
    (tmp_path / "live-1").mkdir()

    assert join_pieces(tmp_path / "live-1", tmp_path / "live-1.flac") is None
    assert not (tmp_path / "live-1").exists()


def killed_while_removing(tmp_path: Path, *gone: int) -> tuple[Path, Path]:
    """Three pieces that were joined, of which some are removed already."""
    pieces, recording = tmp_path / "live-1", tmp_path / "recordings" / "live-1.flac"
    for at_ms, seed in ((0, 1), (1000, 2), (2500, 3)):
        write_piece(pieces, at_ms, noise(1.0, seed))
    kept = tmp_path / "kept"
    shutil.copytree(pieces, kept)
    assert join_pieces(pieces, recording) is not None
    for at_ms in gone:
        (kept / f"{at_ms:010d}.flac").unlink()
    kept.rename(pieces)
    return pieces, recording


@pytest.mark.parametrize("gone", [(), (0,), (0, 1000), (1000,), (2500,)])
def test_a_removal_cut_short_leaves_the_recording_as_it_was(
    tmp_path: Path, gone: tuple[int, ...]
) -> None:
    pieces, recording = killed_while_removing(tmp_path, *gone)
    before = recording.read_bytes()

    assert join_pieces(pieces, recording) is None

    assert recording.read_bytes() == before
    assert [p.name for p in tmp_path.rglob("*.flac")] == ["live-1.flac"]


def test_a_piece_that_is_open_elsewhere_is_seen_to_be_joined(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pieces, recording = tmp_path / "live-1", tmp_path / "live-1.flac"
    write_piece(pieces, 0, noise(1.0))

    usual = Held.replace

    def held_folder(self: Held, name: str, new: str, into: Held | None = None) -> None:
        if (self.path / name).is_dir():
            raise PermissionError(13, "open elsewhere", name, None, new)
        usual(self, name, new, into)

    with monkeypatch.context() as patch:
        patch.setattr(Held, "replace", held_folder)
        assert join_pieces(pieces, recording) is not None
    before = recording.read_bytes()

    assert join_pieces(pieces, recording) is None
    assert recording.read_bytes() == before
    assert not pieces.exists()


def test_another_recording_of_that_name_is_not_written_over(tmp_path: Path) -> None:
    pieces, recording = tmp_path / "live-1", tmp_path / "live-1.flac"
    write_piece(pieces, 0, noise(1.0, 1))
    soundfile.write(recording, noise(2.0, 2), SAMPLE_RATE_HZ)
    before = recording.read_bytes()

    joined = join_pieces(pieces, recording)

    assert joined is not None
    assert joined.path.name == "live-1-part-2.flac"
    assert any("kept beside" in line for line in joined.remarks)
    assert recording.read_bytes() == before
    assert np.array_equal(read(joined.path), noise(1.0, 1))


def test_a_piece_named_for_years_on_is_kept_apart(tmp_path: Path) -> None:
    pieces, recording = tmp_path / "live-1", tmp_path / "live-1.flac"
    write_piece(pieces, 0, noise(1.0, 1))
    write_piece(pieces, 99_999_999_999_999, noise(1.0, 2))

    joined = join_pieces(pieces, recording)

    assert joined is not None
    assert np.array_equal(read(recording), noise(1.0, 1))
    apart = tmp_path / "live-1-from-99999999999999.flac"
    assert np.array_equal(read(apart), noise(1.0, 2))
    assert any(line.startswith(apart.name) for line in joined.remarks)


def test_a_piece_that_cannot_be_read_is_kept_and_told_once(tmp_path: Path) -> None:
    pieces, recording = tmp_path / "live-1", tmp_path / "live-1.flac"
    write_piece(pieces, 0, noise(1.0, 1))
    (pieces / "0000001000.flac").write_bytes(b"fLaC, and no more")
    (pieces / "\N{SUPERSCRIPT TWO}.wav").write_bytes(b"no piece")

    joined = join_pieces(pieces, recording)

    assert joined is not None
    assert any("cannot be read" in line for line in joined.remarks)
    assert np.array_equal(read(recording), noise(1.0, 1))
    kept = tmp_path / "live-1.left" / "0000001000.flac"
    assert kept.read_bytes() == b"fLaC, and no more"
    assert not pieces.exists()


def test_a_piece_is_moved_to_where_it_began_after_all(tmp_path: Path) -> None:
    keeper = Recorder(tmp_path)
    keeper.begin(4.0)
    keeper.write(noise(1.0))
    keeper.end(moved_to_s=2.5)
    keeper.begin(4.0)
    keeper.write(noise(0.5, 2))
    keeper.close()

    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "0000002500.flac", "0000004000.flac"
    ]  # fmt: skip
