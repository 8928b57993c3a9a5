"""The spoken script of an invented hunt as recordings.

Wind to put behind invented speech.

A bed of sound is endless and made block by block, so an hour of it costs no more memory
than a second. Levels are set against speech: `gain_for` gives the factor that puts a
bed a stated number of decibels below a stated speech level.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace
from importlib import import_module
from itertools import groupby
from typing import TYPE_CHECKING, Literal, Protocol

import numpy as np

from treeward.errors import SpeechError

from .observer import moved_line, with_talk

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from .world import SimulatedHunt, SpokenLine

    Samples = NDArray[np.float64]


LEVEL_BAND_HZ = (100.0, 7000.0)  # rumble below is not counted as noise; choice
PILOT_S = 90.0  # length of the stretch by which a level is measured; choice


class Bed(Protocol):
    """A kind of background sound that never ends."""

    def block(self, n: int) -> Samples:
        """Return the next `n` samples."""


class _Filtered:
    """White noise through a filter whose state is kept between blocks."""

    def __init__(self, rng: np.random.Generator, b: Samples, a: Samples) -> None:
        self._rng, self._b, self._a = rng, b, a
        self._state = np.zeros(max(len(a), len(b)) - 1)

    def block(self, n: int) -> Samples:
        from scipy.signal import lfilter

        out, self._state = lfilter(
            self._b, self._a, self._rng.standard_normal(n), zi=self._state
        )
        return np.asarray(out, dtype=np.float64)


def band(rng: np.random.Generator, low_hz: float, high_hz: float, rate_hz: int) -> Bed:
    """Make white noise between two pitches."""
    from scipy.signal import butter

    top = min(high_hz, 0.46 * rate_hz)
    b, a = butter(1, [low_hz, top], btype="bandpass", fs=rate_hz)
    return _Filtered(rng, b, a)


class Slow:
    """A slow random curve (standard normal, correlated over `time_s`), interpolated."""

    STEP_S = 0.05

    def __init__(self, rng: np.random.Generator, time_s: float, rate_hz: int) -> None:
        self._rng = rng
        self._keep = float(np.exp(-self.STEP_S / time_s))
        self._step = round(self.STEP_S * rate_hz)
        self._here = float(rng.standard_normal())
        self._next = self._move(self._here)
        self._at = 0

    def _move(self, value: float) -> float:
        fresh = np.sqrt(1 - self._keep**2) * self._rng.standard_normal()
        return float(self._keep * value + fresh)

    def block(self, n: int) -> Samples:
        """Return the next `n` samples."""
        out = np.empty(n)
        done = 0
        while done < n:
            take = min(self._step - self._at, n - done)
            share = (self._at + np.arange(take)) / self._step
            out[done : done + take] = (1 - share) * self._here + share * self._next
            done += take
            self._at += take
            if self._at == self._step:
                self._at = 0
                self._here, self._next = self._next, self._move(self._next)
        return out


class WindNoise:
    """Wind over a microphone: rumble, hiss of heath and grass, and gusts."""

    def __init__(self, rng: np.random.Generator, rate_hz: int) -> None:
        self._rumble = band(rng, 20.0, 180.0, rate_hz)
        self._roar = band(rng, 120.0, 700.0, rate_hz)
        self._hiss = band(rng, 700.0, 5000.0, rate_hz)
        self._gust = Slow(rng, 2.5, rate_hz)
        self._flutter = Slow(rng, 0.15, rate_hz)

    def block(self, n: int) -> Samples:
        """Return the next `n` samples."""
        gust = np.exp(0.6 * self._gust.block(n))
        flutter = np.exp(0.5 * self._flutter.block(n))
        low = 4.0 * self._rumble.block(n) * gust * flutter
        return (
            low
            + 0.8 * self._roar.block(n) * gust * flutter
            + (0.12 * self._hiss.block(n) * gust**1.5)
        )


class _Levelled:
    """A bed scaled so that its usual level in LEVEL_BAND_HZ is one."""

    def __init__(self, bed: Bed, scale: float) -> None:
        self._bed, self._scale = bed, scale

    def block(self, n: int) -> Samples:
        return self._scale * self._bed.block(n)


def levelled(
    kind: Callable[[np.random.Generator, int], Bed],
    rng: np.random.Generator,
    rate_hz: int,
) -> Bed:
    """Make a background of unit level, its usual one in LEVEL_BAND_HZ."""
    pilot = kind(rng, rate_hz).block(round(PILOT_S * rate_hz))
    return _Levelled(kind(rng, rate_hz), 1.0 / band_level(pilot, rate_hz))


def band_level(samples: Samples, rate_hz: int) -> float:
    """Return the root mean square of `samples` within LEVEL_BAND_HZ."""
    from scipy.signal import butter, sosfilt

    low_hz, high_hz = LEVEL_BAND_HZ
    sections = butter(
        2, [low_hz, min(high_hz, 0.46 * rate_hz)], "bandpass", fs=rate_hz, output="sos"
    )
    heard = np.asarray(sosfilt(sections, samples))
    return float(np.sqrt(np.mean(heard**2)))


def gain_for(speech_level: float, snr_db: float) -> float:
    """Return the factor for a bed of unit level to lie `snr_db` below speech."""
    return float(speech_level * 10 ** (-snr_db / 20))


RATE_HZ = 16_000
TAIL_S = 5.0  # sound goes on after the last line; choice
BREATH_S = 0.2  # between two lines at least; guess


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundSettings:
    """How the hunt sounds."""

    snr_db: float = 18.0
    talk_share: float = 0.5  # of quiet stretches
    friend_db: float = -5.0  # how much softer the friend is
    compression: float = 0.5  # of the file, 0 to 1; 1 is smallest


@dataclass(slots=True)
class _Tape:
    """Sound written block by block, so that length costs no memory."""

    bed: Bed
    gain: float
    done: int = 0
    waves: deque[tuple[int, NDArray[np.float32]]] = field(default_factory=deque)

    def blocks(self, until: int) -> Iterator[NDArray[np.float32]]:
        """Yield finished blocks of a second, up to sample `until`."""
        while self.done + RATE_HZ <= until:
            block = self.gain * self.bed.block(RATE_HZ)
            for at, wave in self.waves:
                low = max(at, self.done)
                high = min(at + len(wave), self.done + RATE_HZ)
                if low < high:
                    block[low - self.done : high - self.done] += wave[
                        low - at : high - at
                    ]
            self.done += RATE_HZ
            while self.waves and self.waves[0][0] + len(self.waves[0][1]) <= self.done:
                self.waves.popleft()
            # A recorder's limiter rounds off what would clip.
            yield np.tanh(block).astype(np.float32)


def render(
    hunt: SimulatedHunt,
    directory: Path,
    *,
    observer: Voice,
    friend: Voice,
    settings: SoundSettings | None = None,
) -> SimulatedHunt:
    """Write the recordings of a hunt, and return it with the times as really spoken.

    The directory is made if missing.
    """
    settings = settings or SoundSettings()
    directory.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([hunt.seed, 1])
    barred: dict[str, list[float]] = {}
    for gap in hunt.gaps:
        barred.setdefault(gap.recording, []).append(gap.at_s)
    script = with_talk(hunt.script, rng, share=settings.talk_share, barred=barred)
    spoken: list[SpokenLine] = []
    voices = {"observer": (observer, 0.0), "friend": (friend, settings.friend_db)}
    for name, lines in groupby(script, key=lambda said: said.recording):
        spoken += _record(directory / name, list(lines), voices, rng, settings)
    events = tuple(said.event for said in spoken if said.event is not None)
    return replace(hunt, script=tuple(spoken), events=events)


def _record(
    path: Path,
    lines: Sequence[SpokenLine],
    voices: dict[str, tuple[Voice, float]],
    rng: np.random.Generator,
    settings: SoundSettings,
) -> list[SpokenLine]:
    import soundfile

    level = 10 ** (SPEECH_LEVEL_DBFS / 20)
    behind = levelled(WindNoise, rng, RATE_HZ)
    gain = gain_for(level, settings.snr_db)
    beside = path.with_name(f".{path.name}.part")
    ogg = path.suffix == ".ogg"
    spoken: list[SpokenLine] = []
    with soundfile.SoundFile(
        beside,
        "w",
        RATE_HZ,
        1,
        format="OGG" if ogg else path.suffix[1:].upper(),
        subtype="VORBIS" if ogg else "PCM_16",
        compression_level=settings.compression if ogg else None,
    ) as sink:
        tape = _Tape(behind, gain)
        free = 0
        for said in lines:
            voice, gain_db = voices[said.speaker]
            seed = int(rng.integers(1_000_000))
            wave = voice.say(said.text, rate_hz=RATE_HZ, seed=seed)
            start = max(round(said.start_s * RATE_HZ), free)
            # No later line starts before this one, so all before it is finished.
            for block in tape.blocks(start):
                sink.write(block)
            tape.waves.append((start, wave * np.float32(10 ** (gain_db / 20))))
            spoken.append(moved_line(said, start / RATE_HZ, len(wave) / RATE_HZ))
            free = start + len(wave) + round(BREATH_S * RATE_HZ)
        for block in tape.blocks(free + round(TAIL_S * RATE_HZ)):
            sink.write(block)
    beside.replace(path)
    return spoken


SPEECH_LEVEL_DBFS = -20.0  # level of speech while it is heard; common for memos
SILENCE_BELOW_PEAK_DB = 40.0  # quieter ends of an utterance are cut off; choice


class Voice(Protocol):
    """Something that reads a line aloud."""

    @property
    def name(self) -> str:
        """Name of the voice, stable over runs."""

    def say(self, text: str, *, rate_hz: int, seed: int) -> NDArray[np.float32]:
        """Return mono samples of `text` at `rate_hz`, about SPEECH_LEVEL_DBFS."""


# The voice in the wheel learnt American sounds only. British ones it never met come
# out as something else ("back" as "bank"), so each is said by its nearest neighbour;
# what stays British is the r that is not said, and the vowels of single words.
NEAREST_SOUND = str.maketrans(
    {
        "a": "æ",
        "ɒ": "\N{LATIN SMALL LETTER ALPHA}",
        "Q": "O",
        "\N{MODIFIER LETTER TRIANGULAR COLON}": None,
    }
)


class HibariVoice:
    """The voice in the hibari-tts wheel, with British or American pronunciations.

    Parameters
    ----------
    accent
        Whose pronunciations are read. The wheel holds both word lists and one voice,
        an American one.
    pitch
        Factor on pitch and voice size together: 0.82 sounds like a bigger person.
    pace
        Speaking rate, 1 is usual.
    """

    RATE_HZ = 24_000

    def __init__(
        self,
        accent: Literal["british", "american"] = "british",
        *,
        pitch: float = 1.0,
        pace: float = 1.0,
    ) -> None:
        try:
            hibari = import_module("hibari")
            g2p = import_module("hibari.g2p")
            import_module("scipy.signal")  # the noise behind the voice
        except ImportError as error:
            raise SpeechError(
                "no voice for the notes: hibari-tts is not installed, or scipy",
                mend="Install it by: pip install hibari-tts scipy; "
                "or ask for events without sound.",
            ) from error
        self._accent, self._pitch, self._pace = accent, pitch, pace
        self._reader = hibari.Hibari(g2p=g2p.G2P(british=accent == "british"))

    @property
    def name(self) -> str:
        """Name of the voice."""
        return f"hibari-{self._accent}-{self._pitch:g}"

    def say(self, text: str, *, rate_hz: int, seed: int) -> NDArray[np.float32]:
        """Read `text` aloud; the same seed gives the same samples."""
        # Slower reading and faster playing (or the reverse) shift pitch alone.
        speed = self._pace / self._pitch
        sentences = self._reader.phonemize(text)
        if self._accent == "british":
            sentences = [sounds.translate(NEAREST_SOUND) for sounds in sentences]
        parts = [
            np.asarray(self._reader.from_phonemes(sounds, speed=speed, seed=seed))
            for sounds in sentences
        ]
        raw = np.concatenate([*parts, np.zeros(0)])
        played = retune(raw, self.RATE_HZ * self._pitch, rate_hz)
        return tidy(played)


def retune(
    samples: NDArray[np.float64], from_hz: float, to_hz: float
) -> NDArray[np.float64]:
    """Resample from one rate to another."""
    from fractions import Fraction

    from scipy.signal import resample_poly

    ratio = Fraction(to_hz / from_hz).limit_denominator(500)
    if ratio == 1:
        return samples
    return np.asarray(resample_poly(samples, ratio.numerator, ratio.denominator))


def tidy(samples: NDArray[np.float64]) -> NDArray[np.float32]:
    """Cut silent ends and bring an utterance to SPEECH_LEVEL_DBFS.

    The level is the root mean square over the loud half of 20 ms frames (at 16 kHz),
    so that pauses inside the utterance do not count.
    """
    peak = float(np.max(np.abs(samples), initial=0.0))
    if peak == 0.0:
        return np.zeros(0, np.float32)
    loud = np.flatnonzero(np.abs(samples) > peak * 10 ** (-SILENCE_BELOW_PEAK_DB / 20))
    cut = samples[loud[0] : loud[-1] + 1]
    scaled = cut * 10 ** (SPEECH_LEVEL_DBFS / 20) / active_level(cut)
    # Peaks near full scale are rounded off as a recorder's limiter would.
    return np.asarray(np.tanh(scaled), dtype=np.float32)


def active_level(samples: NDArray[np.float64]) -> float:
    """Return the root mean square over the louder half of the frames."""
    frame = 320  # 20 ms
    usable = len(samples) - len(samples) % frame
    if usable == 0:
        return float(np.sqrt(np.mean(samples**2)))
    power = np.mean(samples[:usable].reshape(-1, frame) ** 2, axis=1)
    return float(np.sqrt(np.mean(power[power >= np.median(power)])))
