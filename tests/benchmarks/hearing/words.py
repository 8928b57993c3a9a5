"""Which of two words for the same thing is heard better.

    PYTHONPATH=tests python -m benchmarks.hearing.words DIR

makes a recording for each speaker and level of noise in DIR (those there are kept), in
which the same notes are said with either word ("red landed", "red back"), hears them
with Treeward, and counts how many came out right. All else being equal, the pairs of
which just one was heard tell the words apart: the last column is how likely so uneven a
split of them is by chance alone (exact sign test, both sides).
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.stats import binomtest

from benchmarks.hearing.make_corpus import Recording, Truth
from benchmarks.hearing.notes_said import COLOURS, Expected
from benchmarks.hearing.scoring import WITHIN_S, is_right
from benchmarks.hearing.speakers import speakers
from benchmarks.hearing.systems import open_system
from treeward.simulate.observer import BEARING_FORMS, bearing_words, time_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from treeward.simulate.sound import Voice

LEVELS_DB = {"in quiet": 30.0, "in noise": 12.0}
EACH = 4  # pairs of each kind in a recording
RIVALS = (
    ("landed", "back"),
    ("away", "gone"),
    ("heading", "bearing"),
    ("clock", "time"),
)


def _rest(rival: str, rng: np.random.Generator) -> tuple[str, Expected]:
    """Give what is said besides one of the words, {} for it, and what it means."""
    if rival in ("landed", "away"):
        mark = str(rng.choice(COLOURS))
        kind = "back" if rival == "landed" else "away"
        return f"{mark} {{}}", Expected(kind=kind, mark=mark)
    if rival == "heading":
        degrees = int(rng.integers(360))
        form = BEARING_FORMS[int(rng.integers(len(BEARING_FORMS)))]
        said = f"{{}} {bearing_words(degrees, form)}"
        return said, Expected(kind="bearing", value=str(degrees))
    hour, minute = int(rng.integers(8, 19)), int(rng.integers(60))
    said = f"{{}} {time_words(hour, minute, twelve=hour <= 12)}"
    return said, Expected(kind="time", value=f"{hour:02d}:{minute:02d}")


def fill(recording: Recording, voice: Voice) -> None:
    """Say every note with either word, in any order."""
    rng = recording.rng
    lines = []
    for number in range(EACH * len(RIVALS)):
        rivals = RIVALS[number % len(RIVALS)]
        said, event = _rest(rivals[0], rng)
        for word in rivals:
            about = {"pair": number, "word": word}
            lines.append((said.format(word), asdict(event) | about))
    recording.at_s = 1.5
    for number in rng.permutation(len(lines)):
        text, event = lines[number]
        start_s = recording.say(voice, text, "note")
        place = {"start_s": round(start_s, 3), "end_s": round(recording.at_s, 3)}
        recording.truth.events.append(event | place)
        recording.at_s += 1.2 + float(rng.exponential(1.0))
    recording.at_s += 1.0


def recordings(room: Path) -> Iterator[Path]:
    """Yield each recording, made if it is not there."""
    room.mkdir(parents=True, exist_ok=True)
    voices = [voice for part in ("tune", "judge") for voice in speakers(part)]
    for number, voice in enumerate(voices):
        for place, (level, snr_db) in enumerate(LEVELS_DB.items()):
            name = f"{level}_{voice.name}.wav".replace("+", "-").replace(" ", "-")
            path = room / name
            if not path.with_suffix(".json").exists():
                truth = Truth(name, "words", level, voice.name, "mixed", snr_db)
                recording = Recording(truth, np.random.default_rng([number, place]))
                fill(recording, voice)
                recording.write(room, "mixed", snr_db)
            yield path


def main() -> None:
    """Make, hear, count, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("directory", type=Path)
    args = parser.parse_args()
    heard: dict[tuple[str, str, str, int], bool] = {}
    engine = open_system("treeward")
    for path in recordings(args.directory):
        truth: dict[str, Any] = json.loads(
            path.with_suffix(".json").read_text(encoding="utf-8")
        )
        engine.get_ready(path)
        events = engine.hear(path)
        for each in truth["events"]:
            about = (truth["condition"], truth["speaker"])
            heard[*about, each["word"], each["pair"]] = any(
                is_right(event, each)
                and abs((event.start_s or 0.0) - each["start_s"]) <= WITHIN_S
                for event in events
            )
        print(f"{path.name} heard", flush=True)
    print("| word | in quiet | in noise | only this one of the pair | by chance |")
    print("|---|---|---|---|---|")
    for rivals in RIVALS:
        for word, other in (rivals, rivals[::-1]):
            _row(heard, word, other)


def _row(heard: dict[tuple[str, str, str, int], bool], word: str, other: str) -> None:
    said: Counter[str] = Counter()
    right: Counter[str] = Counter()
    alone = beaten = 0
    for (level, speaker, which, pair), caught in heard.items():
        if which != word:
            continue
        said[level] += 1
        right[level] += caught
        rival = heard[level, speaker, other, pair]
        alone += caught and not rival
        beaten += rival and not caught
    shares = " | ".join(f"{right[level]}/{said[level]}" for level in LEVELS_DB)
    uneven = alone + beaten
    chance = binomtest(alone, uneven).pvalue if uneven else 1.0
    print(f"| {word} | {shares} | {alone} | {chance:.2f} |")


if __name__ == "__main__":
    main()
