"""Invented hunts with a known answer, as events or as sound.

A room of its own: it shares no likelihood with `survey`, so that the one can be held
against the other.

>>> from treeward.simulate import SimulationSettings, simulate_hunt
>>> hunt = simulate_hunt(SimulationSettings(stations=1, bees=2, watch_min=20), seed=1)
>>> [station.id for station in hunt.stations]
['1']
"""

from .world import SimulatedHunt, SimulationSettings, SpokenLine
from .write import simulate_hunt

__all__ = ["SimulatedHunt", "SimulationSettings", "SpokenLine", "simulate_hunt"]
