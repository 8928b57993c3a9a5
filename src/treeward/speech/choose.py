"""Opens the best speech engine that is found here."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.errors import SpeechError

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.speech.phrasebook import PhraseBook
    from treeward.speech.recognizer import Recognizer


def open_recognizer(
    book: PhraseBook, *, model: str | None = None, hunt_dir: Path | None = None
) -> Recognizer:
    """Open the engine that hears best of those found.

    Parameters
    ----------
    book
        What can be said.
    model
        Name or folder of a model; "pocketsphinx" for the embedded engine.
    hunt_dir
        Folder of a hunt, which may hold a model of its own.

    Raises
    ------
    SpeechError
        There is no such model, or it cannot be used.
    """
    if model not in (None, "pocketsphinx"):
        raise SpeechError(
            f"there is no model {model!r} here",
            where=str(hunt_dir or ""),
            mend="Leave --model out to use the embedded engine",
        )
    from treeward.speech.sphinx import SphinxRecognizer

    return SphinxRecognizer(book)
