"""Where trips start, and how long a flight from there takes, with and without wind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .arrays import Floats
    from .records import Cargo
    from .settings import Settings
    from .timing import TimeNodes

_SLOWEST_MPS = 2.0  # no bee makes less way than this and still comes back; guess


def ground_speed_mps(
    air_mps: Floats | float,
    *,
    wind_mps: float,
    from_rad: float,
    track_rad: Floats | float,
    compensation: Floats | float,
) -> Floats:
    """Return the way made good along a track in wind [m/s].

    The wind triangle of any book on navigation: sqrt(a^2 - c^2) - h, with a the air
    speed, c the wind across the track and h the wind against it. Bees raise their air
    speed against the wind and lower it before the wind (Heran and Lindauer 1963, Z.
    vergl. Physiol. 47:39-55; in a tunnel up to half their top speed almost fully,
    Barron and Srinivasan 2006, J. Exp. Biol. 209:978-984): `compensation` is the share
    of the difference to still air that they make up for.

    Parameters
    ----------
    air_mps
        Air speed in still air.
    wind_mps, from_rad
        Wind, and the direction it blows from [radians clockwise from true north].
    track_rad
        Direction of flight over the ground.
    compensation
        0 for none, 1 for a ground speed that wind leaves alone.
    """
    turn = np.asarray(track_rad) - from_rad
    against, across = wind_mps * np.cos(turn), wind_mps * np.sin(turn)
    air = np.asarray(air_mps)
    drifting = np.sqrt(np.maximum(air**2 - across**2, 0.0)) - against
    made_good = compensation * air + (1.0 - compensation) * drifting
    return np.asarray(np.maximum(made_good, np.minimum(_SLOWEST_MPS, air)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A station under one wind: where a flight time belongs to."""

    x_m: float
    y_m: float
    cargo: Cargo
    wind_mps: float = 0.0
    wind_from_rad: float = np.nan

    def flight_s(self, xy: Floats, settings: Settings, nodes: TimeNodes) -> Floats:
        """Return the flight time both ways to each of (n, 2) places; (n, nf) [s]."""
        east, north = xy[:, 0] - self.x_m, xy[:, 1] - self.y_m
        distance = np.hypot(east, north)[:, None]
        # Out of the hive without a load, home to it with one; Wenner 1963.
        out = settings.flight_speed_out_mps / nodes.slow_out
        home = settings.flight_speed_home_mps / nodes.slow_home
        if self.wind_mps == 0.0 or np.isnan(self.wind_from_rad):
            return np.asarray(distance * (1.0 / out + 1.0 / home))
        to_colony = np.arctan2(east, north)[:, None]
        return np.asarray(
            sum(
                distance
                / ground_speed_mps(
                    air[None, :],
                    wind_mps=self.wind_mps,
                    from_rad=self.wind_from_rad,
                    track_rad=track,
                    compensation=nodes.compensation[None, :],
                )
                for air, track in ((home, to_colony), (out, to_colony + np.pi))
            )
        )
