"""The embedded engine: PocketSphinx and a mixed model of talk and notes."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, replace
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.errors import PhraseBookError, SpeechError
from treeward.speech import mixed_model
from treeward.speech.cepstra import CepstralMean, cepstra_of
from treeward.speech.evidence import (
    SINKS,
    TWIN_CONFIDENCE,
    Evidence,
    probability,
    twins,
)
from treeward.speech.phrase_tokens import build_tokens
from treeward.speech.records import Alternative, Utterance
from treeward.speech.spans import PADDING_S, stretches, worth_a_look
from treeward.speech.strict_pass import FRAME_S, note_grammar, run_decoder
from treeward.speech.token_words import note_words, notes_of, talk_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

    from treeward.speech.cepstra import Cepstra
    from treeward.speech.phrase_tokens import Phones, TokenTable
    from treeward.speech.phrasebook import PhraseBook
    from treeward.speech.records import Word
    from treeward.speech.spans import Stretch
    from treeward.speech.token_words import HeardNote

DITHER = 5e-4  # covers what suppression leaves of noise; exact zeros break recognition
LEVEL = 0.5  # the loudest 0.1 % of a window is brought here
SHORTEST_S = 0.1  # nothing can be said in less
SILENCE_SHARE = 0.1  # in the grammar of notes; PocketSphinx's 0.005 is for prose
FILLER_SHARE = 0.02  # likewise of noise and unclear speech, 1e-8 for prose
LEAST_CONFIDENCE = 0.3  # a note less sure is taken for talk
_DECODER_VERSION = 3  # counts changes to the model's making, for the cache


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedNote:
    """A note that may have been said, and what speaks for it."""

    note: HeardNote
    evidence: Evidence
    confidence: float
    alternatives: tuple[Alternative, ...]
    start_s: float = 0.0  # of the window in the recording


class SphinxRecognizer:
    """PocketSphinx behind the protocol `Recognizer`.

    A first decode with the mixed model finds stretches of speech and what is said;
    each stretch that may be a note is decoded again as notes only and as talk only.

    Parameters
    ----------
    book
        What can be said.
    cache_dir
        Where the made model is kept; the user's cache folder when None.

    Raises
    ------
    SpeechError
        The model cannot be read or made.
    PhraseBookError
        A word of the phrase book has no pronunciation.
    """

    name = "pocketsphinx"

    def __init__(self, book: PhraseBook, *, cache_dir: Path | None = None) -> None:
        self.model = f"en-us {metadata.version('pocketsphinx')}"
        made = prepare_model(book, cache_dir=cache_dir)
        self._tokens = made.tokens
        self._mean = CepstralMean()
        self._mixed = open_decoder(made, lm=str(made.language_model), bestpath=True)
        second = {"compallsen": True, "bestpath": False}
        self._talk = open_decoder(made, lm=str(made.talk_only), maxhmmpf=2000, **second)
        # Noise and voices beside the note go to the fillers, not into its words.
        fillers = {"silprob": SILENCE_SHARE, "fillprob": FILLER_SHARE}
        self._notes = open_decoder(made, lm=None, **fillers, **second)
        self._notes.add_fsg("notes", note_grammar(self._notes, made.tokens))
        self._notes.activate_search("notes")
        # Told of each note that was weighed; for measuring.
        self.on_note: Callable[[WeighedNote], None] | None = None

    def get_used_to(self, stretches: Iterable[NDArray[np.float32]]) -> None:
        """Take voice and microphone in; see `Recognizer.get_used_to`."""
        for samples in stretches:
            self._mean.take(cepstra_of(self._levelled(samples, 0.0)))

    def decode(self, samples: NDArray[np.float32], start_s: float) -> Utterance | None:
        """Recognise one stretch of cleaned sound; see `Recognizer.decode`."""
        if len(samples) < SHORTEST_S * SAMPLE_RATE_HZ:
            return None
        cepstra = cepstra_of(self._levelled(samples, start_s))
        sound = self._mean.off(cepstra)
        first = run_decoder(self._mixed, sound)
        if first is None:
            return None
        words: list[Word] = []
        for stretch in stretches(first.heard):
            self._mean.take(cepstra[_padded(stretch)])
            words += self._words_of(stretch, sound, start_s)
        if not words:
            return None
        words.sort(key=lambda word: word.start_s)
        return Utterance(
            words=tuple(words), start_s=words[0].start_s, end_s=words[-1].end_s
        )

    def _words_of(self, stretch: Stretch, sound: Cepstra, start_s: float) -> list[Word]:
        """Give the notes of a stretch where it holds any, else its talk."""
        words = talk_words(stretch.heard, self._tokens, start_s)
        for part in worth_a_look(stretch, self._tokens):
            for weighed in self._weigh(part, sound):
                if self.on_note is not None:
                    self.on_note(replace(weighed, start_s=start_s))
                if weighed.confidence < LEAST_CONFIDENCE:
                    continue
                found = note_words(
                    weighed.note, start_s, weighed.confidence, weighed.alternatives
                )
                low, high = found[0].start_s, found[-1].end_s
                words = [w for w in words if w.end_s <= low or w.start_s >= high]
                words += found
        return words

    def _weigh(self, part: Stretch, sound: Cepstra) -> Iterator[WeighedNote]:
        piece = sound[_padded(part)]
        low_s = _padded(part).start * FRAME_S
        notes = run_decoder(self._notes, piece)
        if notes is None:
            return
        talk = run_decoder(self._talk, piece)
        margin = (notes.score - (talk.score if talk else 0.0)) / len(piece)
        rivals = notes_of(part.heard, self._tokens)
        found = notes_of(notes.heard, self._tokens)
        for note in found:
            placed = note.shifted(low_s)
            beside = [rival for rival in rivals if rival.overlaps(placed)]
            same = [rival for rival in beside if rival.text == placed.text]
            others = [rival for rival in beside if rival.text != placed.text]
            evidence = Evidence(
                margin=margin,
                agreed=bool(same),
                posterior=max((rival.posterior for rival in same), default=0.0),
                rivalled=bool(others) and not same,
                duration_s=part.duration_s,
                alone=part.alone,
                words=len(placed.text.split()),
                notes=len(found),
                sink=placed.text.split()[-1] in SINKS,
            )
            sure = probability(evidence)
            doubles = self._twins(placed)
            if doubles:
                sure = min(sure, TWIN_CONFIDENCE)
            yield WeighedNote(
                note=placed,
                evidence=evidence,
                confidence=sure,
                alternatives=tuple(
                    Alternative(text=text, confidence=(1 - TWIN_CONFIDENCE) * sure)
                    for text in doubles
                )
                + tuple(
                    Alternative(text=o.text, confidence=(1 - sure) * o.posterior)
                    for o in others
                ),
            )

    def _twins(self, note: HeardNote) -> list[str]:
        """Give the other readings of a number that has a teen or a ten in it."""
        graph = self._tokens.graphs.get(note.tokens[0].chain)
        if graph is None:
            return []
        anchor, *words = (token.text for token in note.tokens)
        return [
            " ".join((anchor, *other)) for other in twins(words) if graph.holds(other)
        ]

    def _levelled(
        self, samples: NDArray[np.float32], start_s: float
    ) -> NDArray[np.floating]:
        loud = float(np.quantile(np.abs(samples), 0.999))
        gain = LEVEL / loud if loud > 1e-6 else 1.0
        # The same stretch is heard the same, whatever was heard before it.
        random = np.random.default_rng(int(start_s * SAMPLE_RATE_HZ))
        return samples * gain + DITHER * random.standard_normal(len(samples))


def _padded(stretch: Stretch) -> slice:
    """Give the frames of a stretch and a little around it."""
    low = max(int((stretch.start_s - PADDING_S) / FRAME_S), 0)
    return slice(low, int((stretch.end_s + PADDING_S) / FRAME_S))


def open_decoder(made: mixed_model.MixedModel, **settings: Any) -> Any:  # noqa: ANN401
    """Open PocketSphinx with a made model.

    Raises
    ------
    SpeechError
        PocketSphinx refuses it.
    """
    import pocketsphinx

    usual = {
        "hmm": pocketsphinx.get_model_path("en-us/en-us"),
        "dict": str(made.dictionary),
        "fwdflat": False,
        "maxhmmpf": 3000,
        "maxwpf": 30,
        "featparams": str(made.features),
        "loglevel": "FATAL",
    }
    try:
        return pocketsphinx.Decoder(**(usual | settings))
    except RuntimeError as error:
        raise SpeechError(
            f"PocketSphinx does not take its model ({error})",
            where=str(made.language_model.parent),
            mend="Delete this folder and run again",
        ) from error


def prepare_model(
    book: PhraseBook, *, cache_dir: Path | None = None
) -> mixed_model.MixedModel:
    """Make the model's files for a phrase book, or find them made."""
    import pocketsphinx

    if cache_dir is None:
        import platformdirs

        own = os.environ.get("TREEWARD_CACHE_DIR")
        usual = platformdirs.user_cache_dir("treeward", appauthor=False)
        cache_dir = Path(own or usual)
    spoken = mixed_model.read_dictionary(
        Path(pocketsphinx.get_model_path("en-us/cmudict-en-us.dict"))
    )
    for word, ways in book.pronunciations().items():
        spoken[word] = tuple(dict.fromkeys((*spoken.get(word, ()), *ways)))
    tokens = build_tokens(book, _pronouncer(spoken, book))
    digest = _digest(tokens)
    folder = cache_dir / "pocketsphinx" / digest
    made = mixed_model.MixedModel(
        language_model=folder / "notes.lm",
        talk_only=folder / "talk.lm",
        dictionary=folder / "notes.dict",
        features=folder / "feat.params",
        tokens=tokens,
    )
    if not (made.language_model.exists() and made.dictionary.exists()):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            bundled = Path(pocketsphinx.get_model_path("en-us"))
            mixed_model.write_features(made.features, bundled / "en-us" / "feat.params")
            mixed_model.make(made, bundled / "en-us.lm.bin", spoken)
        except OSError as error:
            raise SpeechError(
                f"the speech model cannot be kept ({error.strerror or error})",
                where=str(folder),
                mend="Make room there, or set TREEWARD_CACHE_DIR to another folder",
            ) from error
    return made


def _digest(tokens: TokenTable) -> str:
    parts = (
        metadata.version("pocketsphinx"),
        str(_DECODER_VERSION),
        *mixed_model.settings(),
        repr(sorted(tokens.tokens.items())),
        repr(sorted(tokens.starts.items())),
        repr(sorted(tokens.ends.items())),
        repr(sorted((k, sorted(v.items())) for k, v in tokens.follow.items())),
    )
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


def _pronouncer(spoken: dict[str, Phones], book: PhraseBook) -> Callable[[str], Phones]:
    def pronounce(word: str) -> Phones:
        try:
            return spoken[word]
        except KeyError:
            where = str(book.sources[-1]) if book.sources else "phrase book"
            raise PhraseBookError(
                f"the recognizer's dictionary has no {word!r}",
                where=where,
                mend=f'Say how it sounds under [pronunciations]: {word} = ["..."]',
            ) from None

    return pronounce
