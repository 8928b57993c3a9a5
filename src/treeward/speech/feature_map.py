"""Speech in noise made to look, to the acoustic model, like speech in quiet.

A small convolutional network over log mel powers. It sees a stretch twice, as it came
and with the noise taken off, and gives what the same words would have been in quiet:
for each power a value of its own, and how far to trust that rather than what
suppression left (learnt feature enhancement; for the idea see Maas, Le, O'Neil,
Vinyals, Nguyen, Ng 2012, "Recurrent neural networks for noise reduction in robust
ASR", Interspeech). Its weights are in models/feature_map.npz;
tests/benchmarks/hearing/train_map.py made them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from zipfile import BadZipFile

import numpy as np

from treeward.errors import SpeechError
from treeward.speech.cepstra import FILTERS

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.speech.cepstra import LogMel

    Weights = NDArray[np.float32]

# A power's usual log and how far it swings, so that the network works on small numbers;
# rounded from the training data.
CENTRE, SWING = 8.0, 4.0
LEAN = 1.0  # towards what suppression left, before anything is learnt; choice
QUANTILES = (0.1, 0.9)  # of each power over the stretch: the noise, and the voice
DILATIONS = (2, 4)  # of the two inner layers, in frames
_LAYERS = ("first", "stretch", "inner_2", "inner_4", "last")


class FeatureMap:
    """The network with its weights.

    Parameters
    ----------
    path
        Of a NumPy archive with the weights of each layer.

    Raises
    ------
    SpeechError
        The file is missing or is not one of weights.
    """

    def __init__(self, path: Path) -> None:
        try:
            with path.open("rb") as file, np.load(file) as kept:
                self._weights = {
                    f"{layer}_{part}": kept[f"{layer}_{part}"].astype(np.float32)
                    for layer in _LAYERS
                    for part in ("weight", "bias")
                }
        except (OSError, ValueError, KeyError, EOFError, BadZipFile) as error:
            raise SpeechError(
                f"the weights for speech in noise cannot be read ({error})",
                where=str(path),
                mend="Install Treeward again",
            ) from error

    def __call__(self, cleaned: LogMel, plain: LogMel) -> LogMel:
        """Give log mel powers as they would have been in quiet.

        Parameters
        ----------
        cleaned
            With the noise taken off, shape (frames, 25).
        plain
            The same frames as they came.

        Returns
        -------
        array, shape (frames, 25)
            Natural logs, as `treeward.speech.cepstra.log_mel_of` gives them.
        """
        if not len(cleaned):
            return cleaned
        both = (np.hstack([cleaned, plain]) - CENTRE) / SWING
        sound = both.astype(np.float32)
        whole = np.quantile(sound, QUANTILES, axis=0).ravel().astype(np.float32)
        hidden = self._convolved("first", sound) + self._convolved("stretch", whole)
        hidden = np.maximum(hidden, 0)
        for dilation in DILATIONS:
            layer = f"inner_{dilation}"
            hidden += np.maximum(self._convolved(layer, hidden, dilation), 0)
        out = self._convolved("last", hidden)
        value, gate = CENTRE + SWING * out[:, :FILTERS], out[:, FILTERS:]
        trust = 1 / (1 + np.exp(-(gate + LEAN)))
        return np.asarray(trust * cleaned + (1 - trust) * value, np.float64)

    def _convolved(self, layer: str, rows: Weights, dilation: int = 1) -> Weights:
        """Apply a layer of shape (out, in) or (out, in, taps), centred on each row."""
        weight, bias = self._weights[f"{layer}_weight"], self._weights[f"{layer}_bias"]
        if weight.ndim == 2:
            return np.asarray(rows @ weight.T + bias)
        taps, count = weight.shape[2], len(rows)
        reach = taps // 2 * dilation
        padded = np.pad(rows, ((reach, reach), (0, 0)))
        out = np.tile(bias, (count, 1))
        for tap in range(taps):
            out += padded[tap * dilation : tap * dilation + count] @ weight[:, :, tap].T
        return out
