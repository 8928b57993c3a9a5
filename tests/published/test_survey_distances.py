"""Published away times and distances, as ranges the default model must overlap.

Visscher and Seeley 1989, Am. Bee J. 129:536-541 (via the BEEBOOK, section 4.2.6.4):
5 min 0.9 km, 10 min 1.4 km, 15 min 1.7 km, "approximately", varying with cover and
wind: taken here as within a fifth. Seeley 2019, The Lives of Bees, p. 29: away 2-3
min is about 100 m, 6-7 min about 1 km. Kephart, Camping and Woodcraft, p. 360: (min
away - 2) / 10 miles. They disagree with each other by up to a factor of two.
"""

from __future__ import annotations

import numpy as np
import pytest

from drawing import mostly_slow
from treeward import survey

MILE_M = 1609.344

PUBLISHED = [  # minutes away, metres from, to
    ((5.0, 5.0), 0.8 * 900.0, 1.2 * 900.0),
    ((10.0, 10.0), 0.8 * 1400.0, 1.2 * 1400.0),
    ((15.0, 15.0), 0.8 * 1700.0, 1.2 * 1700.0),
    ((2.0, 3.0), 80.0, 120.0),
    ((6.0, 7.0), 800.0, 1200.0),
    ((3.0, 3.0), 0.1 * MILE_M, 0.1 * MILE_M),
    ((5.0, 5.0), 0.3 * MILE_M, 0.3 * MILE_M),
    ((7.0, 7.0), 0.5 * MILE_M, 0.5 * MILE_M),
    ((10.0, 10.0), 0.8 * MILE_M, 0.8 * MILE_M),
    ((12.0, 12.0), 1.0 * MILE_M, 1.0 * MILE_M),
]


def interval(minutes: tuple[float, float]) -> survey.BeeDistance:
    """Return the distance from four trips between two times."""
    away = np.linspace(minutes[0], minutes[1], 4) * 60.0
    fix = survey.locate(
        survey.Stations(
            id=("1",),
            latitude_deg=np.array([52.3012]),
            longitude_deg=np.array([-3.6104]),
            cargo=("syrup",),
        ),
        survey.Trips(
            bees=("yellow",),
            bee=np.zeros(4, dtype=np.intp),
            station=np.zeros(4, dtype=np.intp),
            away_s=away,
            round_trip=np.zeros(4, dtype=bool),
            rounding_s=np.full(4, 60.0),
            cycles=np.ones(4, dtype=np.intp),
        ),
        survey.Bearings(
            bee=np.zeros(0, dtype=np.intp),
            station=np.zeros(0, dtype=np.intp),
            bearing_true_deg=np.zeros(0),
            rounding_deg=np.zeros(0),
        ),
    )
    return fix.bees[0]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("minutes", "low", "high"), mostly_slow(PUBLISHED, quick=PUBLISHED[::9])
)
def test_default_model_overlaps(
    minutes: tuple[float, float], low: float, high: float
) -> None:
    found = interval(minutes)
    assert found.low90_m <= high
    assert found.high90_m >= low


def test_hand_rules_give_the_published_figures() -> None:
    kind = survey.HandRuleKind
    by_kind = {
        minutes: {r.kind: r.distance_m for r in survey.hand_rules(s)}
        for minutes, s in ((5, 300.0), (10, 600.0), (15, 900.0))
    }
    table = [by_kind[m][kind.VISSCHER_SEELEY] for m in (5, 10, 15)]
    assert table == pytest.approx([900, 1400, 1700])
    kephart = [by_kind[m][kind.KEPHART] for m in (5, 10)]
    assert kephart == pytest.approx([483, 1287], abs=1)
    seeley = {r.kind: r for r in survey.hand_rules(150.0)}[kind.SEELEY]
    assert seeley.distance_m == pytest.approx(100.0)
