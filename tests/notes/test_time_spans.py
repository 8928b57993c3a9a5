"""Stretches of time in words, and how long ago."""

from __future__ import annotations

import pytest

from treeward.notes.flags import FlagCode
from treeward.notes.time_spans import ago_at, stretch_of_time


@pytest.mark.parametrize(
    ("said", "seconds"),
    [
        ("six and a half minutes .", 390),
        ("a couple of minutes .", 120),
        ("three quarters of an hour .", 2700),
        ("a good minute .", 60),
        ("forty odd seconds .", 40),
        ("seven minutes four .", 424),
        ("seven minutes , eleven seconds .", 431),
        ("six minutes less ten seconds .", 350),
        ("twenty seconds for her .", 20),
    ],
)
def test_a_stretch_of_time(said: str, seconds: float) -> None:
    found = stretch_of_time(f" {said} ", 1)
    assert found is not None
    assert found[0] == seconds


@pytest.mark.parametrize(
    "said", ["six .", "minutes .", "the dish .", "half past two ."]
)
def test_no_stretch_of_time(said: str) -> None:
    assert stretch_of_time(f" {said} ", 1) is None


@pytest.mark.parametrize(
    ("said", "seconds", "words"),
    [
        ("half a minute ago .", "30", "half a minute ago"),
        ("about twenty seconds ago .", "20", "about twenty seconds ago"),
        ("she left two minutes back .", "120", "she left two minutes back"),
        ("ten seconds earlier .", "10", "ten seconds earlier"),
    ],
)
def test_how_long_ago(said: str, seconds: str, words: str) -> None:
    found = ago_at(f" {said} ", 1)
    assert found is not None
    assert found[0] == float(seconds)
    assert (found[1].code, found[1].words) == (FlagCode.TOLD_LATE, (seconds, words))


@pytest.mark.parametrize(
    "said", ["two minutes .", "a while ago .", "ages ago .", "two minutes left ."]
)
def test_what_tells_no_time_ago(said: str) -> None:
    assert ago_at(f" {said} ", 1) is None
