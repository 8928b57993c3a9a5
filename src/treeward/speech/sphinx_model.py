"""PocketSphinx's model for a phrase book: made once, kept, and opened."""

from __future__ import annotations

import hashlib
import os
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

from treeward.errors import PhraseBookError, SpeechError
from treeward.speech import mixed_model
from treeward.speech.phrase_tokens import build_tokens

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.speech.phrase_tokens import Phones, TokenTable
    from treeward.speech.phrasebook import PhraseBook

_DECODER_VERSION = 3  # counts changes to the model's making, for the cache


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
