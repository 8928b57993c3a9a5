"""Timed transcripts made elsewhere, read into utterances.

WebVTT by webvtt-py, SubRip by srt, JSON word lists (a plain list of words, Vosk's
results, whisper-style segments), and plain text lines "[m:ss] words". Where a format
times only whole cues, the words are spread over the cue by their length.

And the small parts of a WebVTT file, for what writes one.
"""

from __future__ import annotations

import html
import io
import json
import math
import re
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from treeward.audio import LONGEST_S
from treeward.errors import TranscriptError
from treeward.files import read_whole

from .utterances import (
    Utterance,
    Word,
    WordSource,
    has_capital,
    in_utterances,
    spread,
    without_controls,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from os import PathLike


_CHARACTER_S = 0.08  # a spoken word lasts about so long for each letter; guess
_FLASH_S = 0.05  # rolling captions show each line again for a moment
_LARGEST = 16 * 2**20  # bytes; 20 h of speech word by word; needs 0.7 GB of memory

_CUE_TIME = r"(?:(\d{1,4}):)?(\d{1,2}):(\d{2})[.,](\d{1,3})"
_CUE_LINE = re.compile(rf"\s*{_CUE_TIME}\s*-->\s*{_CUE_TIME}(?=\s|$).*")
_TEXT_LINE = re.compile(
    r"\s*[\[(]\s*(?:(\d{1,3}):)?(\d{1,3}):(\d{2})(?:[.,](\d{1,3}))?\s*[\])]\s*[-\u2013:]?(.*)"
)
# "Speaker 1 (00:30)", the words on the lines below it.
_SPEAKER_LINE = re.compile(
    r"\s*[^\W\d_][^\[\]():]{0,40}[\[(]\s*(?:(\d{1,3}):)?(\d{1,3}):(\d{2})(?:[.,](\d{1,3}))?"
    r"\s*[\])]\s*:?\s*()"
)
# "0:30 yellow away" of notes whose times are said to be since the start.
_BARE_LINE = re.compile(r"\s*(\d{1,3}):(\d{2})(?::(\d{2}))?(?=\s+\S)")
_FIRST_S = 600.0  # such times begin within it; guess
_INNER_TIME = re.compile(rf"<{_CUE_TIME}>")
# Sounds described for the deaf: [wind], (laughs).
_SOUND = re.compile(r"\[[^\]\[]*\]|\([^()]*\)|\u266a")
_ENDLESS = re.compile(r"\d{100}")
_TAG = re.compile(r"<[^<>]*>|\{\\[^{}]*\}")
# How what cannot be read is to be written.
_CUE = "Write 00:01:02.500 --> 00:01:04.000"
_SUBRIP = "Each cue is a number, a line of times and its words"
_LINE = "Write [m:ss] or [h:mm:ss] and the words"


def read_lines(path: Path, text: str) -> list[Utterance]:
    """Read lines of text "[m:ss] words"; `path` is what a fault names.

    Raises
    ------
    TranscriptError
        As `read_transcript`.
    """
    return _from_lines(path, text)


def read_transcript(path: str | PathLike[str]) -> list[Utterance]:
    """Read a timed transcript.

    The format follows from the file name, or from the content where the name does
    not tell. Byte-order marks, Windows line ends, UTF-16 and Western single-byte
    encodings are read.

    Parameters
    ----------
    path
        A .vtt, .srt, .json, .jsonl or .txt file.

    Returns
    -------
    list of Utterance
        In order of time; seconds from the start; every word's source is TEXT. Words
        are lower case and keep their punctuation.

    Raises
    ------
    TranscriptError
        The file cannot be read or is malformed; the message names file and line.
    """
    path = Path(path)
    text = read_text(path)
    form = _format(path, text)
    if not text.strip():
        raise TranscriptError(
            "is empty", where=str(path), mend="Choose a file that holds words"
        )
    match form:
        case "vtt":
            found = _from_vtt(path, text)
        case "srt":
            found = _from_srt(path, text)
        case "json":
            found = read_json(path, text)
        case _:
            found = _from_lines(path, text)
    return sorted(found, key=lambda utterance: utterance.start_s)


def read_text(path: Path) -> str:
    """Return the words of a text file, whatever it is encoded in.

    Raises
    ------
    TranscriptError
        It cannot be read, is too large, or is no text.
    """
    raw = read_whole(
        path,
        most_bytes=_LARGEST,
        error=TranscriptError,
        too_large="A transcript is text; choose the right file.",
        unreadable="Check that the file exists and may be read.",
    )
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = raw.decode("utf-16", errors="replace")
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("cp1252", errors="replace")
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        mend = "Give a .vtt, .srt, .json or .txt transcript"
        raise _fault(path, line, "is no text file", mend)
    return without_controls(text.replace("\r\n", "\n").replace("\r", "\n"))


def _fault(path: Path, line: int, what: str, mend: str = "") -> TranscriptError:
    return TranscriptError(what, where=f"{path} line {line}", mend=mend)


def _format(path: Path, text: str) -> str:
    suffix = path.suffix.lower()
    if suffix in {".vtt", ".srt", ".json"}:
        return suffix[1:]
    if suffix == ".jsonl" or text.lstrip()[:1] == "{":
        return "json"
    if text.startswith("WEBVTT"):
        return "vtt"
    if "-->" in text[:2000]:
        return "srt"
    start = text.lstrip()
    if start.startswith("[") and not _TEXT_LINE.match(start.split("\n", 1)[0]):
        return "json"
    return "text"


def _seconds(hour: str | None, minute: str, second: str, part: str | None) -> float:
    fraction = float(f"0.{part}") if part else 0.0
    return int(hour or 0) * 3600.0 + int(minute) * 60.0 + int(second) + fraction


def _cue_times(path: Path, text: str) -> list[tuple[int, float, float]]:
    """Check every line that times a cue: line number, start and end."""
    found: list[tuple[int, float, float]] = []
    for number, line in enumerate(text.split("\n"), start=1):
        if "-->" not in line:
            continue
        shown = repr(line.strip()[:60])
        match = _CUE_LINE.fullmatch(line)
        if match is None:
            raise _fault(path, number, f"{shown} is no cue time", _CUE)
        start_s, end_s = _seconds(*match.groups()[:4]), _seconds(*match.groups()[4:])
        if int(match[3]) > 59 or int(match[7]) > 59 or end_s < start_s:
            what = f"{shown} ends before it starts or has no such time"
            raise _fault(path, number, what, _CUE)
        if end_s >= LONGEST_S:  # review.csv could not be read with it
            what = f"{shown} is later than any recording lasts"
            raise _fault(path, number, what, "Correct the time")
        found.append((number, start_s, end_s))
    if not found:
        mend = "Each cue needs a line like 00:01:02.500 --> 00:01:04.000"
        raise _fault(path, 1, "holds no timed cue", mend)
    return found


def _from_vtt(path: Path, text: str) -> list[Utterance]:
    import webvtt
    from webvtt.errors import MalformedCaptionError, MalformedFileError

    if not re.match(r"WEBVTT(?:[ \t\n]|$)", text):
        mend = "Put WEBVTT on the first line, or name the file .srt"
        raise _fault(path, 1, "does not start with WEBVTT", mend)
    times = _cue_times(path, text)
    try:
        captions = webvtt.WebVTT.from_buffer(io.StringIO(text), format="vtt").captions
    except (MalformedCaptionError, MalformedFileError, ValueError) as error:
        raise _fault(path, times[0][0], f"is no WebVTT ({error})") from error
    cues = [
        (_clock_s(caption.start), _clock_s(caption.end), caption.raw_text)
        for caption in captions
    ]
    return _from_cues(path, times, cues)


def _clock_s(text: str) -> float:
    hours, minutes, seconds = ("0:" + text).split(":")[-3:]
    return int(hours) * 3600.0 + int(minutes) * 60.0 + float(seconds)


def _from_srt(path: Path, text: str) -> list[Utterance]:
    import srt

    times = _cue_times(path, text)
    if match := _ENDLESS.search(text):  # srt's pattern takes the square of its length
        line = text[: match.start()].count("\n") + 1
        raise _fault(path, line, "holds a number without end", _SUBRIP)
    try:
        cues = [
            (cue.start.total_seconds(), cue.end.total_seconds(), cue.content)
            for cue in srt.parse(text)
        ]
    except srt.SRTParseError as error:
        line = text[: error.expected_start].count("\n") + 1
        stray = error.unmatched_content.strip()[:60]
        what = f"is no SubRip: {stray!r} stands between cues"
        raise _fault(path, line, what, _SUBRIP) from error
    except (ValueError, OverflowError) as error:
        what = f"is no SubRip ({error})"
        raise _fault(path, times[0][0], what, _SUBRIP) from error
    return _from_cues(path, times, cues)


def _from_cues(
    path: Path,
    times: Sequence[tuple[int, float, float]],
    cues: Sequence[tuple[float, float, str]],
) -> list[Utterance]:
    """Make utterances of cues, having checked that none was passed over."""
    unmet = Counter(round(start_s * 1000) for start_s, _, _ in cues)
    for number, start_s, _ in times:
        at = round(start_s * 1000)
        match = next((ms for ms in (at, at - 1, at + 1) if unmet[ms]), None)
        if match is None:
            mend = "Put an empty line before it, and its words after it"
            raise _fault(path, number, "the cue cannot be read", mend)
        unmet[match] -= 1
    found: list[Utterance] = []
    last_line = ""
    for start_s, end_s, raw in cues:
        lines = [line for line in raw.split("\n") if _plain(line)]
        if lines and _plain(lines[0]).lower() == last_line:
            if len(lines) > 1:
                lines = lines[1:]
            elif end_s - start_s <= _FLASH_S:
                continue
        if lines:
            last_line = _plain(lines[-1]).lower()
            found += _cue_utterance(" ".join(lines), start_s, end_s)
    return found


def _plain(text: str) -> str:
    return " ".join(_SOUND.sub(" ", _TAG.sub("", text)).split())


def _cue_utterance(text: str, start_s: float, end_s: float) -> list[Utterance]:
    """Time the words of a cue: by the times inside it, else by their length."""
    parts: list[tuple[float, str]] = []
    place = 0
    now_s = start_s
    for match in _INNER_TIME.finditer(text):
        parts.append((now_s, _plain(text[place : match.start()])))
        now_s = min(max(_seconds(*match.groups()), now_s), end_s)
        place = match.end()
    parts.append((now_s, _plain(text[place:])))
    words: list[Word] = []
    for index, (part_s, part) in enumerate(parts):
        until_s = parts[index + 1][0] if index + 1 < len(parts) else end_s
        words += spread(part.split(), part_s, until_s)
    if not words:
        return []
    return [Utterance(words=tuple(words), start_s=start_s, end_s=end_s)]


def holds_timed_lines(path: Path, text: str) -> bool:
    """Tell whether a file has timed cues, or a line of text that tells its second."""
    return _format(path, text) != "text" or any(
        _TEXT_LINE.fullmatch(line) or _SPEAKER_LINE.fullmatch(line)
        for line in text.split("\n")
    )


def names_speakers(text: str) -> bool:
    """Tell whether a text begins with a speaker's name and a second near the start."""
    first = next((line for line in text.split("\n") if line.strip()), "")
    match = _SPEAKER_LINE.fullmatch(first)
    return match is not None and _seconds(*match.groups()[:4]) < _FIRST_S


def since_start(text: str) -> str | None:
    r"""Put the times that begin lines into brackets, where they may be since the start.

    They begin near zero, with "0:" or "00:", and go on from there. None where they do
    not, or another line has a time within it.

    Examples
    --------
    >>> since_start("00:30 yellow away\n06:40 yellow back")
    '[00:30] yellow away\n[06:40] yellow back'
    >>> since_start("9:05 yellow away") is None
    True
    """
    last_s = -1.0
    found: list[str] = []
    for line in text.split("\n"):
        match = _BARE_LINE.match(line)
        if match is None:
            if re.search(r"\d:\d\d", line):
                return None
            found.append(f"[0:00] {line}" if last_s < 0 and line.strip() else line)
            continue
        first, second, third = match.groups()
        hour, minute, second = (
            (first, second, third) if third else (None, first, second)
        )
        start_s = _seconds(hour, minute, second, None)
        if int(second) > 59 or start_s < max(last_s, 0.0):
            return None
        if last_s < 0 and (int(first) or start_s >= _FIRST_S):
            return None
        last_s = start_s
        found.append(f"[{match[0].strip()}]{line[match.end() :]}")
    return "\n".join(found) if last_s >= 0 else None


def _from_lines(path: Path, text: str) -> list[Utterance]:
    """Read "[m:ss] words" lines; a line without a time goes on with the one before."""
    timed: list[tuple[float, list[str]]] = []
    for number, line in enumerate(text.split("\n"), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        match = _TEXT_LINE.fullmatch(line) or _SPEAKER_LINE.fullmatch(line)
        if match is None and timed and not re.match(r"\s*[\[(]\s*\d", line):
            timed[-1][1].extend(_plain(line).split())
            continue
        if match is None or int(match[3]) > 59 or (match[1] and int(match[2]) > 59):
            what = f"{line.strip()[:60]!r} does not start with a time"
            raise _fault(path, number, what, _LINE)
        start_s = _seconds(match[1], match[2], match[3], match[4])
        if timed and start_s < timed[-1][0]:
            what = f"{line.strip()[:60]!r} is earlier than the line before it"
            mend = "Put the lines in order of time, or correct the time"
            raise _fault(path, number, what, mend)
        timed.append((start_s, _plain(match[5]).split()))
    if not timed:
        raise _fault(path, 1, "holds no timed line", _LINE)
    found: list[Utterance] = []
    later_s = following_s = float("inf")  # the next other time; the time just after
    for start_s, texts in reversed(timed):
        later_s = following_s if following_s > start_s else later_s
        following_s = start_s
        if not texts:
            continue
        letters = sum(len(word) for word in texts)
        end_s = min(start_s + _CHARACTER_S * letters, later_s)
        words = spread(texts, start_s, end_s)
        found.append(Utterance(words=tuple(words), start_s=start_s, end_s=end_s))
    return found[::-1]


_SHAPES = (
    'Give a list of {"word", "start", "end"}, Vosk\'s {"result": [...]}, or'
    ' {"segments": [{"start", "end", "text"}]}'
)
_CONFIDENCE_KEYS = ("conf", "confidence", "probability", "score")


class _Reader:
    def __init__(self, path: Path) -> None:
        self.path = path

    def fault(self, what: str, at: str) -> TranscriptError:
        return TranscriptError(what, where=f"{self.path} {at}", mend=_SHAPES)

    def number(self, entry: dict[str, Any], key: str, at: str) -> float:
        value = entry.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fault(f"{key} is {_shown(value)}, not a number", at)
        if not -LONGEST_S < value < LONGEST_S or not math.isfinite(value):
            raise self.fault(f"{key} is {_shown(value)} seconds", at)
        return float(value)

    def times(self, entry: dict[str, Any], at: str) -> tuple[float, float]:
        start_s = self.number(entry, "start", at)
        end_s = self.number(entry, "end", at)
        if start_s < 0 or end_s < start_s:
            raise self.fault(f"starts at {start_s:g} s and ends at {end_s:g} s", at)
        return start_s, end_s

    def word(self, entry: object, at: str) -> list[Word]:
        if not isinstance(entry, dict):
            raise self.fault(f"is {_shown(entry)}, not a word with its times", at)
        text = entry.get("word", entry.get("text"))
        if not isinstance(text, str):
            raise self.fault("has no word", at)
        start_s, end_s = self.times(entry, at)
        confidence = 1.0
        for key in _CONFIDENCE_KEYS:
            if entry.get(key) is not None:
                confidence = min(max(self.number(entry, key, at), 0.0), 1.0)
                break
        texts = without_controls(text).split()
        if not texts:
            return []
        return [
            Word(
                text=" ".join(texts).lower(),
                start_s=start_s,
                end_s=end_s,
                confidence=confidence,
                source=WordSource.TEXT,
                capital=has_capital(texts[0]),
            )
        ]

    def words(self, entries: object, at: str) -> list[Word]:
        if not isinstance(entries, list):
            raise self.fault("is no list of words", at)
        found: list[Word] = []
        for number, entry in enumerate(entries, start=1):
            found += self.word(entry, f"{at} word {number}".strip())
        return found

    def segment(self, entry: object, at: str) -> list[Utterance]:
        if not isinstance(entry, dict):
            raise self.fault(f"is {_shown(entry)}, not a segment", at)
        if entry.get("words"):
            return in_utterances(self.words(entry["words"], at))
        times = entry
        if isinstance(entry.get("offsets"), dict):  # whisper.cpp, milliseconds
            offsets = entry["offsets"]
            times = {
                "start": self.number(offsets, "from", at) / 1000.0,
                "end": self.number(offsets, "to", at) / 1000.0,
            }
        text = entry.get("text")
        if not isinstance(text, str):
            raise self.fault("has no text", at)
        start_s, end_s = self.times(times, at)
        words = spread(without_controls(text).split(), start_s, end_s)
        if not words:
            return []
        return [Utterance(words=tuple(words), start_s=start_s, end_s=end_s)]

    def value(self, data: object, at: str) -> list[Utterance]:
        if isinstance(data, list):
            return self._list(data, at)
        if not isinstance(data, dict):
            raise self.fault(f"holds {_shown(data)}", at)
        for key in ("segments", "transcription"):
            if key in data:
                return self._segments(data[key], f"{at} {key}".strip())
        for key in ("result", "words"):
            if key in data:
                return in_utterances(self.words(data[key], at))
        if isinstance(data.get("results"), list):
            return self._list(data["results"], at)
        if set(data) <= {"text", "partial"}:
            return []  # Vosk writes these where nothing was said
        raise self.fault("holds neither words nor segments", at)

    def _segments(self, entries: object, at: str) -> list[Utterance]:
        if not isinstance(entries, list):
            raise self.fault("is no list", at)
        found: list[Utterance] = []
        for number, entry in enumerate(entries, start=1):
            found += self.segment(entry, f"{at} segment {number}")
        return found

    def _list(self, entries: list[Any], at: str) -> list[Utterance]:
        words: list[Word] = []
        found: list[Utterance] = []
        for number, entry in enumerate(entries, start=1):
            here = f"{at} entry {number}"
            if not isinstance(entry, dict):
                raise self.fault(f"is {_shown(entry)}", here)
            if "word" in entry:
                words += self.word(entry, here)
            elif "start" in entry and "text" in entry:
                found += self.segment(entry, here)
            else:
                found += self.value(entry, here)
        return found + in_utterances(words)


def _shown(value: object) -> str:
    text = repr(value) if not isinstance(value, int) or abs(value) < 10**12 else "huge"
    return text if len(text) <= 40 else f"{text[:37]}..."


def read_json(path: Path, text: str) -> list[Utterance]:
    """Read a JSON transcript, or one JSON value a line.

    Raises
    ------
    TranscriptError
        Not JSON, or of no known shape; the message names the line, and the word or
        the segment by its number.
    """
    reader = _Reader(path)
    try:
        return _found(path, reader.value(json.loads(text), "line 1"))
    except json.JSONDecodeError as error:
        rows = enumerate(text.split("\n"), start=1)
        lines = [(number, row) for number, row in rows if row.strip()]
        if not _whole(lines[0][1]):
            raise _not_json(path, error.lineno, error.msg) from error
    except (RecursionError, ValueError) as error:
        raise _not_json(path, 1, "nested too deeply, or a number too long") from error
    found: list[Utterance] = []
    for number, line in lines:
        try:
            found += reader.value(json.loads(line), f"line {number}")
        except json.JSONDecodeError as error:
            raise _not_json(path, number, error.msg) from error
        except (RecursionError, ValueError) as error:
            raise _not_json(path, number, "nested too deeply") from error
    return _found(path, found)


def _whole(line: str) -> bool:
    """Tell whether a line is a JSON value by itself."""
    try:
        json.loads(line)
    except (RecursionError, ValueError):
        return False
    return True


def _found(path: Path, found: list[Utterance]) -> list[Utterance]:
    if not found:
        raise _fault(path, 1, "holds no words", _SHAPES)
    return found


def _not_json(path: Path, line: int, what: str) -> TranscriptError:
    return _fault(path, line, f"is not JSON: {what}", _SHAPES)


SHORTEST_S = 0.5  # a cue must last long enough to be seen; choice


def stamp(seconds: float) -> str:
    """Write seconds as a WebVTT time stamp."""
    thousandths = round(seconds * 1000)
    hours, rest = divmod(thousandths, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    return f"{hours:02d}:{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


def escaped(text: str) -> str:
    """Write text so that WebVTT takes nothing in it for markup."""
    return html.escape(text, quote=False)
