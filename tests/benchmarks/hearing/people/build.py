"""Build recordings out of people's words, other people's talk and real noise.

    PYTHONPATH=tests python -m benchmarks.hearing.people.build ROOM CORPUS

fetches what is missing into ROOM (2.1 GB pass through, 0.2 GB stay) and writes into
CORPUS, for each speaker and condition, NAME.flac, NAME.truth.json and
NAME.phrasebook.toml, which goes into the hunt's folder as phrasebook.toml; recordings
without notes have no phrase book and are heard with the usual one. Words, times and
noise are drawn anew from a seed that is the recording's name, so that any one can be
made alone (`--only`), and is the same each time.
"""

from __future__ import annotations

import argparse
import json
import zlib
from dataclasses import asdict, dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from . import beds, sound
from .sources import RATE_HZ, Sound, fetch, find, folder_of
from .sources import read as read_sound
from .speakers import Said, Speaker
from .speakers import load as load_speakers

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

# condition -> kind of bed, ratio in dB, whether words are said slowly
CONDITIONS: dict[str, tuple[str, float | None, bool]] = {
    "quiet": ("none", None, False),
    "wind15": ("wind", 15.0, False),
    "water15": ("water", 15.0, False),
    "mixed8": ("mixed", 8.0, False),
    "mixed3": ("mixed", 3.0, False),
    "slow": ("none", None, True),
}
SPOILT = ("telephone", "clipped", "drawn-out")
NOISES = ("wind", "water", "rain", "birds-insects", "town", "mixed")
LANGUAGES = {
    "french": "asterisk-core-sounds-fr-g722",
    "spanish": "asterisk-core-sounds-es-g722",
    "italian": "asterisk-core-sounds-it-g722",
    "russian": "asterisk-core-sounds-ru-g722",
}
NOTES = 24  # a recording
TALK_SHARE = 0.45  # of things said that are talk by others; choice
BETWEEN_S = (0.02, 0.09)  # words of a note; choice
SLOWLY_S = (0.3, 0.7)  # words of a note said word by word; choice
NOISE_DBFS = -40.0  # of noise alone; choice
NOT_TALK = (  # beginnings of names of files that hold tones, cries, laughter
    *("beep", "tone", "silence", "tt-monkeys", "ascending", "descending", "laugh"),
    *("jump", "ow", "ooff", "hmm", "nooo", "ouch", "poison", "firepunch", "flyaway"),
)
FLOOR_DBFS = -75.0  # hiss of a microphone, so that no quiet is digital; choice
DRAWN_OUT = 0.6  # tempo of drawn-out speech


@dataclass(slots=True)
class Truth:
    """What a recording holds, as it is written beside it."""

    speaker: str
    condition: str
    acted: bool = False
    bed: str = "none"
    snr_db: float | None = None
    snr_300_4000_db: float | None = None
    seconds: float = 0.0
    distinct_s: float = 0.0  # of talk or noise, without what is repeated
    talk_s: float = 0.0
    events: list[dict[str, Any]] = field(default_factory=list)


class Tape:
    """Sound laid out in time, with the truth about it."""

    def __init__(self, truth: Truth) -> None:
        self.truth = truth
        self.at = RATE_HZ  # sample: a second before anything is said
        self.parts: list[tuple[int, Sound]] = []

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.at += round(seconds * RATE_HZ)

    def lay(self, piece: Sound) -> tuple[float, float]:
        """Lay a sound here, and return from when to when it lasts, in seconds."""
        self.parts.append((self.at, piece))
        start_s = self.at / RATE_HZ
        self.at += len(piece)
        return start_s, self.at / RATE_HZ

    def speech(self) -> Sound:
        """Return everything laid, and two seconds more."""
        out = np.zeros(self.at + 2 * RATE_HZ)
        for at, piece in self.parts:
            out[at : at + len(piece)] += piece
        return out


def say_note(
    tape: Tape, said: Said, word: Callable[[str], Sound], rng: np.random.Generator
) -> None:
    """Lay a note, its words joined, at the level of all notes."""
    slow = tape.truth.condition == "slow"
    parts: list[Sound] = []
    for text in said.words:
        if parts:
            gap_s = rng.uniform(*(SLOWLY_S if slow else BETWEEN_S))
            parts.append(np.zeros(round(gap_s * RATE_HZ)))
        each = word(text)
        # Words were recorded on different days: first each at one level.
        parts.append(sound.at_level(each if slow else sound.as_in_a_phrase(each, text)))
    note = sound.at_level(np.concatenate(parts))
    low, high = sound.span(note)
    start_s, _ = tape.lay(note)
    tape.truth.events.append(
        {
            "start_s": round(start_s + low / RATE_HZ, 3),
            "end_s": round(start_s + high / RATE_HZ, 3),
            "event": said.event,
            "mark": said.mark,
            "value": said.value,
            "said": " ".join(said.words),
            "speaker": tape.truth.speaker,
        }
    )


def notes_and_talk(
    tape: Tape,
    notes: Sequence[Said],
    word: Callable[[str], Sound],
    talk: Sequence[Sound],
    rng: np.random.Generator,
) -> None:
    """Lay all notes, and talk by others between them, a little softer at times."""
    for said in notes:
        while talk and rng.random() < TALK_SHARE:
            piece = sound.at_level(talk[int(rng.integers(len(talk)))])
            tape.lay(piece * 10 ** (rng.uniform(-8, 0) / 20))
            tape.truth.talk_s += len(piece) / RATE_HZ
            tape.wait(0.7 + rng.exponential(1.2))
        say_note(tape, said, word, rng)
        tape.wait(0.8 + rng.exponential(1.5))


def talk_alone(
    tape: Tape, talk: Sequence[Sound], seconds: float, rng: np.random.Generator
) -> None:
    """Lay all talk in turn, in another order each time it is through."""
    tape.truth.distinct_s = round(sum(len(each) for each in talk) / RATE_HZ, 1)
    while tape.at < seconds * RATE_HZ:
        for number in rng.permutation(len(talk)):
            piece = sound.at_level(talk[int(number)])
            tape.lay(piece * 10 ** (rng.uniform(-8, 0) / 20))
            tape.truth.talk_s += len(piece) / RATE_HZ
            tape.wait(0.2 + rng.exponential(0.6))
            if tape.at >= seconds * RATE_HZ:
                return


def write(path: Path, truth: Truth, samples: Sound) -> None:
    """Write sound and truth."""
    truth.seconds = round(len(samples) / RATE_HZ, 3)
    samples = np.clip(samples, -1, 1)
    soundfile.write(path.with_suffix(".flac"), samples, RATE_HZ, "PCM_16")
    text = json.dumps(asdict(truth), indent=1)
    path.with_suffix(".truth.json").write_text(text, encoding="utf-8")


class Builder:
    """Makes the recordings, from what was fetched into a room."""

    def __init__(self, room: Path, corpus: Path, only: str = "") -> None:
        self.room, self.corpus, self.only = room, corpus, only
        self.speakers = load_speakers()
        self.cache: dict[Path, Sound] = {}

    def read(self, path: Path) -> Sound:
        """Read a file once, without the silence around what is said."""
        if path not in self.cache:
            self.cache[path] = sound.trimmed(read_sound(path))
        return self.cache[path]

    def word(self, speaker: Speaker, text: str) -> Sound:
        """Return a word or phrase as the speaker recorded it."""
        pattern = f"{speaker.folder}/{speaker.words[text]}{speaker.suffix}"
        return self.read(find(self.room, speaker.package, pattern)[0])

    def wanted(self, name: str) -> np.random.Generator | None:
        """Return the source of chance of a recording, if it is to be made."""
        if self.only not in name:
            return None
        return np.random.default_rng([1, zlib.crc32(name.encode())])

    def talk(self, without: str = "") -> list[Sound]:
        """Return what people say that is no note, but for one package's.

        Long readings are cut at pauses of a third of a second.
        """
        files: list[Path] = []
        if without != "asterisk-core-sounds-en-g722":
            files += find(self.room, "asterisk-core-sounds-en-g722", "en_US*/*.g722")
            files += find(self.room, "asterisk-core-sounds-en-g722", "dictate/*.g722")
        if without != "hedgewars-data":
            for speaker in self.speakers:
                if speaker.acted:
                    files += find(self.room, speaker.package, f"{speaker.folder}/*.ogg")
        for pattern in ("librivox/*.wav", "cards/*.wav", "*.raw"):
            files += find(self.room, "pocketsphinx-testdata", pattern)
        pool = [self.read(each) for each in files if not _no_speech(each)]
        for name in ("beckett", "two_cities", "endgame_nagg_nell", "clone-test"):
            path = folder_of(self.room, "moonshine-voice") / "assets" / f"{name}.wav"
            if path.is_file():
                pool += at_pauses(read_sound(path))
        return [each for each in pool if len(each) > 0.4 * RATE_HZ]

    def bed(self, kind: str, length: int, rng: np.random.Generator) -> Sound:
        """Return a bed of noise of some kind."""
        return beds.lay(self.room, kind, length, rng)

    def notes(self) -> None:
        """Make the recordings of notes, each speaker in each condition."""
        for speaker in self.speakers:
            for condition in (*CONDITIONS, *SPOILT):
                name = f"{speaker.name}_{condition}"
                rng = self.wanted(name)
                if rng is None or (condition in SPOILT and speaker.acted):
                    continue
                kind, snr_db, _ = CONDITIONS.get(condition, ("none", None, False))
                truth = Truth(speaker.name, condition, speaker.acted, kind, snr_db)
                tape = Tape(truth)
                notes = speaker.notes(NOTES, rng)
                talk = self.talk(speaker.package)
                notes_and_talk(tape, notes, partial(self.word, speaker), talk, rng)
                self.finish(name, tape, rng)
                book = (self.corpus / name).with_suffix(".phrasebook.toml")
                book.write_text(speaker.phrasebook(), encoding="utf-8")

    def finish(self, name: str, tape: Tape, rng: np.random.Generator) -> None:
        """Lay noise under a tape, or spoil it, and write it."""
        truth, speech = tape.truth, tape.speech()
        hiss = rng.normal(0, 10 ** (FLOOR_DBFS / 20), len(speech))
        if truth.snr_db is not None:
            back = self.bed(truth.bed, len(speech), rng)
            out = sound.mixed(speech, back, truth.snr_db, sound.LEVEL_DBFS)
            truth.snr_300_4000_db = round(narrow_snr_db(tape, out - speech), 1)
        else:
            out = speech
        out = out + hiss
        if truth.condition == "telephone":
            out = 0.1 * sound.telephone(out)
            write8k(self.corpus / name, truth, out)
            return
        if truth.condition == "clipped":
            out = np.clip(out * 10 ** (30 / 20), -0.5, 0.5)
        if truth.condition == "drawn-out":
            out = sound.tempo(out, DRAWN_OUT)
            for event in truth.events:
                event["start_s"] = round(event["start_s"] / DRAWN_OUT, 3)
                event["end_s"] = round(event["end_s"] / DRAWN_OUT, 3)
        write(self.corpus / name, truth, out)

    def without_notes(self, minutes: float) -> None:
        """Make talk alone, noise alone, music and other languages."""
        for condition, snr_db in (("talk-quiet", None), ("talk-mixed8", 8.0)):
            # In parts, so that memory does not grow with the hour.
            for part in range(1, max(1, round(minutes / 10)) + 1):
                name = f"others{part}_{condition}"
                rng = self.wanted(name)
                if rng is not None:
                    kind = "mixed" if snr_db else "none"
                    truth = Truth(f"others{part}", condition, False, kind, snr_db)
                    tape = Tape(truth)
                    talk_alone(tape, self.talk(), min(minutes, 10) * 60, rng)
                    self.finish(name, tape, rng)
        for kind in NOISES:
            name = f"{kind}_noise"
            rng = self.wanted(name)
            if rng is not None:
                length = round(minutes / len(NOISES) * 60 * RATE_HZ)
                back = self.bed(kind, length, rng)
                level = np.sqrt(np.mean(sound.in_band(back) ** 2))
                truth = Truth(kind, "noise", False, kind)
                truth.distinct_s = round(beds.distinct_s(self.room, kind), 1)
                write(self.corpus / name, truth, back * 10 ** (NOISE_DBFS / 20) / level)
        self._bad(minutes)

    def _bad(self, minutes: float) -> None:
        for language, package in LANGUAGES.items():
            name = f"{language}_language"
            rng = self.wanted(name)
            if rng is None:
                continue
            files = [f for f in find(self.room, package, "*.g722") if not _no_speech(f)]
            pieces = [self.read(each) for each in files[:150]]
            tape = Tape(Truth(language, "language"))
            talk_alone(tape, pieces, min(minutes / 12, 4) * 60, rng)
            self.finish(name, tape, rng)
        rng = self.wanted("songs_music")
        if rng is not None:
            files = find(self.room, "asterisk-moh-opsound-g722", "*.g722")
            parts = [0.2 * read_sound(each)[: 60 * RATE_HZ] for each in files]
            write(
                self.corpus / "songs_music",
                Truth("songs", "music"),
                np.concatenate(parts),
            )
        rng = self.wanted("nobody_silence")
        if rng is not None:
            hiss = rng.normal(0, 10 ** (FLOOR_DBFS / 20), 120 * RATE_HZ)
            write(self.corpus / "nobody_silence", Truth("nobody", "silence"), hiss)


def at_pauses(samples: Sound) -> list[Sound]:
    """Cut a reading where nobody speaks for a third of a second."""
    levels = sound.frame_levels(sound.in_band(samples))
    loud = np.flatnonzero(levels >= levels.max() * 10 ** (-sound.TRIM_DB / 20))
    cuts = np.flatnonzero(np.diff(loud) > 16)
    lows = [loud[0], *loud[cuts + 1]]
    highs = [*loud[cuts], loud[-1]]
    return [
        samples[low * sound.FRAME : (high + 1) * sound.FRAME]
        for low, high in zip(lows, highs, strict=True)
    ]


def narrow_snr_db(tape: Tape, noise: Sound) -> float:
    """Return the ratio over 300 to 4000 Hz, where speech is carried."""
    speech = tape.speech()
    notes = []
    for event in tape.truth.events:
        low, high = round(event["start_s"] * RATE_HZ), round(event["end_s"] * RATE_HZ)
        notes.append(sound.active_level(speech[low:high], 300.0, 4000.0))
    if not notes:
        notes = [sound.active_level(speech, 300.0, 4000.0)]
    back = np.sqrt(np.mean(sound.in_band(noise, 300.0, 4000.0) ** 2))
    return float(20 * np.log10(np.sqrt(np.mean(np.square(notes))) / back))


def write8k(path: Path, truth: Truth, samples: Sound) -> None:
    """Write sound at 8 kHz."""
    truth.seconds = round(len(samples) / 8000, 3)
    soundfile.write(path.with_suffix(".flac"), samples, 8000, "PCM_16")
    text = json.dumps(asdict(truth), indent=1)
    path.with_suffix(".truth.json").write_text(text, encoding="utf-8")


def _no_speech(path: Path) -> bool:
    # Tones, cries and laughter: "talk" here is talk.
    # And a lone "pause" is a note in everybody's phrase book.
    return (
        path.stem == "pause"
        or path.stem.lower().startswith(NOT_TALK)
        or "silence" in path.parts
    )


def main() -> None:
    """Build what the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("room", type=Path, help="folder for what is fetched")
    parser.add_argument("corpus", type=Path)
    parser.add_argument("--only", default="", help="part of speaker_condition")
    parser.add_argument(
        "--minutes", type=float, default=60.0, help="of talk alone; of noise alone"
    )
    args = parser.parse_args()
    args.room.mkdir(parents=True, exist_ok=True)
    args.corpus.mkdir(parents=True, exist_ok=True)
    fetch(args.room)
    builder = Builder(args.room, args.corpus, args.only)
    builder.notes()
    builder.without_notes(args.minutes)


if __name__ == "__main__":
    main()
