"""treeward doctor."""

from __future__ import annotations

import sys
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import click

from .options import json_option

if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that works here, or does not, and how to mend it."""

    part: str
    works: bool
    needed: bool
    detail: str
    mend: str = ""


@click.command(name="doctor")
@json_option
def command(*, as_json: bool) -> None:
    """Say what works on this machine, and how to mend the rest.

    Exits 1 when something is missing that recordings cannot be worked on without.
    """
    findings = list(examine())
    if as_json:
        import json

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

    from treeward import __version__

    return Finding(
        part="Treeward",
        works=True,
        needed=True,
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
            needed=True,
            detail=f"cannot be opened ({error})",
            mend="" if mend() in str(error) else mend(),
        )
    return Finding(
        part=part,
        works=True,
        needed=True,
        detail=f"{recognizer.name}, model {recognizer.model}, "
        f"ONNX Runtime {version('onnxruntime')}",
    )


def _voice_activity() -> Finding:
    from treeward.errors import SpeechError

    part = "voice activity"
    try:
        from treeward.speech.recognizer import VoiceActivity

        VoiceActivity()
    except SpeechError as error:
        return Finding(
            part=part, works=False, needed=True, detail=error.what, mend=error.mend
        )
    return Finding(part=part, works=True, needed=True, detail="a network of Silero's")


def _sound_files() -> Finding:
    part = "sound files (WAV, FLAC, Ogg, Opus, MP3)"
    try:
        import soundfile
    except OSError as error:
        return Finding(
            part=part,
            works=False,
            needed=True,
            detail=f"libsndfile is missing ({error})",
            mend="On Debian: apt-get install libsndfile1",
        )
    return Finding(
        part=part, works=True, needed=True, detail=soundfile.__libsndfile_version__
    )


def _film_sound() -> Finding:
    import av

    return Finding(
        part="phone memos and films (.m4a, .mp4, .mov, .amr, .3gp)",
        works=True,
        needed=True,
        detail=f"PyAV {av.__version__}",
    )


def _vosk_model() -> Finding:
    from treeward.speech.models import find_models

    found = find_models()
    return Finding(
        part="Vosk model",
        works=bool(found),
        needed=False,
        detail=", ".join(model.name for model in found) or "none found",
        mend="" if found else "Optional. See: treeward models",
    )


def _microphone() -> Finding:
    part = "microphone"
    try:
        import sounddevice
    except ImportError:
        return Finding(
            part=part,
            works=False,
            needed=False,
            detail="the package sounddevice is not installed",
            mend="For treeward listen: pip install sounddevice",
        )
    except OSError:
        return Finding(
            part=part,
            works=False,
            needed=False,
            detail="PortAudio is missing",
            mend="On Debian: apt-get install libportaudio2",
        )
    inputs = [d for d in sounddevice.query_devices() if d["max_input_channels"] > 0]
    return Finding(
        part=part,
        works=bool(inputs),
        needed=False,
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
