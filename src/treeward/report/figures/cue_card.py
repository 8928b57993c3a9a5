"""The cue card: what to say, on one page to print and clip to a bag."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from treeward.cautions import LOOK_FIRST
from treeward.errors import ReportError
from treeward.files import replacing
from treeward.language.phrase_list import colour_names, sections

from .style import FAINT, INK, MUTED, draw_dot, drawable, drawing, new_figure, pdf_bytes

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes

    from treeward.language.phrasebook import PhraseBook

A5_INCHES = (5.83, 8.27)  # ISO 216 A5, half of A4; prints on Letter too
_LEFT, _RIGHT = 0.08, 0.92  # margins as shares of the width
_MEANS = 0.53  # where the meaning begins, of the width
_LONG = 36  # letters of a saying that reaches there
_FITS = 43  # letters of a meaning that fit at its usual size
_BOTTOM = 0.125  # of the height: below it stand the cautions


def write_card(book: PhraseBook, path: Path) -> None:
    """Write the cue card as a PDF of one page.

    Raises
    ------
    ReportError
        If the name does not end in .pdf.
    """
    if path.suffix.lower() != ".pdf":
        raise ReportError(
            "the card is written as PDF",
            where=str(path),
            mend="Give it a name that ends in .pdf.",
        )
    data = card_pdf(book)
    with replacing(path) as beside:
        beside.write_bytes(data)


def card_pdf(book: PhraseBook) -> bytes:
    """Draw the card."""
    with drawing():
        figure = new_figure(*A5_INCHES)
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_axis_off()
        axes.set_xlim(0, 1)
        axes.set_ylim(0, 1)
        _draw(axes, book)
        return pdf_bytes(figure)


def _draw(axes: Axes, book: PhraseBook) -> None:
    axes.text(_LEFT, 0.94, "What to say", fontsize=17, weight="bold")
    axes.text(
        _LEFT,
        0.91,
        "Colour first, then what she does. A breath between two notes.",
        fontsize=8,
        color=MUTED,
    )
    parts = sections(book)
    names = colour_names(book)
    colour_rows = -(-len(names) // 4)
    # Every saying takes a line, one that is long two, a heading two; what is left over
    # is shared out.
    rows = [len(saying.say) > _LONG for part in parts for saying in part.sayings]
    lines = 1.25 * (len(rows) + sum(rows)) + 2.2 * len(parts) + 1.3 * colour_rows + 0.4
    step = min(0.024, (0.885 - _BOTTOM) / lines)
    largest_pt = step * A5_INCHES[1] * 72
    y = 0.885
    for part in parts:
        y -= step * 1.2
        axes.text(_LEFT, y, part.heading, fontsize=8.5, weight="bold", color=MUTED)
        axes.plot([_LEFT, _RIGHT], [y - step * 0.35] * 2, color=FAINT, linewidth=0.8)
        y -= step * 0.6
        for saying in part.sayings:
            y -= step * 1.25
            say_pt = min(8.5, 0.75 * largest_pt)
            say = drawable(saying.say, 60)
            axes.text(_LEFT, y, say, fontsize=say_pt, weight="bold")
            if len(saying.say) > _LONG:
                y -= step * 1.25
            means = drawable(saying.means, 80)
            means_pt = min(7.0, 0.65 * largest_pt) * min(1.0, _FITS / len(means))
            axes.text(_MEANS, y, means, fontsize=means_pt, color=MUTED)
        y -= step * 0.4
    _cautions(axes)
    for index, name in enumerate(names):
        x = _LEFT + 0.015 + (index % 4) * (_RIGHT - _LEFT) / 4
        row_y = y - step * (1.2 + 1.3 * (index // 4))
        draw_dot(axes, x, row_y + step * 0.25, name, 9)
        axes.text(x + 0.025, row_y, drawable(name, 14), fontsize=8, color=INK)


# The cautions in the fewest words: the whole of them stand in the report.
FIELD_CAUTIONS = (
    "Stings can kill: do not go alone. Swelling of face or tongue, trouble with "
    "breathing, dizziness: call the emergency number at once. Ask the landowner before "
    f"you enter. {LOOK_FIRST} A colony may be somebody's or protected: take and harm "
    "nothing. Do not climb or cut. Leave no open syrup."
)


def _cautions(axes: Axes) -> None:
    axes.plot([_LEFT, _RIGHT], [_BOTTOM - 0.012] * 2, color=INK, linewidth=0.8)
    lines = wrap(FIELD_CAUTIONS, 92)
    for number, line in enumerate(lines):
        axes.text(_LEFT, _BOTTOM - 0.031 - 0.0165 * number, line, fontsize=6.6)
