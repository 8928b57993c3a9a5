"""What found hunts teach, against closed forms and hunts of known making."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from treeward.survey import Settings, timing
from treeward.survey.directions import LINE_KINDS
from treeward.survey.own_prior import (
    COMPASS_OF_HUNT,
    Known,
    Lesson,
    _information,
    _interpolated,
    _measured,
    _nearness,
    _sharings,
    _states,
    learned_settings,
    lesson,
    own_compass,
    own_prior,
    plain_compass_sd_deg,
    plain_moments,
)
from treeward.survey.records import Bearings, Cargo, Stations, Trips

HOME, FAR = (52.3, -3.6), (48.0, 8.0)
METRES_PER_DEG = 111_250.0  # of latitude near 52 N


def told(
    ln_f: float,
    ln_g: float,
    *,
    sd: float = 0.03,
    cargo: Any = "water",
    where: tuple[float, float] = HOME,
    offset: tuple[float, float] | None = None,
) -> Known:
    """Return a lesson that knows both factors to `sd`, and an offset (mean, sd)."""
    precision = np.eye(2) / sd**2
    offsets = (
        () if offset is None else ((0, offset[1] ** -2, offset[0] * offset[1] ** -2),)
    )
    return Known(
        lesson=Lesson(
            cargos=(cargo,),
            trips=30,
            bearings=0 if offset is None else 10,
            precision=precision,
            weighted=precision @ np.array([ln_f, ln_g]),
            offsets=offsets,
        ),
        latitude_deg=where[0],
        longitude_deg=where[1],
    )


def hunt_north(
    distance_m: float, away_s: float, bearing_deg: float, trips: int = 30, bees: int = 6
) -> Lesson:
    """Return what trips of one length to a colony straight north teach."""
    number = np.arange(trips)
    stations = Stations(
        id=("1",),
        latitude_deg=np.array([HOME[0]]),
        longitude_deg=np.array([HOME[1]]),
        cargo=("water",),
    )
    away = away_s + 8.0 * np.sin(number)
    seen = Trips(
        bees=tuple(f"bee{n}" for n in range(bees)),
        bee=number % bees,
        station=np.zeros(trips, dtype=np.intp),
        away_s=away,
        round_trip=np.zeros(trips, dtype=bool),
        rounding_s=np.zeros(trips),
        cycles=np.ones(trips, dtype=np.intp),
    )
    bearings = Bearings(
        bee=number % bees,
        station=np.zeros(trips, dtype=np.intp),
        bearing_true_deg=(bearing_deg + 4.0 * np.cos(number)) % 360,
        rounding_deg=np.ones(trips),
    )
    found = (HOME[0] + distance_m / METRES_PER_DEG, HOME[1])
    return lesson(stations, seen, bearings, found_deg=found)


@pytest.mark.slow
def test_two_distances_tell_speed_from_stay() -> None:
    per_m = 1 / 7.5 + 1 / 6.5
    speed, stay_s = 0.9, 150.0
    lessons = [
        hunt_north(d, stay_s + d * per_m / speed, 0.0) for d in (150.0, 600.0, 1800.0)
    ]

    precision = sum(one.precision for one in lessons)
    mean = np.linalg.solve(precision, sum(one.weighted for one in lessons))

    assert np.exp(mean[0]) == pytest.approx(speed, rel=0.05)
    assert np.exp(mean[1]) * timing.IN_HIVE_S["water"] == pytest.approx(
        stay_s, rel=0.08
    )


def test_one_distance_tells_only_their_sum() -> None:
    size = np.linalg.eigvalsh(hunt_north(1500.0, 150 + 430, 0.0).precision)

    assert size[1] > 20 * max(size[0], 1e-9)
    assert size[0] >= 0


def test_a_compass_that_reads_too_far_is_found_out() -> None:
    read = hunt_north(800.0, 380.0, 9.0)

    ((observer, precision, weighted),) = read.offsets

    assert observer == 0
    assert weighted / precision == pytest.approx(9.0, abs=1.5)
    # The station's own deviation stays in it, whose tail makes it wider than its core.
    usual, whole = Settings(), 0.0
    for kind in LINE_KINDS:
        tail = usual.station_tail_share * kind.tail_share
        core = kind.station * usual.station_sd_deg
        wide = max(1.0, kind.station) * usual.station_tail_sd_deg
        whole += kind.weights[0] * ((1 - tail) * core**2 + tail * wide**2)
    assert usual.station_sd_deg < precision**-0.5 < whole**0.5


def test_without_lessons_it_is_the_plain_prior() -> None:
    mean, covariance = plain_moments()

    prior = own_prior([], here_deg=HOME)

    assert prior.ln_f == pytest.approx(mean[0])
    assert prior.ln_f_sd == pytest.approx(covariance[0, 0] ** 0.5)
    assert prior.ln_g["water"] == pytest.approx(mean[1])
    assert prior.ln_g_sd["water"] == pytest.approx(covariance[1, 1] ** 0.5, rel=0.01)
    assert own_compass([], "", here_deg=HOME) == (0.0, plain_compass_sd_deg(), 0)


def test_hunts_that_agree_narrow_it_and_others_do_not() -> None:
    plain = own_prior([], here_deg=HOME)
    agree = own_prior([told(-0.15, 0.3) for _ in range(5)], here_deg=HOME)
    differ = own_prior(
        [told(-0.15 + 0.12 * (-1) ** n, 0.1 + 0.4 * (-1) ** n) for n in range(5)],
        here_deg=HOME,
    )

    assert agree.ln_f == pytest.approx(-0.15, abs=0.02)
    assert agree.ln_g["water"] == pytest.approx(0.3, abs=0.04)
    assert agree.ln_f_sd < 0.6 * plain.ln_f_sd
    assert agree.ln_g_sd["water"] < 0.6 * plain.ln_g_sd["water"]
    assert differ.ln_g_sd["water"] > 0.9 * plain.ln_g_sd["water"]


def test_another_region_gets_nearly_the_plain_prior_back() -> None:
    plain = own_prior([], here_deg=FAR)
    prior = own_prior([told(-0.15, 0.4) for _ in range(8)], here_deg=FAR)

    assert prior.ln_g_sd["water"] > 0.95 * plain.ln_g_sd["water"]
    assert abs(prior.ln_g["water"] - plain.ln_g["water"]) < 0.1


def test_what_holds_in_two_regions_is_expected_of_a_third() -> None:
    two = [told(-0.1, 0.4, where=w) for w in (HOME, FAR) for _ in range(4)]

    third = own_prior(two, here_deg=(40.0, -100.0))

    one = own_prior(two[:4], here_deg=(40.0, -100.0))
    assert third.ln_g["water"] > one.ln_g["water"]


def test_another_cargo_learns_less() -> None:
    prior = own_prior([told(-0.1, 0.4) for _ in range(5)], here_deg=HOME)

    assert prior.ln_g["water"] > prior.ln_g["syrup"] > 0.13
    assert prior.ln_g_sd["water"] < prior.ln_g_sd["syrup"]


def test_two_cargos_and_regions_begin_to_tell_the_reaction_time() -> None:
    usual = np.exp(plain_moments()[0][1])
    late_s = 12.0  # more than anybody's, so that it shows
    hunts = [
        told(
            0.0, float(np.log((usual * base + late_s) / base)), cargo=cargo, where=place
        )
        for place in (HOME, FAR, (40.0, -100.0), (-33.0, 151.0))
        for cargo, base in timing.IN_HIVE_S.items()
        for _ in range(2)
    ]

    mean_s, sd_s = own_prior(hunts, here_deg=HOME).reaction_s

    assert 0.0 < mean_s < late_s
    assert sd_s <= 2.0


def test_an_observers_compass_is_the_mean_of_their_hunts_in_the_long_run() -> None:
    hunts = [told(0.0, 0.0, offset=(5.0, 1.0)) for _ in range(40)]

    mean, sd, count = own_compass(hunts, "", here_deg=HOME)

    assert mean == pytest.approx(5.0, abs=0.2)
    assert count == 40
    # What is left is a hunt's own share of the variance, at its least.
    least = plain_compass_sd_deg() * COMPASS_OF_HUNT[0][0] ** 0.5
    assert least <= sd < 1.6 * least
    assert own_compass(hunts, "Ben", here_deg=HOME)[2] == 0


def test_a_compass_is_known_less_in_another_region() -> None:
    hunts = [told(0.0, 0.0, offset=(5.0, 1.0)) for _ in range(8)]

    here, there = (own_compass(hunts, "", here_deg=where) for where in (HOME, FAR))
    two = [*hunts, *(told(0.0, 0.0, offset=(5.0, 1.0), where=FAR) for _ in range(8))]
    third = own_compass(two, "", here_deg=(40.0, -100.0))

    # Most of it is the person's and goes along; the rest is not known there.
    assert 2.0 < there[0] < here[0] - 0.5
    assert 1.3 * here[1] < there[1] < plain_compass_sd_deg()
    # Alike in two regions, it will be so in a third.
    assert there[0] < third[0]
    assert third[1] < there[1]


def test_one_hunt_alone_is_the_textbooks_shrinkage(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Posterior of a normal mean, Gelman et al. 2013, Bayesian Data Analysis, 2.5."""
    from treeward.survey import own_prior as module

    monkeypatch.setattr(module, "COMPASS_OF_HUNT", ((0.2, 1.0),))
    monkeypatch.setattr(module, "COMPASS_OF_REGION", ((0.3, 1.0),))
    variance = plain_compass_sd_deg() ** 2
    common, own = 0.8 * variance, 0.2 * variance

    hunt = [told(0.0, 0.0, offset=(6.0, 2.0))]
    mean, sd, _ = own_compass(hunt, "", here_deg=HOME)

    precision = 1 / common + 1 / (own + 4.0)
    assert mean == pytest.approx(6.0 / (own + 4.0) / precision)
    assert sd**2 == pytest.approx(1 / precision + own)
    # Elsewhere only the person's part, seven tenths of the common one, goes along.
    mean, sd, _ = own_compass(hunt, "", here_deg=FAR)
    learned = 0.7 * common / (variance + 4.0)
    assert mean == pytest.approx(6.0 * learned)
    assert sd**2 == pytest.approx(variance - learned * 0.7 * common)


def test_learned_settings_give_the_survey_about_that_mean_and_spread() -> None:
    prior = own_prior([told(-0.12, 0.3), told(-0.06, 0.2)], here_deg=HOME)

    settings = learned_settings(Settings(), prior, ("water",))
    mean, covariance = plain_moments(settings)

    # About so: the plain prior that it tilts is flatter than a normal distribution.
    assert mean == pytest.approx([prior.ln_f, prior.ln_g["water"]], abs=0.02)
    sd = np.sqrt(np.diag(covariance))
    assert sd == pytest.approx([prior.ln_f_sd, prior.ln_g_sd["water"]], rel=0.15)


@pytest.mark.parametrize("wind_mps", [0.0, 3.0, 6.0])
def test_a_prior_as_wide_as_the_plain_one_changes_nothing(wind_mps: float) -> None:
    nothing = learned_settings(Settings(), own_prior([], here_deg=HOME), ("water",))

    tilted, plain = (
        np.exp(timing.shared_nodes(settings, wind_mps).log_weight)
        for settings in (nothing, Settings())
    )

    # But for the reaction time, which is not in the plain prior.
    assert np.abs(tilted - plain).sum() < 0.05


@pytest.mark.parametrize(
    "said",
    [
        {"flight_speed_out_sd": 0.1},
        {"in_hive_s": {"water": 140.0}},
        {"flight_speed_home_sd": 0.1, "in_hive_s": {"water": 140.0}},
    ],
)
def test_what_the_person_gave_a_range_of_is_left_alone(said: dict[str, Any]) -> None:
    given = Settings(**said)
    prior = own_prior([told(-0.2, 0.5) for _ in range(5)], here_deg=HOME)

    tilted, plain = (
        np.exp(timing.shared_nodes(settings).log_weight).sum(axis=(0, 3))
        for settings in (learned_settings(given, prior, ("water",)), given)
    )

    by_speed, by_stay = np.abs(tilted - plain).sum(axis=1), (tilted - plain).sum(axis=0)
    assert ("in_hive_s" in said) == bool(np.abs(by_stay).max() < 1e-9)
    if "in_hive_s" in said and len(said) == 2:
        assert by_speed.max() < 1e-9


@pytest.mark.slow
def test_lessons_of_a_model_that_is_right_hold_what_they_say() -> None:
    """Draw persons from the hierarchy itself: a check of the algebra, of no model."""
    rng = np.random.default_rng(4)
    mean, covariance = plain_moments()
    inside = 0
    for _ in range(60):
        region = rng.multivariate_normal([0, 0], 0.65 * covariance)
        own = [rng.multivariate_normal([0, 0], 0.35 * covariance) for _ in range(6)]
        shifts = [mean + region + one for one in own]
        hunts = [
            told(*(s + 0.05 * rng.standard_normal(2)), sd=0.05) for s in shifts[:5]
        ]
        prior = own_prior(hunts, here_deg=HOME)
        z = (shifts[5][1] - prior.ln_g["water"]) / prior.ln_g_sd["water"]
        inside += abs(z) < 1.645

    assert 0.8 <= inside / 60 <= 1.0


def test_a_lesson_of_two_cargos_tells_of_the_mean_of_both() -> None:
    """A linear measurement updates a normal state: Gelman et al. 2013, 14.2."""
    mean, covariance = plain_moments()
    cargos: tuple[Cargo, ...] = ("syrup", "water")
    one = told(-0.1, 0.4, sd=0.05)
    both = Known(
        lesson=replace(one.lesson, cargos=cargos),
        latitude_deg=HOME[0],
        longitude_deg=HOME[1],
    )
    rows, values, noise, of = _measured([both], _states(mean, covariance)[0], mean)
    assert of == [0, 0]
    assert noise == pytest.approx([0.05**2] * 2)
    by_stay = rows[np.argmax(np.abs(rows[:, 2]))]
    usual = np.exp(mean[1])
    order = list(timing.IN_HIVE_S)
    share = {cargo: by_stay[1 + order.index(cargo)] for cargo in order}
    sign = np.sign(share["water"])
    assert share == pytest.approx(
        {"water": 0.5 * sign, "syrup": 0.5 * sign, "nectar": 0.0}
    )
    by_reaction = 0.5 / (usual * 120.0) + 0.5 / (usual * 150.0)
    assert by_stay[-1] == pytest.approx(sign * by_reaction)
    off = values[np.argmax(np.abs(rows[:, 2]))] * sign
    assert off == pytest.approx(0.4 - mean[1])


def test_states_and_their_sharing_add_up_to_the_plain_prior() -> None:
    mean, covariance = plain_moments()
    middle, spread = _states(mean, covariance)
    assert middle == pytest.approx([mean[0], mean[1], mean[1], mean[1], 0.0])
    assert spread[0, 0] == pytest.approx(covariance[0, 0])
    assert spread[0, 1:4] == pytest.approx(covariance[0, 1])
    assert np.diag(spread)[1:4] == pytest.approx(covariance[1, 1])
    assert spread[1, 2] == pytest.approx(0.8 * covariance[1, 1])
    assert spread == pytest.approx(spread.T)
    assert not spread[-1].any()
    total = 0.0
    for levels, weight in _sharings():
        assert np.sum(levels, axis=0) == pytest.approx([1.0, 1.0, 1.0, 1.0, 0.0])
        assert min(level.min() for level in levels) >= 0.0
        total += weight
    assert total == pytest.approx(1.0)


def test_hunts_share_their_region_by_the_normal_law_of_their_distance() -> None:
    # A hundredth of a degree of latitude near 52 N is 1112.6 m (WGS84).
    apart_m = 1112.6 * 20
    near = _nearness([HOME, (HOME[0] + 0.2, HOME[1])], HOME)
    assert near[0, 2] == pytest.approx(1.0)
    assert near[0, 1] == pytest.approx(np.exp(-0.5 * (apart_m / 30_000) ** 2), rel=1e-3)
    assert near == pytest.approx(near.T)
    assert np.diag(near) == pytest.approx(1.0)


def test_two_hunts_of_one_observer_are_the_textbooks_normal_model(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from treeward.survey import own_prior as module

    monkeypatch.setattr(module, "COMPASS_OF_HUNT", ((0.3, 0.5), (0.7, 0.5)))
    monkeypatch.setattr(module, "COMPASS_OF_REGION", ((0.3, 1.0),))
    variance = plain_compass_sd_deg() ** 2
    hunts = [told(0.0, 0.0, offset=(6.0, 2.0)), told(0.0, 0.0, offset=(1.0, 1.0))]
    seen, noise = np.array([6.0, 1.0]), np.array([4.0, 1.0])

    mean, sd, count = own_compass(hunts, "", here_deg=HOME)

    parts = []
    for own in (0.3, 0.7):
        common, single = variance * (1 - own), variance * own
        precision = 1 / (noise + single)
        middle = (precision @ seen) / (1 / common + precision.sum())
        left = 1 / (1 / common + precision.sum())
        # Evidence: both values about nought, the common part in both.
        size = np.diag(noise + single) + common
        fit = -0.5 * (seen @ np.linalg.inv(size) @ seen + np.log(np.linalg.det(size)))
        parts.append((np.exp(fit), middle, left + single))
    weight, means, spreads = np.array(parts).T
    weight /= weight.sum()
    assert mean == pytest.approx(weight @ means)
    assert sd**2 == pytest.approx(weight @ spreads + weight @ (means - mean) ** 2)
    assert count == 2


def test_what_is_gained_is_what_is_known_after_less_what_was_before() -> None:
    before = np.diag([4.0, 1.0])
    gained = np.array([[3.0, 1.0], [1.0, 2.0]])
    mean = np.array([0.3, -0.2])
    after = before + gained
    precision, weighted = _information(after, gained @ mean, before)
    assert precision == pytest.approx(gained)
    assert np.linalg.solve(precision, weighted) == pytest.approx(mean)
    # A direction that lost is told of as nothing.
    less, none = _information(before + np.diag([2.0, -0.5]), np.ones(2), before)
    assert less == pytest.approx(np.diag([2.0, 0.0]))
    assert none == pytest.approx([1.0, 0.0])


def test_beyond_its_ends_a_line_goes_on_straight() -> None:
    x, y = np.array([0.0, 1.0, 3.0]), np.array([2.0, 4.0, 5.0])
    found = _interpolated(np.array([-1.0, 0.5, 2.0, 5.0]), x, y)
    assert found == pytest.approx([0.0, 3.0, 4.5, 6.0])
