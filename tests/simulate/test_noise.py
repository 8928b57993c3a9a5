from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from benchmarks.hearing import noise
from treeward.simulate import sound

if TYPE_CHECKING:
    from numpy.typing import NDArray

RATE_HZ = 16_000


def long(kind: str, seed: int, seconds: int = 40) -> NDArray[np.float64]:
    bed = noise.bed(kind, np.random.default_rng(seed), RATE_HZ)
    return np.concatenate([bed.block(RATE_HZ) for _ in range(seconds)])


@pytest.mark.slow
@pytest.mark.parametrize("kind", noise.KINDS)
def test_beds_have_unit_level_and_repeat_by_seed(kind: str) -> None:
    samples = long(kind, 3)
    assert 20 * np.log10(sound.band_level(samples, RATE_HZ)) == pytest.approx(0, abs=4)
    assert np.array_equal(samples[:RATE_HZ], long(kind, 3, 1))
    assert not np.array_equal(samples[:RATE_HZ], long(kind, 4, 1))


@pytest.mark.slow
def test_blocks_join_without_a_step() -> None:
    samples = long("water", 1, 10)
    steps = np.abs(np.diff(samples))
    at_joins = steps[RATE_HZ - 1 :: RATE_HZ]
    assert at_joins.max() < steps.max()


def shares(samples: NDArray[np.float64]) -> tuple[float, float]:
    power = np.abs(np.fft.rfft(samples)) ** 2
    pitch_hz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    low = power[pitch_hz < 300].sum() / power.sum()
    return float(low), float(power[pitch_hz > 1000].sum() / power.sum())


@pytest.mark.slow
def test_wind_rumbles_and_water_hisses() -> None:
    wind_low, _ = shares(long("wind", 2))
    water_low, water_high = shares(long("water", 2))
    assert wind_low > 0.4
    assert water_low < 0.05
    assert water_high > 0.5


@pytest.mark.slow
def test_buzz_is_a_tone_near_a_wingbeat() -> None:
    samples = long("buzz", 5)
    power = np.abs(np.fft.rfft(samples)) ** 2
    strongest_hz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)[np.argmax(power)]
    assert 150 < strongest_hz < 280


def test_gain_sets_the_signal_to_noise_ratio() -> None:
    assert sound.gain_for(0.1, 20.0) == pytest.approx(0.01)


def test_unknown_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="traffic"):
        noise.bed("traffic", np.random.default_rng(1), RATE_HZ)
