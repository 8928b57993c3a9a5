"""Vosk behind the protocol `Recognizer`, with any model that knows the words.

A model with a dynamic graph is run twice: freely, and with the phrase book as its
grammar. A note that both hear is sure; one that only the grammar hears may be talk
forced into it, since Vosk says 1.0 of wrong words (alphacep/vosk-api#1339). Repeated
digits get lost (#1934), so that other readings are asked for where a number is short.

Which Vosk models are found here, and fetching one by name: a model is looked for in
models/, in the hunt's folder and its models/ folder, where the vosk package keeps those
it has downloaded, and among installed packages called vosk_model_*.
"""

from __future__ import annotations

import json
import os
import re
import sysconfig
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio import SAMPLE_RATE_HZ
from treeward.errors import SpeechError
from treeward.files import models_dir
from treeward.language.kinds import NUMBERS
from treeward.language.note_graph import NoteGraph
from treeward.language.number_words import NUMBER_WORDS

from .utterances import Alternative, Utterance, Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from treeward.audio import Block
    from treeward.language.phrasebook import PhraseBook


SMALL_ENGLISH = "vosk-model-small-en-us-0.15"  # 40 MB, takes a grammar
_ACOUSTIC = ("am/final.mdl", "final.mdl")  # newer and older layout
_DYNAMIC = ("graph/HCLr.fst", "HCLr.fst")  # graphs that take a grammar
_LANGUAGE = re.compile(r"vosk[-_]model[-_](?:small[-_]|spk[-_])?([a-z]{2})\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundModel:
    """A Vosk model on this disk."""

    name: str
    path: Path
    language: str  # "en", "ko", or "" where the name does not tell
    takes_grammar: bool  # words to listen for may be named at run time


def find_models(hunt_dir: Path | None = None) -> list[FoundModel]:
    """Find the Vosk models on this disk, the hunt's own first."""
    found: dict[Path, FoundModel] = {}
    for folder in _folders(hunt_dir):
        for path in (folder, *_subfolders(folder)):
            model = look_at(path)
            if model is not None:
                found.setdefault(model.path, model)
    return list(found.values())


def look_at(path: Path) -> FoundModel | None:
    """Give the model in a folder, or None when there is none."""
    if not any((path / name).is_file() for name in _ACOUSTIC):
        return None
    path = path.resolve()
    # A package keeps its model in a folder "model" under its own name.
    name = path.parent.name if path.name == "model" else path.name
    language = _LANGUAGE.match(name)
    return FoundModel(
        name=name.replace("_", "-"),
        path=path,
        language=language[1] if language else "",
        takes_grammar=any((path / part).is_file() for part in _DYNAMIC),
    )


def fetch(name: str) -> FoundModel:
    """Have the vosk package download a model by the name its makers publish it under.

    Raises
    ------
    SpeechError
        There is no such model, or it cannot be downloaded.
    """
    import requests
    import vosk

    mend = f"Check the network and the name; a small English one is {SMALL_ENGLISH}"
    # Its loader would keep it in the last folder of its list.
    folder = Path(vosk.MODEL_DIRS[-1])
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path = Path(vosk.Model.get_model_by_name(_Fetcher(), name))
    except SystemExit as error:  # the package's way to say that there is none
        raise SpeechError(f"there is no model {name!r}", mend=mend) from error
    except (requests.RequestException, OSError, ValueError) as error:
        raise SpeechError(
            f"model {name!r} could not be downloaded ({type(error).__name__})",
            mend=mend,
        ) from error
    model = look_at(path)
    if model is None:
        raise SpeechError(
            f"{name!r} is not a speech recognition model", where=str(path), mend=mend
        )
    return model


class _Fetcher:
    """The downloading half of vosk.Model, which only comes with loading one."""

    def download_model(self, path: Path) -> None:
        import vosk

        vosk.Model.download_model(self, path)

    def download_progress_hook(self, bar: object) -> object:
        import vosk

        return vosk.Model.download_progress_hook(self, bar)


def _folders(hunt_dir: Path | None) -> Iterator[Path]:
    if hunt_dir is not None:
        yield hunt_dir
        yield hunt_dir / "models"
    yield models_dir()
    yield Path.cwd() / "models"
    own = os.environ.get("VOSK_MODEL_PATH")
    if own:
        yield Path(own)
    # As in the vosk package, which takes seconds to load for its list.
    yield Path("/usr/share/vosk")
    yield Path.home() / "AppData/Local/vosk"
    yield Path.home() / ".cache/vosk"
    packages = Path(sysconfig.get_paths()["purelib"])
    yield from sorted(packages.glob("vosk_model_*"))


def _subfolders(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.iterdir() if path.is_dir())
    except OSError:
        return []


UNKNOWN = "[unk]"  # Vosk's word for what its grammar does not hold
BOTH_HEARD = 0.9  # most that is believed of Vosk, guess: English was not measured
ONE_HEARD = 0.4  # of a note that only one of the two decodes hears; guess
ALTERNATIVES = 6
LEAST_KNOWN = 0.7  # share of the phrase book's words a model must know


class VoskRecognizer:
    """A Vosk model behind the protocol `Recognizer`.

    Raises
    ------
    SpeechError
        The model cannot be loaded, or is of another language.
    """

    name = "vosk"

    def __init__(self, book: PhraseBook, found: FoundModel) -> None:
        import vosk

        self.model = found.name
        vosk.SetLogLevel(-1)
        try:
            self._loaded = vosk.Model(str(found.path))
        except Exception as error:  # the package raises bare Exception
            raise SpeechError(
                "Vosk cannot load this model",
                where=str(found.path),
                mend="Unpack or download it again: treeward models --get NAME",
            ) from error
        vocabulary = {word for word in book.vocabulary() if "-" not in word}
        unknown = sorted(word for word in vocabulary if not self.knows(word))
        known = 1 - len(unknown) / max(len(vocabulary), 1)
        if known < LEAST_KNOWN:
            some = ", ".join(unknown[:5])
            raise SpeechError(
                f"model {found.name} knows {known:.0%} of the phrase book's words"
                f" (not {some} ...)",
                where=str(found.path),
                mend="Use a model of the language of the phrase book",
            )
        self._matcher = PhraseMatcher(book)
        self._free = _Stream(vosk.KaldiRecognizer(self._loaded, SAMPLE_RATE_HZ))
        self._strict: _Stream | None = None
        if found.takes_grammar:
            grammar = json.dumps(list(self._grammar(book)), ensure_ascii=False)
            self._strict = _Stream(
                vosk.KaldiRecognizer(self._loaded, SAMPLE_RATE_HZ, grammar)
            )

    def knows(self, word: str) -> bool:
        """Say whether a word is in the model's vocabulary."""
        return bool(self._loaded.vosk_model_find_word(word) >= 0)

    def _grammar(self, book: PhraseBook) -> Iterator[str]:
        """Give the phrases whose words are all known, and single number words."""
        texts = [phrase.text for phrase in book.fixed_phrases()]
        texts += [phrase.text for phrase in book.mark_phrases()]
        texts += [phrase.text for phrase in book.action_phrases()]
        texts += [way for ways in book.anchor_words.values() for way in ways]
        texts += [word for word in NUMBER_WORDS if "-" not in word]
        for text in (*dict.fromkeys(texts), UNKNOWN):
            if all(self.knows(word) for word in text.split()):
                yield text

    def decode(self, stretch: Block) -> Utterance | None:
        """Recognise one stretch of sound; see `Recognizer.decode`."""
        start_s = stretch.start_s
        sound = (np.clip(stretch.samples, -1, 1) * 32767).astype("<i2").tobytes()
        free = self._matcher.mark(self._free.words(sound, start_s))
        words = free
        if self._strict is not None:
            strict = self._matcher.mark(self._strict.words(sound, start_s))
            words = self._combined(free, strict)
        words = self._guarded(words, sound, start_s)
        return Utterance.of(words) if words else None

    def _combined(
        self, free: Sequence[Word], strict: Sequence[Word]
    ) -> tuple[Word, ...]:
        """Put the notes of the strict decode over the words of the free one."""
        words = [
            replace(word, confidence=min(word.confidence, ONE_HEARD))
            if word.source is not WordSource.GENERAL
            else word
            for word in free
        ]
        for first, last in self._matcher.notes(strict):
            note = strict[first:last]
            low, high = note[0].start_s, note[-1].end_s
            beside = [w for w in words if w.end_s > low and w.start_s < high]
            text = " ".join(word.text for word in note)
            other = " ".join(word.text for word in beside)
            most = BOTH_HEARD if text == other else ONE_HEARD
            sure = [replace(w, confidence=min(w.confidence, most)) for w in note]
            if other and text != other:
                reading = Alternative(text=other, confidence=ONE_HEARD)
                sure[0] = replace(sure[0], alternatives=(reading,))
            words = [w for w in words if w.end_s <= low or w.start_s >= high] + sure
        return tuple(sorted(words, key=lambda word: word.start_s))

    def _guarded(
        self, words: tuple[Word, ...], sound: bytes, start_s: float
    ) -> tuple[Word, ...]:
        """Ask for other readings where an announced number is not a whole one."""
        whole = {
            place
            for first, last in self._matcher.notes(words)
            for place in range(first, last)
        }
        anchors = [
            place
            for place, word in enumerate(words)
            if self._matcher.announces(word.text) and place not in whole
        ]
        if not anchors:
            return words
        readings = []
        for text in self._free.readings(sound):
            said = text.split()
            spoken = [Word(text=word, start_s=start_s, end_s=start_s) for word in said]
            notes = self._matcher.notes(spoken)
            readings += [" ".join(said[first:last]) for first, last in notes]
        guarded = list(words)
        for place in anchors:
            word = guarded[place]
            guarded[place] = replace(
                word,
                source=WordSource.PHRASE,
                confidence=min(word.confidence, ONE_HEARD),
                alternatives=tuple(
                    Alternative(text=text, confidence=ONE_HEARD)
                    for text in dict.fromkeys(readings)
                    if text.startswith(word.text)
                ),
            )
        return tuple(guarded)


class _Stream:
    """A Vosk recognizer, whose clock runs on from one stretch to the next."""

    def __init__(self, recognizer: Any) -> None:  # noqa: ANN401
        self._recognizer = recognizer
        self._recognizer.SetWords(True)
        self._fed_s = 0.0

    def words(self, sound: bytes, start_s: float) -> tuple[Word, ...]:
        """Decode a whole stretch."""
        result = self._run(sound)
        shift_s = start_s - self._fed_s
        self._fed_s += len(sound) / 2 / SAMPLE_RATE_HZ
        return tuple(
            Word(
                text=word["word"].lower(),
                start_s=word["start"] + shift_s,
                end_s=word["end"] + shift_s,
                confidence=min(max(word.get("conf", 1.0), 0.0), 1.0),
            )
            for part in result
            for word in part.get("result", ())
            if word["word"] != UNKNOWN
        )

    def readings(self, sound: bytes) -> list[str]:
        """Decode a whole stretch and give its likeliest readings."""
        # With alternatives there are no confidences (alphacep/vosk-api#1595), so
        # they are asked for only here.
        self._recognizer.SetMaxAlternatives(ALTERNATIVES)
        try:
            result = self._run(sound)
        finally:
            self._recognizer.SetMaxAlternatives(0)
        self._fed_s += len(sound) / 2 / SAMPLE_RATE_HZ
        return [
            alternative["text"]
            for part in result
            for alternative in part.get("alternatives", ())
        ]

    def _run(self, sound: bytes) -> list[dict[str, Any]]:
        parts = []
        if self._recognizer.AcceptWaveform(sound):
            parts.append(json.loads(self._recognizer.Result()))
        parts.append(json.loads(self._recognizer.FinalResult()))
        return parts


WITHIN_S = 1.0  # longest pause between two words of a note


class PhraseMatcher:
    """Finds whole notes in a sequence of words, the longest at each place."""

    def __init__(self, book: PhraseBook) -> None:
        self._graph = NoteGraph(book)
        self._anchors = {way for way in book.announcing(*NUMBERS) if " " not in way}

    def mark(self, words: Sequence[Word]) -> tuple[Word, ...]:
        """Give the words again, with those of whole notes marked as such."""
        marked = list(words)
        for first, last in self.notes(words):
            for place in range(first, last):
                marked[place] = replace(marked[place], source=WordSource.PHRASE)
        return tuple(marked)

    def notes(self, words: Sequence[Word]) -> list[tuple[int, int]]:
        """Give first and last (not included) place of each whole note."""
        found, at = [], 0
        while at < len(words):
            texts = [words[at].text]
            for place in range(at + 1, len(words)):
                if words[place].start_s - words[place - 1].end_s > WITHIN_S:
                    break
                texts.append(words[place].text)
            note = self._graph.longest(texts)
            length = len(note.words) if note else 0
            if length:
                found.append((at, at + length))
            at += max(length, 1)
        return found

    def announces(self, text: str) -> bool:
        """Say whether a word announces a number."""
        return text in self._anchors
