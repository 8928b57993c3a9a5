"""Events in, visits, trips and flight lines out, each with its doubts."""

from .pair import pair_trips

__all__ = ["pair_trips"]
