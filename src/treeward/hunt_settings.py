"""What hunt.toml says of bees, compass and distances, as the survey's settings."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from treeward import survey
    from treeward.hunt_file import HuntFile, Pair
    from treeward.hunt_tables import ModelTable

CALIBRATION_SEAT = " (calibration)"  # of trips set apart for calibration
_LOW, _HIGH = 0.05, 0.95  # of the prior, where a 90 % range begins and ends
_LEAST_SD = 1e-4  # of a logarithm: a range so narrow is one number


def settings_from(
    hunt_file: HuntFile, bees: Sequence[str], mark_of: Mapping[str, str]
) -> survey.Settings:
    """Turn hunt.toml into the survey's settings.

    A 90 % range of `[model]` is what the survey's prior then holds with 90 %, 5 % on
    either side, whatever the shape of that prior. The ranges of the two ways of a
    flight are each their own: what is common to both is the narrower of them, and the
    rest of the wider one is that way's alone.

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
    """Return the settings of the two ways of a flight; none where none is given."""
    from treeward import survey

    out, home = model.flight_speed_out_m_per_s, model.flight_speed_home_m_per_s
    if out is None and home is None:
        return {}
    usual = survey.Settings()
    shape = _shape("speed")
    narrowest = min(shape.sd_of(pair) for pair in (out, home) if pair is not None)
    shared = narrowest
    if out is None or home is None:
        shared = min(shared, usual.flight_speed_factor_sd)
    chosen: dict[str, Any] = {
        "flight_speed_factor": 1.0,
        "flight_speed_factor_sd": shared,
    }
    for pair, way in ((out, "out"), (home, "home")):
        if pair is None:
            default = getattr(usual, f"flight_speed_{way}_mps")
            median = default * usual.flight_speed_factor
            own = math.sqrt(max(usual.flight_speed_factor_sd**2 - shared**2, 0.0))
        else:
            median, own = shape.fitted(pair, shared)
        chosen[f"flight_speed_{way}_mps"] = median
        chosen[f"flight_speed_{way}_sd"] = own or None
    return chosen


def _in_hive(model: ModelTable) -> dict[str, Any]:
    if model.in_hive_s is None:
        return {}
    shape = _shape("in hive")
    spread = shape.sd_of(model.in_hive_s)
    median, _ = shape.fitted(model.in_hive_s, spread)
    return {
        "in_hive_s": dict.fromkeys(("water", "syrup", "nectar"), median),
        "in_hive_factor": 1.0,
        "in_hive_factor_sd": spread,
    }


class _Shape:
    """The survey's prior on the logarithm of a factor, in its own standard deviations.

    Parameters
    ----------
    z, weight
        (n,) nodes and their weights.
    """

    def __init__(self, z: NDArray[np.float64], weight: NDArray[np.float64]) -> None:
        self._z, self._weight = z, weight / weight.sum()
        # Each node stands for the room about it, as in the survey's sums.
        edges = np.concatenate([z[:1], (z[1:] + z[:-1]) / 2, z[-1:]])
        self._edges = edges
        self._total = np.concatenate([[0.0], np.cumsum(self._weight)])

    def _alone(self, share: float) -> float:
        return float(np.interp(share, self._total, self._edges))

    def sd_of(self, pair: Pair) -> float:
        """Return the standard deviation at which the prior alone spans the range."""
        span = self._alone(_HIGH) - self._alone(_LOW)
        return max(math.log(pair[1] / pair[0]) / span, _LEAST_SD)

    def fitted(self, pair: Pair, shared_sd: float) -> tuple[float, float]:
        """Return the median and the normal spread of its own that span the range.

        Parameters
        ----------
        pair
            Low and high end.
        shared_sd
            Standard deviation of the shared part, no wider than the range.
        """
        from scipy.optimize import brentq

        wanted = math.log(pair[1] / pair[0])
        low, high = self._ends(shared_sd, 0.0)
        own = 0.0
        if high - low < wanted * (1 - 1e-6):

            def lacking(own_sd: float) -> float:
                ends = self._ends(shared_sd, own_sd)
                return ends[1] - ends[0] - wanted

            own = float(brentq(lacking, 1e-9, wanted, xtol=1e-9))
            low, high = self._ends(shared_sd, own)
        # Any rest of the width is shared out to both sides.
        middle = (math.log(pair[0]) + math.log(pair[1]) - low - high) / 2
        return math.exp(middle), own

    def _ends(self, shared_sd: float, own_sd: float) -> tuple[float, float]:
        """Return where 5 % and 95 % of the sum of both parts lie."""
        if own_sd <= 0:
            return self._alone(_LOW) * shared_sd, self._alone(_HIGH) * shared_sd
        from scipy.optimize import brentq
        from scipy.special import ndtr

        fine = np.interp(
            (np.arange(400) + 0.5) / 400, self._total, self._edges
        )  # the shared part in 400 equal shares

        def share_below(x: float) -> float:
            return float(np.mean(ndtr((x - fine * shared_sd) / own_sd)))

        reach = 6 * (shared_sd + own_sd)
        low, high = (
            float(brentq(lambda x, s=share: share_below(x) - s, -reach, reach))
            for share in (_LOW, _HIGH)
        )
        return low, high


def _shape(what: str) -> _Shape:
    """Return the shape of the survey's prior on flight speed or on in-hive time."""
    from treeward import survey
    from treeward.survey import timing

    usual = survey.Settings()
    nodes = timing.shared_nodes(usual)
    weight = np.exp(nodes.log_weight)
    if what == "speed":
        z = (nodes.ln_f - math.log(usual.flight_speed_factor)) / (
            usual.flight_speed_factor_sd
        )
        return _Shape(z, weight.sum(axis=(0, 2)))
    z = (nodes.ln_g - math.log(usual.in_hive_factor)) / usual.in_hive_factor_sd
    return _Shape(z, weight.sum(axis=(0, 1)))
