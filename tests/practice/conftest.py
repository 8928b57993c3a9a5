"""What tests of practice share: sound cut where beeps are."""

from __future__ import annotations

import pytest

from loudness import IN_USE, LoudActivity


@pytest.fixture(autouse=True)
def beeps_are_voices(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut sound where beeps are, which the network takes for no voices."""
    monkeypatch.setattr(IN_USE, LoudActivity)
