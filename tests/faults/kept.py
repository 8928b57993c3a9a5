"""Good files of the kinds that Treeward keeps in a hunt's `.treeward`, and their parts.

They come with the hunt when somebody else sends it, and from disks that lost half.
"""

from __future__ import annotations

import json
from typing import Any

SESSION = "live-2026-07-14_100000"
JOURNAL = f".treeward/live/{SESSION}.jsonl"
SOUND = "memo.wav"  # the recording that a kept hearing and kept facts are of
OWNERS = (".treeward/at_work.json", ".treeward/listen.lock.owner")
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
BY: dict[str, Any] = {
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
    "machine": (".treeward/review_machine.csv",),
    "last": (".treeward/review_last.csv",),
    "starts": (".treeward/starts.json",),
    "facts": (".treeward/recordings.json",),
    "left out": (".treeward/left_out.json",),
    "complete": (".treeward-results-0123456789ab/complete.json",),
    "locks": (
        *OWNERS,
        ".treeward/lock",
        ".treeward/listen.lock",
        ".treeward/cautions-read.txt",
        ".treeward/live/room-for-notes.bin",
        ".treeward/ready/review_machine.csv",
        ".treeward/ready/review_last.csv",
        ".treeward/ready/review.csv",
        ".treeward-review-0123456789ab.csv",
    ),
    "heard": (f".treeward/heard/{SOUND}.jsonl",),
    "journal": (JOURNAL,),
    "piece": (
        f".treeward/live/{SESSION}/0000000000.wav",
        f".treeward/live/{SESSION}/0000000500.flac",
        f".treeward/live/{SESSION}/0000000000.wav.part",
    ),
    "phrases": ("phrasebook.toml",),
}
_FACTS = {
    "size_bytes": 1644, "created": "2026-07-14T10:00:00+01:00", "day": "2026-07-14",
    "file_modified": "2026-07-14T09:20:00+00:00", "day_from": "the file's time",
}  # fmt: skip
TEXTS: dict[str, tuple[str, ...]] = {
    "machine": (_HEADING + _ROWS, _HEADING, _HEADING.replace(",touched", "") + _ROWS),
    "last": (
        _HEADING + _ROWS,
        _HEADING.replace(",touched", "") + _ROWS.replace(",mark remark", ""),
        f"\ufeff{_HEADING}{_ROWS}".replace(",", ";"),
    ),
    "starts": (
        json.dumps({"2026-07-14_1000.vtt": "2026-07-14 10:00"}),
        json.dumps({SOUND: "2026-07-14 10:00", "2026-07-14_1000.vtt": "10:00"}),
    ),
    "facts": (
        json.dumps({SOUND: _FACTS}),
        json.dumps({SOUND: {**_FACTS, "created": None}, "gone.wav": _FACTS}),
    ),
    "left out": (
        json.dumps({"broken.wav": [9, 9, "0.1"]}),
        json.dumps({SOUND: [1644, 9, "0.1"], "a/b.wav": []}),
    ),
    "complete": (
        json.dumps({"directory": "results", "files": ["map.kml"], "stale": ["a"]}),
    ),
    "locks": (
        json.dumps({"command": "transcribe", "since_s": 1.78e9}),
        "4711",
        "Stings can kill.\n",
    ),
    "phrases": (
        """\
schema = 1
[colours]
turquoise = ["turquoise", "tur kwoyz"]
[spots]
wing = ["wing"]
[unmarked]
say = ["plain bee"]
""",
        """\
schema = 1
[actions.back]
also_say = ["{mark} is home"]
weight = 2
also_narrate = ["here comes {mark}"]
[anchors]
bearing = ["heading"]
""",
    ),
    "heard": (
        _lines(
            {"by": BY, "pieces": [[0.0, 1.5], [1.5, None]]},
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
_SIGNS = (":", ",", "[", "]", "{", "}", "\n", *_NUMBERS)
_CLOCKS = (
    '"2026-07-14 10:00"', '"2026-07-14T10:00:00"', '"0001-01-01T00:00:00+14:00"',
    '"9999-12-31T23:59:59-14:00"', '"2026-07-14"', '"10:00"', '"2026-02-30 10:00"',
)  # fmt: skip
_MACHINE = (
    "r0001", "r0002", "h0001", "mark", "touched", "2026-07-14_1000.vtt", "away",
    "2026-07-14T10:15:01+01:00", "yellow", "10:15", "1.00", ",", "\n", '"',
)  # fmt: skip
TOKENS: dict[str, tuple[str, ...]] = {
    "machine": _MACHINE,
    "last": (*_MACHINE, ";", "\ufeff", "drop", "keep", "h0001"),
    "starts": (*_SIGNS, *_CLOCKS, f'"{SOUND}"', '"2026-07-14_1000.vtt"'),
    "facts": (
        *_SIGNS, *_CLOCKS, f'"{SOUND}"', '"gone.wav"', '"\\ud800"', "1644",
        *(f'"{key}"' for key in _FACTS),
    ),
    "left out": (*_SIGNS, f'"{SOUND}"', '"../x.wav"', "1644", '"0.1"'),
    "complete": (
        *_SIGNS, '"directory"', '"files"', '"stale"', '"../x"', '""', '".."', '"/etc"',
        '"recordings"', '"hunt.toml"', '"results"', '"map.kml"', '"complete.json"',
    ),
    "locks": (*_SIGNS, '"since_s"', '"command"', "1784000000", "-1e20", "\n"),
    "phrases": (
        "[colours]\n", "[spots]\n", "[unmarked]\n", "[actions.back]\n",
        "[actions.away]\n", "[anchors]\n", "[commands]\n", "schema = 1\n",
        "schema = 2\n",
        'also_say = ["{mark} is home"]\n', 'say = ["{mark}"]\n', "weight = 1e999\n",
        'card = "{mark} back"\n', 'yellow = ["yellow", "red"]\n', 'a = ["a"]\n',
        'bearing = ["yellow"]\n', "{mark}", '["back"]', "'", "-", *_NUMBERS,
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
