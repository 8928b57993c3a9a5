"""Dates and times in the names that recorders and phones give."""

from __future__ import annotations

from datetime import date, time

import pytest

from treeward.notes.clock_evidence import NamedTime, time_in_name

DAY = date(2026, 7, 14)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("2026-07-14 10.20.33.m4a", time(10, 20, 33)),
        ("2026-07-14_1020_station-1.flac", time(10, 20)),
        ("Recording_20260714_102033.wav", time(10, 20, 33)),
        ("20260714102033.amr", time(10, 20, 33)),
        ("2026-07-14T10:20:33.wav", time(10, 20, 33)),
        ("14-07-2026 09.05.33 PM.mp3", time(21, 5, 33)),
        ("14 July 2026 at 10.20.ogg", time(10, 20)),
        ("Jul 14, 2026 10-20 pm.m4a", time(22, 20)),
        ("station-1 2026-07-14.wav", None),
        ("AUD-20260714-WA0003.opus", None),
        ("14. Juli 2026.m4a", None),
        ("2026-07-14 77.99.m4a", None),
    ],
)
def test_a_date_is_read_with_its_time(name: str, expected: time | None) -> None:
    found = time_in_name(name)

    assert found is not None
    assert (found.day, found.time) == (DAY, expected)


@pytest.mark.parametrize(
    "name",
    [
        "New Recording 14.m4a",
        "station-1.wav",
        "REC001.WAV",
        "hunt-3.ogg",
        "260714_1020.wav",
        "2026-13-45.m4a",
        "marl hollow 2.m4a",
        "",
    ],
)
def test_a_name_without_a_date_gives_none(name: str) -> None:
    assert time_in_name(name) is None


def test_day_and_month_are_told_apart_by_the_files_day_or_not_at_all() -> None:
    april = NamedTime(day=date(2026, 4, 3), time=time(10, 20), resolution_s=60.0)

    assert time_in_name("03-04-2026 10.20.wav") is None
    assert time_in_name("03-04-2026 10.20.wav", near=date(2026, 4, 3)) == april
