"""Timed transcripts: each format, its faults, and whatever bytes may come."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from treeward.errors import TranscriptError
from treeward.speech.transcripts import read_transcript, since_start
from treeward.speech.utterances import Utterance, WordSource

VTT = """WEBVTT - from the heath

NOTE a comment

1
00:00:01.000 --> 00:00:03.000 align:start
<v Watcher>Yellow back.

00:01:02.500 --> 00:01:04.500
white's away,
bearing two-ten
"""
SRT = """1
00:00:01,000 --> 00:00:03,000
Yellow back.

2
00:01:02,500 --> 00:01:04,500
<i>white's away,</i>
bearing two-ten
"""
TEXT = """# written by hand
[0:01] Yellow back.
[1:02.5] white's away,
         bearing two-ten
[1:00:00] pause
"""
VOSK = {
    "result": [
        {"conf": 0.9, "start": 1.0, "end": 1.4, "word": "yellow"},
        {"conf": 1.0, "start": 1.5, "end": 2.0, "word": "back"},
        {"conf": 0.5, "start": 62.5, "end": 63.0, "word": "white"},
    ],
    "text": "yellow back white",
}
WHISPER = {
    "text": "Yellow back. White away.",
    "segments": [
        {"id": 0, "start": 1.0, "end": 3.0, "text": " Yellow back."},
        {
            "id": 1,
            "start": 62.5,
            "end": 64.5,
            "text": " White away.",
            "words": [
                {"word": " White", "start": 62.5, "end": 63.0, "probability": 0.8},
                {"word": " away.", "start": 63.1, "end": 64.0, "probability": 0.7},
            ],
        },
    ],
}


def read(folder: Path, name: str, content: str | bytes | object) -> list[Utterance]:
    path = folder / name
    if isinstance(content, bytes):
        path.write_bytes(content)
    elif isinstance(content, str):
        path.write_text(content, encoding="utf-8", newline="")
    else:
        path.write_text(json.dumps(content), encoding="utf-8")
    return read_transcript(path)


def brief(utterances: list[Utterance]) -> list[tuple[float, float, str]]:
    return [(u.start_s, u.end_s, u.text) for u in utterances]


TWO_CUES = [
    (1.0, 3.0, "yellow back."),
    (62.5, 64.5, "white's away, bearing two-ten"),
]


@pytest.mark.parametrize(("name", "content"), [("a.vtt", VTT), ("a.srt", SRT)])
@pytest.mark.parametrize("mangle", ["as is", "bom", "crlf", "cr", "utf16", "no name"])
def test_cues(tmp_path: Path, name: str, content: str, mangle: str) -> None:
    raw = {
        "as is": content.encode(),
        "bom": b"\xef\xbb\xbf" + content.encode(),
        "crlf": content.replace("\n", "\r\n").encode(),
        "cr": content.replace("\n", "\r").encode(),
        "utf16": content.encode("utf-16"),
        "no name": content.encode(),
    }[mangle]
    found = read(tmp_path, "a.txt" if mangle == "no name" else name, raw)

    assert brief(found) == TWO_CUES
    assert all(word.source is WordSource.TEXT for u in found for word in u.words)


def test_words_are_spread_over_their_cue_by_length(tmp_path: Path) -> None:
    first, second = read(tmp_path, "a.vtt", VTT)
    yellow, back = first.words

    assert yellow.start_s == 1.0
    assert yellow.end_s == pytest.approx(1.0 + 2.0 * 6 / 11)
    assert back.start_s == yellow.end_s
    assert back.end_s == pytest.approx(3.0)
    assert second.words[-1].end_s == pytest.approx(64.5)


def test_times_inside_a_cue_are_used(tmp_path: Path) -> None:
    text = (
        "WEBVTT\n\n00:01.000 --> 00:05.000\nyellow<00:02.000> back<00:04.500> again\n"
    )
    (found,) = read(tmp_path, "a.vtt", text)

    assert [(w.text, w.start_s) for w in found.words] == [
        ("yellow", 1.0),
        ("back", 2.0),
        ("again", 4.5),
    ]


def test_rolling_captions_are_read_once(tmp_path: Path) -> None:
    text = (
        "WEBVTT\n\n00:01.000 --> 00:03.000\nyellow back\n\n"
        "00:03.000 --> 00:03.010\nyellow back\n\n"
        "00:03.010 --> 00:05.000\nyellow back\nred away\n"
    )

    assert [u.text for u in read(tmp_path, "a.vtt", text)] == [
        "yellow back",
        "red away",
    ]


def test_described_sounds_are_left_out(tmp_path: Path) -> None:
    text = "WEBVTT\n\n00:01.000 --> 00:03.000\n[wind] >> Yellow back (laughs)\n"
    (found,) = read(tmp_path, "a.vtt", text)

    assert found.text == ">> yellow back"


def test_repeated_cues_are_kept(tmp_path: Path) -> None:
    text = (
        "WEBVTT\n\n00:01.000 --> 00:03.000\nyellow back\n\n"
        "00:09.000 --> 00:11.000\nyellow back\n"
    )

    assert len(read(tmp_path, "a.vtt", text)) == 2


def test_text_lines(tmp_path: Path) -> None:
    found = read(tmp_path, "a.txt", TEXT)

    assert [(u.start_s, u.text) for u in found] == [
        (1.0, "yellow back."),
        (62.5, "white's away, bearing two-ten"),
        (3600.0, "pause"),
    ]
    assert found[0].end_s == pytest.approx(1.0 + 0.08 * 11)


def test_a_text_line_ends_where_the_next_starts(tmp_path: Path) -> None:
    first, _ = read(tmp_path, "a.txt", "[0:01] yellow back and red away\n[0:02] pause")

    assert first.end_s == 2.0


def test_western_single_byte_text_is_read(tmp_path: Path) -> None:
    (found,) = read(
        tmp_path, "a.txt", "[0:01] note caf\xe9 \x93open\x94".encode("latin-1")
    )

    assert found.text == "note caf\xe9 \u201copen\u201d"


@pytest.mark.parametrize(
    "content",
    [
        VOSK,
        VOSK["result"],
        [VOSK],
        {"words": VOSK["result"]},
        {"results": [{"result": VOSK["result"]}, {"text": ""}]},
    ],
)
def test_json_word_lists(tmp_path: Path, content: object) -> None:
    found = read(tmp_path, "a.json", content)

    assert brief(found) == [(1.0, 2.0, "yellow back"), (62.5, 63.0, "white")]
    assert [word.confidence for word in found[0].words] == [0.9, 1.0]


def test_json_lines(tmp_path: Path) -> None:
    text = json.dumps(VOSK) + '\n{"text": ""}\n' + json.dumps({"words": []}) + "\n"

    assert len(read(tmp_path, "a.jsonl", text)) == 2


@pytest.mark.parametrize("content", [WHISPER, WHISPER["segments"]])
def test_json_segments(tmp_path: Path, content: object) -> None:
    found = read(tmp_path, "a.json", content)

    assert brief(found) == [(1.0, 3.0, "yellow back."), (62.5, 64.0, "white away.")]
    assert found[1].words[0].confidence == 0.8


def test_json_segments_in_milliseconds(tmp_path: Path) -> None:
    content = {
        "transcription": [{"offsets": {"from": 1000, "to": 3000}, "text": " Red back."}]
    }

    assert brief(read(tmp_path, "a.json", content)) == [(1.0, 3.0, "red back.")]


@pytest.mark.parametrize(
    ("name", "content", "complaint"),
    [
        ("a.vtt", "WEBVTT\n\n00:01.000 -> 00:02.000\nx\n", r"a\.vtt line 1: holds no"),
        ("a.vtt", "WEBVTT\n\n00:01.000 --> 00:0x.000\nx\n", r"a\.vtt line 3: '00:01"),
        ("a.vtt", "WEBVTT\n\n00:05.000 --> 00:02.000\nx\n", r"line 3: .*ends before"),
        ("a.vtt", "WEBVTT\n\n00:75.000 --> 00:80.000\nx\n", r"line 3: .*no such time"),
        (  # review.csv could not be read any more with such a row in it
            "a.vtt",
            "WEBVTT\n\n9999:59:59.999 --> 9999:59:59.999\nyellow back\n",
            r"a\.vtt line 3: '9999:59:.*later than any recording lasts. Correct",
        ),
        (
            "a.srt",
            "1\n2777:46:39,000 --> 2777:46:40,000\nyellow back\n",
            r"a\.srt line 2: .*later than any recording lasts",
        ),
        (
            "a.vtt",
            "1\n00:01.000 --> 00:02.000\nx\n",
            r"line 1: does not start with WEB",
        ),
        ("a.srt", "1\n00:00:01,000 --> 00:00:0a,000\nx\n", r"a\.srt line 2: "),
        ("a.srt", "yellow back\n", r"a\.srt line 1: holds no timed cue"),
        (
            "a.srt",
            "stray\n\n1\n00:00:01,000 --> 00:00:02,000\nx\n",
            r"line 1: is no Sub",
        ),
        ("a.txt", "yellow back\n", r"a\.txt line 1: 'yellow back' does not start"),
        ("a.txt", "[0:01] a\n[0:99] b\n", r"line 2: '\[0:99\] b' does not start"),
        ("a.txt", "[0:09] a\n[0:01] b\n", r"line 2: .* earlier than the line before"),
        ("a.txt", " \n", r"a\.txt: is empty"),
        ("a.txt", "# nothing\n", r"line 1: holds no timed line"),
        ("a.txt", b"[0:01] a\n\0\0", r"line 2: is no text file"),
        ("a.json", '{\n"a": }', r"a\.json line 2: is not JSON"),
        ("a.json", "[1, 2]", r"line 1 entry 1: is 1"),
        ("a.json", "{}\n{]\n", r"a\.json line 2: is not JSON"),
        ("a.json", '{"a": 1}', r"holds neither words nor segments"),
        ("a.json", "[]", r"line 1: holds no words"),
        (
            "a.json",
            '[{"word": "a", "start": 1}]',
            r"entry 1: end is None, not a number",
        ),
        (
            "a.json",
            '[{"word": "a", "start": 2, "end": 1}]',
            r"starts at 2 s and ends at",
        ),
        ("a.json", '[{"word": "a", "start": NaN, "end": 1}]', r"start is nan"),
        ("a.json", '[{"word": 3, "start": 0, "end": 1}]', r"entry 1: has no word"),
        ("a.json", '{"segments": [{"start": 0, "end": 1}]}', r"segment 1: has no text"),
        ("a.json", "[" * 100_000, r"line 1: is not JSON"),
        ("a.json", '[{"word": "a", "start": 0, "end": ' + "9" * 5000 + "}]", r"line 1"),
    ],
)
def test_faults_name_file_and_line(
    tmp_path: Path, name: str, content: str | bytes, complaint: str
) -> None:
    with pytest.raises(TranscriptError, match=complaint):
        read(tmp_path, name, content)


def test_a_missing_file_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(TranscriptError, match=r"none\.vtt: cannot be read"):
        read_transcript(tmp_path / "none.vtt")


PIECES = st.sampled_from(
    [
        *("WEBVTT", "\n", "\n\n", "00:01.000", " --> ", "00:00:02,500", "1\n", "NOTE "),
        *(
            "[0:01] ",
            "[1:02:03]",
            "yellow back",
            "<v Ann>",
            "<00:01.500>",
            "&amp;",
            "{",
        ),
        *(
            '[{"word": "a", "start": 0, "end": 1}]',
            '{"result": [',
            "]}",
            "null",
            "STYLE",
        ),
        *("\r", "\u2028", "\ufeff", "-->", "<", "99999999999:00:00.000", "\t", "\x85"),
    ]
)


@given(
    st.sampled_from([".vtt", ".srt", ".json", ".jsonl", ".txt", ""]),
    st.one_of(
        st.binary(max_size=60),
        st.lists(PIECES | st.text(max_size=4), max_size=14).map(
            lambda parts: "".join(parts).encode("utf-8", errors="replace")
        ),
        st.lists(PIECES, max_size=14).map(
            lambda parts: ("WEBVTT\n\n" + "".join(parts)).encode()
        ),
    ),
)
@example(".vtt", b"WEBVTT\n\n00:01.000 --> 00:02.000\x85x\n")
@example(".srt", b"00:00:01,000 --> 00:00:02,000")
def test_any_bytes_are_read_or_refused(suffix: str, content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"a{suffix}"
        path.write_bytes(content)
        refused = ""
        found: list[Utterance] = []
        try:
            found = read_transcript(path)
        except TranscriptError as error:
            refused = error.line()

    assert "\n" not in refused
    assert not refused or (str(path) in refused and not found)
    for utterance in found:
        assert utterance.words
        assert utterance.start_s <= utterance.end_s
        for word in utterance.words:
            assert utterance.start_s - 1e-6 <= word.start_s <= word.end_s
            assert word.end_s <= utterance.end_s + 1e-6
            assert word.text == word.text.lower()


def test_a_speakers_line_that_ends_in_a_time_tells_when_the_words_below_were_said(
    tmp_path: Path,
) -> None:
    path = tmp_path / "phone.txt"
    path.write_text(
        "Speaker 1  (00:00)\nStation one.\n\nNon (00:30)\nYellow away\nforty eight.\n"
        "Speaker 1 [1:02:03]:\nYellow back.\n",
        "utf-8",
    )
    said = [
        (u.start_s, " ".join(w.text for w in u.words)) for u in read_transcript(path)
    ]
    assert said == [
        (0.0, "station one."),
        (30.0, "yellow away forty eight."),
        (3723.0, "yellow back."),
    ]


@pytest.mark.parametrize(
    ("page", "lines"),
    [
        ("00:30 yellow away\n61:00 back", "[00:30] yellow away\n[61:00] back"),
        (
            "station 1\n0:00:30 away\n1:00:05 back",
            "[0:00] station 1\n[0:00:30] away\n[1:00:05] back",
        ),
        ("9:05 yellow away\n9:11 back", None),
        ("00:30 yellow away\n00:10 back", None),  # not in order
        ("00:30 yellow away\nat 9:30 back", None),  # a time of day
        ("yellow away", None),
    ],
)
def test_times_near_zero_may_be_since_the_start(page: str, lines: str | None) -> None:
    assert since_start(page) == lines
