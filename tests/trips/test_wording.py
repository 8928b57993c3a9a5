"""Every doubt has its sentence, and no two of them the same one."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from treeward.notes.flags import Flag, FlagCode
from treeward.trips.table import Doubt, DoubtCode
from treeward.trips.wording import doubt_text

THERE = datetime(2026, 7, 14, 10, 22, 31, tzinfo=UTC)
LATER = datetime(2026, 11, 3, 10, 22, 31, tzinfo=UTC)
NAMES = {  # how many a code has, where it is not one
    DoubtCode.KNOWN_HIVE: 2,
    DoubtCode.STATION_ASSUMED: 2,
    DoubtCode.STATION_HELD: 2,
    DoubtCode.RECORDING_ASSUMED: 2,
    DoubtCode.TRACK_AGREES: 3,
    DoubtCode.TRACK_DISAGREES: 3,
    DoubtCode.TWO_BEES: 3,
    DoubtCode.TWO_AT_ONCE: 2,
    DoubtCode.TWO_DIRECTIONS: 2,
}


def example(code: DoubtCode) -> Doubt:
    return Doubt(
        code=code,
        rows=("r0001",),
        names=("gate", "yellow", "blue")[: NAMES.get(code, 1)],
        others=("1", "2"),
        numbers=(600.0, 300.0, 2.0),
        moments=(THERE, LATER),
        flag=Flag.of(FlagCode.HARDLY_HEARD, "0.41"),
    )


@pytest.mark.parametrize("code", DoubtCode)
def test_every_doubt_has_a_sentence(code: DoubtCode) -> None:
    text = doubt_text(example(code))

    assert len(text) > 8
    assert text[-1] != "."
    assert "{" not in text


def test_no_two_doubts_about_one_thing_have_one_sentence() -> None:
    texts = [doubt_text(example(code)) for code in DoubtCode]

    assert len(set(texts)) == len(texts)


@pytest.mark.parametrize(
    ("doubt", "text"),
    [
        (
            Doubt(code=DoubtCode.SEVERAL_TRIPS, numbers=(662, 330, 2)),
            (
                "about twice the usual (11:02 min against the usual 5:30 min): notes "
                "between were missed"
            ),
        ),
        (
            Doubt(code=DoubtCode.TAKEN_BACK, numbers=(1,)),
            "1 note was taken back by a scratch",
        ),
        (Doubt(code=DoubtCode.UNCLOCKED, numbers=(3,)), "3 notes have no clock time"),
        (
            Doubt(code=DoubtCode.LANDINGS_TOO_NEAR, numbers=(20.4,)),
            "two landings 20 s apart: two bees, or one said twice",
        ),
        (
            Doubt(code=DoubtCode.DEPARTURES_TOO_NEAR, numbers=(20.4,)),
            "two departures 20 s apart: two bees, or one said twice",
        ),
        (
            Doubt(code=DoubtCode.TOO_SHORT, numbers=(12.0,)),
            "12 s is too short for a trip: she circled and landed",
        ),
        (
            Doubt(code=DoubtCode.NO_TIME_FOR_A_TRIP, numbers=(7200.0,)),
            "120 min is no time for a trip",
        ),
        (
            Doubt(code=DoubtCode.TIMED_OTHERWISE, rows=("r1", "r2"), numbers=(312.0,)),
            "the trip was timed as 312 s (r1, r2)",
        ),
        (
            Doubt(
                code=DoubtCode.TRACK_DISAGREES,
                names=("2", "a.ogg", "imperial"),
                numbers=(91.44,),  # 100 international yards, 300 feet
            ),
            (
                "the GPX track was 100 yards from station 2 while a.ogg was spoken, "
                'not what was taken: to say so, add [[recording]] name = "a.ogg", '
                'station = "2" to hunt.toml'
            ),
        ),
        (
            Doubt(
                code=DoubtCode.TRACK_AGREES,
                names=("2", "a.ogg", "metric"),
                numbers=(40.0,),
            ),
            (
                "the GPX track was 40 m from station 2 while a.ogg was spoken, as was "
                'taken: to say so, add [[recording]] name = "a.ogg", station = "2" to '
                "hunt.toml"
            ),
        ),
        (
            Doubt(code=DoubtCode.IN_THE_DARK, numbers=(2,), moments=(THERE,)),
            (
                "2 notes are of bees flying with the sun down, the first at "
                "14 Jul 10:22: is the clock right?"
            ),
        ),
        (
            Doubt(code=DoubtCode.DAYS_APART, moments=(THERE.date(), LATER.date())),
            (
                "the notes of 14 Jul 2026 and of 3 Nov 2026 lie 112 days apart: are "
                "both days right?"
            ),
        ),
    ],
)
def test_numbers_are_told_as_people_say_them(doubt: Doubt, text: str) -> None:
    assert doubt_text(doubt) == text
