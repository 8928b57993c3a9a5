"""The acoustic model's files are read as PocketSphinx lays them out."""

from __future__ import annotations

import numpy as np
import pytest

from .acoustic_classes import LEAST_VARIANCE, STATES, bundled


def test_the_bundled_model_has_its_shape() -> None:
    model = bundled()

    # feat.params: 42 phones, svspec 0-12/13-25/26-38.
    assert model.means.shape == model.variances.shape == (3, 42, 128, 13)
    assert model.log_weights.shape == (3, 42, STATES, 128)
    assert np.isfinite(model.means).all()
    assert model.variances.min() >= LEAST_VARIANCE


def test_weights_of_a_state_make_up_one() -> None:
    # Stored in steps of a tenth of a nat, rounded down: a twentieth is lost.
    sums = np.exp(bundled().log_weights).sum(axis=-1)

    assert sums == pytest.approx(np.full(sums.shape, 0.95), abs=0.03)
