"""The embedded engine: PocketSphinx and a mixed model of talk and notes."""

from __future__ import annotations

import hashlib
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.errors import PhraseBookError, SpeechError
from treeward.speech import mixed_model
from treeward.speech.phrase_tokens import build_tokens
from treeward.speech.records import Utterance
from treeward.speech.token_words import Heard, to_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from treeward.speech.phrase_tokens import Phones, TokenTable
    from treeward.speech.phrasebook import PhraseBook

FRAME_S = 0.01  # of PocketSphinx's features
DITHER = 1e-4  # exact zeros break recognition
LEVEL = 0.5  # the loudest 0.1 % of a window is brought here
SHORTEST_S = 0.1  # nothing can be said in less
_DECODER_VERSION = 1  # counts changes to the model's making, for the cache


class SphinxRecognizer:
    """PocketSphinx behind the protocol `Recognizer`.

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
        self._random = np.random.default_rng(0)
        self._decoder = self._open(made)

    @staticmethod
    def _open(made: mixed_model.MixedModel):  # type: ignore[no-untyped-def]  # noqa: ANN205
        import pocketsphinx

        try:
            return pocketsphinx.Decoder(
                hmm=pocketsphinx.get_model_path("en-us/en-us"),
                dict=str(made.dictionary),
                lm=str(made.language_model),
                fwdflat=False,
                bestpath=True,
                maxhmmpf=3000,
                maxwpf=30,
                loglevel="FATAL",
            )
        except RuntimeError as error:
            raise SpeechError(
                f"PocketSphinx does not take its model ({error})",
                where=str(made.language_model.parent),
                mend="Delete this folder and run again",
            ) from error

    def decode(self, samples: NDArray[np.float32], start_s: float) -> Utterance | None:
        """Recognise one stretch of cleaned sound; see `Recognizer.decode`."""
        if len(samples) < SHORTEST_S * SAMPLE_RATE_HZ:
            return None
        heard = self._run(samples)
        words = to_words(heard, self._tokens, start_s)
        if not words:
            return None
        return Utterance(words=words, start_s=words[0].start_s, end_s=words[-1].end_s)

    def _run(self, samples: NDArray[np.float32]) -> list[Heard]:
        decoder = self._decoder
        decoder.start_utt()
        decoder.process_raw(self._as_bytes(samples), full_utt=True)
        decoder.end_utt()
        segments = decoder.seg()
        return [
            Heard(
                token=segment.word,
                start_s=segment.start_frame * FRAME_S,
                end_s=(segment.end_frame + 1) * FRAME_S,
                posterior=min(max(segment.prob, 0.0), 1.0),
            )
            for segment in segments or ()
        ]

    def _as_bytes(self, samples: NDArray[np.float32]) -> bytes:
        loud = float(np.quantile(np.abs(samples), 0.999))
        gain = LEVEL / loud if loud > 1e-6 else 1.0
        dithered = samples * gain + DITHER * self._random.standard_normal(len(samples))
        return (np.clip(dithered, -1, 1) * 32767).astype("<i2").tobytes()


def prepare_model(
    book: PhraseBook, *, cache_dir: Path | None = None
) -> mixed_model.MixedModel:
    """Make the model's files for a phrase book, or find them made."""
    import pocketsphinx

    if cache_dir is None:
        import platformdirs

        cache_dir = Path(platformdirs.user_cache_dir("treeward", appauthor=False))
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
        dictionary=folder / "notes.dict",
        tokens=tokens,
    )
    if not (made.language_model.exists() and made.dictionary.exists()):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            mixed_model.make(
                made, Path(pocketsphinx.get_model_path("en-us/en-us.lm.bin")), spoken
            )
        except OSError as error:
            raise SpeechError(
                f"the speech model cannot be kept ({error.strerror or error})",
                where=str(folder),
                mend="Make room there, or set XDG_CACHE_HOME to another folder",
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
