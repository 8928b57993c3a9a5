"""Long recordings are cut at pauses, and no sound is lost or read twice."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from treeward.audio.reader import probe, read_blocks
from treeward.hunt.heard import WHOLE, Piece, pieces_of, read_piece

if TYPE_CHECKING:
    from pathlib import Path

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
