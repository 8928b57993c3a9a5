from __future__ import annotations

from datetime import timedelta
from itertools import groupby

import numpy as np
import pytest

from benchmarks.whole_hunts.run import varying_share
from treeward.language.kinds import EventKind
from treeward.simulate import SimulationSettings, simulate_hunt
from treeward.simulate.world import declination_deg, line
from treeward.simulate.write import WORD_S

STEADY = SimulationSettings(
    speed_factor=(1.0, 1.0),
    in_hive_factor=(1.0, 1.0),
    in_hive_bee_spread=0.0,
    long_stay_share=0.0,
    wind_mps=(0.0, 0.0),
    compass_sd_deg=0.0,
    bearing_sd_deg=(1e-6, 1e-6),
    stray_share=0.0,
    missed_share=0.0,
    slip_share=0.0,
    pause_share=0.0,
    rounding_deg=1,
    bearing_share=1.0,
)


def test_the_same_seed_gives_the_same_hunt_and_another_does_not() -> None:
    settings = SimulationSettings(stations=2, watch_min=30)
    assert simulate_hunt(settings, 7) == simulate_hunt(settings, 7)
    assert simulate_hunt(settings, 7).trips != simulate_hunt(settings, 8).trips


def test_trips_add_up() -> None:
    hunt = simulate_hunt(SimulationSettings(bees=6), 3)
    assert len(hunt.trips) > 40
    for trip in hunt.trips:
        away_s = (trip.back_clock - trip.away_clock).total_seconds()
        # Clocks are whole microseconds.
        parts_s = trip.out_s + trip.in_hive_s + trip.home_s
        assert away_s == pytest.approx(parts_s, abs=1e-5)


def test_flight_time_is_distance_over_published_speed() -> None:
    hunt = simulate_hunt(STEADY, 11)
    _, distance_m = line(hunt.stations[0].position, hunt.colonies[0].position)
    first = [trip for trip in hunt.trips if trip.station == "1"]
    # Wenner 1963: 6.5 m/s loaded, 7.5 m/s unloaded; bees differ by a few per cent.
    expected_s = distance_m / 6.5 + distance_m / 7.5
    flown_s = np.mean([trip.out_s + trip.home_s for trip in first])
    assert flown_s == pytest.approx(expected_s, rel=0.08)


def test_nothing_is_missed_when_nothing_is_to_be_missed() -> None:
    hunt = simulate_hunt(STEADY, 5)
    for station in hunt.stations:
        end = station.start + timedelta(seconds=station.watch_s - 5)
        for trip in hunt.trips:
            if trip.station == station.id and trip.back_clock < end:
                assert trip.away_noted
                assert trip.back_noted


def test_bearings_point_home_by_the_compass() -> None:
    hunt = simulate_hunt(STEADY, 5)
    homeward = {
        station.recording: line(station.position, hunt.colonies[0].position)[0]
        for station in hunt.stations
    }
    read = [event for event in hunt.events if event.kind is EventKind.BEARING]
    assert len(read) > 20
    for event in read:
        true_deg = homeward[event.recording]
        shown_deg = true_deg - hunt.shared.declination_deg
        off_deg = (float(event.value) - shown_deg + 180) % 360 - 180
        assert abs(off_deg) <= 0.5 + 1e-3  # rounded to the degree


def test_declination_in_mid_wales_is_near_zero_in_2026() -> None:
    # WMM2025 puts the agonic line through Wales in these years.
    hunt = simulate_hunt(STEADY, 5)
    station = hunt.stations[0]
    assert abs(declination_deg(station.position, station.start)) < 1.0


@pytest.mark.parametrize("share", [0.0, 0.06, 0.3])
def test_the_stated_share_of_returns_is_missed(share: float) -> None:
    noted = []
    for seed in range(12):
        hunt = simulate_hunt(
            SimulationSettings(missed_share=share, pause_share=0.0, bees=6), seed
        )
        for station in hunt.stations:
            end = station.start + timedelta(seconds=station.watch_s - 6)
            noted += [
                trip.back_noted
                for trip in hunt.trips
                if trip.station == station.id and trip.back_clock < end
            ]
    assert len(noted) > 500
    spread = 4 * np.sqrt(share * (1 - share) / len(noted))
    assert 1 - np.mean(noted) == pytest.approx(share, abs=spread + 1e-9)


def test_one_mouth_says_one_thing_at_a_time() -> None:
    hunt = simulate_hunt(SimulationSettings(bees=12, stations=2), 2)
    for _, lines in groupby(hunt.script, key=lambda said: said.recording):
        end_s = 0.0
        for said in lines:
            assert said.start_s >= end_s
            end_s = said.start_s + WORD_S * len(said.text.replace("-", " ").split())


def test_spoken_times_are_the_time() -> None:
    hunt = simulate_hunt(SimulationSettings(recorder_stops=("1", "2")), 9)
    times = [event for event in hunt.events if event.kind is EventKind.TIME]
    assert len(times) > 8
    for event in times:
        assert event.clock is not None
        assert event.value == f"{event.clock:%H:%M}"


def test_clock_is_sound_time_and_what_the_recorder_missed() -> None:
    hunt = simulate_hunt(SimulationSettings(recorder_stops=("2",), bees=2), 9)
    assert hunt.gaps
    starts = {station.recording: station.start for station in hunt.stations}
    for said in hunt.script:
        skipped_s = sum(
            gap.skipped_s
            for gap in hunt.gaps
            if gap.recording == said.recording and gap.at_s < said.start_s
        )
        expected = starts[said.recording] + timedelta(seconds=said.start_s + skipped_s)
        assert abs((said.clock - expected).total_seconds()) < 1e-3


def test_the_time_is_said_after_every_stop_of_the_recorder() -> None:
    hunt = simulate_hunt(SimulationSettings(recorder_stops=("2",), bees=2), 9)
    for gap in hunt.gaps:
        following = next(
            said
            for said in hunt.script
            if said.recording == gap.recording and said.start_s > gap.at_s
        )
        assert following.event is not None
        assert following.event.kind is EventKind.TIME


def test_nobody_notes_bees_during_a_pause() -> None:
    hunt = simulate_hunt(SimulationSettings(pause_share=1.0, missed_share=0.0), 4)
    paused = False
    seen = 0
    for event in hunt.events:
        if event.kind is EventKind.PAUSE:
            paused = True
            seen += 1
        elif event.kind is EventKind.RESUME:
            paused = False
        elif paused:
            assert event.kind in {EventKind.TIME, EventKind.REMARK}
    assert seen == len(hunt.stations)


def test_slips_are_taken_back_at_once() -> None:
    hunt = simulate_hunt(SimulationSettings(slip_share=0.5), 1)
    events = list(hunt.events)
    slips = [n for n, event in enumerate(events) if event.kind is EventKind.SCRATCH]
    assert len(slips) > 10
    for place in slips:
        assert events[place - 1].kind is events[place + 1].kind
        assert events[place - 1].mark != events[place + 1].mark


def test_two_colonies_lie_apart_and_share_the_bees() -> None:
    hunt = simulate_hunt(SimulationSettings(colonies=2, bees=5), 6)
    first = hunt.stations[0].position
    a_deg, _ = line(first, hunt.colonies[0].position)
    b_deg, _ = line(first, hunt.colonies[1].position)
    assert 60 <= abs((a_deg - b_deg + 180) % 360 - 180) <= 180
    assert {bee.colony for bee in hunt.bees} == {"A", "B"}


def test_a_calibration_is_watched_beside_the_known_hive() -> None:
    hunt = simulate_hunt(SimulationSettings(calibration=True), 6)
    station, hive = hunt.stations[-1], hunt.colonies[-1]
    assert hive.known
    assert line(station.position, hive.position)[1] < 92
    there = {trip.colony for trip in hunt.trips if trip.station == station.id}
    assert there == {"known hive"}


def test_marks_are_told_apart() -> None:
    for bees in (1, 4, 8, 24):
        hunt = simulate_hunt(
            SimulationSettings(bees=bees, calibration=True, watch_min=5), 1
        )
        marks = [bee.mark for bee in hunt.bees]
        assert len(set(marks)) == len(marks) == bees + 3


@pytest.mark.parametrize(
    ("fault", "named"),
    [
        ({"stations": 0}, "stations"),
        ({"bees": 25}, "bees"),
        ({"colonies": 3}, "colonies"),
        ({"watch_min": 0.0}, "watch_min"),
        ({"rounding_deg": 0}, "rounding_deg"),
        ({"missed_share": 1.2}, "missed_share"),
    ],
)
def test_impossible_settings_are_refused(fault: dict[str, float], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        SimulationSettings(**fault)  # type: ignore[arg-type]


@pytest.mark.parametrize("spread", [0.10, 0.25, 0.45])
def test_in_hive_times_vary_as_much_as_they_should(spread: float) -> None:
    # Long stays apart: they are another matter.
    settings = SimulationSettings(
        in_hive_varying_share=varying_share(spread),
        in_hive_bee_spread=1e-9,
        long_stay_share=0.0,
        watch_min=600.0,
        stations=1,
    )
    stays = [trip.in_hive_s for trip in simulate_hunt(settings, 3).trips]
    assert len(stays) > 200
    assert np.std(stays) / np.mean(stays) == pytest.approx(spread, rel=0.12)
