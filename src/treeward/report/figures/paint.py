"""Paint colours on paper: safe for colour-blind eyes, and never without a name.

After Okabe and Ito 2008, Color Universal Design; purple is darker than their
reddish purple, which stands for pink.
"""

from __future__ import annotations

_PAINT = {
    "red": "#d55e00",
    "blue": "#0072b2",
    "green": "#009e73",
    "yellow": "#f0e442",
    "white": "#ffffff",
    "pink": "#cc79a7",
    "orange": "#e69f00",
    "purple": "#5b2c83",
}
_OTHER = "#8a8a8a"  # unmarked bees, no bee named, and colours added by the person


def split_mark(mark: str) -> tuple[str, str]:
    """Return the one or two colours of "blue-white abdomen", "yellow (2)".

    The second is the first again where there is but one.
    """
    words = mark.split()
    colours = words[0].split("-") if words else [""]
    return colours[0], colours[1] if len(colours) > 1 else colours[0]


def paint_hex(colour: str) -> str:
    """Return "#rrggbb" for a paint colour; grey for what is no known colour."""
    return _PAINT.get(colour, _OTHER)
