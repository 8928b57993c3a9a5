"""The recogniser's networks, run by ONNX Runtime: sound to states, states to words.

An encoder makes some 41 states a second of the sound; a decoder writes pieces of words
from them, each in the light of those before (Jeffries et al. 2024, "Moonshine: speech
recognition for live transcription and voice commands", arXiv:2410.15608).

The pieces of words that the recogniser writes, and how words are made of them.

When a note that was recognised begins and ends, to some hundredths of a second: the
recogniser gives no times. But it stops believing a note as soon as the beginning of
its first word is cut off, or the end of its last: so the cuts are searched for at which
the note's probability falls, and from there the sound's own rise and fall out of the
noise is followed. Where several notes were said in one breath, they are parted where
the two halves together are likeliest.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio import SAMPLE_RATE_HZ
from treeward.errors import SpeechError

from . import open_network

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray


START, END = 1, 2  # ids of "begin here" and "nothing more", as the model was taught
SPACE = "▁"  # stands before the first piece of a word
_FIRST_PIECE = 259  # ids below are marks and single bytes, as the model was taught
_LONG = 128  # a length byte from here on has a second one after it


class Tokens:
    """The recogniser's pieces of words, in the order of their numbers."""

    def __init__(self, pieces: list[bytes]) -> None:
        self._pieces = pieces
        self._ids: dict[str, int] = {}
        for number, piece in enumerate(pieces[_FIRST_PIECE:], _FIRST_PIECE):
            text = piece.decode("utf-8", errors="replace")
            self._ids.setdefault(text, number)
        self.spell = lru_cache(maxsize=None)(self._spell)

    @classmethod
    def read(cls, path: Path) -> Tokens:
        """Read a tokenizer.bin: each piece a length byte (two from 128 on), its bytes.

        Raises
        ------
        SpeechError
            The file is cut off.
        """
        if not path.is_file():
            raise SpeechError(
                "there is no such file",
                where=str(path),
                mend="Install or copy the model again",
            )
        data = path.read_bytes()
        pieces, at = [], 0
        while at < len(data):
            length = data[at]
            at += 1
            if length >= _LONG and at < len(data):
                length += _LONG * data[at] - _LONG
                at += 1
            pieces.append(data[at : at + length])
            at += length
        if at != len(data) or len(pieces) <= _FIRST_PIECE:
            raise SpeechError(
                "is no list of word pieces, or is cut off",
                where=str(path),
                mend="Install or copy the model again",
            )
        return cls(pieces)

    def __len__(self) -> int:
        return len(self._pieces)

    def _spell(self, text: str) -> tuple[int, ...] | None:
        """Give the pieces of a word as the model was taught them, if it has them all.

        The two neighbours whose joined piece has the lowest number are joined first
        (byte pair encoding, Sennrich, Haddow & Birch 2016).
        """
        parts = list(text)
        while True:
            joined = [
                (self._ids[a + b], place)
                for place, (a, b) in enumerate(pairwise(parts))
                if a + b in self._ids
            ]
            if not joined:
                break
            _, place = min(joined)
            parts[place : place + 2] = [parts[place] + parts[place + 1]]
        if any(part not in self._ids for part in parts):
            return None
        return tuple(self._ids[part] for part in parts)

    def text(self, ids: Iterable[int]) -> str:
        """Give what pieces say."""
        said = b"".join(
            self._byte(number) for number in ids if number not in (START, END)
        )
        return said.decode("utf-8", errors="replace").replace(SPACE, " ").strip()

    def _byte(self, number: int) -> bytes:
        return self._pieces[number] if number < len(self._pieces) else b""


ENCODER, DECODER, PIECES = (
    "encoder_model.ort",
    "decoder_model_merged.ort",
    "tokenizer.bin",
)
LEAST_SAMPLES = 3200  # 0.2 s; the encoder's first layers want some sound
PIECES_A_SECOND = 6.5  # people say no more; drawn-out words make it repeat itself
SPARE_PIECES = 4  # beside that
MEND = "Install or copy the model again; treeward doctor says where it was looked for"
LONGEST_S = 9.1  # of sound at a time; the networks were made for no more


@dataclass(frozen=True, slots=True)
class Encoded:
    """One stretch of sound as the decoder takes it, with its first step done."""

    states: NDArray[np.float32]  # (1, frames, width)
    heads: tuple[NDArray[np.float32], ...]  # keys and values of the states, by layer
    first: Beam
    seconds: float

    @property
    def most_pieces(self) -> int:
        """Pieces of words that can be said in this time."""
        return int(self.seconds * PIECES_A_SECOND) + SPARE_PIECES


@dataclass(frozen=True, slots=True)
class Beam:
    """Decoder states of several beginnings, and what may follow each."""

    log_p: NDArray[np.float32]  # (beginnings, pieces), natural logarithm
    past: tuple[NDArray[np.float32], ...]  # (beginnings, heads, steps, width)


@dataclass(frozen=True, slots=True)
class FreeText:
    """What the recogniser writes when it may write anything."""

    pieces: tuple[int, ...]
    log_p: float  # of all of it, the end included
    each: tuple[float, ...]  # of each piece, the end included


class Model:
    """A recogniser of one folder: the files ENCODER, DECODER and PIECES.

    Raises
    ------
    SpeechError
        A file is missing, spoilt, or of another family.
    """

    def __init__(self, folder: Path) -> None:
        self.tokens = Tokens.read(folder / PIECES)
        self._encoder = open_network(folder / ENCODER, mend=MEND)
        self._decoder = open_network(folder / DECODER, mend=MEND)
        inputs = {one.name: one for one in self._decoder.get_inputs()}
        outputs = [one.name for one in self._decoder.get_outputs()]
        kept = [name for name in inputs if name.startswith("past_key_values.")]
        wanted = {"input_ids", "encoder_hidden_states", "use_cache_branch"}
        if not kept or not wanted <= set(inputs):
            raise SpeechError(
                "is no decoder of this family of models",
                where=str(folder / DECODER),
                mend="Take a folder with encoder, decoder and tokenizer of one model",
            )
        self._own = [name for name in kept if ".decoder." in name]
        self._cross = [name for name in kept if ".encoder." in name]
        self._masked = "encoder_attention_mask" in inputs
        self._encoder_masked = len(self._encoder.get_inputs()) > 1
        shape = inputs[kept[0]].shape
        self._heads, self._width = int(shape[1]), int(shape[3])
        self._logits = outputs[0]

    def states(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Make states of a stretch of sound, mono, 16 kHz, at most LONGEST_S."""
        samples = samples[: int(LONGEST_S * SAMPLE_RATE_HZ)]
        if len(samples) < LEAST_SAMPLES:
            samples = np.pad(samples, (0, LEAST_SAMPLES - len(samples)))
        sound = np.ascontiguousarray(samples, dtype=np.float32)[None]
        feeds = {"input_values": sound}
        if self._encoder_masked:
            feeds["attention_mask"] = np.ones(sound.shape, dtype=np.int64)
        found: NDArray[np.float32] = self._encoder.run(None, feeds)[0]
        return found

    def encode(self, samples: NDArray[np.float32]) -> Encoded:
        """Take in a stretch of sound, and do the decoder's first step."""
        seconds = min(len(samples) / SAMPLE_RATE_HZ, LONGEST_S)
        states = self.states(samples)
        nothing = np.zeros((1, self._heads, 0, self._width), dtype=np.float32)
        feeds = dict.fromkeys((*self._own, *self._cross), nothing)
        feeds |= self._fixed(states, np.array([[START]], dtype=np.int64), cached=False)
        names = [_present(name) for name in (*self._own, *self._cross)]
        logits, *rest = self._decoder.run([self._logits, *names], feeds)
        own = len(self._own)
        first = Beam(log_p=_log_softmax(logits[:, -1]), past=tuple(rest[:own]))
        return Encoded(
            states=states, heads=tuple(rest[own:]), first=first, seconds=seconds
        )

    def step(
        self,
        encoded: Encoded,
        beam: Beam,
        rows: Sequence[int],
        pieces: Sequence[int],
    ) -> Beam:
        """Go on from beginnings `rows` of a beam with a piece each."""
        count = len(rows)
        feeds: dict[str, Any] = {}
        for name, past in zip(self._own, beam.past, strict=True):
            feeds[name] = past[rows]
        for name, heads in zip(self._cross, encoded.heads, strict=True):
            feeds[name] = np.repeat(heads, count, axis=0) if count > 1 else heads
        states = (
            np.repeat(encoded.states, count, axis=0) if count > 1 else encoded.states
        )
        ids = np.array(pieces, dtype=np.int64)[:, None]
        feeds |= self._fixed(states, ids, cached=True)
        names = [_present(name) for name in self._own]
        logits, *rest = self._decoder.run([self._logits, *names], feeds)
        return Beam(log_p=_log_softmax(logits[:, -1]), past=tuple(rest))

    def write(self, encoded: Encoded) -> FreeText:
        """Write what is said, whatever it is: the likeliest piece each time."""
        beam, pieces, each = encoded.first, list[int](), list[float]()
        for _ in range(encoded.most_pieces):
            piece = int(np.argmax(beam.log_p[0]))
            each.append(float(beam.log_p[0, piece]))
            if piece == END:
                break
            pieces.append(piece)
            beam = self.step(encoded, beam, [0], [piece])
        else:
            each.append(float(beam.log_p[0, END]))
        return FreeText(pieces=tuple(pieces), log_p=sum(each), each=tuple(each))

    def weigh(
        self, states: NDArray[np.float32], pieces: Sequence[int]
    ) -> NDArray[np.float32]:
        """Give the log probability of each piece of a given text, and of its end."""
        ids = np.array([[START, *pieces]], dtype=np.int64)
        nothing = np.zeros((1, self._heads, 0, self._width), dtype=np.float32)
        feeds: dict[str, Any] = dict.fromkeys((*self._own, *self._cross), nothing)
        feeds |= self._fixed(states, ids, cached=False)
        logits = self._decoder.run([self._logits], feeds)[0]
        log_p = _log_softmax(logits[0])
        each: NDArray[np.float32] = log_p[np.arange(len(ids[0])), [*pieces, END]]
        return each

    def _fixed(
        self, states: NDArray[np.float32], ids: NDArray[np.int64], *, cached: bool
    ) -> dict[str, Any]:
        feeds: dict[str, Any] = {
            "input_ids": ids,
            "encoder_hidden_states": states,
            "use_cache_branch": np.array([cached]),
        }
        if self._masked:
            feeds["encoder_attention_mask"] = np.ones(states.shape[:2], dtype=np.int64)
        return feeds


def _log_softmax(logits: NDArray[np.float32]) -> NDArray[np.float32]:
    top = logits.max(axis=-1, keepdims=True)
    shifted = logits - top
    found: NDArray[np.float32] = shifted - np.log(
        np.exp(shifted).sum(axis=-1, keepdims=True)
    )
    return found


def _present(past: str) -> str:
    return past.replace("past_key_values", "present")


FALL = 3.0  # nats lost that tell of a word's loss; measured on people's words
LEAST_NOTE_S = 0.25  # no note is shorter; guess
PARTED_WITHIN_S = 1.5  # of where two notes would be parted by length; guess
PRECISE_S = 0.04  # to which a cut is searched
STARTS_BEFORE_S = 0.22  # a word begins no longer before the cut; measured
ENDS_AFTER_S = 0.3  # and ends no longer after; measured
LULL_S = 0.25  # a longer lull is outside the note; slow words have shorter ones
CLEAR = 8.0  # a note so far out of the noise needs no search for cuts; measured
QUITE_CLEAR = 15.0  # below this noise hides the soft ends of words; measured
HIDDEN_START_S, HIDDEN_END_S = 0.04, 0.07  # of a word, hidden by noise; measured
_HOP, _WINDOW, _SPECTRUM = 160, 400, 512  # samples: 10 ms steps, 25 ms windows
_BANDS_HZ = (
    200,
    300,
    400,
    500,
    650,
    800,
    1000,
    1250,
    1600,
    2000,
    2500,
    3150,
    4000,
    6300,
)
_LEAST_SPREAD_DB = 1.5  # of a band's background; guess
_SPREADS = 8.0  # out of its background no band counts more than this; guess
_SHARE_OF_PEAK = 0.12  # of a note's loudest part that is still the note; measured
_NOISE_SPREADS = 3.0  # over the background's middle, to count as sound of the note
_LEAST_QUIET = 20  # frames to learn the background from


def place_notes(
    model: Model,
    sound: NDArray[np.float32],
    notes: Sequence[Sequence[int]],
    voiced: Sequence[tuple[float, float]],
) -> list[tuple[float, float]]:
    """Find when each note was said, in seconds of the sound.

    `notes` are the pieces of words of each, in order; `voiced` says where somebody
    speaks, (start, end) in seconds of the sound.
    """
    placer = _Placer(model, sound, voiced)
    low, found = 0.0, []
    length_s = len(sound) / SAMPLE_RATE_HZ
    for number, pieces in enumerate(notes):
        rest = [piece for later in notes[number + 1 :] for piece in later]
        high = placer.parting((low, length_s), pieces, rest) if rest else length_s
        found.append(placer.edges((low, high), pieces))
        low = high
    return found


class _Placer:
    """Finds the edges of notes in one stretch."""

    def __init__(
        self,
        model: Model,
        sound: NDArray[np.float32],
        voiced: Sequence[tuple[float, float]],
    ) -> None:
        self._model = model
        self._sound = sound
        self._voiced = voiced
        self._levels = _Levels(sound, voiced)

    def edges(
        self, span: tuple[float, float], pieces: Sequence[int]
    ) -> tuple[float, float]:
        """Find where the one note of a span begins and ends."""
        low, high = span
        inside = [
            (max(a, low), min(b, high)) for a, b in self._voiced if b > low and a < high
        ]
        if len(inside) > 1:
            inside, low, high = self._needed(inside, low, high, pieces)
        latest = min(max(inside[0][1], low + 0.2), high) if inside else (low + high) / 2
        earliest = max(min(inside[-1][0], high - 0.2), low) if inside else latest
        core = (inside[0][0], inside[-1][1]) if inside else (latest, latest)
        start_s, end_s, contrast = self._levels.extent(core, low, high)
        if contrast < QUITE_CLEAR:
            start_s, end_s = start_s - HIDDEN_START_S, end_s + HIDDEN_END_S
        if contrast < CLEAR:
            least = self._log_p(low, high, pieces) - FALL
            first = _last_good(
                lambda at: self._log_p(at, high, pieces) > least, low, latest
            )
            last = _last_good(
                lambda at: self._log_p(low, at, pieces) > least, high, earliest
            )
            start_s = min(max(start_s, first - STARTS_BEFORE_S), first)
            end_s = max(min(end_s, last + ENDS_AFTER_S), last)
        return max(start_s, low), min(max(end_s, start_s + PRECISE_S), high)

    def _needed(
        self,
        spans: list[tuple[float, float]],
        low: float,
        high: float,
        pieces: Sequence[int],
    ) -> tuple[list[tuple[float, float]], float, float]:
        """Leave out spans at either end that the note does without: talk, a cough."""
        least = self._log_p(low, high, pieces) - FALL / 2
        while len(spans) > 1:
            after = (spans[0][1] + spans[1][0]) / 2
            if self._log_p(after, high, pieces) < least:
                break
            spans, low = spans[1:], after
        while len(spans) > 1:
            before = (spans[-2][1] + spans[-1][0]) / 2
            if self._log_p(low, before, pieces) < least:
                break
            spans, high = spans[:-1], before
        return spans, low, high

    def parting(
        self, span: tuple[float, float], first: Sequence[int], rest: Sequence[int]
    ) -> float:
        """Find where one note ends and the rest begins."""
        low, high = span
        share = len(first) / (len(first) + len(rest))
        inside = [(a, b) for a, b in self._voiced if b > low and a < high]
        from_s = max(low, inside[0][0]) if inside else low
        to_s = min(high, inside[-1][1]) if inside else high
        guess = from_s + share * (to_s - from_s)
        cuts = self._levels.dips(
            max(from_s + LEAST_NOTE_S, guess - PARTED_WITHIN_S),
            min(to_s - LEAST_NOTE_S, guess + PARTED_WITHIN_S),
        )

        def both(at: float) -> float:
            return self._log_p(low, at, first) + self._log_p(at, high, rest)

        return max(cuts, key=both) if cuts else guess

    def _log_p(self, start_s: float, end_s: float, pieces: Sequence[int]) -> float:
        cut = self._sound[int(start_s * SAMPLE_RATE_HZ) : int(end_s * SAMPLE_RATE_HZ)]
        return float(self._model.weigh(self._model.states(cut), pieces).sum())


def _last_good(good: Callable[[float], bool], safe: float, spoilt: float) -> float:
    """Search the cut between one that does no harm and one that does."""
    if good(spoilt):
        return spoilt
    while abs(spoilt - safe) > PRECISE_S:
        middle = (safe + spoilt) / 2
        if good(middle):
            safe = middle
        else:
            spoilt = middle
    return safe


class _Levels:
    """How far the sound rises out of its own background, every 10 ms."""

    def __init__(
        self, sound: NDArray[np.float32], voiced: Sequence[tuple[float, float]]
    ) -> None:
        level_db = _band_levels_db(sound)
        self._seconds = (np.arange(len(level_db)) * _HOP + _WINDOW / 2) / SAMPLE_RATE_HZ
        quiet = level_db.mean(axis=1) > -90  # a file's digital silence is no noise
        for start_s, end_s in voiced:
            quiet &= (self._seconds < start_s - 0.1) | (self._seconds > end_s + 0.1)
        enough = quiet.sum() > _LEAST_QUIET
        middle_db, spread_db = _middle_and_spread(
            level_db[quiet] if enough else level_db
        )
        spreads = (level_db - middle_db) / np.maximum(spread_db, _LEAST_SPREAD_DB) - 1
        over = np.clip(spreads, 0, _SPREADS).mean(axis=1)
        self._over = np.convolve(over, np.ones(5) / 5, "same")
        middle, spread = _middle_and_spread(self._over[quiet] if enough else self._over)
        self._noise = float(middle + _NOISE_SPREADS * spread)

    def extent(
        self, core: tuple[float, float], low_s: float, high_s: float
    ) -> tuple[float, float, float]:
        """Follow the sound out of where voice activity found it, and back into it.

        Gives start and end in seconds, and how far it stands out of the noise, as a
        ratio.
        """
        last = len(self._seconds) - 1
        first, end = np.searchsorted(self._seconds, core).clip(0, last).tolist()
        loudest = float(np.quantile(self._over[first : end + 1], 0.9))
        limit = max(_SHARE_OF_PEAK * loudest, self._noise)
        active = self._over > limit
        active &= (self._seconds >= low_s) & (self._seconds <= high_s)
        inside = np.flatnonzero(active[first : end + 1])
        if len(inside):
            first, end = first + int(inside[0]), first + int(inside[-1])
        start_s = self._seconds[_followed(active, first, -1)]
        end_s = self._seconds[_followed(active, end, 1)]
        contrast = loudest / max(self._noise, 1e-6)
        return max(float(start_s), low_s), min(float(end_s), high_s), contrast

    def dips(self, low_s: float, high_s: float) -> list[float]:
        """Give the second of each dip between two others, the deepest few."""
        inside = np.flatnonzero((self._seconds >= low_s) & (self._seconds <= high_s))
        if not len(inside):
            return []
        smooth = np.convolve(self._over, np.ones(7) / 7, "same")[inside]
        order = np.argsort(smooth, kind="stable")
        chosen: list[int] = []
        for place in order.tolist():
            if all(abs(place - other) > 12 for other in chosen):
                chosen.append(place)
            if len(chosen) == 6:
                break
        return [float(self._seconds[inside[place]]) for place in chosen]


def _followed(active: NDArray[np.bool_], at: int, way: int) -> int:
    """Go on from a frame as long as lulls are short; give the last active one."""
    last, lull = at, 0
    while 0 <= at < len(active) and lull <= LULL_S * SAMPLE_RATE_HZ / _HOP:
        last, lull = (at, 0) if active[at] else (last, lull + 1)
        at += way
    return last


def _middle_and_spread(
    values: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the median, and the spread that speech overlooked in it hardly moves."""
    middle = np.median(values, axis=0)
    # 1.4826: median deviation to standard deviation of a normal distribution
    return middle, 1.4826 * np.median(np.abs(values - middle), axis=0)


def _band_levels_db(sound: NDArray[np.float32]) -> NDArray[np.float64]:
    count = max(1, (len(sound) - _WINDOW) // _HOP + 1)
    padded = np.pad(sound, (0, max(0, _WINDOW - len(sound))))
    places = np.arange(_WINDOW)[None] + _HOP * np.arange(count)[:, None]
    spectrum = np.fft.rfft(padded[places] * np.hanning(_WINDOW), _SPECTRUM)
    frequency = np.fft.rfftfreq(_SPECTRUM, 1 / SAMPLE_RATE_HZ)
    edges = np.searchsorted(frequency, _BANDS_HZ)
    power = np.add.reduceat(np.abs(spectrum) ** 2, edges[:-1], axis=1)
    return 10 * np.log10(power + 1e-10)
