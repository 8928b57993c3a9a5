"""treeward doctor, treeward models, treeward phrases: what there is to hear with."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict, dataclass
from functools import partial
from typing import TYPE_CHECKING

import click

from treeward import __version__
from treeward.errors import SpeechError

from . import PathName, json_option, own_data_option

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that works here, or does not, and how to mend it."""

    part: str
    works: bool
    detail: str
    needed: bool = True  # else recordings can be worked on without
    mend: str = ""


@click.command(name="doctor")
@json_option
def doctor_command(*, as_json: bool) -> None:
    """Say what works on this machine, and how to mend the rest.

    Exits 1 when something is missing that recordings cannot be worked on without.
    """
    findings = list(examine())
    if as_json:
        click.echo(json.dumps([asdict(finding) for finding in findings], indent=2))
    else:
        for finding in findings:
            word = (
                "works "
                if finding.works
                else ("BROKEN" if finding.needed else "absent")
            )
            click.echo(f"{word}  {finding.part}: {finding.detail}")
            if finding.mend:
                click.echo(f"        {finding.mend}")
    if any(finding.needed and not finding.works for finding in findings):
        sys.exit(1)


def examine() -> Iterator[Finding]:
    """Look at every part in turn."""
    yield _versions()
    yield _embedded_engine()
    yield _voice_activity()
    yield _sound_files()
    yield _film_sound()
    yield _vosk_model()
    yield _microphone()
    yield _voice()


def _versions() -> Finding:
    import platform

    return Finding(
        part="Treeward",
        works=True,
        detail=f"{__version__} on Python {platform.python_version()}, "
        f"{platform.system()} {platform.machine()}",
    )


def _embedded_engine() -> Finding:
    from importlib.metadata import version

    part = "speech engine"
    from treeward.speech.recognizer import EMBEDDED, mend, open_recognizer

    try:
        from treeward.language.phrasebook import PhraseBook

        recognizer = open_recognizer(PhraseBook.load(), model=EMBEDDED)
    except Exception as error:  # noqa: BLE001  (whatever it is, it is the finding)
        return Finding(
            part=part,
            works=False,
            detail=f"cannot be opened ({error})",
            mend="" if mend() in str(error) else mend(),
        )
    return Finding(
        part=part,
        works=True,
        detail=f"{recognizer.name}, model {recognizer.model}, "
        f"ONNX Runtime {version('onnxruntime')}",
    )


def _voice_activity() -> Finding:
    part = "voice activity"
    try:
        from treeward.speech.recognizer import VoiceActivity

        VoiceActivity()
    except SpeechError as error:
        return Finding(part=part, works=False, detail=error.what, mend=error.mend)
    return Finding(part=part, works=True, detail="a network of Silero's")


def _sound_files() -> Finding:
    part = "sound files (WAV, FLAC, Ogg, Opus, MP3)"
    try:
        import soundfile
    except OSError as error:
        return Finding(
            part=part,
            works=False,
            detail=f"libsndfile is missing ({error})",
            mend="On Debian: apt-get install libsndfile1",
        )
    return Finding(part=part, works=True, detail=soundfile.__libsndfile_version__)


def _film_sound() -> Finding:
    import av

    return Finding(
        part="phone memos and films (.m4a, .mp4, .mov, .amr, .3gp)",
        works=True,
        detail=f"PyAV {av.__version__}",
    )


def _vosk_model() -> Finding:
    from treeward.speech.vosk_engine import find_models

    found = find_models()
    return Finding(
        part="Vosk model",
        works=bool(found),
        needed=False,
        detail=", ".join(model.name for model in found) or "none found",
        mend="" if found else "Optional. See: treeward models",
    )


def _microphone() -> Finding:
    found = partial(Finding, part="microphone", needed=False)
    try:
        import sounddevice
    except ImportError:
        return found(
            works=False,
            detail="the package sounddevice is not installed",
            mend="For treeward listen: pip install sounddevice",
        )
    except OSError:
        return found(
            works=False,
            detail="PortAudio is missing",
            mend="On Debian: apt-get install libportaudio2",
        )
    inputs = [d for d in sounddevice.query_devices() if d["max_input_channels"] > 0]
    return found(
        works=bool(inputs),
        detail=", ".join(str(d["name"]) for d in inputs) or "no input device",
        mend="" if inputs else "Plug one in, or use: treeward listen --input FILE",
    )


def _voice() -> Finding:
    import shutil

    found = [name for name in ("espeak-ng", "espeak", "say") if shutil.which(name)]
    return Finding(
        part="voice for reading notes back",
        works=bool(found),
        needed=False,
        detail=", ".join(found) or "none found",
        mend="" if found else "Optional. On Debian: apt-get install espeak-ng",
    )


@click.command(name="models")
@own_data_option("models folder")
@click.option("--get", metavar="NAME", help="Have the vosk package download a model.")
@json_option
def models_command(*, hunt_dir: Path, get: str | None, as_json: bool) -> None:
    """Show the speech engines and models found here, and which one would be used.

    Example: treeward models --get vosk-model-small-en-us-0.15
    """
    from treeward.speech.recognizer import EMBEDDED, choose, embedded_folder, mend
    from treeward.speech.vosk_engine import fetch, find_models

    if get is not None:
        got = fetch(get)
        click.echo(f"{got.name} is in {got.path}.")
        return
    found = find_models(hunt_dir)
    embedded = embedded_folder()
    wrong = ""
    try:
        chosen = choose(None, hunt_dir)
        in_use, wrong = chosen.model, chosen.instead
    except SpeechError as error:
        in_use, wrong = "", error.line()
    if as_json:
        models = [
            {
                "name": model.name,
                "path": str(model.path),
                "language": model.language,
                "takes_grammar": model.takes_grammar,
            }
            for model in found
        ]
        told = {
            "in_use": in_use,
            "embedded": str(embedded) if embedded else None,
            "vosk_models": models,
        }
        click.echo(json.dumps(told, indent=2))
        return
    click.echo(f"In use: {in_use or 'none'}")
    if wrong:
        click.echo(f"  {wrong}")
    if embedded is not None:
        click.echo(f"  {EMBEDDED}: English, comes with Treeward; {embedded}")
    elif mend() not in wrong:
        click.echo(f"  {EMBEDDED}: not installed. {mend()}")
    for model in found:
        grammar = "takes the phrase book" if model.takes_grammar else "decodes freely"
        language = model.language or "language not told by its name"
        click.echo(f"  {model.name}: Vosk, {language}, {grammar}; {model.path}")
    click.echo(
        "Another model: --model FOLDER, or [speech] model in hunt.toml. A folder with "
        "encoder_model.ort, decoder_model_merged.ort and tokenizer.bin, or Vosk's."
    )


@click.command(name="phrases")
@own_data_option("phrasebook.toml")
@click.option(
    "--card",
    type=PathName(dir_okay=False),
    metavar="FILE.pdf",
    help="Write a one-page cue card to print.",
)
@json_option
def phrases_command(*, hunt_dir: Path, card: Path | None, as_json: bool) -> None:
    """Say what can be said: the recommended words, other ways, and what they mean.

    The words stand in a phrase book; a hunt may add colours and ways of saying in a
    phrasebook.toml of its own.
    """
    from treeward.language.phrasebook import PhraseBook, colour_names, sections

    book = PhraseBook.for_hunt(hunt_dir)
    if card is not None:
        from treeward.report.figures.sheets import write_card

        write_card(book, card)
        click.echo(f"The card is in {card}.")
        return
    parts = sections(book)
    if as_json:
        out = {"colours": colour_names(book), "sections": [asdict(p) for p in parts]}
        click.echo(json.dumps(out, indent=2))
        return
    widest = max(len(saying.say) for part in parts for saying in part.sayings)
    for part in parts:
        click.echo(part.heading)
        for saying in part.sayings:
            click.echo(f"  {saying.say:<{widest}}  {saying.means}")
            if saying.also:
                click.echo(f"      or: {', '.join(saying.also)}")
        click.echo()
    click.echo(f"Colours: {', '.join(colour_names(book))}; or two together.")
