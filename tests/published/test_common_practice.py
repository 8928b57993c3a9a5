"""Facts of the trade that no publication was found for: common practice.

Bees fly about 15 mph. A bee loads water in 30-60 s. Unloading takes 2-3 minutes, so
with nine minutes away and two and a half in the hive the colony is about 0.8 mile off
(6.5 min of flight at 15 mph, both ways). Bees from a hive within a hundred yards have
negligible flight time, so their away time is the in-hive time.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drawing import mostly_slow
from treeward import survey

MILE_M = 1609.344  # international mile
YARD_M = 0.9144  # international yard
MPH_M_PER_S = MILE_M / 3600


def four_trips(
    away_s: float, cargo: survey.Cargo, settings: survey.Settings | None = None
) -> survey.BeeDistance:
    """Return the distance from four timed trips of one bee."""
    fix = survey.locate(
        survey.Stations(
            id=("1",),
            latitude_deg=np.array([52.3012]),
            longitude_deg=np.array([-3.6104]),
            cargo=(cargo,),
        ),
        survey.Trips(
            bees=("yellow",),
            bee=np.zeros(4, dtype=np.intp),
            station=np.zeros(4, dtype=np.intp),
            away_s=away_s + np.array([0.0, 10.0, 20.0, 40.0]),
            round_trip=np.zeros(4, dtype=bool),
            rounding_s=np.zeros(4),
            cycles=np.ones(4, dtype=np.intp),
        ),
        survey.Bearings(
            bee=np.zeros(0, dtype=np.intp),
            station=np.zeros(0, dtype=np.intp),
            bearing_true_deg=np.zeros(0),
            rounding_deg=np.zeros(0),
        ),
        settings,
    )
    return fix.bees[0]


def test_nine_minutes_away_is_about_eight_tenths_of_a_mile_by_hand() -> None:
    rule = next(
        rule
        for rule in survey.hand_rules(540.0)
        if rule.kind is survey.HandRuleKind.FIFTEEN_MPH
    )

    # (9 - 2.5) min at 15 mph, there and back: 0.8125 mile.
    assert rule.distance_m / MILE_M == pytest.approx(0.8125)


@pytest.mark.slow
def test_the_default_model_holds_that_distance_too() -> None:
    found = four_trips(540.0, "syrup")

    assert found.low90_m < 0.8125 * MILE_M < found.high90_m


def test_fifteen_mph_lies_within_what_the_model_takes_for_flight_speed() -> None:
    settings = survey.Settings()
    speed = settings.flight_speed_factor * np.sqrt(
        settings.flight_speed_out_mps * settings.flight_speed_home_mps
    )

    # Within one standard deviation of the factor shared by all bees of a hunt.
    assert abs(np.log(15 * MPH_M_PER_S / speed)) < settings.flight_speed_factor_sd


@pytest.mark.parametrize("cargo", mostly_slow(["water", "syrup"], quick=["water"]))
def test_unloading_time_alone_may_mean_a_hive_within_a_hundred_yards(
    cargo: survey.Cargo,
) -> None:
    # The prior on distance says that so near a hive is rare (0.2 %); a wide one leaves
    # the times to speak for themselves.
    open_minded = survey.Settings(distance_sigma=2.0)

    near = four_trips(150.0, cargo, open_minded)

    assert near.low90_m < 100 * YARD_M
    assert near.median_m < 0.25 * MILE_M


@pytest.mark.slow
def test_calibration_beside_a_hive_measures_the_in_hive_time() -> None:
    """Away times at a hive of known place sharpen the distance of the others."""
    ids, n = ("1", "2"), 8
    calibrated = replace(
        survey.Settings(),
        calibrations=(
            survey.Calibration(
                station="2", hive_latitude_deg=52.3100, hive_longitude_deg=-3.6200
            ),
        ),
    )
    stations = survey.Stations(
        id=ids,
        latitude_deg=np.array([52.3012, 52.3105]),
        longitude_deg=np.array([-3.6104, -3.6200]),  # 56 m from that hive
        cargo=("water", "water"),
    )
    trips = survey.Trips(
        bees=("yellow", "red"),
        bee=np.repeat(np.array([0, 1], dtype=np.intp), n),
        station=np.repeat(np.array([0, 1], dtype=np.intp), n),
        away_s=np.concatenate([330.0 + 8.0 * np.arange(n), 150.0 + 8.0 * np.arange(n)]),
        round_trip=np.zeros(2 * n, dtype=bool),
        rounding_s=np.zeros(2 * n),
        cycles=np.ones(2 * n, dtype=np.intp),
    )
    none = survey.Bearings(
        bee=np.zeros(0, dtype=np.intp),
        station=np.zeros(0, dtype=np.intp),
        bearing_true_deg=np.zeros(0),
        rounding_deg=np.zeros(0),
    )

    with_hive = survey.locate(stations, trips, none, calibrated)

    found = next(bee for bee in with_hive.bees if bee.bee == "yellow")
    alone = four_trips(330.0, "water")
    assert found.high90_m - found.low90_m < alone.high90_m - alone.low90_m
