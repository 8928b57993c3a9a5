"""How the pictures look, and how a figure becomes PNG, PDF or SVG.

The colours below stand in the drawings as they are; in an inline SVG they become
CSS variables, so that the page's light and dark themes reach into the pictures.

Paint colours on paper are safe for colour-blind eyes, and never without a name.

After Okabe and Ito 2008, Color Universal Design; purple is darker than their
reddish purple, which stands for pink.
"""

from __future__ import annotations

import io
import re
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.patheffects import Normal, Stroke

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from matplotlib.axes import Axes
    from matplotlib.patheffects import AbstractPathEffect


INK = "#1b2026"
MUTED = "#57606a"
FAINT = "#d4d9de"
PAPER = "#fefefd"  # also the halo round letters
AREA = "#0072b2"  # Okabe-Ito blue: search areas and what is known together
FLIGHT = "#56b4e9"  # Okabe-Ito sky blue: time spent flying
IN_HIVE = "#b9c0c7"
BEST = "#d55e00"  # Okabe-Ito vermillion
NEXT = "#009e73"  # Okabe-Ito bluish green
LOOKED = "#e69f00"  # ground looked at; orange of Okabe and Ito
PAGE_IN = 8.2  # width of a picture on a page
PHONE_IN = 3.9  # and on a screen a hand wide, so that its letters stay as large; choice
LONGEST_NAME = 20  # letters of a bee's name beside a picture; choice

_THEMED = {
    INK: "var(--ink)",
    MUTED: "var(--muted)",
    FAINT: "var(--rule)",
    PAPER: "var(--paper)",
    IN_HIVE: "var(--hive)",
}
_RC: Any = {  # matplotlib 3.11 types its keys one by one, older ones do not
    "font.family": ["DejaVu Sans"],  # comes in matplotlib's wheel
    "font.size": 9.0,
    "text.parse_math": False,  # a name may hold a dollar sign
    "text.color": INK,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.facecolor": "none",
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "grid.color": FAINT,
    "grid.linewidth": 0.7,
    "svg.fonttype": "path",
    "svg.hashsalt": "treeward",
    "pdf.fonttype": 42,
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Set the look for the figures drawn and saved within."""
    with mpl.rc_context(_RC):
        yield


def new_figure(width_in: float, height_in: float) -> Figure:
    """Return an empty figure of that size in inches, with nothing global behind it."""
    figure = Figure(figsize=(width_in, height_in))
    FigureCanvasAgg(figure)
    return figure


def drawable(text: str, longest: int = 40) -> str:
    """Return what the font can draw of a name: one line, not too long.

    Letters it has not got become an empty box.
    """
    known = get_font(findfont(FontProperties(family="DejaVu Sans"))).get_charmap()
    line = " ".join(text.split())
    line = line if len(line) <= longest else line[: longest - 1] + "…"
    return "".join(c if ord(c) in known else "\u25a1" for c in line)


def halo(width_pt: float = 2.5) -> list[AbstractPathEffect]:
    """Return the paper-coloured rim that keeps letters readable on a drawing."""
    return [Stroke(linewidth=width_pt, foreground=PAPER), Normal()]


def mark_colours(mark: str) -> tuple[str, str]:
    """Return the two paints of "blue-white abdomen" or "yellow (2)", as "#rrggbb".

    The second is the first again where there is but one.
    """
    words = mark.split()
    colours = words[0].split("-")[:2] if words else [""]
    paints = [_PAINT.get(colour, _OTHER) for colour in colours]
    return paints[0], paints[-1]


def draw_dots(
    axes: Axes,
    xs: Sequence[float],
    y: float,
    mark: str,
    size_pt: float,
    *,
    shape: str = "o",
) -> None:
    """Draw a bee's dots: her paint, the second colour round it, an ink rim outside.

    Without the rim white and yellow paint would not show on paper. Where dots drawn at
    once overlap they run together. `shape` is a marker of matplotlib's.
    """
    first, second = mark_colours(mark)
    if shape == "D":  # a square on its corner is wider than its side
        size_pt *= 0.82
    rings = [(size_pt, INK), (size_pt - 1.8, second)]
    if first != second:
        rings.append((size_pt - 5.0, first))
    for order, (size, colour) in enumerate(rings):
        axes.plot(xs, [y] * len(xs), marker=shape, markersize=max(size, 1.0),
                  color=colour, markeredgewidth=0, linestyle="none",
                  zorder=6 + order)  # fmt: skip


def left_margin(names: Iterable[str], width_in: float = PAGE_IN) -> float:
    """Return the share of a picture's width that names at its left side take."""
    longest = max((len(name) for name in names), default=0)
    return (0.135 if longest <= 13 else 0.18) * PAGE_IN / width_in


def plain_axes(axes: Axes) -> None:
    """Take away the box, keep the bottom line."""
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", length=3)


def png_bytes(figure: Figure, dots_per_inch: float = 200) -> bytes:
    """Return the figure as PNG, the same bytes on every run."""
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=dots_per_inch, metadata={"Software": None})
    return out.getvalue()


def pdf_bytes(figure: Figure) -> bytes:
    """Return the figure as PDF, the same bytes on every run."""
    out = io.BytesIO()
    stamps = {"CreationDate": None, "Creator": "Treeward", "Producer": None}
    figure.savefig(out, format="pdf", metadata=stamps)
    return out.getvalue()


_PATH = re.compile(r' d="([^"]*)"')
_FRACTION = re.compile(r"-?\d+\.\d{3,}")


def _shortened(path: re.Match[str]) -> str:
    """Write a path to a hundredth of a point, which no eye sees, on one line."""
    rounded = _FRACTION.sub(
        lambda number: f"{float(number[0]):.2f}".rstrip("0").rstrip("."), path[1]
    )
    return f' d="{" ".join(rounded.split())}"'


def svg_text(figure: Figure, name: str, description: str) -> str:
    """Return the figure as an SVG element to stand in a page.

    Its name goes before every id, so that several drawings can stand in one page. The
    description is what a reader who cannot see the picture is told.
    """
    from markupsafe import escape

    out = io.StringIO()
    figure.patch.set_visible(False)
    stamps: dict[str, Any] = {"Date": None, "Creator": None}
    figure.savefig(out, format="svg", metadata=stamps)
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    used = set(re.findall(r'href="#([^"]+)"', text)) | set(
        re.findall(r"url\(#([^)]+)\)", text)
    )

    def rename(match: re.Match[str]) -> str:
        return f' id="{name}-{match[1]}"' if match[1] in used else ""

    # Parts that the page shows and hides by themselves are told by their data.
    text = re.sub(r' id="day-(\d+)"', r' data-day="\1"', text)
    text = re.sub(r' id="([^"]+)"', rename, text)
    text = re.sub(r'href="#', f'href="#{name}-', text)
    text = re.sub(r"url\(#", f"url(#{name}-", text)
    for colour, variable in _THEMED.items():
        text = text.replace(colour, variable)
    text = _PATH.sub(_shortened, re.sub(r"\n\s+", "\n", text))
    start = text.index(">")
    size = re.search(r'viewBox="[^"]+"', text)
    box = size.group(0) if size else ""
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" '
        f'xmlns:xlink="http://www.w3.org/1999/xlink" {box} role="img" '
        f'aria-label="{escape(description)}" class="drawing" id="{name}"'
    )
    return head + text[start:].rstrip()


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
