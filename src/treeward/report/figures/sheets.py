"""Sheets to print: the cue card with what to say, and the tally sheet."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from treeward.errors import ReportError
from treeward.files import write_bytes
from treeward.language.phrasebook import colour_names, sections
from treeward.report.advice_wording import LOOK_FIRST

from . import FAINT, INK, MUTED, draw_dots, drawable, drawing, new_figure, pdf_bytes

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from treeward.language.phrasebook import PhraseBook


A5_INCHES = (5.83, 8.27)  # ISO 216 A5, half of A4; prints on Letter too
_LEFT, _RIGHT = 0.08, 0.92  # margins as shares of the width
_MEANS = 0.53  # where the meaning begins, of the width
_LONG = 36  # letters of a saying that reaches there
_FITS = 43  # letters of a meaning that fit at its usual size
_BELOW = 0.8  # of a step, from one line of a meaning to the next
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
    write_bytes(path, card_pdf(book))


def _sheet(width_in: float, height_in: float) -> tuple[Figure, Axes]:
    """Return an empty sheet: 0 to 1 across and up."""
    figure = new_figure(width_in, height_in)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    return figure, axes


def card_pdf(book: PhraseBook) -> bytes:
    """Draw the card."""
    with drawing():
        figure, axes = _sheet(*A5_INCHES)
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
    sayings = [saying for part in parts for saying in part.sayings]
    longer = sum(len(saying.say) > _LONG for saying in sayings)
    below = sum(len(_meaning(saying.means)) - 1 for saying in sayings)
    lines = 1.25 * (len(sayings) + longer) + _BELOW * below
    lines += 2.2 * len(parts) + 1.3 * colour_rows + 1.0
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
            means_pt = min(7.0, 0.65 * largest_pt)
            for number, line in enumerate(_meaning(saying.means)):
                y -= _BELOW * step if number else 0.0
                axes.text(_MEANS, y, line, fontsize=means_pt, color=MUTED)
        y -= step * 0.4
    _cautions(axes)
    y -= step * 0.4
    for index, name in enumerate(names):
        x = _LEFT + 0.015 + (index % 4) * (_RIGHT - _LEFT) / 4
        row_y = y - step * (1.2 + 1.3 * (index // 4))
        draw_dots(axes, [x], row_y + step * 0.25, name, 9)
        axes.text(x + 0.025, row_y, drawable(name, 14), fontsize=8, color=INK)


def _meaning(means: str) -> list[str]:
    """Return what a saying means in lines that fit beside it, as long as each other."""
    text = drawable(means, 2 * _FITS)
    widths = range(max(len(text) // 2, 1), _FITS + 1)
    ways = [wrap(text, width) for width in widths] or [wrap(text, _FITS)]
    return min(ways, key=len)


# The cautions in the fewest words: the whole of them stand in the report.
FIELD_CAUTIONS = (
    "Stings can kill: do not go alone. Swelling of face or tongue, trouble with "
    "breathing, dizziness: call the emergency number at once. Ask the landowner before "
    f"you enter. {LOOK_FIRST} A colony may be somebody's or protected: take and harm "
    "nothing. Do not climb or cut. Leave no open syrup."
)


def _cautions(axes: Axes) -> None:
    axes.plot([_LEFT, _RIGHT], [_BOTTOM - 0.012] * 2, color=INK, linewidth=0.8)
    lines = wrap(FIELD_CAUTIONS, 100)
    for number, line in enumerate(lines):
        axes.text(_LEFT, _BOTTOM - 0.031 - 0.0165 * number, line, fontsize=6.6)


A4_INCHES = (8.27, 11.69)  # ISO 216 A4
ROWS = 30  # of a height that a cold hand can write in; choice
# Column of the spreadsheet, head on paper, and the share of the width it takes.
COLUMNS = (
    ("date", "", 0.0),
    ("station", "", 0.0),
    ("time", "Time", 0.13),
    ("bee", "Bee (colour)", 0.22),
    ("event", "Back or away", 0.18),
    ("bearing", "Bearing if away", 0.19),
    ("remark", "Remark", 0.28),
)
_ROOM_LEFT, _ROOM_RIGHT, _TOP, _ROOM_BOTTOM = 0.07, 0.93, 0.86, 0.06


def write_tally_sheet(hunt_dir: Path, *, name: str) -> tuple[Path, Path]:
    """Write the sheet as PDF, and a spreadsheet of the same columns, into a hunt.

    `notes.clocked` reads the spreadsheet back. Returns the PDF and the CSV file.
    """
    pdf, table = hunt_dir / "tally-sheet.pdf", hunt_dir / "tally-sheet.csv"
    write_bytes(pdf, sheet_pdf(name), within=hunt_dir)
    head = ",".join(column for column, _, _ in COLUMNS) + "\n"
    write_bytes(table, head.encode(), within=hunt_dir)
    return pdf, table


def sheet_pdf(name: str) -> bytes:
    """Draw the sheet of a hunt of this name."""
    with drawing():
        figure, axes = _sheet(*A4_INCHES)
        axes.text(_ROOM_LEFT, 0.945, drawable(name, 60), fontsize=15, weight="bold")
        y = 0.91
        heads = ("Date", "Station", "Watch set at", "Sheet")
        for x, words in zip((_ROOM_LEFT, 0.33, 0.55, 0.78), heads, strict=True):
            axes.text(x, y, f"{words} ................", fontsize=9, color=MUTED)
        step = (_TOP - _ROOM_BOTTOM) / (ROWS + 1)
        lines = [_TOP - step * row for row in range(ROWS + 2)]
        for y in lines:
            axes.plot([_ROOM_LEFT, _ROOM_RIGHT], [y, y], color=FAINT, linewidth=0.7)
        x = _ROOM_LEFT
        for _, head, share in COLUMNS:
            if not share:
                continue
            axes.plot([x, x], [lines[-1], _TOP], color=FAINT, linewidth=0.7)
            axes.text(x + 0.008, _TOP - step * 0.65, head, fontsize=9, weight="bold")
            x += share * (_ROOM_RIGHT - _ROOM_LEFT)
        axes.plot([x, x], [lines[-1], _TOP], color=FAINT, linewidth=0.7)
        axes.text(
            _ROOM_LEFT,
            0.03,
            "Keep off land that is not yours unless you were asked in; leave nests and "
            "trees as they are; mind stings.",
            fontsize=8,
            color=MUTED,
        )
        return pdf_bytes(figure)
