"""The sixteen winds as they are spoken, clockwise from north."""

from __future__ import annotations

COMPASS_POINTS: tuple[str, ...] = (
    "north",
    "north north east",
    "north east",
    "east north east",
    "east",
    "east south east",
    "south east",
    "south south east",
    "south",
    "south south west",
    "south west",
    "west south west",
    "west",
    "west north west",
    "north west",
    "north north west",
)
