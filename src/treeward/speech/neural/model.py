"""The recogniser's networks, run by ONNX Runtime: sound to states, states to words.

An encoder makes some 41 states a second of the sound; a decoder writes pieces of words
from them, each in the light of those before (Jeffries et al. 2024, "Moonshine: speech
recognition for live transcription and voice commands", arXiv:2410.15608).

The pieces of words that the recogniser writes, and how words are made of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio.blocks import SAMPLE_RATE_HZ
from treeward.errors import SpeechError
from treeward.speech.models import open_network

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray


START, END = 1, 2  # ids of "begin here" and "nothing more", as the model was taught
SPACE = "▁"  # stands before the first piece of a word
_FIRST_PIECE = 259  # ids below are marks and single bytes, as the model was taught
_LONG = 128  # a length byte from here on has a second one after it


class Tokens:
    """The recogniser's pieces of words, by number.

    Parameters
    ----------
    pieces
        One piece after another, in the order of their numbers.
    """

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
class Said:
    """What the recogniser writes when it may write anything."""

    pieces: tuple[int, ...]
    log_p: float  # of all of it, the end included
    each: tuple[float, ...]  # of each piece, the end included


class Model:
    """A recogniser of one folder: encoder, decoder and pieces.

    Parameters
    ----------
    folder
        Holds encoder_model.ort, decoder_model_merged.ort and tokenizer.bin.

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

    def write(self, encoded: Encoded) -> Said:
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
        return Said(pieces=tuple(pieces), log_p=sum(each), each=tuple(each))

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
