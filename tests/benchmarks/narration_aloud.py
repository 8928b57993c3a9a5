"""How well whole days of free speech are read from sound.

    PYTHONPATH=tests python -m benchmarks.narration_aloud FOLDER [--snr 15] [DAY ...]

Each day of fixtures/narration/days is read aloud by a synthetic voice (hibari, or
espeak-ng with --voice espeak), with wind so many dB below the voice, written to FOLDER
and heard as `treeward transcribe` would with `[speech] free = true`. Synthetic voices
are no people; see hearing/people for those.
"""

from __future__ import annotations

import argparse
import pickle
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from treeward.hunt_tables import DOUBT_BELOW
from treeward.language.phrasebook import PhraseBook
from treeward.notes.narration import read_talk
from treeward.notes.parser import parse_notes
from treeward.notes.second_look import read_again
from treeward.simulate.sound import (
    SPEECH_LEVEL_DBFS,
    HibariVoice,
    WindNoise,
    gain_for,
    levelled,
)

from .hearing.speakers import Program
from .narration_days import JUDGE, compare, read_day, whole

if TYPE_CHECKING:
    from treeward.simulate.sound import Voice

    from .narration_days import Tally

RATE_HZ = 16_000
SPEECH_LEVEL = 10 ** (SPEECH_LEVEL_DBFS / 20)
QUIET_DB = 40.0


def voice_of(name: str) -> Voice:
    if name == "espeak":
        command = ("espeak-ng", "-v", "en-gb", "-s", "{words_per_min}", "-w", "{wav}")
        return Program("espeak", (*command, "-f", "{txt}"))
    return HibariVoice()


def read_aloud(day: str, path: Path, snr_db: float, voice: Voice) -> None:
    """Write a day as sound, each line at its second or after the one before."""
    said, _, _ = read_day(day)
    seed = zlib.crc32(day.encode())
    waves: list[tuple[int, np.ndarray]] = []
    at = 0
    for number, line in enumerate(said):
        text = line.text.replace(" - ", " ")
        wave = voice.say(text, rate_hz=RATE_HZ, seed=seed + number)
        at = max(at + RATE_HZ // 2, round(line.start_s * RATE_HZ))
        waves.append((at, wave))
        at += len(wave)
    total = at + 2 * RATE_HZ
    rng = np.random.default_rng(seed)
    behind = levelled(WindNoise, rng, RATE_HZ)
    gain = gain_for(SPEECH_LEVEL, snr_db)
    sound = gain * np.concatenate(
        [behind.block(RATE_HZ) for _ in range(total // RATE_HZ + 1)]
    )
    for start, wave in waves:
        sound[start : start + len(wave)] += wave
    soundfile.write(path, np.tanh(sound).astype(np.float32), RATE_HZ)


def hear(day: str, path: Path, book: PhraseBook) -> Tally:
    from treeward.audio.reader import read_blocks
    from treeward.speech.recognizer import open_recognizer, transcribe

    kept = path.with_suffix(".pickle")  # so that reading can be tried without hearing
    if not kept.exists():
        heard = list(transcribe(read_blocks(path), open_recognizer(book, free=True)))
        kept.write_bytes(pickle.dumps(heard))
    utterances = pickle.loads(kept.read_bytes())  # noqa: S301 (written just here)
    notes = read_again(parse_notes(utterances, book), flag_below=DOUBT_BELOW)
    said, truths, talk = read_day(day)
    found = read_talk(utterances, notes, book)
    return compare(found.events, truths, [one.start_s for one in said], talk)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("day", nargs="*", default=JUDGE)
    parser.add_argument("--snr", type=float, default=15.0)
    parser.add_argument("--voice", default="hibari", choices=("hibari", "espeak"))
    arguments = parser.parse_args()
    arguments.folder.mkdir(parents=True, exist_ok=True)
    book = PhraseBook.load()
    voice = voice_of(arguments.voice)
    tallies = []
    for day in arguments.day:
        path = arguments.folder / f"{day}_{arguments.voice}_{arguments.snr:g}.flac"
        if not path.exists():
            read_aloud(day, path, arguments.snr, voice)
        tallies.append(hear(day, path, book))
        _tell(day, tallies[-1])
    _tell("all", whole(tallies))


def _tell(name: str, tally: Tally) -> None:
    print(
        f"{name:9} said {tally.said:4}  recall {tally.recall:.3f}"
        f"  precision {tally.precision:.3f}  silently wrong {tally.silently_wrong:.1%}"
        f"  from talk {tally.talk}",
        flush=True,
    )


if __name__ == "__main__":
    main()
