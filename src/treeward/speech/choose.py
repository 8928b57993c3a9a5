"""Opens the speech engine that hears best of those found here."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from treeward.errors import SpeechError

if TYPE_CHECKING:
    from treeward.speech.models import FoundModel
    from treeward.speech.phrasebook import PhraseBook
    from treeward.speech.recognizer import Recognizer

EMBEDDED = "pocketsphinx"


def open_recognizer(
    book: PhraseBook, *, model: str | None = None, hunt_dir: Path | None = None
) -> Recognizer:
    """Open the engine that hears best of those found.

    Parameters
    ----------
    book
        What can be said.
    model
        Name or folder of a Vosk model; "pocketsphinx" for the embedded engine. When
        None, an English Vosk model that is found, or else the embedded engine.
    hunt_dir
        Folder of a hunt, which may hold a model of its own.

    Raises
    ------
    SpeechError
        There is no such model, or it cannot be used.
    """
    found = None if model == EMBEDDED else choose_model(model, hunt_dir)
    if found is not None:
        from treeward.speech.vosk_engine import VoskRecognizer

        return VoskRecognizer(book, found)
    from treeward.speech.sphinx import SphinxRecognizer

    return SphinxRecognizer(book)


def choose_model(model: str | None, hunt_dir: Path | None) -> FoundModel | None:
    """Give the Vosk model to use, or None for the embedded engine.

    Raises
    ------
    SpeechError
        `model` names none that is here.
    """
    from treeward.speech.models import find_models, look_at

    if model is not None:
        for folder in (Path(model), *([hunt_dir / model] if hunt_dir else [])):
            here = look_at(folder)
            if here is not None:
                return here
    found = find_models(hunt_dir)
    if model is None:
        english = [one for one in found if one.language in {"en", ""}]
        return english[0] if english else None
    for one in found:
        if one.name == model:
            return one
    names = ", ".join([EMBEDDED, *(one.name for one in found)])
    raise SpeechError(
        f"there is no speech model {model!r} here",
        mend=f"Found: {names}. Download one with: treeward models --get {model}",
    )
