"""Write labelled days as they are heard, to train with: fixtures/narration/heard.

    PYTHONPATH=tests python -m benchmarks.narration_training.heard DAY... --into FOLDER

Each day is read aloud line by line by a voice of flite or espeak-ng, with wind, and
heard as `treeward transcribe` would with `[speech] free = true`. A line keeps its
second and its labels, and gets the words that were heard. A label of a line that was
hardly heard, or of a bee whose name was not, may then be found or not ("~").
"""

from __future__ import annotations

import argparse
import re
import tempfile
import zlib
from difflib import SequenceMatcher
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from benchmarks import narration_days as days
from benchmarks.hearing.speakers import espeak, flite
from treeward.audio.reader import read_blocks
from treeward.language.phrasebook import PhraseBook
from treeward.simulate.sound import (
    SPEECH_LEVEL_DBFS,
    WindNoise,
    gain_for,
    levelled,
)
from treeward.speech.recognizer import open_recognizer, transcribe
from treeward.speech.utterances import WordSource

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from treeward.speech.utterances import Utterance

# None of them reads the judges aloud, see benchmarks/narration_aloud.py.
VOICES = (
    *(flite("slt"), flite("rms"), flite("awb"), flite("slt", 1.08), flite("rms", 0.95)),
    *(espeak("en-gb", 45), espeak("en-us+f2", 55), espeak("en-gb-scotland", 40)),
)
RATE_HZ = 16_000
SNR_DB = (10.0, 15.0, 15.0, 20.0, 25.0)
PAUSE_S = 1.3  # between two lines
EARLY_S, LATE_S = 0.3, 0.6  # by which a word may stand outside its line
GARBLED = 0.6  # share of a line's words misheard, from which nothing is learned of it
ALIKE = 0.5  # letters of a bee's name that were heard, of all
_OF_A_BEE = re.compile(r"[~?]*(?:away|back|mark|missed):([a-z]+)")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("days", nargs="+", type=Path)
    parser.add_argument("--into", type=Path, required=True)
    arguments = parser.parse_args()
    book = PhraseBook.load()
    for path in arguments.days:
        lines = heard(path, book)
        text = "\n".join(lines) + "\n"
        (arguments.into / path.name).write_text(text, encoding="utf-8")
        print(path.stem, len(lines), flush=True)


def heard(path: Path, book: PhraseBook) -> list[str]:
    """Read a file of labelled lines aloud and give the lines as they are heard."""
    parts = days.recordings_of(path.read_text(encoding="utf-8"))
    lines = [line for part in parts for line in part.splitlines()]
    truths = [truth for part in parts for truth in days.read_text(part)[1]]
    with tempfile.TemporaryDirectory() as room:
        sound = Path(room, "day.flac")
        spans = _read_aloud(lines, sound, zlib.crc32(path.stem.encode()))
        recognizer = open_recognizer(days.for_day(truths, book), free=True)
        words = [
            word
            for utterance in transcribe(read_blocks(sound), recognizer)
            for word in _words(utterance)
        ]
    found = []
    for line, (start_s, end_s) in zip(lines, spans, strict=True):
        own = [
            text for at_s, text in words if start_s - EARLY_S <= at_s <= end_s + LATE_S
        ]
        if own:
            found.append(_labelled(line, " ".join(own).replace("=>", "")))
    return found


def _read_aloud(
    lines: Sequence[str], path: Path, seed: int
) -> list[tuple[float, float]]:
    """Write lines as sound, one shortly after the other; gives when each is said."""
    rng = np.random.default_rng(seed)
    voice = VOICES[seed % len(VOICES)]
    waves, spans, at = [], [], RATE_HZ
    for number, line in enumerate(lines):
        wave = voice.say(_said(line), rate_hz=RATE_HZ, seed=seed + number)
        waves.append((at, wave))
        spans.append((at / RATE_HZ, (at + len(wave)) / RATE_HZ))
        at += len(wave) + round(RATE_HZ * PAUSE_S)
    wind = levelled(WindNoise, rng, RATE_HZ)
    gain = gain_for(10 ** (SPEECH_LEVEL_DBFS / 20), float(rng.choice(SNR_DB)))
    blocks = [wind.block(RATE_HZ) for _ in range(at // RATE_HZ + 3)]
    sound = gain * np.concatenate(blocks)
    for start, wave in waves:
        sound[start : start + len(wave)] += wave
    soundfile.write(path, np.tanh(sound).astype(np.float32), RATE_HZ)
    return spans


def _said(line: str) -> str:
    match = days.LINE.match(line)
    return match[3].replace(" - ", " ") if match else line


def _words(utterance: Utterance) -> Iterator[tuple[float, str]]:
    """Give the words of an utterance, of talk the likeliest, each with its middle."""
    words, at = utterance.words, 0
    while at < len(words):
        word = words[at]
        talk = word.source is WordSource.TALK and word.alternatives
        texts = word.alternatives[0].text.split() if talk else [word.text]
        run = words[at : at + len(texts)] if talk else [word]
        for place, text in enumerate(texts):
            along = (place + 0.5) / len(texts)
            yield run[0].start_s + (run[-1].end_s - run[0].start_s) * along, text
        at += len(run)


def _labelled(line: str, text: str) -> str:
    """Give a line the words that were heard, and the labels that they bear out."""
    match = days.LINE.match(line)
    if match is None:
        return line
    said, got = _plain(match[3]), _plain(text)
    alike = SequenceMatcher(None, said, got, autojunk=False)
    same = sum(block.size for block in alike.get_matching_blocks())
    garbled = same < (1 - GARBLED) * max(len(said), len(got), 1)
    labels = []
    for label in match[4].split("; ") if match[4] else ():
        bee = _OF_A_BEE.match(label.strip())
        unheard = bee is not None and not _heard(bee[1], alike, said, got)
        sure = label.strip() if label.strip()[0] in "~?" else f"~{label.strip()}"
        labels.append(sure if garbled or unheard else label.strip())
    notes = f"  => {'; '.join(labels)}" if labels else ""
    return f"{match[1]}:{match[2]}  {text}{notes}"


def _heard(
    name: str,
    alike: SequenceMatcher[str],
    said: Sequence[str],
    got: Sequence[str],
) -> bool:
    """Tell whether a bee that was named was heard so, or as a word much like it."""
    if name not in said or name in got:
        return True
    for kind, first, last, got_first, got_last in alike.get_opcodes():
        if kind == "replace" and name in said[first:last]:
            words = got[got_first:got_last]
            return any(
                SequenceMatcher(None, name, one).ratio() >= ALIKE for one in words
            )
    return False


def _plain(text: str) -> list[str]:
    return re.sub(r"[^a-z0-9' ]", "", text.lower().replace("-", " ")).split()


if __name__ == "__main__":
    main()
