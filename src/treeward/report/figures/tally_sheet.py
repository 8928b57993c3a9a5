"""The tally sheet: the notes of a sitting by pencil, to print and to type off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.files import write_bytes

from .style import FAINT, MUTED, drawable, drawing, new_figure, pdf_bytes

if TYPE_CHECKING:
    from pathlib import Path

A4_INCHES = (8.27, 11.69)  # ISO 216 A4
ROWS = 30  # of a height that a cold hand can write in; choice
# Column of the spreadsheet, head on paper, and the share of the width it takes.
COLUMNS = (
    ("date", "", 0.0),
    ("station", "", 0.0),
    ("time", "Time", 0.13),
    ("bee", "Bee (colour)", 0.22),
    ("event", "Back or away", 0.18),
    ("bearing", "Bearing if away", 0.17),
    ("remark", "Remark", 0.30),
)
_LEFT, _RIGHT, _TOP, _BOTTOM = 0.07, 0.93, 0.86, 0.06


def write_tally_sheet(hunt_dir: Path, *, name: str) -> tuple[Path, Path]:
    """Write the sheet as PDF, and a spreadsheet of the same columns, into a hunt.

    `notes.clocked` reads the spreadsheet back.

    Returns
    -------
    tuple of Path
        The PDF and the CSV file.
    """
    pdf, table = hunt_dir / "tally-sheet.pdf", hunt_dir / "tally-sheet.csv"
    write_bytes(pdf, sheet_pdf(name), within=hunt_dir)
    head = ",".join(column for column, _, _ in COLUMNS) + "\n"
    write_bytes(table, head.encode(), within=hunt_dir)
    return pdf, table


def sheet_pdf(name: str) -> bytes:
    """Draw the sheet of a hunt of this name."""
    with drawing():
        figure = new_figure(*A4_INCHES)
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_axis_off()
        axes.set_xlim(0, 1)
        axes.set_ylim(0, 1)
        axes.text(_LEFT, 0.945, drawable(name, 60), fontsize=15, weight="bold")
        y = 0.91
        for x, words in ((_LEFT, "Date"), (0.33, "Station"), (0.55, "Watch set at"),
                         (0.78, "Sheet")):  # fmt: skip
            axes.text(x, y, f"{words} ................", fontsize=9, color=MUTED)
        step = (_TOP - _BOTTOM) / (ROWS + 1)
        lines = [_TOP - step * row for row in range(ROWS + 2)]
        for y in lines:
            axes.plot([_LEFT, _RIGHT], [y, y], color=FAINT, linewidth=0.7)
        x = _LEFT
        for _, head, share in COLUMNS:
            if not share:
                continue
            axes.plot([x, x], [lines[-1], _TOP], color=FAINT, linewidth=0.7)
            axes.text(x + 0.008, _TOP - step * 0.65, head, fontsize=9, weight="bold")
            x += share * (_RIGHT - _LEFT)
        axes.plot([x, x], [lines[-1], _TOP], color=FAINT, linewidth=0.7)
        axes.text(
            _LEFT,
            0.03,
            "Keep off land that is not yours unless you were asked in; leave nests and "
            "trees as they are; mind stings.",
            fontsize=8,
            color=MUTED,
        )
        return pdf_bytes(figure)
