"""Make what the feature map learns from: speech in noise, beside the same in quiet.

    PYTHONPATH=tests python -m benchmarks.hearing.make_training OUT.npz --minutes 45

`--warp 0.16` makes many voices of each, with vocal tracts longer and shorter, and
`--curve-db 4` other mouths, rooms and microphones. Who speaks is in training_voices.py.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pocketsphinx
from scipy.signal import butter, firwin2, lfilter, sosfilt

from benchmarks.hearing import chatter
from benchmarks.hearing.notes_said import Diary
from benchmarks.hearing.training_voices import pick, systems
from treeward.simulate import noise
from treeward.simulate.voice import SPEECH_LEVEL_DBFS, retune
from treeward.speech.cepstra import levelled_log_mels
from treeward.speech.front_end import SUPPRESSED_SHARE, FrontEnd
from treeward.speech.neural import NeuralSuppressor

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from treeward.simulate.noise import Bed
    from treeward.simulate.voice import Voice

    Samples = NDArray[np.float64]

RATE_HZ = 16_000
SPEECH_LEVEL = 10 ** (SPEECH_LEVEL_DBFS / 20)
RECORDING_S = 60.0  # of one voice in one noise
PADDING_S = 0.3  # around speech, as the sieve leaves it
LONGEST_S = 11.0  # of a stretch
CURVE_HZ = (0.0, 250.0, 600.0, 1200.0, 2200.0, 3600.0, 5500.0, 8000.0)  # knots
NOTES_SHARE, TALK_SHARE = 0.5, 0.2  # the rest is words picked blindly; choice


class Coloured:
    """Noise with a slope of its own, swelling and falling off."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._rng = rng
        self._slope = float(rng.uniform(-0.6, 0.97))
        low_hz = float(np.exp(rng.uniform(np.log(100), np.log(1200))))
        high_hz = float(rng.uniform(1.8 * low_hz + 500, 7500))
        self._band = butter(1, [low_hz, high_hz], "band", fs=RATE_HZ, output="sos")
        self._banded = float(rng.random()) < 0.6
        self._depth = float(rng.uniform(0, 0.8))
        self._period_s = float(np.exp(rng.uniform(np.log(0.1), np.log(4))))

    def block(self, n: int) -> Samples:
        """Return the next `n` samples."""
        sound = lfilter([1.0], [1.0, -self._slope], self._rng.standard_normal(n))
        if self._banded:
            sound = sosfilt(self._band, sound)
        knots = max(int(n / RATE_HZ / self._period_s), 1) + 2
        curve = np.interp(
            np.linspace(0, knots - 1, n),
            np.arange(knots),
            self._rng.standard_normal(knots),
        )
        sound = np.asarray(sound) * np.exp(self._depth * curve)
        return np.asarray(sound / noise.band_level(sound, RATE_HZ))


def background(rng: np.random.Generator) -> Bed:
    """Pick a noise: those of the benchmark, others, or both together."""
    draw = rng.random()
    if draw < 0.35:
        return Coloured(rng)
    kind = str(rng.choice(noise.KINDS))
    if draw < 0.5:
        return noise.Mixed([noise.bed(kind, rng, RATE_HZ), Coloured(rng)])
    return noise.bed(kind, rng, RATE_HZ)


def dictionary_words() -> list[str]:
    """Give words of the bundled dictionary, neither short nor long."""
    dictionary = Path(pocketsphinx.get_model_path("en-us/cmudict-en-us.dict"))
    listed = [line.split()[0] for line in dictionary.open(encoding="utf-8")]
    return [word for word in listed if word.isalpha() and 3 <= len(word) <= 8]


def sentence(rng: np.random.Generator, diary: Diary, words: list[str]) -> str:
    """Make up something to say: a note, talk, or words without sense."""
    draw = rng.random()
    if draw < NOTES_SHARE:
        return " ".join(diary.note(float(rng.uniform(0, 3600))).pieces)
    if draw < NOTES_SHARE + TALK_SHARE:
        return chatter.sentence(rng)
    return " ".join(rng.choice(words, int(rng.integers(2, 8))))


def speech(
    voice: Voice, rng: np.random.Generator, words: list[str], warp: float
) -> tuple[Samples, list[tuple[int, int]]]:
    """Say sentences with pauses; tell from which to which sample each one goes."""
    diary = Diary(rng)
    sound = np.zeros(round(RECORDING_S * RATE_HZ))
    factor = float(np.exp(rng.uniform(-warp, warp)))
    spans: list[tuple[int, int]] = []
    at = RATE_HZ
    while True:
        text = sentence(rng, diary, words)
        said = voice.say(text, rate_hz=RATE_HZ, seed=int(rng.integers(1 << 30)))
        wave = retune(said.astype(np.float64), RATE_HZ * factor, RATE_HZ)
        if at + len(wave) + RATE_HZ // 2 > len(sound):
            return sound, spans
        sound[at : at + len(wave)] += wave * 10 ** (float(rng.uniform(-4, 1)) / 20)
        spans.append((at, at + len(wave)))
        at += len(wave) + round(float(rng.uniform(0.3, 1.6)) * RATE_HZ)


def _stretches(spans: list[tuple[int, int]]) -> Iterator[slice]:
    """Join sentences close together, as the sieve does."""
    pad = round(PADDING_S * RATE_HZ)
    low, high = spans[0]
    for start, end in spans[1:]:
        if start - high < 3 * pad and end - low < LONGEST_S * RATE_HZ:
            high = end
            continue
        yield slice(max(low - pad, 0), high + pad)
        low, high = start, end
    yield slice(max(low - pad, 0), high + pad)


def examples(
    voice: Voice,
    snr_db: float,
    rng: np.random.Generator,
    words: list[str],
    *,
    warp: float = 0.0,
    curve_db: float = 0.0,
) -> Iterator[tuple[NDArray[np.float16], ...]]:
    """Yield log mel powers: noise taken off, as it came, and without noise."""
    clean, spans = speech(voice, rng, words, warp)
    if not spans:
        return
    knots_db = rng.normal(0, curve_db, len(CURVE_HZ))
    shape = firwin2(257, CURVE_HZ, 10 ** (knots_db / 20), fs=RATE_HZ)
    curved = np.convolve(clean, shape, "same")
    clean = curved * np.std(clean) / np.std(curved)
    behind = background(rng).block(len(clean))
    behind /= noise.band_level(behind, RATE_HZ)
    noisy = np.tanh(clean + noise.gain_for(SPEECH_LEVEL, snr_db) * behind)
    quiet, plain = (
        FrontEnd(suppress=False).push(each.astype(np.float32))
        for each in (clean, noisy)
    )
    suppressor = NeuralSuppressor()
    parts = [suppressor.push(plain), suppressor.flush()]
    taken_off = np.concatenate(parts)[: len(plain)]
    cleaned = SUPPRESSED_SHARE * taken_off + (1 - SUPPRESSED_SHARE) * plain
    for part in _stretches(spans):
        states = [each[part] for each in (cleaned, plain, quiet)]
        yield tuple(
            log_mel.astype(np.float16) for log_mel in levelled_log_mels(states, rng)
        )


def main() -> None:
    """Make a file of examples."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=45.0)
    parser.add_argument("--snr", type=float, nargs=2, default=(3.0, 20.0))
    parser.add_argument(
        "--warp", type=float, default=0.0, help="largest log factor on pitch and tract"
    )
    parser.add_argument(
        "--curve-db", type=float, default=0.0, help="over the spectrum, at each knot"
    )
    parser.add_argument(
        "--recordings",
        type=Path,
        nargs="+",
        action="append",
        default=[],
        help="folders of one person's; given twice, two groups asked equally often",
    )
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    words = dictionary_words()
    known = systems(args.recordings)
    rows: list[list[NDArray[np.float16]]] = [[], [], []]
    made_s = 0.0
    while made_s < args.minutes * 60:
        voice = pick(known, rng)
        snr_db = float(rng.uniform(*args.snr))
        kinds = {"warp": args.warp, "curve_db": args.curve_db}
        for triple in examples(voice, snr_db, rng, words, **kinds):
            for row, each in zip(rows, triple, strict=True):
                row.append(each)
            made_s += len(triple[0]) / 100
        print(f"{made_s / 60:.1f} min", flush=True)
    cleaned, plain, clean = (np.concatenate(row) for row in rows)
    np.savez(
        args.out,
        cleaned=cleaned,
        plain=plain,
        clean=clean,
        lengths=np.array([len(each) for each in rows[0]]),
    )


if __name__ == "__main__":
    main()
