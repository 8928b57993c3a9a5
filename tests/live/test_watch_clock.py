from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawing import mostly_slow
from treeward.audio import SAMPLE_RATE_HZ
from treeward.live.streams import OFFSET_WINDOW_S, SampleClock, WatchClock

ZONE = ZoneInfo("Europe/London")


class Clocks:
    """An elapsed and a wall clock that a test moves."""

    def __init__(self) -> None:
        self.elapsed_s = 1000.0
        self.wall_s = 1_784_020_800.43

    def watch(self) -> WatchClock:
        return WatchClock(
            ZONE, elapsed=lambda: self.elapsed_s, wall=lambda: self.wall_s
        )

    def run(self, seconds: float) -> None:
        self.elapsed_s += seconds
        self.wall_s += seconds


def test_second_zero_is_a_whole_second_of_the_wall_clock() -> None:
    clocks = Clocks()

    watch = clocks.watch()

    assert watch.start.microsecond == 0
    assert watch.now_s() == pytest.approx(0.43)
    assert watch.at(watch.now_s()).timestamp() == pytest.approx(clocks.wall_s)


@pytest.mark.parametrize("set_s", [3600.0, -3600.0])
def test_setting_the_wall_clock_moves_no_note_and_is_told_once(set_s: float) -> None:
    clocks = Clocks()
    watch = clocks.watch()
    clocks.run(100.0)
    before = watch.at(watch.now_s())

    clocks.wall_s += set_s

    assert watch.at(watch.now_s()) == before
    assert watch.wall_moved_s() == pytest.approx(set_s)
    assert watch.wall_moved_s() == 0.0


def test_a_rehearsal_begins_with_its_first_sound() -> None:
    clocks = Clocks()
    watch = clocks.watch()
    clocks.run(4.0)

    watch.restart()

    assert watch.now_s() == 0.0
    assert watch.at(0.0) == watch.start


def test_a_sleep_that_elapsed_does_not_see_is_put_in() -> None:
    clocks = Clocks()
    watch = clocks.watch()
    clocks.run(10.0)
    clocks.wall_s += 600.0

    watch.take_sleep(watch.wall_moved_s())

    assert watch.at(watch.now_s()).timestamp() == pytest.approx(clocks.wall_s)
    assert watch.wall_moved_s() == 0.0


def test_clock_goes_on_in_real_seconds_over_the_end_of_summer_time() -> None:
    clocks = Clocks()
    clocks.wall_s = 1_792_889_400.0  # 2026-10-25 00:50 UTC, ten minutes before
    watch = clocks.watch()

    later = watch.at(1200.0)

    assert later.timestamp() - watch.start.timestamp() == 1200.0
    assert (watch.start.utcoffset(), later.utcoffset()) != (
        later.utcoffset(),
        later.utcoffset(),
    )


@pytest.mark.parametrize("ppm", mostly_slow([-60.0, 0.0, 60.0], quick=[60.0]))
def test_a_day_of_a_sound_card_that_runs_off_is_followed(ppm: float) -> None:
    """Sound arrives late by chance, never early; the true clock is recovered."""
    rng = np.random.default_rng(7)
    clock = SampleClock()
    chunk = SAMPLE_RATE_HZ // 4
    true_rate_hz = SAMPLE_RATE_HZ * (1 + ppm * 1e-6)
    worst_s = 0.0

    for index in range(8 * 3600 * 4):
        true_s = (index + 1) * chunk / true_rate_hz
        clock.push(chunk, 5.0 + true_s + 0.01 + rng.exponential(0.02))
        if index % 97 == 0 and index > 400:
            second = (index + 1) * chunk / SAMPLE_RATE_HZ
            worst_s = max(worst_s, abs(second + clock.offset_s - 5.01 - true_s))

    assert worst_s < 0.02
    assert clock.drift_s() == pytest.approx(-ppm * 1e-6 * 8 * 3600, abs=0.02)


@given(st.lists(st.floats(0.0, 2.0), min_size=1, max_size=400))
def test_offset_is_the_promptest_of_the_window(delays: list[float]) -> None:
    clock = SampleClock()
    chunk = SAMPLE_RATE_HZ // 4
    seen = []

    for index, delay in enumerate(delays):
        arrival_s = (index + 1) * 0.25 + delay
        clock.push(chunk, arrival_s)
        seen.append(arrival_s - (index + 1) * 0.25)

    window = round(OFFSET_WINDOW_S / 0.25) + 1
    assert clock.offset_s == pytest.approx(min(seen[-window:]))


def test_lateness_tells_of_missing_sound() -> None:
    clock = SampleClock()
    for index in range(40):
        clock.push(1600, (index + 1) * 0.1)

    assert clock.late_s(1600, 4.1) == pytest.approx(0.0)
    assert clock.late_s(1600, 64.1) == pytest.approx(60.0)
