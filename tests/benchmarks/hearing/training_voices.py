"""Who speaks in what the feature map learns from.

Nobody here speaks in the "judge" part of the benchmark, nor in its "tune" part but for
one: flite's kal16, at other pitches, is the speaker of festival-kal. The map is not
told what is said, so Italians, Czechs, Finns and a Catalan read English as they would
their own languages, and people may be recorded in any.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import av
import numpy as np

from benchmarks.hearing.speakers import Paced, espeak, festival, flite
from treeward.simulate.voice import tidy

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.simulate.voice import Voice

ESPEAK = {
    "en-gb": ("m1", "m3", "m5", "m7", "f1", "f3", "f4"),
    "en-us": ("m2", "m4", "f4", "f5"),
    "en-gb-scotland": ("m2", "f3"),
    "en-gb-x-rp": ("m6", "f1"),
    "en-gb-x-gbclan": ("m3", "f4"),
    "en-029": ("m1", "f5"),
}
KAL16_PITCHES = (0.82, 0.9, 1.0, 1.1, 1.2)
HIBARI_PITCHES = (0.86, 0.94, 1.0, 1.08, 1.18)
# Debian: festvox-italp16k, festvox-itapc16k, festvox-czech-dita, -machac, -ph and -krb
# (a child), festvox-suopuhe-lj and -mv, festvox-ca-ona-hts.
FESTIVAL = (
    "lp_diphone",
    "pc_diphone",
    "czech_dita",
    "czech_machac",
    "czech_ph",
    "czech_krb",
    "suo_fi_lj_diphone",
    "hy_fi_mv_diphone",
    "upc_ca_ona_hts",
)
SHORTEST_S, LONGEST_S = 0.35, 8.0  # of a recording that is used
LEAST_RANGE_DB = 32.0  # from its quietest to its loudest; less is noise of its own


class Recorded:
    """A person, of whom there are recordings of single sentences.

    Parameters
    ----------
    folder
        Sound files, in folders or not. Whatever asks it to say something gets one of
        them, picked by the seed.
    """

    def __init__(self, folder: Path) -> None:
        self.name = folder.name
        self._files = sorted(path for path in folder.rglob("*") if path.is_file())

    def say(self, text: str, *, rate_hz: int, seed: int) -> NDArray[np.float32]:
        """Say something else than `text`."""
        del text
        rng = np.random.default_rng(seed)
        while True:
            sound = _read(self._files[int(rng.integers(len(self._files)))], rate_hz)
            frames = sound[: len(sound) // 320 * 320].reshape(-1, 320)
            if not SHORTEST_S <= len(sound) / rate_hz <= LONGEST_S:
                continue
            levels_db = 10 * np.log10(np.mean(frames**2, axis=1) + 1e-12)
            low_db, high_db = np.quantile(levels_db, [0.05, 0.95])
            if high_db - low_db >= LEAST_RANGE_DB:
                return tidy(sound)


def _read(path: Path, rate_hz: int) -> NDArray[np.float64]:
    kind = "g722" if path.suffix == ".g722" else None  # it has no header to tell by
    resampler = av.AudioResampler("flt", "mono", rate_hz)
    with av.open(str(path), format=kind) as container:
        parts = [
            part.to_ndarray()[0]
            for frame in container.decode(audio=0)
            for part in resampler.resample(frame)
        ]
    return np.concatenate([*parts, np.zeros(0)]).astype(np.float64)


def systems(recordings: Sequence[Sequence[Path]] = ()) -> list[list[Voice]]:
    """Return those who speak, by the system or the group they come from."""
    variants = [f"{way}+{who}" for way, names in ESPEAK.items() for who in names]
    found: list[list[Voice]] = [
        [espeak(variant, 35 + 7 * n % 40) for n, variant in enumerate(variants)],
        [flite("kal16", pitch) for pitch in KAL16_PITCHES],
        [Paced(f"hibari-{p:g}", "british", p) for p in HIBARI_PITCHES],
        [festival(voice) for voice in FESTIVAL],
    ]
    found += [[Recorded(folder) for folder in group] for group in recordings]
    return found


def pick(known: Sequence[Sequence[Voice]], rng: np.random.Generator) -> Voice:
    """Pick a system, then a voice of it."""
    voices = known[int(rng.integers(len(known)))]
    return voices[int(rng.integers(len(voices)))]
