"""The full screen: large, calm, dark on light for the sun, little that moves."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from rich.console import Group
from rich.table import Table
from rich.text import Text

from treeward.measures import clock_face, counted

from .messages import distance_text, get_up_text

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from .messages import BeeState, Level, Snapshot

FOUND_STYLE = "bold white on #006b2d"
PAPER = "black on white"  # an unlit screen in the sun reflects: light ground wins
_PAINT = {
    "red": "#c00000", "blue": "#0040d0", "green": "#007a2f", "yellow": "#f2c200",
    "white": "#ffffff", "pink": "#ff6fb5", "orange": "#f07000", "purple": "#7a1fa2",
}  # fmt: skip
_DUE_STYLE = {
    "": PAPER,
    "soon": PAPER,
    "due": "bold white on #006b2d",
    "overdue": "bold white on #b00000",
}
BIG_ROWS = 4  # lines that a large row takes, with the blank below it
FOOT_ROWS = 9
METER_CELLS = 24
METER_FLOOR_DBFS = -60.0


class ListenView:
    """Renders a snapshot to whatever size the terminal has."""

    def __init__(self, snapshot: Snapshot) -> None:
        self.snapshot = snapshot

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> RenderResult:
        """Yield the screen."""
        width = options.max_width
        height = options.height or console.height
        yield Group(*self._lines(width, height))

    def _lines(self, width: int, height: int) -> list[RenderableType]:
        shot = self.snapshot
        lines: list[RenderableType] = [_head(shot, width)]
        lines += [_bar(f" {fault}", "bold white on #b00000", width)
                  for fault in shot.faults[:2]]  # fmt: skip
        steps = [
            line for step in shot.next_steps for line in wrap(step, max(10, width - 2))
        ]
        fitting = max(1, height - len(lines) - 1 - BIG_ROWS - FOOT_ROWS)
        lines += [_bar(f" {line}", FOUND_STYLE, width) for line in steps[:fitting]]
        lines.append(_bar("", PAPER, width))
        room = height - len(lines) - FOOT_ROWS
        large = max(1, room // BIG_ROWS) if shot.bees else 0
        if len(shot.bees) > large:  # leave lines for the rest
            large = max(1, (room - min(3, len(shot.bees) - large)) // BIG_ROWS)
        for bee in shot.bees[:large]:
            lines += _large_bee(bee, width)
        rest = shot.bees[large:]
        lines += [
            _small_bee(bee, width) for bee in rest[: max(0, room - large * BIG_ROWS)]
        ]
        if not shot.bees:
            lines.append(_bar("  No bee noted yet. Say a colour and", PAPER, width))
            lines.append(_bar("  what she does: yellow away", PAPER, width))
        used = len(lines)
        foot = _foot(shot, width)
        gap = max(0, height - used - FOOT_ROWS)
        lines += [_bar("", PAPER, width)] * gap
        return lines + foot


def _bar(text: str, style: str, width: int) -> Text:
    line = Text(text, style=style, no_wrap=True, overflow="crop")
    line.truncate(width, pad=True)
    return line


def _head(shot: Snapshot, width: int) -> Text:
    station = f"station {shot.station}" if shot.station else "say the station"
    left = f" {shot.hunt}   {station}"
    if not shot.watching:
        left += "   PAUSED"
    right = f"{shot.now:%H:%M:%S} "
    gap = max(1, width - len(left) - len(right))
    return _bar(left + " " * gap + right, "bold white on black", width)


def _large_bee(bee: BeeState, width: int) -> list[Text]:
    time = clock_face(bee.for_s)
    place = {"here": "HERE", "away": "AWAY", "seen": "MARKED"}[bee.where]
    style = _DUE_STYLE[bee.due]
    paint = "on " + _PAINT.get(bee.mark.split("-")[0].split()[0], "#808080")
    second = bee.mark.split("-")[1].split()[0] if "-" in bee.mark else ""
    stripes = [paint, f"on {_PAINT.get(second, '#808080')}" if second else paint, paint]
    painted = bee.mark.split()[0] not in ("unmarked", "white")
    edge = ("   ", "   ", "   ") if painted else ("┌─┐", "│ │", "└─┘")
    name_cells = width - 5 - big_width(f"{time}") - 26
    name = _fit(bee.mark.replace("-", " "), name_cells)
    name_lines, time_lines = big(name), big(time)
    notes = [
        f"{place}{'' if not bee.due else '  ' + bee.due.upper()}",
        _due_text(bee),
        _trip_text(bee),
    ]
    rows = []
    for line in range(3):
        text = Text(no_wrap=True, overflow="crop", style=style)
        text.append(" ", PAPER)
        text.append(edge[line], stripes[line] if painted else PAPER)
        text.append(" " + name_lines[line].ljust(max(0, name_cells)), style)
        text.append(time_lines[line] + "  ", style)
        text.append(notes[line], f"bold {style}" if line == 0 else style)
        text.truncate(width, pad=True)
        rows.append(text)
    return [*rows, _bar("", PAPER, width)]


def _fit(name: str, cells: int) -> str:
    """Shorten a name to what fits: whole words cut to their first letters."""
    if big_width(name) <= cells:
        return name
    for letters in (6, 4, 3, 2, 1):
        short = " ".join(word[:letters] for word in name.split())
        if big_width(short) <= cells:
            return short
    return ""


def _due_text(bee: BeeState) -> str:
    if bee.where == "away" and bee.due_from and bee.due_until:
        usual = f"usual {clock_face(bee.usual_away_s or 0.0)}"
        return f"{usual}  {bee.due_from:%H:%M}-{bee.due_until:%H:%M}"
    if bee.usual_away_s is not None:
        return f"usual {clock_face(bee.usual_away_s)}"
    return ""


def _trip_text(bee: BeeState) -> str:
    text = counted(bee.trips, "trip")
    if bee.bearing_deg is not None:
        text += f"  bearing {bee.bearing_deg:03.0f}°"
    return text


def _small_bee(bee: BeeState, width: int) -> Text:
    text = (
        f"  {bee.mark:<16} {bee.where:<5} {clock_face(bee.for_s):>7}  "
        f"{bee.due:<8}{_due_text(bee):<26}{_trip_text(bee)}"
    )
    return _bar(text, _DUE_STYLE[bee.due], width)


def _foot(shot: Snapshot, width: int) -> list[RenderableType]:
    grid = Table.grid(expand=True, padding=0)
    grid.add_column(ratio=1, no_wrap=True)
    grid.add_column(ratio=1, no_wrap=True)
    half = width // 2
    left = [Text("─ last notes ".ljust(half - 1, "─"), style=PAPER)]
    for note in shot.notes[:5]:
        mark = "?" if note.doubtful else " "
        style = f"strike {PAPER}" if note.scratched else PAPER
        line = Text(f" {note.clock:%H:%M:%S} {mark} ", style=PAPER)
        line.append(note.text, f"bold {style}")
        left.append(line)
    left += [Text("", style=PAPER)] * (6 - len(left))
    right = [Text("─ distance ".ljust(half, "─"), style=PAPER)]
    right += [Text(line, style=PAPER) for line in _estimate_lines(shot)]
    right += [Text("", style=PAPER)] * (6 - len(right))
    for one, other in zip(left[:6], right[:6], strict=True):
        one.truncate(half - 1, pad=True)
        other.truncate(width - half, pad=True)
        grid.add_row(one, other, style=PAPER)
    return [
        grid,
        _bar("", PAPER, width),
        _meter(shot.level, width),
        _status(shot, width),
    ]


def _estimate_lines(shot: Snapshot) -> list[str]:
    estimate = shot.estimate
    if estimate is None:
        return ["  none yet: it needs a bee", "  away and back"]
    low, middle, high = (
        distance_text(d, shot.units)
        for d in (estimate.low90_m, estimate.median_m, estimate.high90_m)
    )
    of_bees = f"{counted(estimate.trips, 'trip')} of {counted(estimate.bees, 'bee')}"
    if estimate.trips_to_halve is None:
        more = f"{of_bees}; more won't halve it"
    else:
        more = f"{of_bees}; {estimate.trips_to_halve} more halve it"
    return [*(f"  {line}" for line in big(middle)), f"  {low} to {high} (90 %)",
            f"  {get_up_text(estimate, shot.units) or more}"]  # fmt: skip


def _meter(level: Level, width: int) -> Text:
    share = 1 - max(METER_FLOOR_DBFS, level.rms_dbfs) / METER_FLOOR_DBFS
    peak = 1 - max(METER_FLOOR_DBFS, level.peak_dbfs) / METER_FLOOR_DBFS
    filled = round(share * METER_CELLS)
    mark = min(METER_CELLS - 1, round(peak * METER_CELLS))
    cells = ["█" if i < filled else "·" for i in range(METER_CELLS)]
    cells[mark] = "▌"
    return _bar(f" sound {''.join(cells)} {level.peak_dbfs:4.0f} dB", PAPER, width)


def _status(shot: Snapshot, width: int) -> Text:
    sun = ""
    if shot.sunset is not None:
        left_s = shot.sunset.timestamp() - shot.now.timestamp()
        sun = f"sunset, end of flight {shot.sunset:%H:%M}"
        if 0 < left_s < 7200:
            sun += f" (in {left_s / 60:.0f} min)"
    kept = f"kept {clock_face(shot.kept_s)}  {shot.events} notes"
    text = f" {kept}   {sun}"
    right = "Ctrl-C ends "
    gap = max(1, width - len(text) - len(right))
    return _bar(text + " " * gap + right, "bold white on black", width)


_FONT = """
A .#. #.# ### #.# #.#
B ##. #.# ##. #.# ##.
C .## #.. #.. #.. .##
D ##. #.# #.# #.# ##.
E ### #.. ##. #.. ###
F ### #.. ##. #.. #..
G .## #.. #.# #.# .##
H #.# #.# ### #.# #.#
I ### .#. .#. .#. ###
J ..# ..# ..# #.# .#.
K #.# #.# ##. #.# #.#
L #.. #.. #.. #.. ###
M #...# ##.## #.#.# #...# #...#
N #..# ##.# #.## #..# #..#
O .#. #.# #.# #.# .#.
P ##. #.# ##. #.. #..
Q .#. #.# #.# ### .##
R ##. #.# ##. #.# #.#
S .## #.. .#. ..# ##.
T ### .#. .#. .#. .#.
U #.# #.# #.# #.# ###
V #.# #.# #.# #.# .#.
W #...# #...# #.#.# ##.## #...#
X #.# #.# .#. #.# #.#
Y #.# #.# .#. .#. .#.
Z ### ..# .#. #.. ###
0 ### #.# #.# #.# ###
1 .#. ##. .#. .#. ###
2 ### ..# ### #.. ###
3 ### ..# .## ..# ###
4 #.# #.# ### ..# ..#
5 ### #.. ### ..# ###
6 ### #.. ### #.# ###
7 ### ..# ..# .#. .#.
8 ### #.# ### #.# ###
9 ### #.# ### ..# ###
: . # . # .
- ... ... ### ... ...
+ ... .#. ### .#. ...
. . . . . #
! # # # . #
? ### ..# .#. ... .#.
"""
_GLYPHS = {line.split()[0]: line.split()[1:] for line in _FONT.strip().splitlines()}
_BLANK = [".."] * 5
_CELLS = {"..": " ", "#.": "▀", ".#": "▄", "##": "█"}


def big(text: str) -> tuple[str, str, str]:
    """Return `text` as three lines of block characters; unknown ones are blank."""
    rows = ["", "", "", "", "", ""]
    for letter in text.upper():
        glyph = _GLYPHS.get(letter, _BLANK)
        for row, dots in enumerate([*glyph, "." * len(glyph[0])]):
            rows[row] += dots + "."
    lines = [
        "".join(_CELLS[a + b] for a, b in zip(top, bottom, strict=True))
        for top, bottom in zip(rows[::2], rows[1::2], strict=True)
    ]
    return lines[0], lines[1], lines[2]


def big_width(text: str) -> int:
    """Return the character cells that `big(text)` is wide."""
    return sum(len(_GLYPHS.get(c, _BLANK)[0]) + 1 for c in text.upper())
