"""Good files of every kind of text, and the parts of which they are made.

All invented; the places lie on an upland heath.
"""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING

from treeward.hunt.folder import filled_template
from treeward.language.kinds import EventKind

if TYPE_CHECKING:
    from collections.abc import Sequence

_FULL = (
    "row,recording,start_s,end_s,clock,event,mark,value,confidence,heard,"
    "alternatives,flag,decision,remark"
)
HEADINGS = (
    _FULL,
    "clock,event,mark,value",
    "clock;event;mark;value",
    "row,clock,event,mark,value,decision,remark,weather",
    f"\ufeff{_FULL}",
    "sep=;\nclock;event;mark;value",
)
_REVIEW = (
    (
        f"{_FULL}\n"
        "r0001,memo.vtt,2.00,3.00,2026-07-14T10:00:02+01:00,station,,1,0.97,"
        "station one,,,,\n"
        "r0002,memo.vtt,61.50,62.40,2026-07-14T10:01:01.5+01:00,away,yellow,,0.93,"
        "yellow away,yellow back (0.31); yellow mark (0.07),,keep,\n"
        "r0003,memo.vtt,70.00,71.00,2026-07-14T10:01:10+01:00,bearing,yellow,211,0.61,"
        'bearing two eleven,,heard with little confidence (0.61),,"gust, then calm"\n'
        "r0004,memo.vtt,370.00,371.00,2026-07-14T10:06:10+01:00,back,yellow,,0.99,"
        "yellow back,,,drop,=1+1\n"
    ),
    (
        "clock,event,mark,value\n2026-07-14 10:00:00,station,,1\n"
        "2026-07-14 10:01:00,away,yellow,\n2026-07-14 10:01:05,bearing,yellow,211\n"
        "2026-07-14 10:06:10,back,yellow,\n2026-07-14 10:07:00,time,,10:07\n"
        "2026-07-14 10:08:00,duration,blue-white,away 330\n"
        "2026-07-14 10:09:00,wind,,light 225\n"
    ),
    (
        "\ufeffclock;event;mark;value;decision\r\n14/07/2026 10:00;station;;1;\r\n"
        "14/07/2026 10:01;away;yellow;;keep\r\n14/07/2026 10:06;back;yellow;;\r\n"
    ),
)
_HUNT = (
    filled_template(name="Marl Hollow", timezone="Europe/London"),
    """\
same_bee = ["yellow"]
[hunt]
name = "Marl Hollow"
timezone = "Europe/London"
units = "imperial"
compass = "true"
altitude_m = 300
marks = ["yellow", "white", "blue-white"]
[[station]]
id = "1"
position = "52.301200, -3.610400"
cargo = "syrup"
[[station]]
id = 2
position = "52°18'04.3\\"N 3°36'37.4\\"W"
name = "spring"
[[station]]
id = "3"
position = "30U 458400 5794400"
[start]
"memo-3.m4a" = "2026-07-14 10:20"
[calibration]
station = "2"
hive = "52.304500, -3.613300"
marks = ["red"]
[[known_hive]]
name = "hives at the lane"
position = "52.310000, -3.600000"
marks = ["pink"]
[[colony]]
id = "A"
marks = ["yellow", "blue-white"]
[speech]
flag_below = 0.8
[walk]
limit_m = 1000
leave_out = [["52.300, -3.612", "52.301, -3.612", "52.301, -3.609"]]
[model]
flight_speed_out_m_per_s = [6.0, 8.5]
in_hive_s = [90, 240]
compass_sd_deg = 3
prior_distance_median_m = 900
""",
)
TOML_HEAD = '[hunt]\nname = "Marl Hollow"\ntimezone = "Europe/London"\n'
TOML_KEYS = (
    "[hunt]", "[[station]]", "[station]", "[start]", "[calibration]", "[[known_hive]]",
    "[[colony]]", "[speech]", "[walk]", "[model]", "[hunt.name]", "[[hunt]]", "id",
    "name", "timezone", "units", "compass", "altitude_m", "marks", "position", "cargo",
    "station", "hive", "flag_below", "limit_m", "leave_out", "in_hive_s", "same_bee",
    "flight_speed_out_m_per_s", "compass_sd_deg", "prior_distance_median_m", "a.b.c",
)  # fmt: skip
_WEBVTT = (
    (
        "WEBVTT\n\n00:01.000 --> 00:03.000\nStation one.\n\n"
        "00:00:10.000 --> 00:00:12.000 align:start\n<v Ann>yellow <00:11.000>away\n\n"
        "NOTE made by hand\n\n7\n00:20.000 --> 00:22.500\nThe time is ten twenty.\n\n"
        "05:10.000 --> 05:11.000\nyellow back\n"
    ),
    (
        "WEBVTT - x\nKind: captions\n\nSTYLE\n::cue { color: red }\n\n"
        "00:00.000 --> 00:02.000\nyellow away, bearing two ten [wind]\n\n"
        "00:02.000 --> 00:04.000\nyellow away, bearing two ten\nthen white\n"
    ),
)
_SUBRIP = (
    (
        "1\n00:00:01,000 --> 00:00:03,000\nStation one.\n\n"
        "2\n00:00:10,000 --> 00:00:12,000\n<i>yellow away</i>\n\n"
        "3\n00:05:10,000 --> 00:05:11,500\nyellow back\nand off at once\n"
    ),
)
_TEXT = (
    (
        "# from memory\n[0:01] station one\n[0:10] yellow away, bearing two ten\n"
        "and some more\n[1:05:10.5] - yellow back\n"
    ),
    "(00:02) it is ten twenty\n(05:00) white came back\n",
)
_WORDS = [
    {"word": "yellow", "start": 1.0, "end": 1.4, "conf": 0.9},
    {"word": "away", "start": 1.4, "end": 1.9, "conf": 0.8},
]
_JSON = (
    json.dumps(_WORDS),
    json.dumps({"result": _WORDS, "text": "yellow away"}),
    json.dumps({"segments": [{"start": 0, "end": 2, "text": "yellow away"}]}),
    json.dumps(
        {
            "transcription": [
                {"offsets": {"from": 0, "to": 2000}, "text": " yellow away"}
            ]
        }
    ),
    json.dumps({"text": ""}) + "\n" + json.dumps({"result": _WORDS}) + "\n",
    json.dumps({"segments": [{"start": 0, "end": 2, "words": _WORDS, "text": "x"}]}),
)
GPX_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="field" '
    'xmlns="http://www.topografix.com/GPX/1/1">'
)
_GPX = (
    GPX_HEAD + '<wpt lat="52.3012" lon="-3.6104"><ele>300</ele><name>Station 1</name>'
    '<link href="../x"><text>y</text></link></wpt><trk><name>walk</name><trkseg>'
    '<trkpt lat="52.3" lon="-3.61"><time>2026-07-14T09:00:00Z</time></trkpt>'
    '<trkpt lat="52.301" lon="-3.612"><ele>312.5</ele>'
    "<time>2026-07-14T09:05:00.5Z</time></trkpt></trkseg></trk></gpx>",
    (
        '<gpx version="1.0" xmlns="http://www.topografix.com/GPX/1/0">'
        '<wpt lat="1" lon="2">'
        "<name>2</name></wpt></gpx>"
    ),
    (
        '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">'
        '<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;">]>'
        '<gpx version="1.1"><wpt lat="1" lon="2"><name>&c;</name></wpt></gpx>'
    ),
    (
        '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
        '<gpx version="1.1"><wpt lat="1" lon="2"><name>&x;</name></wpt></gpx>'
    ),
)
JSON_KEYS = (
    "word", "text", "start", "end", "conf", "segments", "words", "result", "results",
    "transcription", "offsets", "from", "to", "partial", "probability",
)  # fmt: skip
GPX_PARTS = (
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-14:00",
    "52.3",
    "-3.6",
    "1.5",
    "Z",
    ".25Z",
    "2026-07-14T09:00:00Z",
    "Station 1",
)
GPX_ELEMENTS = (
    '<wpt lat="{0}" lon="{1}"><name>{2}</name></wpt>',
    '<wpt lat="52.3" lon="-3.6"><time>{0}</time><name>{1}</name><ele>{2}</ele></wpt>',
    '<trk><trkseg><trkpt lat="52.3" lon="{0}"><time>{1}</time></trkpt></trkseg></trk>',
    (
        '<trk><name>{0}</name><trkseg><trkpt lat="52.3" lon="-3.6"><time>'
        "2026-07-14T09:00:00{1}</time></trkpt></trkseg></trk>"
    ),
    '<wpt lat="52.3" lon="-3.6"><name>{0}</name></wpt>',
    '<wpt lat="-52.3" lon="179.9999"><name>2</name><desc>{1}</desc></wpt>',
    '<wpt lat="1" lon="{0}"><name>1</name></wpt>',
    '<rte><rtept lat="{0}" lon="{1}"/></rte>',
    "<metadata><time>{0}</time><bounds minlat='{1}'/></metadata>",
    "<extensions><{0}>{1}</{0}></extensions>",
    "{0}",
)
TEXTS: dict[str, tuple[str, ...]] = {
    "review": _REVIEW,
    "hunt": _HUNT,
    "webvtt": _WEBVTT,
    "subrip": _SUBRIP,
    "text": _TEXT,
    "json": _JSON,
    "gpx": _GPX,
}
_SAID = (
    "yellow away", " yellow back", "station one ", "bearing two ten ", "ten twenty ",
    "scratch that ", "blue white ", "away for five minutes ", "calm ", "\n", " ",
)  # fmt: skip
TOKENS: dict[str, tuple[str, ...]] = {
    "review": (
        *(kind.value for kind in EventKind), "yellow", "blue-white", "1", "211",
        "away 9",
        "10:22", "2026-07-14 10:01:00", "2026-07-14T10:01:00+01:00", "14/07/2026 10:01",
        "03/04/2026 10:01", "45000,5", "keep", "drop", "r0001", "r0002", "h0001", "0.5",
        "50%", "12,5", "memo.vtt", "light 225", "1 Juli 2026 10:01", "\n", ",", ";",
        '"',
        "yellow back (0.31)",
    ),
    "hunt": (
        "52.3012, -3.6104", "-3.6104, 52.3012", "30U 458400 5794400", "Europe/London",
        "water", "syrup", "metric", "magnetic", "1", "2", "[6.0, 8.5]", "[8, 6]", "[]",
        '["yellow"]', "2026-07-14", "10:20:00", "{a = 1}", "0b1", "1e400", "9" * 5000,
        "91, 181", "99Z 1 1", "../../etc/localtime", "/etc/localtime", "Factory",
    ),
    "webvtt": (
        "\n\n00:01.000 --> 00:03.000\n", "\n\n1:00:01.000 --> 1:00:03.000 line:0\n",
        "\n\n00:05.000 --> 00:03.000\n", "\n\n00:61.000 --> 00:63.000\n", "NOTE ",
        "STYLE",
        "<v Ann>", "<00:02.000>", "</c>", "&amp;", "REGION", ("\n\n9999:59:59.999 --> "
        "9999:59:59.999\n"), *_SAID,
    ),
    "subrip": (
        "\n\n1\n00:00:01,000 --> 00:00:03,000\n",
        "\n\n2\n00:00:05,000 --> 00:00:03,000\n",
        "\n\n-3\n00:00:05,000 --> 00:00:13,000\n",
        "\n\n99:99:99,999 --> 99:99:99,999\n",
        "{\\an8}", "<font color=red>", *_SAID,
    ),
    "text": (
        "\n[0:01] ", "\n[1:02:03] ", "\n(59:59) ", "\n[999:00:00.999] ", "\n[0:99] ",
        "\n[] ", "\n[0:0", "\n# ", "\n- ", *_SAID,
    ),
    "json": (
        '{"word": "a", "start": 0, "end": 1}', '"start"', '"end"', '"segments"',
        '"words"',
        '"result"', '"text"', '"conf"', "[", "]", "{", "}", ":", ",", "null", "true",
        "1e400", "-1", "NaN", "Infinity", '"yellow away"', "\n", " ", "1", '"offsets"',
        '"from"', '"to"', '"\\ud800"',
    ),
    "gpx": (
        "52.3", "-3.6", "181", "2026-07-14T09:00:00Z", "2026-07-14T09:00:00", "+25:00",
        "<trkpt>", "</trkpt>", "<trkseg>", "<wpt/>", "lat=", 'lon="0"', "&amp;",
        "<!DOCTYPE gpx>", "<!ENTITY a 'b'>", '<?xml encoding="utf-7"?>', "<gpx>",
        "</gpx>",
        "Station 1", "../../outside/kept.gpx",
    ),
}  # fmt: skip
OPENINGS = {"webvtt": "WEBVTT\n\n", "subrip": "", "text": "", "json": ""}


def csv_line(cells: Sequence[str]) -> str:
    """Write one line of CSV."""
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow(cells)
    return out.getvalue()


def toml_line(key: str, value: str, quoted: object) -> str:
    """Write one line of TOML, its value as text or as it stands."""
    shown = json.dumps(value, ensure_ascii=False) if quoted else value
    return f"{key} = {shown}"
