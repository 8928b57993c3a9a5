"""Long recordings are cut at pauses, and no sound is lost or read twice."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from treeward.audio import Block
from treeward.audio.reader import probe, read_blocks
from treeward.hunt.heard import WHOLE, Piece, pieces_of, read_piece

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

RATE_HZ = 16_000


def talk(seconds: float, pause_at_s: float, seed: int = 1) -> NDArray[np.float32]:
    """Give noise that is loud but for two seconds of quiet."""
    rng = np.random.default_rng(seed)
    sound = 0.2 * rng.standard_normal(int(seconds * RATE_HZ))
    first = int((pause_at_s - 1) * RATE_HZ)
    sound[first : first + 2 * RATE_HZ] *= 0.01
    return np.clip(sound, -1, 1).astype(np.float32)


def cut(path: Path, longest_s: float) -> tuple[Piece, ...]:
    info = probe(path)
    return pieces_of(
        path,
        duration_s=info.duration_s,
        container=info.container,
        longest_s=longest_s,
    )


def heard(path: Path, piece: Piece, from_s: float | None = None) -> NDArray[np.float32]:
    start_s = piece.start_s if from_s is None else from_s
    blocks = list(read_piece(path, piece, from_s=start_s, warn=lambda _: None))
    return np.concatenate([block.samples for block in blocks])


def test_a_short_recording_is_one_piece(tmp_path: Path) -> None:
    path = tmp_path / "short.wav"
    soundfile.write(path, talk(20, 10), RATE_HZ)

    assert cut(path, 30) == (WHOLE,)


def test_the_cut_lies_in_the_pause_beside_the_middle(tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    soundfile.write(path, talk(60, 36), RATE_HZ)

    first, second = cut(path, 40)

    assert first.end_s == second.start_s
    assert first.end_s == pytest.approx(36, abs=0.5)  # 30 is the even cut
    assert second.end_s is None


@pytest.mark.parametrize("ending", ["wav", "flac"])
def test_pieces_together_are_the_recording(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"long.{ending}"
    soundfile.write(path, talk(95, 33), RATE_HZ)
    whole = np.concatenate([block.samples for block in read_blocks(path)])

    found = cut(path, 20)

    assert len(found) == 5
    joined = np.concatenate([heard(path, piece) for piece in found])
    assert np.array_equal(joined, whole)


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["ogg", "m4a", "webm", "mp3"])
def test_a_jump_into_packed_sound_finds_the_right_place(
    tmp_path: Path, ending: str
) -> None:
    import av

    path = tmp_path / f"long.{ending}"
    sound = talk(60, 30)
    codec = {"ogg": "libopus", "m4a": "aac", "webm": "libopus", "mp3": "libmp3lame"}[
        ending
    ]
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=48_000, layout="mono")
        assert isinstance(stream, av.AudioStream)
        frame = av.AudioFrame.from_ndarray(
            np.repeat(sound, 3)[np.newaxis], format="fltp", layout="mono"
        )
        frame.sample_rate = 48_000
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)
    whole = np.concatenate([block.samples for block in read_blocks(path)])

    first, second = cut(path, 40)

    at = int(second.start_s * RATE_HZ)
    part = heard(path, second)[RATE_HZ : 6 * RATE_HZ]  # past the codec's first frames
    lag = np.argmax(np.correlate(whole[at : at + 7 * RATE_HZ], part, "valid"))
    assert first.end_s == pytest.approx(30, abs=0.6)
    assert lag / RATE_HZ == pytest.approx(1, abs=0.03)


def test_where_a_jump_would_be_a_guess_nothing_is_cut(tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    soundfile.write(path, talk(60, 30), RATE_HZ)

    cuts = pieces_of(path, duration_s=60.0, container="aac", longest_s=20)

    assert cuts == (WHOLE,)


def test_a_header_that_promises_too_much_ends_the_pieces(tmp_path: Path) -> None:
    path = tmp_path / "long.wav"
    soundfile.write(path, talk(60, 30), RATE_HZ)

    found = pieces_of(path, duration_s=600.0, container="WAV", longest_s=50)

    assert found[-1].start_s < 60
    assert found[-1].end_s is None
    assert len(found) == 2


@pytest.mark.slow
@settings(deadline=None)  # times belong in the benchmarks
@given(
    seconds=st.floats(1, 40),
    longest_s=st.floats(3, 30),
    from_share=st.floats(0, 1),
    seed=st.integers(0, 9),
)
def test_every_second_belongs_to_one_piece(
    tmp_path_factory: pytest.TempPathFactory,
    seconds: float,
    longest_s: float,
    from_share: float,
    seed: int,
) -> None:
    path = tmp_path_factory.mktemp("sound") / "a.wav"
    soundfile.write(path, talk(max(seconds, 2), 1, seed), RATE_HZ)

    found = cut(path, longest_s)

    assert found[0].start_s == 0
    assert found[-1].end_s is None
    for one, other in pairwise(found):
        assert one.end_s == other.start_s
        assert one.length_s(None) > 0
    # Going on inside a piece reads the rest of it.
    piece = found[0]
    end_s = piece.end_s or max(seconds, 2)
    from_s = round(from_share * 0.9 * end_s, 3)
    rest = heard(path, piece, from_s)
    assert len(rest) / RATE_HZ == pytest.approx(end_s - from_s, abs=0.01)


@pytest.mark.parametrize(
    ("duration_s", "count"),
    [(None, 1), (0.0, 1), (60.0, 1), (60.1, 2), (120.0, 2), (120.1, 3)],
)
def test_a_recording_is_cut_where_it_is_longer_and_into_few(
    monkeypatch: pytest.MonkeyPatch, duration_s: float | None, count: int
) -> None:
    second = np.full(RATE_HZ // 10, 0.5, np.float32)

    def blocks(*_: object, start_s: float, **_more: object) -> Iterator[Block]:
        for number in range(400):
            yield Block(start_s=start_s + number / 10, samples=second)

    monkeypatch.setattr("treeward.hunt.heard.read_blocks", blocks)
    found = pieces_of(
        Path("a.wav"), duration_s=duration_s, container="WAV", longest_s=60.0
    )
    assert [one.number for one in found] == list(range(count))


@pytest.mark.parametrize(
    ("duration_s", "low_s", "high_s"),
    [
        (100.0, 37.5, 62.5),  # a quarter of a piece before and after the even cut
        (1500.0, 730.0, 770.0),  # and no more than 20 s
    ],
)
def test_a_pause_is_looked_for_about_the_even_cut_and_no_farther(
    monkeypatch: pytest.MonkeyPatch, duration_s: float, low_s: float, high_s: float
) -> None:
    given: list[Block] = []
    quiet_s = low_s + 8.0

    def blocks(*_: object, start_s: float, **_more: object) -> Iterator[Block]:
        for number in range(100):
            at_s = start_s + number / 2
            loud = 0.0 if quiet_s <= at_s < quiet_s + 1 else 0.5
            samples = np.full(RATE_HZ // 2, loud, np.float32)
            given.append(Block(start_s=at_s, samples=samples))
            yield given[-1]

    monkeypatch.setattr("treeward.hunt.heard.read_blocks", blocks)
    first, _second = pieces_of(
        Path("a.wav"),
        duration_s=duration_s,
        container="WAV",
        longest_s=duration_s / 2,
    )
    assert first.end_s == pytest.approx(quiet_s + 0.5)
    assert (given[0].start_s, given[-1].end_s) == (low_s, high_s)


def test_a_piece_that_is_known_to_its_end_gives_no_sound(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, talk(4, 2), RATE_HZ)
    piece = Piece(number=0, start_s=0.0, end_s=2.0)
    assert list(read_piece(path, piece, from_s=2.0, warn=lambda _: None)) == []
    assert len(heard(path, piece)) == 2 * RATE_HZ
