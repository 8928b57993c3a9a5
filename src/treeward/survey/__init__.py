"""The distance and triangulation core: arrays in, arrays out.

Usable alone from a notebook::

    from treeward import survey

    fix = survey.locate(stations, trips, bearings, survey.Settings())
    fix.colonies[0].search_areas[90].area_m2
"""

from __future__ import annotations

from .answer import locate
from .classical import PointEstimate, andrews, crossings, hand_rules, huber, lenth_mle
from .frame import LocalFrame, declination, geodesic
from .records import (
    WIND_MPS,
    Advice,
    AdviceKind,
    AreaShape,
    Bearings,
    BeeDistance,
    Calibration,
    Cargo,
    ClassicalFix,
    Colony,
    Density,
    Enough,
    Fix,
    HandRule,
    HandRuleKind,
    KnownHive,
    NextStation,
    Polygon,
    SearchArea,
    Searched,
    SeatReason,
    Settings,
    Sitting,
    Stations,
    Strip,
    Trips,
    TripWind,
)
from .search import (
    EmptyDish,
    LookedOver,
    LookedSpot,
    Overhead,
    Searching,
    Trees,
    Walked,
    WeighedGround,
)

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
    "EmptyDish",
    "Enough",
    "Fix",
    "HandRule",
    "HandRuleKind",
    "KnownHive",
    "LocalFrame",
    "LookedOver",
    "LookedSpot",
    "NextStation",
    "Overhead",
    "PointEstimate",
    "Polygon",
    "SearchArea",
    "Searched",
    "Searching",
    "SeatReason",
    "Settings",
    "Sitting",
    "Stations",
    "Strip",
    "Trees",
    "TripWind",
    "Trips",
    "Walked",
    "WeighedGround",
    "andrews",
    "crossings",
    "declination",
    "geodesic",
    "hand_rules",
    "huber",
    "lenth_mle",
    "locate",
]
