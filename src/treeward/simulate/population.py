"""The kinds of hunts people go on, to draw many from."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from .flights import varying_share
from .invented import SimulationSettings

if TYPE_CHECKING:
    import numpy as np


def draw_settings(
    rng: np.random.Generator, *, colonies: int = 1, calibration: bool | None = None
) -> SimulationSettings:
    """Draw the settings of one hunt: one to four stations, two to eight bees.

    Parameters
    ----------
    rng
        Where the randomness comes from.
    colonies
        One or two.
    calibration
        Whether a hive of known place is watched too; in a quarter of hunts if None.
    """
    if calibration is None:
        calibration = bool(rng.random() < 0.25)
    settings = SimulationSettings(
        stations=int(rng.integers(1, 5)),
        bees=int(rng.integers(2, 9)),
        colonies=colonies,
        cargo="water" if rng.random() < 0.5 else "syrup",
        distance_m=(250.0, 2500.0),
        watch_min=float(rng.uniform(30.0, 75.0)),
        missed_share=float(rng.uniform(0.05, 0.07)),
        bearing_share=float(rng.uniform(0.2, 0.6)),
        calibration=calibration,
    )
    # Regular bees and irregular ones; drawn last, so that the rest of a seed stays.
    spread = float(rng.uniform(0.10, 0.45))
    return replace(settings, in_hive_varying_share=varying_share(spread))


def beyond(settings: SimulationSettings) -> SimulationSettings:
    """Return settings like these but outside what any survey should expect."""
    return replace(
        settings,
        speed_factor=(0.75, 0.9),
        in_hive_factor=(1.4, 1.8),
        compass_sd_deg=7.0,
        stray_share=0.15,
    )
