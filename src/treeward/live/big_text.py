"""Letters three lines high, for a screen that is read from two metres.

Three by five dots (five wide for M, N and W), two dots to a character cell.
"""

from __future__ import annotations

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
