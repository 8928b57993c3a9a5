"""Running sound is cut into stretches; the voices are bursts, told by loudness."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loudness import IN_USE, LoudActivity
from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.speech.recognizer import AROUND_S, FRAME_S, LONGEST_S, PAUSE_S, Segmenter

if TYPE_CHECKING:
    from numpy.typing import NDArray

FRAMES = FRAME_S + 1e-6  # to which a span is found


@pytest.fixture(autouse=True, scope="module")
def bursts_are_voices() -> object:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(IN_USE, LoudActivity)
        yield


def spoken(length_s: float, *spans: tuple[float, float]) -> NDArray[np.float32]:
    sound = np.zeros(round(length_s * SAMPLE_RATE_HZ), np.float32)
    for start_s, end_s in spans:
        sound[round(start_s * SAMPLE_RATE_HZ) : round(end_s * SAMPLE_RATE_HZ)] = 0.1
    return sound


def cut(sound: NDArray[np.float32], **options: float) -> list[Block]:
    segmenter = Segmenter(**options)
    return segmenter.push(sound) + segmenter.flush()


def voiced(block: Block) -> list[tuple[float, float]]:
    return [(block.start_s + a, block.start_s + b) for a, b in block.voiced]


def test_a_span_is_found_where_it_is_with_sound_around() -> None:
    sound = spoken(6, (2.0, 3.0))

    (block,) = cut(sound, start_s=100.0)

    assert voiced(block)[0] == pytest.approx((102.0, 103.0), abs=FRAMES)
    assert block.voiced[0][0] == pytest.approx(AROUND_S, abs=FRAMES)
    after_s = block.end_s - voiced(block)[0][1]
    assert after_s == pytest.approx(AROUND_S, abs=FRAMES)
    first = round((block.start_s - 100) * SAMPLE_RATE_HZ)
    np.testing.assert_array_equal(
        block.samples, sound[first : first + len(block.samples)]
    )


@pytest.mark.parametrize(("pause_s", "spans"), [(0.15, 1), (0.4, 2)])
def test_short_pauses_are_inside_a_span(pause_s: float, spans: int) -> None:
    (block,) = cut(spoken(5, (1, 1.5), (1.5 + pause_s, 2.5)))

    assert len(block.voiced) == spans


def test_a_long_pause_ends_a_stretch() -> None:
    after = cut(spoken(8, (1, 2), (2 + PAUSE_S + 0.1, 4)))
    within = cut(spoken(8, (1, 2), (2 + PAUSE_S - 0.1, 4)))
    soon = cut(spoken(8, (1, 2), (2.5, 4)), pause_s=0.4)

    assert [len(blocks) for blocks in (after, within, soon)] == [2, 1, 2]


def test_the_longest_stretch_is_cut_at_its_longest_pause() -> None:
    spans = ((0.5, 2.0), (2.3, 4.0), (4.6, 6.0), (6.3, 12.0))

    blocks = cut(spoken(14, *spans))

    assert voiced(blocks[0])[-1][1] == pytest.approx(4.0, abs=FRAMES)
    assert voiced(blocks[1])[0][0] == pytest.approx(4.6, abs=FRAMES)
    for block in blocks:
        found = voiced(block)
        assert found[-1][1] - found[0][0] <= LONGEST_S + FRAME_S


@pytest.mark.slow
@pytest.mark.parametrize("level", [0.0, 0.1])
def test_memory_is_bounded_over_an_hour(level: float) -> None:
    segmenter = Segmenter()
    minute = np.full(60 * SAMPLE_RATE_HZ // 10, level, np.float32)
    most = 0
    count_s = 0.0
    for _ in range(600):
        for block in segmenter.push(minute):
            count_s += sum(b - a for a, b in block.voiced)
        most = max(most, sum(len(part) for part in segmenter._sound))

    assert most < (LONGEST_S + 2 * AROUND_S + 6.5) * SAMPLE_RATE_HZ
    if level:
        assert count_s == pytest.approx(3600, abs=LONGEST_S + 1)


SPANS = st.lists(
    st.tuples(st.floats(0.05, 3.0), st.floats(0.05, 2.0)), min_size=1, max_size=6
)


def sound_of(spans: list[tuple[float, float]]) -> NDArray[np.float32]:
    at_s, places = 0.3, []
    for length_s, pause_s in spans:
        places.append((at_s, at_s + length_s))
        at_s += length_s + pause_s
    return spoken(at_s + 1, *places)


@pytest.mark.slow
@settings(max_examples=30, deadline=None)
@given(SPANS, st.lists(st.integers(1, 20_000), min_size=1, max_size=5))
def test_any_chunks_give_the_same_stretches(
    spans: list[tuple[float, float]], sizes: list[int]
) -> None:
    sound = sound_of(spans)
    segmenter, at, found = Segmenter(), 0, list[Block]()
    while at < len(sound):
        size = sizes[at % len(sizes)]
        found += segmenter.push(sound[at : at + size])
        at += size
    found += segmenter.flush()

    whole = cut(sound)
    assert [(b.start_s, b.voiced) for b in found] == [
        (b.start_s, b.voiced) for b in whole
    ]
    # What follows the last one may be there already, or not yet.
    for one, other in zip(found, whole, strict=True):
        count = min(len(one.samples), len(other.samples))
        assert one.voiced[-1][1] <= count / SAMPLE_RATE_HZ + 1e-6
        np.testing.assert_array_equal(one.samples[:count], other.samples[:count])


@settings(max_examples=30, deadline=None)
@given(SPANS)
def test_no_speech_is_lost_or_given_twice(spans: list[tuple[float, float]]) -> None:
    sound = sound_of(spans)
    frames = LoudActivity().push(sound)

    given_out = np.zeros(len(frames), int)
    for block in cut(sound):
        for start_s, end_s in voiced(block):
            given_out[round(start_s / FRAME_S) : round(end_s / FRAME_S)] += 1

    assert given_out.max() <= 1
    assert (given_out[np.array(frames) > 0.5] == 1).all()


def test_silence_and_nothing_give_nothing() -> None:
    assert cut(spoken(5)) == []
    assert Segmenter().flush() == []
