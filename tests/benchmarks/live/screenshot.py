"""Draw what `tmux capture-pane -e -p` gave as a picture.

tmux new-session -d -s listen -x 100 -y 32 "treeward listen ..."
tmux capture-pane -e -p -t listen > pane.ansi
python tests/benchmarks/live/screenshot.py pane.ansi fixtures/pictures/listen.png
"""

from __future__ import annotations

import sys
from pathlib import Path

from matplotlib import font_manager
from PIL import Image, ImageDraw, ImageFont
from rich.color_triplet import ColorTriplet
from rich.console import Console
from rich.style import Style
from rich.text import Text

CELL = (11, 22)
COLUMNS = 100
BLOCKS = {"█": (0.0, 1.0), "▀": (0.0, 0.5), "▄": (0.5, 1.0)}


def colours(style: Style) -> tuple[ColorTriplet, ColorTriplet]:
    ink = style.color.get_truecolor() if style.color else ColorTriplet(0, 0, 0)
    paper = ColorTriplet(255, 255, 255)
    if style.bgcolor and not style.bgcolor.is_default:
        paper = style.bgcolor.get_truecolor()
    if style.color and style.color.is_default:
        ink = ColorTriplet(0, 0, 0)
    if style.color and style.color.number == 7:  # "white" of sixteen is grey
        ink = ColorTriplet(255, 255, 255)
    if style.bgcolor and style.bgcolor.number == 7:
        paper = ColorTriplet(255, 255, 255)
    return ink, paper


def draw(lines: list[str], out: Path) -> None:
    wide, high = CELL
    picture = Image.new("RGB", (COLUMNS * wide, len(lines) * high), "white")
    pen = ImageDraw.Draw(picture)
    faces = {
        weight: ImageFont.truetype(
            font_manager.findfont(
                font_manager.FontProperties(family="DejaVu Sans Mono", weight=weight)
            ),
            17,
        )
        for weight in ("normal", "bold")
    }
    console = Console(color_system="truecolor", force_terminal=True, width=COLUMNS)
    for row, line in enumerate(lines):
        column = 0
        for segment in Text.from_ansi(line).render(console):
            style = segment.style or Style()
            ink, paper = colours(style)
            for letter in segment.text.rstrip("\n"):
                x, y = column * wide, row * high
                pen.rectangle((x, y, x + wide - 1, y + high - 1), fill=tuple(paper))
                if letter in BLOCKS:
                    top, end = BLOCKS[letter]
                    box = (x, y + top * high, x + wide - 1, y + end * high - 1)
                    pen.rectangle(box, fill=tuple(ink))
                elif letter != " ":
                    face = faces["bold" if style.bold else "normal"]
                    pen.text((x, y), letter, fill=tuple(ink), font=face)
                if style.strike:
                    middle = y + high // 2
                    pen.line((x, middle, x + wide, middle), fill=tuple(ink))
                column += 1
    picture.quantize(64).save(out, optimize=True)


if __name__ == "__main__":
    draw(
        Path(sys.argv[1]).read_text("utf-8").rstrip("\n").split("\n"), Path(sys.argv[2])
    )
