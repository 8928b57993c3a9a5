"""Good files of the kinds that Treeward keeps in a hunt's `.treeward`, and their parts.

They come with the hunt when somebody else sends it, and from disks that lost half.
"""

from __future__ import annotations

import json

SESSION = "live-2026-07-14_100000"
JOURNAL = f".treeward/live/{SESSION}.jsonl"
_HEADING = (
    "row,recording,start_s,end_s,clock,event,mark,value,confidence,heard,"
    "alternatives,flag,decision,remark,touched\n"
)
_ROWS = (
    "r0001,2026-07-14_1000.vtt,1.00,3.00,2026-07-14T10:15:01+01:00,time,,10:15,0.90,"
    "It is ten fifteen.,,,,,\n"
    "r0002,2026-07-14_1000.vtt,1.00,3.00,2026-07-14T10:15:01+01:00,away,yellow,,0.90,"
    "Yellow away.,yellow back (0.31),,,,mark remark\n"
)
_BY = {
    "engine": "deaf", "model": "1", "phrase_book": "x", "size_bytes": 9,
    "modified_ns": 9,
}  # fmt: skip
_WORD = {
    "text": "yellow away", "start_s": 1.0, "end_s": 2.0, "confidence": 0.9,
    "source": "phrase", "alternatives": [["yellow back", 0.1]],
}  # fmt: skip
_NOTE = {
    "type": "event", "n": 1, "kind": "away", "mark": "yellow", "heard": "yellow away",
    "recording": f"{SESSION}.flac", "start_s": 0.5, "end_s": 1.0, "confidence": 0.9,
    "clock": "2026-07-14T10:00:01.000+01:00", "alternatives": [["yellow back", 0.2]],
    "flags": ["in the middle of talk"],
}  # fmt: skip


def _lines(*values: object) -> str:
    return "".join(json.dumps(value) + "\n" for value in values)


# Kind -> where its files lie, good ones, and the parts of which they are made.
PLACES = {
    "machine": (".treeward/review_machine.csv", ".treeward/review_last.csv"),
    "notes kept": (
        ".treeward/starts.json",
        ".treeward/at_work.json",
        ".treeward/left_out.json",
        ".treeward-results-0123456789ab/complete.json",
    ),
    "heard": (".treeward/heard/2026-07-14_1000.wav.jsonl",),
    "journal": (JOURNAL,),
}
TEXTS: dict[str, tuple[str, ...]] = {
    "machine": (_HEADING + _ROWS, _HEADING, _HEADING.replace(",touched", "") + _ROWS),
    "notes kept": (
        json.dumps({"2026-07-14_1000.vtt": "2026-07-14 10:00"}),
        json.dumps({"command": "transcribe", "since_s": 1.78e9}),
        json.dumps({"broken.wav": [9, 9, "0.1"]}),
        json.dumps({"directory": "results", "files": ["map.kml"], "stale": ["a"]}),
    ),
    "heard": (
        _lines(
            {"by": _BY, "pieces": [[0.0, 1.5], [1.5, None]]},
            {"piece": 0, "start_s": 1.0, "end_s": 2.0, "words": [_WORD]},
            {"piece": 0, "reached_s": 1.5, "peak": 0.5},
            {"piece": 0, "done": True},
            {"remark": "cut off"},
            {"done": True},
        ),
    ),
    "journal": (
        _lines(
            {"type": "begin"}, _NOTE,
            {"type": "said again", "recording": f"{SESSION}.flac", "start_s": 0.5,
             "kind": "away"},
            {"type": "own voice", "start_s": 1, "end_s": 2, "words": "yellow"},
            {"type": "unheard"}, {"type": "end"},
        ),
    ),
}  # fmt: skip
_NUMBERS = (
    "1e999",
    "-1",
    "NaN",
    "Infinity",
    "null",
    "true",
    "[]",
    "{}",
    "9" * 400,
    "0",
)
TOKENS: dict[str, tuple[str, ...]] = {
    "machine": (
        "r0001", "r0002", "h0001", "mark", "touched", "2026-07-14_1000.vtt", "away",
        "2026-07-14T10:15:01+01:00", "yellow", "10:15", "1.00", ",", "\n", '"',
    ),
    "notes kept": (
        '"since_s"', '"command"', '"directory"', '"files"', '"stale"', '"../x"', '""',
        '".."', '"/etc"', '"recordings"', '"hunt.toml"', ":", ",", "[", "]", "{", "}",
        *_NUMBERS,
    ),
    "heard": (
        '"by"', '"pieces"', '"piece"', '"words"', '"reached_s"', '"done"', '"text"',
        '"source"', '"start_s"', '"alternatives"', "\n", ":", ",", "{", "}", *_NUMBERS,
    ),
    "journal": (
        '"type"', '"event"', '"kind"', '"clock"', '"flags"', '"merged"', '"end"',
        '"start_s"', '"recording"', '"../x.flac"', '"alternatives"', "\n", ":", ",",
        "{", "}", '"0001-01-01T00:00:00+00:00"', *_NUMBERS,
    ),
}  # fmt: skip
