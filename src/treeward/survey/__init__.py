"""The distance and triangulation core: arrays in, arrays out.

Usable alone from a notebook::

    from treeward import survey

    fix = survey.locate(stations, trips, bearings, survey.Settings())
    fix.colonies[0].search_areas[90].area_m2
"""

from __future__ import annotations

from .answer import locate
from .classical import PointEstimate, andrews, crossings, huber, lenth_mle
from .frame import LocalFrame, declination, geodesic
from .hand_rules import hand_rules
from .records import (
    Advice,
    AdviceKind,
    AreaShape,
    Bearings,
    BeeDistance,
    Cargo,
    ClassicalFix,
    Colony,
    Density,
    Enough,
    Fix,
    HandRule,
    HandRuleKind,
    NextStation,
    Polygon,
    SearchArea,
    SeatReason,
    Stations,
    Strip,
    Trips,
)
from .settings import WIND_MPS, Calibration, KnownHive, Settings, TripWind

__all__ = [
    "WIND_MPS",
    "Advice",
    "AdviceKind",
    "AreaShape",
    "Bearings",
    "BeeDistance",
    "Calibration",
    "Cargo",
    "ClassicalFix",
    "Colony",
    "Density",
    "Enough",
    "Fix",
    "HandRule",
    "HandRuleKind",
    "KnownHive",
    "LocalFrame",
    "NextStation",
    "PointEstimate",
    "Polygon",
    "SearchArea",
    "SeatReason",
    "Settings",
    "Stations",
    "Strip",
    "TripWind",
    "Trips",
    "andrews",
    "crossings",
    "declination",
    "geodesic",
    "hand_rules",
    "huber",
    "lenth_mle",
    "locate",
]
