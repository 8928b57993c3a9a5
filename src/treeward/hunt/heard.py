"""What was heard in a recording, kept so that a stopped run can go on.

One file of JSON lines for each recording, in the hunt's `.treeward/heard/`: a line
that says what heard it and into which pieces it was cut, then a line for each
utterance as soon as it is known, then `{"done": true}`. Lines of pieces that are heard
at the same time stand among each other. A line cut short by a crash is dropped when
the file is read.

A long recording is heard in pieces, which may be heard at the same time. The cuts
depend on the sound alone, and an engine hears each stretch by itself, so that the same
is heard however many work at once.
"""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from treeward.audio import LONGEST_S, SAMPLE_RATE_HZ, Block
from treeward.audio.reader import read_blocks
from treeward.files import kept_number, kept_text, read_plain, write_text
from treeward.speech.utterances import Alternative, Utterance, Word, WordSource
from treeward.within import held, open_plain

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from treeward.errors import SoundError


PIECE_S = 1800.0  # so that two processes have work on an hour; choice
_LOOK_S = 20.0  # before and after an even cut, for a pause to cut in; guess
_PAUSE_S = 1.0  # the quietest second is cut in its middle
_STEP_S = 0.05
# Where the place of a sample is known without decoding all before it. Elsewhere (bare
# AAC, AMR) a jump is a guess from the bit rate, and the times would be wrong.
JUMPS_EXACTLY = frozenset(
    {
        "WAV", "WAVEX", "W64", "RF64", "FLAC", "AIFF", "CAF", "AU", "OGG", "MP3",
        "mov,mp4,m4a,3gp,3g2,mj2", "matroska,webm",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A stretch of a recording that is heard by itself; seconds of the recording."""

    number: int
    start_s: float
    end_s: float | None  # None: to the end, wherever that is

    def length_s(self, total_s: float | None) -> float:
        """Give its length; 0 where that is not known."""
        end_s = self.end_s if self.end_s is not None else total_s
        return max((end_s or 0.0) - self.start_s, 0.0)


WHOLE = Piece(number=0, start_s=0.0, end_s=None)


def pieces_of(
    path: Path,
    *,
    duration_s: float | None,
    container: str,
    longest_s: float = PIECE_S,
) -> tuple[Piece, ...]:
    """Cut a recording that is longer into even pieces, each cut moved to a pause.

    `duration_s` and `container` are what `treeward.audio.reader.probe` says of it.

    Raises
    ------
    SoundError
        The recording cannot be read.
    """
    if container not in JUMPS_EXACTLY or not duration_s or duration_s <= longest_s:
        return (WHOLE,)
    count = math.ceil(duration_s / longest_s)
    look_s = min(_LOOK_S, duration_s / count / 4)
    cuts = [0.0]
    for number in range(1, count):
        low_s = number * duration_s / count - look_s
        blocks = []
        for block in read_blocks(path, start_s=low_s, warn=lambda _: None):
            blocks.append(block)
            if block.end_s >= low_s + 2 * look_s:
                break
        if not blocks:
            break  # the recording is cut off before here
        cuts.append(round(low_s + _quietest_s(blocks), 2))
    ends = [*cuts[1:], None]
    return tuple(
        Piece(number=number, start_s=start_s, end_s=end_s)
        for number, (start_s, end_s) in enumerate(zip(cuts, ends, strict=True))
    )


def read_piece(
    path: Path, piece: Piece, *, from_s: float, warn: Callable[[SoundError], None]
) -> Iterator[Block]:
    """Read the blocks of a piece from `from_s` on, a second of the recording."""
    for block in read_blocks(path, start_s=from_s, warn=warn):
        if piece.end_s is None or block.end_s < piece.end_s:
            yield block
            continue
        count = round((piece.end_s - block.start_s) * SAMPLE_RATE_HZ)
        if count > 0:
            yield Block(start_s=block.start_s, samples=block.samples[:count])
        return


def _quietest_s(blocks: list[Block]) -> float:
    """Give the middle of the quietest second of blocks, from the first one's start."""
    import numpy as np

    sound = np.concatenate([block.samples for block in blocks])
    step = int(_STEP_S * SAMPLE_RATE_HZ)
    steps = len(sound) // step
    width = int(_PAUSE_S / _STEP_S)
    if steps <= width:
        return 0.0
    power = np.square(sound[: steps * step], dtype=np.float64)
    level = np.log10(power.reshape(steps, step).mean(axis=1) + 1e-10)
    mean = np.convolve(level, np.ones(width) / width, "valid")
    return float(int(np.argmin(mean)) + width / 2) * _STEP_S


MOST_BYTES = 256_000_000  # a recording of a whole day has 10 MB of words; choice
_MOST = LONGEST_S  # of any number in here: seconds, shares
_LONGEST_NAME = 200  # bytes; most systems take 255


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardBy:
    """What decides whether an earlier hearing is still good."""

    engine: str
    model: str
    phrase_book: str  # digest
    size_bytes: int
    modified_ns: int = field(compare=False)  # a copy has another, and the same sound
    sha256: str = ""  # of the file; not kept by the first versions
    free: bool = False  # for free speech, with the several texts that talk may be


@dataclass(slots=True)
class HeardPiece:
    """How far the hearing of one piece got."""

    piece: Piece
    utterances: list[Utterance] = field(default_factory=list)
    reached_s: float = 0.0
    peak: float = 0.0  # loudest sample so far, of 1
    done: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """An earlier hearing: the utterances so far, and how far it got."""

    by: HeardBy | None
    pieces: tuple[HeardPiece, ...]
    done: bool  # all of it
    remarks: tuple[str, ...] = ()  # "the file is cut off after 12:30"

    @property
    def utterances(self) -> tuple[Utterance, ...]:
        """What was heard so far, in order of time."""
        return tuple(u for piece in self.pieces for u in piece.utterances)

    @property
    def reached_s(self) -> float:
        """Seconds of sound that were heard."""
        return sum(max(one.reached_s - one.piece.start_s, 0.0) for one in self.pieces)


def heard_name(recording: str) -> str:
    """Return the file name under which a recording's hearing is kept.

    No two recordings share one: a folder's stroke and the sign that stands for it are
    written in the percent notation of RFC 3986. A name too long for a file, or with
    signs that not every system has in names, is told by its digest.
    """
    safe = recording.replace("%", "%25").replace("/", "%2F")
    try:
        short = len(safe.encode("utf-8")) <= _LONGEST_NAME
    except UnicodeEncodeError:  # the recording's name is not UTF-8
        short = False
    if not short:
        digest = hashlib.sha256(recording.encode("utf-8", "surrogatepass"))
        safe = f"%{digest.hexdigest()}"
    return f"{safe}.jsonl"


class HeardFile:
    """The file that holds one recording's hearing.

    `within` is the hunt it belongs to; no link below that is followed.
    """

    def __init__(self, path: Path, *, within: Path | None = None) -> None:
        self.path = path
        self._hunt_dir = within

    def read(self) -> Heard:
        """Return what is kept; nothing where there is no file or it is unreadable."""
        try:
            return self._read()
        except (LookupError, AttributeError, TypeError, ValueError, ArithmeticError):
            # Spoilt, or of another version: the recording is heard anew.
            return Heard(by=None, pieces=(HeardPiece(WHOLE),), done=False)

    def _read(self) -> Heard:
        by: HeardBy | None = None
        pieces = [HeardPiece(WHOLE)]
        remarks: list[str] = []
        done = False
        for entry in self._entries():
            if "by" in entry:
                by = _by_from(entry["by"])
                pieces = _pieces_from(entry)
                continue
            if "remark" in entry:
                remarks.append(kept_text(entry["remark"]))
                continue
            if "piece" not in entry and "done" in entry:
                done = True
                continue
            one = pieces[entry.get("piece", 0)]
            if "words" in entry:
                one.utterances.append(_utterance_from(entry))
            one.reached_s = max(
                one.reached_s, kept_number(entry.get("reached_s", 0.0), most=_MOST)
            )
            one.peak = max(one.peak, kept_number(entry.get("peak", 0.0), most=_MOST))
            one.done = one.done or bool(entry.get("done"))
        told = tuple(dict.fromkeys(remarks))  # each run that goes on tells them
        return Heard(by=by, pieces=tuple(pieces), done=done, remarks=told)

    def begin(self, by: HeardBy, pieces: Sequence[Piece] = (WHOLE,)) -> None:
        """Start afresh: forget what is kept."""
        write_text(self.path, _head(by, pieces), within=self._hunt_dir)

    def forget(self) -> None:
        """Take away what is kept."""
        if self.path.parent.is_dir():
            with held(self._hunt_dir or self.path.parent, self.path.parent) as folder:
                folder.remove(self.path.name)

    def resume(self, by: HeardBy | None = None) -> Heard:
        """Return what is kept, and cut off what a crash left half written.

        Where it was heard by the same as `by`, the time of the file is kept anew.
        """
        heard = self.read()
        if heard.by is not None and heard.by == by:
            heard = replace(heard, by=by)
        if heard.by is not None:
            lines = [_head(heard.by, [one.piece for one in heard.pieces])]
            lines += [_line({"remark": text}) for text in heard.remarks]
            for one in heard.pieces:
                number = one.piece.number
                lines += [_line(_entry_of(u, number)) for u in one.utterances]
                lines.append(_reached(number, one.reached_s, one.peak))
                if one.done:
                    lines.append(_line({"piece": number, "done": True}))
            if heard.done:
                lines.append(_line({"done": True}))
            write_text(self.path, "".join(lines), within=self._hunt_dir)
        return heard

    def add(
        self,
        utterances: Iterable[Utterance],
        *,
        reached_s: float,
        piece: int = 0,
        peak: float = 0.0,
    ) -> None:
        """Keep what was heard of a piece since the last time.

        `reached_s` is the second of the recording up to which it is known and from
        which a later run goes on, `peak` the loudest sample so far, of 1.
        """
        lines = [_line(_entry_of(utterance, piece)) for utterance in utterances]
        self._append("".join(lines) + _reached(piece, reached_s, peak))

    def finish_piece(self, piece: int) -> None:
        """Note that a piece was heard to its end."""
        self._append(_line({"piece": piece, "done": True}))

    def remark(self, text: str) -> None:
        """Keep a remark about the recording as a whole."""
        self._append(_line({"remark": text}))

    def finish(self) -> None:
        """Note that the recording was heard to its end."""
        self._append(_line({"done": True}))

    def _append(self, text: str) -> None:
        with open_plain(
            self.path, "a", within=self._hunt_dir, encoding="utf-8", newline="\n"
        ) as file:
            file.write(text)

    def _entries(self) -> list[dict[str, Any]]:
        try:
            raw = read_plain(self.path, most_bytes=MOST_BYTES)
            lines = raw.decode("utf-8", errors="replace").splitlines()
        except OSError:
            return []
        entries = []
        pending: list[dict[str, Any]] = []
        for line in lines:
            try:
                entry = json.loads(line)
            except (ValueError, RecursionError):
                break  # cut short; what follows cannot be trusted
            if not isinstance(entry, dict):
                raise TypeError(entry)
            pending.append(entry)
            # Utterances count only with the mark that says how far they reach, so
            # that going on never hears a stretch twice or leaves one out.
            if "words" not in entry:
                entries += pending
                pending = []
        return entries


def _line(value: dict[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False) + "\n"


def _head(by: HeardBy, pieces: Sequence[Piece]) -> str:
    values = {name: getattr(by, name) for name in HeardBy.__slots__}
    return _line({"by": values, "pieces": [[p.start_s, p.end_s] for p in pieces]})


def _pieces_from(entry: dict[str, Any]) -> list[HeardPiece]:
    cuts = entry.get("pieces") or [[0.0, None]]
    return [
        HeardPiece(
            Piece(
                number=number,
                start_s=kept_number(start_s, most=_MOST),
                end_s=None if end_s is None else kept_number(end_s, most=_MOST),
            ),
            reached_s=kept_number(start_s, most=_MOST),
        )
        for number, (start_s, end_s) in enumerate(cuts)
    ]


def _reached(piece: int, reached_s: float, peak: float) -> str:
    return _line(
        {"piece": piece, "reached_s": round(reached_s, 3), "peak": round(peak, 6)}
    )


def _entry_of(utterance: Utterance, piece: int) -> dict[str, Any]:
    return {
        "piece": piece,
        "start_s": round(utterance.start_s, 3),
        "end_s": round(utterance.end_s, 3),
        "words": [
            {
                "text": word.text,
                "start_s": round(word.start_s, 3),
                "end_s": round(word.end_s, 3),
                "confidence": round(word.confidence, 4),
                "source": word.source.value,
                "alternatives": [
                    [a.text, round(a.confidence, 4)] for a in word.alternatives
                ],
            }
            for word in utterance.words
        ],
    }


def _by_from(said: dict[str, Any]) -> HeardBy:
    by = HeardBy(**said)
    for name in ("engine", "model", "phrase_book", "sha256"):
        kept_text(getattr(by, name))
    for name in ("size_bytes", "modified_ns"):
        if not isinstance(getattr(by, name), int):
            raise TypeError(name)
    if not isinstance(by.free, bool):
        raise TypeError("free")
    return by


def _utterance_from(entry: dict[str, Any]) -> Utterance:
    words = tuple(
        Word(
            text=kept_text(word["text"]),
            start_s=kept_number(word["start_s"], most=_MOST),
            end_s=kept_number(word["end_s"], most=_MOST),
            confidence=kept_number(word["confidence"], most=_MOST),
            source=WordSource(word["source"]),
            alternatives=tuple(
                Alternative(
                    text=kept_text(text),
                    confidence=kept_number(confidence, most=_MOST),
                )
                for text, confidence in word["alternatives"]
            ),
        )
        for word in entry["words"]
    )
    return Utterance(
        words=words,
        start_s=kept_number(entry["start_s"], most=_MOST),
        end_s=kept_number(entry["end_s"], most=_MOST),
    )
