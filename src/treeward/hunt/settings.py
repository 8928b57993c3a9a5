"""What hunt.toml says of bees, compass and distances, as the survey's settings."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from treeward import survey
    from treeward.hunt_file import HuntFile, Pair
    from treeward.hunt_tables import ModelTable

CALIBRATION_SEAT = " (calibration)"  # of trips set apart for calibration
Z_95 = 1.6449  # 95 % point of the standard normal distribution


def settings_from(
    hunt_file: HuntFile, bees: Sequence[str], mark_of: Mapping[str, str]
) -> survey.Settings:
    """Turn hunt.toml into the survey's settings.

    A 90 % range of `[model]` becomes the median and spread of a lognormal with those
    5 % and 95 % points; the two ways of a flight have each their own.

    Parameters
    ----------
    hunt_file
        hunt.toml.
    bees
        Names of the bees in the survey's arrays.
    mark_of
        Bee -> its mark.
    """
    from treeward import survey

    model = hunt_file.model
    chosen = _speeds(model) | _in_hive(model)
    for value, name in (
        (model.compass_sd_deg, "compass_sd_deg"),
        (model.prior_distance_median_m, "distance_median_m"),
        (model.prior_distance_sigma, "distance_sigma"),
        (model.prior_distance_max_m, "distance_cut_m"),
    ):
        if value is not None:
            chosen[name] = max(value, 0.01) if name == "compass_sd_deg" else value

    def bees_of(marks: Sequence[str]) -> tuple[str, ...]:
        return tuple(bee for bee in bees if mark_of[bee] in marks or bee in marks)

    calibration = hunt_file.calibration
    if calibration is not None:
        suffix = CALIBRATION_SEAT if calibration.marks else ""
        chosen["calibrations"] = (
            survey.Calibration(
                station=calibration.station + suffix,
                hive_latitude_deg=calibration.hive.latitude_deg,
                hive_longitude_deg=calibration.hive.longitude_deg,
            ),
        )
    return survey.Settings(
        known_hives=tuple(
            survey.KnownHive(
                name=hive.name,
                latitude_deg=hive.position.latitude_deg,
                longitude_deg=hive.position.longitude_deg,
                marks=bees_of(hive.marks),
            )
            for hive in hunt_file.known_hive
        ),
        assigned={
            bee: colony.id
            for colony in hunt_file.colony
            for bee in bees_of(colony.marks)
        },
        walk_limit_m=hunt_file.walk.limit_m,
        leave_out=tuple(
            np.array([[p.longitude_deg, p.latitude_deg] for p in ring])
            for ring in hunt_file.walk.leave_out
        ),
        imperial=hunt_file.hunt.units == "imperial",
        **chosen,
    )


def _speeds(model: ModelTable) -> dict[str, Any]:
    """Return the settings of the ways of a flight of which a range is given."""
    chosen: dict[str, Any] = {}
    for pair, way in (
        (model.flight_speed_out_m_per_s, "out"),
        (model.flight_speed_home_m_per_s, "home"),
    ):
        if pair is not None:
            median, spread = _lognormal(pair)
            chosen |= {
                f"flight_speed_{way}_mps": median,
                f"flight_speed_{way}_sd": spread,
            }
    return chosen


def _in_hive(model: ModelTable) -> dict[str, Any]:
    if model.in_hive_s is None:
        return {}
    median, spread = _lognormal(model.in_hive_s)
    return {
        "in_hive_s": dict.fromkeys(("water", "syrup", "nectar"), median),
        "in_hive_factor": 1.0,
        "in_hive_factor_sd": spread,
    }


def _lognormal(pair: Pair) -> tuple[float, float]:
    """Return median and log spread of a lognormal with these 5 % and 95 % points."""
    low, high = pair
    return math.sqrt(low * high), math.log(high / low) / (2 * Z_95)
