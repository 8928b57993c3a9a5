"""Make recordings with known events, and recordings without any.

    PYTHONPATH=tests python -m benchmarks.hearing.make_corpus DIR --part tune

writes one WAV file and one JSON file of the truth for each condition and speaker.
`--full` makes every noise at every level and an hour each of talk and of noise.
"""

from __future__ import annotations

import argparse
import json
import zlib
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from treeward.simulate import sound
from treeward.simulate.sound import SPEECH_LEVEL_DBFS, Voice

from . import chatter, noise
from .notes_said import Diary
from .speakers import Part, speakers

if TYPE_CHECKING:
    from collections.abc import Iterator

RATE_HZ = 16_000
SPEECH_LEVEL = 10 ** (SPEECH_LEVEL_DBFS / 20)
USUAL = {
    "mixed-30": ("mixed", 30.0),
    "wind-15": ("wind", 15.0),
    "water-15": ("water", 15.0),
    "buzz-15": ("buzz", 15.0),
    "mixed-8": ("mixed", 8.0),
}
FULL = {
    f"{kind}-{snr}": (kind, float(snr)) for snr in (30, 15, 8) for kind in noise.KINDS
}
TALK_SHARE = 0.3  # of things said in a recording of notes; choice
IN_A_BREATH_S = (0.0, 0.35)  # between notes with hardly a pause; choice
FRIEND_DB = (-10.0, -3.0)  # level of the second voice under the first; choice


@dataclass(slots=True)
class Truth:
    """What a recording holds; written beside it as JSON."""

    recording: str
    part: str
    condition: str
    speaker: str
    noise: str
    snr_db: float
    duration_s: float = 0.0
    talk_s: float = 0.0
    events: list[dict[str, Any]] = field(default_factory=list)
    said: list[dict[str, Any]] = field(default_factory=list)


class Recording:
    """Speech laid out in time, block by block over noise into a file."""

    def __init__(self, truth: Truth, rng: np.random.Generator) -> None:
        self.truth, self.rng = truth, rng
        self.at_s = 0.0
        self.waves: list[tuple[int, np.ndarray[Any, Any]]] = []

    def say(self, voice: Voice, text: str, role: str, gain_db: float = 0.0) -> float:
        """Say a line now, and return its start in seconds."""
        seed = int(self.rng.integers(1_000_000))
        wave = voice.say(text, rate_hz=RATE_HZ, seed=seed) * 10 ** (gain_db / 20)
        start = round(self.at_s * RATE_HZ)
        self.waves.append((start, wave))
        start_s = self.at_s
        self.at_s += len(wave) / RATE_HZ
        self.truth.said.append(
            {
                "start_s": round(start_s, 3),
                "end_s": round(self.at_s, 3),
                "voice": voice.name,
                "role": role,
                "text": text,
            }
        )
        if role != "note":
            self.truth.talk_s += len(wave) / RATE_HZ
        return start_s

    def write(self, directory: Path, kind: str, snr_db: float) -> None:
        """Write the sound in blocks of a second, and the truth."""
        self.truth.duration_s = self.at_s
        path = directory / self.truth.recording
        total = round(self.at_s * RATE_HZ)
        seed = int(self.rng.integers(1 << 32))
        level = _level(noise.bed(kind, np.random.default_rng(seed), RATE_HZ), total)
        back = noise.bed(kind, np.random.default_rng(seed), RATE_HZ)
        gain = sound.gain_for(SPEECH_LEVEL, snr_db) / level
        with soundfile.SoundFile(path, "w", RATE_HZ, 1, "PCM_16") as sink:
            for start in range(0, total, RATE_HZ):
                block = gain * back.block(min(RATE_HZ, total - start))
                for at, wave in self.waves:
                    low, high = max(at, start), min(at + len(wave), start + len(block))
                    if low < high:
                        block[low - start : high - start] += wave[low - at : high - at]
                sink.write(np.tanh(block))
        text = json.dumps(asdict(self.truth), indent=1)
        path.with_suffix(".json").write_text(text, encoding="utf-8")


def _level(bed: sound.Bed, total: int) -> float:
    """Measure the noise of a whole recording, so that its level is exact."""
    starts = range(0, total, RATE_HZ)
    levels = [sound.band_level(bed.block(RATE_HZ), RATE_HZ) for _ in starts]
    return float(np.sqrt(np.mean(np.square(levels))))


def notes_and_talk(
    recording: Recording, voice: Voice, friend: Voice, length_s: float, hurry: float
) -> None:
    """Fill a recording with notes amid talk; `hurry` share of notes await no pause."""
    rng = recording.rng
    diary = Diary(rng)
    recording.at_s = 1.5
    while recording.at_s < length_s:
        if rng.random() < TALK_SHARE:
            _talk(recording, voice, friend)
        else:
            _note(recording, voice, diary)
            while hurry and rng.random() < hurry:
                recording.at_s += float(rng.uniform(*IN_A_BREATH_S))
                _note(recording, voice, diary)
        recording.at_s += 0.7 + float(rng.exponential(1.6))
    recording.at_s += 1.0


def _note(recording: Recording, voice: Voice, diary: Diary) -> None:
    note = diary.note(recording.at_s)
    spans = []
    for piece in note.pieces:
        start_s = recording.say(voice, piece, "note")
        spans.append((start_s, recording.at_s))
        recording.at_s += note.gap_s
    for event in note.events:
        start_s, end_s = spans[event.piece]
        recording.truth.events.append(
            asdict(event) | {"start_s": round(start_s, 3), "end_s": round(end_s, 3)}
        )


def _talk(recording: Recording, voice: Voice, friend: Voice) -> None:
    rng = recording.rng
    for _ in range(int(rng.integers(1, 3))):
        text = chatter.sentence(rng)
        if rng.random() < 0.5:
            recording.say(voice, text, "own talk")
        else:
            recording.say(friend, text, "friend's talk", float(rng.uniform(*FRIEND_DB)))
        recording.at_s += float(rng.uniform(0.2, 0.9))


def talk_only(recording: Recording, voices: list[Voice], length_s: float) -> None:
    """Fill a recording with talk by all the voices in turn."""
    while recording.at_s < length_s:
        voice = voices[int(recording.rng.integers(len(voices)))]
        level_db = float(recording.rng.uniform(-8.0, 0.0))
        recording.say(voice, chatter.sentence(recording.rng), "talk", level_db)
        recording.at_s += float(recording.rng.uniform(0.2, 1.5))


def plan(
    part: Part,
    *,
    full: bool,
    minutes: float,
    quiet_minutes: float,
    seed: int,
    only: str,
    hurry: float = 0.0,
) -> Iterator[tuple[Recording, str, float]]:
    """Yield each recording, filled, with its noise."""
    voices = speakers(part)

    def start(condition: str, speaker: str, kind: str, snr_db: float) -> Recording:
        name = f"{condition}_{speaker}.wav".replace("+", "-")
        # The seed depends on the name, so that one recording can be made alone.
        rng = np.random.default_rng([seed, zlib.crc32(f"{part}/{name}".encode())])
        truth = Truth(name, part, condition, speaker, kind, snr_db)
        return Recording(truth, rng)

    for condition, (kind, snr_db) in (FULL if full else USUAL).items():
        for number, voice in enumerate(voices):
            if only in f"{condition}_{voice.name}":
                recording = start(condition, voice.name, kind, snr_db)
                friend = voices[(number + 1) % len(voices)]
                notes_and_talk(recording, voice, friend, minutes * 60, hurry)
                yield recording, kind, snr_db
    if only in "talk-only":
        recording = start("talk-only", "all", "mixed", 20.0)
        talk_only(recording, voices, quiet_minutes * 60)
        yield recording, "mixed", 20.0
    if only in "noise-only":
        recording = start("noise-only", "nobody", "mixed", 15.0)
        recording.at_s = quiet_minutes * 60
        yield recording, "mixed", 15.0


def main() -> None:
    """Make the corpus that the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("directory", type=Path)
    parser.add_argument("--part", choices=("tune", "judge"), required=True)
    parser.add_argument("--full", action="store_true", help="every noise, whole hours")
    parser.add_argument("--minutes", type=float, default=4.0, help="per recording")
    parser.add_argument("--quiet-minutes", type=float, help="talk-only and noise-only")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="part of condition_speaker")
    parser.add_argument(
        "--hurry", type=float, default=0.0, help="share of notes without a pause after"
    )
    args = parser.parse_args()
    args.directory.mkdir(parents=True, exist_ok=True)
    quiet = args.quiet_minutes or (60.0 if args.full else 6.0)
    todo = plan(
        args.part,
        full=args.full,
        minutes=args.minutes,
        quiet_minutes=quiet,
        seed=args.seed,
        only=args.only,
        hurry=args.hurry,
    )
    for recording, kind, snr_db in todo:
        recording.write(args.directory, kind, snr_db)
        truth = recording.truth
        print(
            f"{truth.recording}: {truth.duration_s:.0f} s, {len(truth.events)} events"
        )


if __name__ == "__main__":
    main()
