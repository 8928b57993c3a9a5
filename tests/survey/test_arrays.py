from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from treeward.survey.records import bessel_i0e


def test_bessel_function_is_scipys() -> None:
    x = np.concatenate([[0.0], np.geomspace(1e-6, 1e9, 4000), [499.999, 500.0, 500.1]])

    assert bessel_i0e(x) == pytest.approx(special.i0e(x), rel=1e-11)
