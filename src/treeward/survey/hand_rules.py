"""Published rules of thumb from away time to distance: shown beside, never averaged.

They disagree by a factor of two for the same time, which is why the posterior
doesn't lean on any of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .records import HandRule, HandRuleKind

if TYPE_CHECKING:
    from .arrays import Floats

MILE_M = 1609.344  # international mile

_VISSCHER_SEELEY = (  # minutes away, metres
    (5.0, 10.0, 15.0),
    (900.0, 1400.0, 1700.0),
)
_SEELEY = ((2.5, 6.5), (100.0, 1000.0))  # middles of "2-3 min" and "6-7 min"


def representative_s(away_s: Floats) -> float:
    """Return the third shortest away time [s], or the shortest of fewer.

    Human et al. 2013, J. Apic. Res. 52(4), section 4.2.6.4: the third or fourth
    shortest of about ten round trips stands for the bee.
    """
    ordered = np.sort(away_s)
    return float(ordered[2] if ordered.size >= 3 else ordered[0])


def hand_rules(away_s: float) -> tuple[HandRule, ...]:
    """Return what the published rules say of one away time [s].

    A rule is left out where the time lies outside what it was published for.
    """
    minutes = away_s / 60.0
    rules = []
    if _VISSCHER_SEELEY[0][0] <= minutes <= _VISSCHER_SEELEY[0][-1]:
        rules.append(
            HandRule(
                # Visscher and Seeley 1989, Am. Bee J. 129:536-541
                kind=HandRuleKind.VISSCHER_SEELEY,
                distance_m=float(np.interp(minutes, *_VISSCHER_SEELEY)),
            )
        )
    if _SEELEY[0][0] - 0.5 <= minutes <= _SEELEY[0][1] + 0.5:
        slope = (_SEELEY[1][1] - _SEELEY[1][0]) / (_SEELEY[0][1] - _SEELEY[0][0])
        metres = _SEELEY[1][0] + slope * (minutes - _SEELEY[0][0])
        rules.append(
            HandRule(
                kind=HandRuleKind.SEELEY,  # Seeley 2019, The Lives of Bees, p. 29
                distance_m=float(np.clip(metres, 0.0, None)),
            )
        )
    if minutes > 2.0:
        rules.append(
            HandRule(
                # Kephart, Camping and Woodcraft, p. 360
                kind=HandRuleKind.KEPHART,
                distance_m=(minutes - 2.0) / 10.0 * MILE_M,
            )
        )
    if minutes > 2.5:
        rules.append(
            HandRule(
                kind=HandRuleKind.FIFTEEN_MPH,  # common practice
                distance_m=(minutes - 2.5) / 60.0 / 2.0 * 15.0 * MILE_M,
            )
        )
    return tuple(rules)
