"""Faulty files of every kind that a person may bring, made by hypothesis.

Half are good files, cut, spliced and garbled; half are written from the parts of which
their format is made, with parts in them that make trouble.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from hypothesis import strategies as st

from . import beside, kept, seeds
from .sounds import PIECE_SEEDS, SOUND_SEEDS, wav_files

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of input: its name here, and the file endings it comes with."""

    name: str
    endings: tuple[str, ...]


KINDS = {
    kind.name: kind
    for kind in (
        Kind("review", (".csv",)),
        Kind("hunt", (".toml",)),
        Kind("webvtt", (".vtt",)),
        Kind("subrip", (".srt",)),
        Kind("text", (".txt",)),
        Kind("json", (".json",)),
        Kind("gpx", (".gpx",)),
        Kind("sound", (".wav", ".flac", ".ogg", ".mp3", ".m4a", ".aiff", ".caf")),
        *(Kind(name, places) for name, places in kept.PLACES.items()),
        *(Kind(name, endings) for name, endings in beside.ENDINGS.items()),
    )
}
_TEXTS = seeds.TEXTS | kept.TEXTS | beside.TEXTS
_TOKENS = seeds.TOKENS | kept.TOKENS | beside.TOKENS

# What breaks readers of text: ends of lines and of text, other alphabets, numbers that
# are too large, halves of pairs, what a terminal or a spreadsheet would act upon.
_NASTY_TEXT = (
    "", "\0", "\n", "\r", "\r\n", "\u2028", "\x85", "\x0b", "\x0c", "\t", "\ufeff",
    "\u202e", "\x1b[2J", "\x1b]0;x\x07", "\u00a0", "\ud83d", "\U0001f41d", "\u0130",
    "\u00df", "\u0661\u0662", "\u00b2", "\uff11", "\uff1d1+1", "a" * 5000, "9" * 5000,
    "=1+1", "+1", "-1", "@SUM(A1)", "=cmd|' /C calc'!A0", "'", '"', '""', '"""', "\\",
    "\\n", "\\u0000", "%s%n", "{0}", "{}", "${HOME}", "../../outside/kept.wav",
    "/etc/passwd", "C:\\x", "..", ".", "~", "file:///etc/passwd", "-0", "1e999", "nan",
    "inf", "-inf", "1e-999", "0x10", "1_000", "99999999999999999999", "-1.5", "0",
    "true", "null", "2026-02-30", "0000-00-00", "9999-12-31T23:59:59+14:00", "24:00:00",
    "23:59:60", "2026-03-29T01:30:00", "1970-01-01", "10000-01-01", "<", ">", "&",
    "-->",
    "<!--", "]]>", "<![CDATA[", "&lt;", "&#0;", "&x;", "(", ")", "[", "]", "[[", "{{",
    ",", ";", "|", ":", "#", "(((((((((((((((((((((((((", "[" * 3000, "{" * 3000,
)  # fmt: skip
_NASTY_BYTES = (
    b"\0", b"\xff", b"\xfe\xff", b"\xff\xfe", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\x80",
    b"\xc3", b"\xf4\x90\x80\x80", b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff",
    b"\x80\0\0\0", b"\0\0\0\x80", b"\xff\xff\xff\x7f", b"RIFF", b"data", b"fmt ",
    b"LIST",
    b"OggS", b"fLaC", b"ID3", b"moov", b"mdat", b"FORM", b"SSND", b"\x1a\x45\xdf\xa3",
    b"#EXTM3U\nfile:///etc/passwd\n", b"PK\x03\x04", b"\x1f\x8b\x08",
)  # fmt: skip
_TIMES = st.sampled_from([1, 1, 1, 1, 2, 2, 3, 5, 8])  # few faults get furthest in


def files(kind: str) -> st.SearchStrategy[bytes]:
    """Give faulty files of one kind."""
    if kind in {"sound", "piece"}:
        good = SOUND_SEEDS() if kind == "sound" else PIECE_SEEDS()
        return st.one_of(
            wav_files(),
            garbled(good, st.sampled_from(_NASTY_BYTES), headed=True),
            st.binary(max_size=400),
        )
    if kind == "mbtiles":
        return st.one_of(
            beside.tile_files(),
            garbled(beside.tile_seeds(), st.sampled_from(_NASTY_BYTES)),
            st.binary(max_size=300),
        )
    originals = [text.encode() for text in _TEXTS[kind]]
    tokens = (*_TOKENS[kind], *_NASTY_TEXT)
    pieces = st.sampled_from([_encoded(token) for token in tokens])
    return st.one_of(
        garbled(originals, pieces | st.sampled_from(_NASTY_BYTES)),
        garbled(originals, pieces),
        _written(kind),
        garbled(_recoded(kind), st.sampled_from(_NASTY_BYTES)),
        st.binary(max_size=300),
    )


def _encoded(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")


@st.composite
def garbled(
    draw: st.DrawFn,
    originals: Sequence[bytes],
    pieces: st.SearchStrategy[bytes],
    *,
    headed: bool = False,
) -> bytes:
    """Cut, double, move, overwrite and splice a good file up to eight times.

    With `headed` most of it befalls the first 200 bytes, where a sound file says what
    it is.
    """
    data = draw(st.sampled_from(originals))
    for _ in range(draw(_TIMES)):
        reach = len(data)
        if headed and draw(st.integers(0, 3)):
            reach = min(reach, 200)
        at = draw(st.integers(0, max(reach, 1)))
        size = draw(st.sampled_from([0, 1, 2, 4, 8, 30, 200, 10_000]))
        match draw(st.integers(0, 7)):
            case 0:
                data = data[:at]
            case 1:
                data = data[:at] + data[at + size :]
            case 2:
                data = data[: at + size] + data[at:]
            case 3:
                other = draw(st.sampled_from(originals))
                data = data[:at] + other[at // 2 :]
            case 4:
                noise = draw(st.binary(max_size=12))
                data = data[:at] + noise + data[at + len(noise) :]
            case 5:
                piece = draw(pieces)
                data = data[:at] + piece + data[at + len(piece) :]
            case _:
                data = data[:at] + draw(pieces) + data[at:]
        data = data[:200_000]
    return data


def _written(kind: str) -> st.SearchStrategy[bytes]:
    """Files of this kind put together from parts that fit, and parts that do not."""
    cell = st.one_of(
        st.sampled_from(_TOKENS[kind]),
        st.sampled_from(_NASTY_TEXT),
        st.text(max_size=8),
    )
    match kind:
        case "review":
            row = st.lists(cell, max_size=16).map(seeds.csv_line)
            head = st.sampled_from(seeds.HEADINGS)
            whole = st.tuples(head, st.lists(row, max_size=12)).map(
                lambda parts: "\n".join([parts[0], *parts[1]])
            )
        case "hunt" | "merged":
            line = st.tuples(st.sampled_from(seeds.TOML_KEYS), cell, st.booleans()).map(
                lambda t: t[0] if t[0][0] == "[" else seeds.toml_line(*t)
            )
            whole = st.lists(line, max_size=14).map(
                lambda lines: seeds.TOML_HEAD + "\n".join(lines)
            )
        case "gpx" | "gpx ground":
            part = st.sampled_from(seeds.GPX_PARTS) | cell
            element = st.tuples(
                st.sampled_from(seeds.GPX_ELEMENTS), part, part, part
            ).map(lambda t: t[0].format(*t[1:]))
            whole = st.lists(element, max_size=4).map(
                lambda found: seeds.GPX_HEAD + "".join(found) + "</gpx>"
            )
        case (
            "heard"
            | "journal"
            | "facts"
            | "starts"
            | "left out"
            | "complete"
            | "locks"
            | "season"
            | "geojson"
        ):
            whole = st.lists(_json_values(cell), max_size=6).map(
                lambda found: "\n".join(json.dumps(value) for value in found)
            )
        case "json":
            whole = st.one_of(_word_lists(cell), _json_values(cell)).map(json.dumps)
        case _:
            whole = st.lists(cell, max_size=30).map(
                lambda found: seeds.OPENINGS.get(kind, "") + "".join(found)
            )
    return whole.map(_encoded)


def _json_values(text: st.SearchStrategy[str]) -> st.SearchStrategy[object]:
    """Any JSON, with the keys of transcripts in it."""
    leaf = st.one_of(
        st.none(), st.booleans(), st.integers(), st.floats(), text, st.just(1.5)
    )
    return st.recursive(
        leaf,
        lambda inner: (
            st.lists(inner, max_size=4)
            | st.dictionaries(st.sampled_from(seeds.JSON_KEYS), inner, max_size=5)
        ),
        max_leaves=12,
    )


def _word_lists(text: st.SearchStrategy[str]) -> st.SearchStrategy[object]:
    """Words and segments as they should be, but for what is in them."""
    second = st.integers(0, 4000) | st.floats(0, 4000)
    word = st.builds(
        lambda said, at, more, conf: {
            "word": said, "text": said, "start": at, "end": at + more, "conf": conf
        },
        text,
        second,
        st.sampled_from([0, 0.5, 1, 30, -1]),
        st.sampled_from([0, 0.5, 1, 2, -1, None]),
    )  # fmt: skip
    words = st.lists(word, max_size=12)
    return st.one_of(
        words,
        words.map(lambda found: {"result": found}),
        words.map(lambda found: {"segments": found}),
        words.map(lambda found: {"segments": [{"start": 0, "end": 9, "words": found}]}),
    )


def _recoded(kind: str) -> list[bytes]:
    """Return good files in other encodings and with other ends of lines."""
    codes = ("utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-8-sig", "utf-7")
    return [
        text.replace("\n", end).encode(code)
        for text in _TEXTS[kind]
        for code in codes
        for end in ("\n", "\r\n", "\r", "\n\n", "\u2028")
    ]


@cache
def strategy(kind: str) -> st.SearchStrategy[tuple[str, bytes]]:
    """Give a file's ending, and what is in the file."""
    return st.tuples(st.sampled_from(KINDS[kind].endings), files(kind))
