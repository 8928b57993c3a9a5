"""Spoken numbers: every value in every form, and what must not be guessed."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drawing import mostly_slow
from treeward.language.bearings import COMPASS_POINTS, read_bearing, read_compass
from treeward.language.number_words import bearing_forms, cardinal, time_forms
from treeward.language.times_of_day import read_duration, read_time

ANY_WORDS = st.lists(
    st.one_of(
        st.sampled_from(
            [
                *("zero", "oh", "one", "two", "three", "ten"),
                *("twenty-two", "to", "for", "past", "half", "quarter"),
                *("o'clock", "a", "hundred", "and", "minutes", "seconds"),
                *("am", "in", "the", "morning", "north", "south"),
                *("east", "10:22", "210", "39", "1410", "12.5"),
                *("degrees"),
            ]
        ),
        st.text(max_size=8),
    ),
    max_size=8,
)


def test_every_bearing_in_every_form() -> None:
    for deg in range(361):
        forms = bearing_forms(deg)

        assert len(forms) >= 2
        for form in [*forms, *(f"{form} degrees" for form in forms)]:
            reading = read_bearing(form.split())
            assert reading is not None, form
            assert (reading.deg, reading.flags) == (deg, ()), form
            assert reading.used == len(form.split()), form


@pytest.mark.parametrize(
    ("said", "deg"),
    [
        ("two-ten", 210),
        ("two ten", 210),
        ("two one zero", 210),
        ("zero three nine", 39),
        ("oh three niner", 39),
        ("two hundred ten", 210),
        ("two hundred and eight", 208),
        ("three sixty", 360),
        ("tree fower fife", 345),
        ("oh ten", 10),
        ("zero zero zero", 0),
        ("a hundred and two", 102),
        ("210", 210),
        ("2 10", 210),
        ("039", 39),
        ("1:35", 135),
        ("135°", 135),
        ("two ten to the left of the oak", 210),
    ],
)
def test_bearings_as_people_say_them(said: str, deg: int) -> None:
    reading = read_bearing(said.split())

    assert reading is not None
    assert (reading.deg, reading.flags) == (deg, ())


@pytest.mark.parametrize(
    ("said", "options"),
    [
        ("twenty", {20, 120, 220, 320}),
        ("ninety", {90, 190, 290}),
        ("ten", {10, 110, 210, 310}),
        ("five", {5}),
        ("two", {2, 200}),
        ("one two", {12, 120}),
        ("two ten five", {210}),
        ("five ten", set()),
        ("four hundred", set()),
        ("three ninety", set()),
        ("nine nine nine", set()),
        ("twenty one zero", set()),
    ],
)
def test_doubtful_bearings_are_flagged_not_guessed(
    said: str, options: set[int]
) -> None:
    reading = read_bearing(said.split())

    assert reading is not None
    assert reading.deg is None
    assert reading.flags
    assert set(reading.options) == options


def test_two_digits_in_full_keep_their_value_with_a_flag() -> None:
    reading = read_bearing(["eighty", "five"])

    assert reading is not None
    assert (reading.deg, reading.options) == (85, (185, 285))
    assert reading.flags


@pytest.mark.parametrize(
    ("said", "deg"), [("to ten", 210), ("won ate oh", 180), ("two for five", 245)]
)
def test_sound_alikes_count_after_an_anchor_and_say_so(said: str, deg: int) -> None:
    reading = read_bearing(said.split())

    assert reading is not None
    assert reading.deg == deg
    assert "taken as a number" in reading.flags[0]


@pytest.mark.parametrize("said", ["to the left", "for", "on the last one", "", "and a"])
def test_no_bearing(said: str) -> None:
    assert read_bearing(said.split()) is None


@pytest.mark.parametrize(("name", "exact"), COMPASS_POINTS.items())
def test_sixteen_compass_points(name: str, exact: float) -> None:
    for said in (name, name.replace(" ", "-"), name.replace(" ", "")):
        if said.count("north") + said.count("south") > 1 and said == name.replace(
            " ", ""
        ):
            continue  # nobody writes northnortheast
        reading = read_compass(said.split())
        if reading is None and " " not in said:
            continue
        assert reading is not None
        assert reading.deg == int(exact + 0.5)
    written = name.split()
    joined = written if len(written) < 3 else [written[0], written[1] + written[2]]
    reading = read_bearing(joined)

    assert reading is not None
    assert reading.deg == int(exact + 0.5)
    assert reading.used == len(joined)


@pytest.mark.parametrize(
    ("said", "deg"),
    [
        ("sw", 225),
        ("NNE", 23),
        ("south-easterly", 135),
        ("northwest", 315),
        ("nor nor west", 338),
    ],
)
def test_compass_words_as_written(said: str, deg: int) -> None:
    reading = read_compass(said.split())

    assert reading is not None
    assert (reading.deg, reading.used) == (deg, len(said.split()))


@pytest.mark.parametrize("hour", mostly_slow(range(24), quick=(0, 12)))
def test_every_time_in_every_form(hour: int) -> None:
    for minute in range(60):
        for form in time_forms(hour, minute):
            reading = read_time(form.split())

            assert reading is not None, form
            assert reading.hour is not None, form
            assert reading.used == len(form.split()), form
            assert reading.minute == minute, form
            if reading.half_known:
                assert reading.hour == hour, form
            else:
                assert 1 <= reading.hour <= 12, form
                assert reading.hour % 12 == hour % 12, form
            if reading.flags:
                assert reading.options, form


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("ten twenty-two", "10:22"),
        ("five oh five", "5:05"),
        ("fourteen ten", "14:10"),
        ("ten past two", "2:10"),
        ("ten past two in the afternoon", "14:10"),
        ("quarter to four", "3:45"),
        ("half past twelve", "12:30"),
        ("nine forty in the morning", "09:40"),
        ("eleven o'clock", "11:00"),
        ("one four one zero", "14:10"),
        ("zero nine four zero", "09:40"),
        ("fourteen hundred hours", "14:00"),
        ("10:22", "10:22"),
        ("10:22:30", "10:22:30"),
        ("9.40am", "09:40"),
        ("9:40 p.m.", "21:40"),
        ("1410", "14:10"),
        ("noon", "12:00"),
        ("twelve am", "00:00"),
        ("two in the afternoon", "14:00"),
        ("ten twenty-two and thirty seconds", "10:22:30"),
        ("twenty to ten", "9:40"),
        ("a quarter past one", "1:15"),
    ],
)
def test_times_as_people_say_them(said: str, value: str) -> None:
    reading = read_time(said.split())

    assert reading is not None
    assert (reading.value, reading.used) == (value, len(said.split()))


@pytest.mark.parametrize(
    "said", ["ten", "one one", "twenty-four", "thirteen pm", "ten two"]
)
def test_doubtful_times_are_flagged_not_guessed(said: str) -> None:
    reading = read_time(said.split())

    assert reading is not None
    assert (reading.hour, reading.value) == (None, "")
    assert reading.flags


def test_times_that_sound_alike_name_each_other() -> None:
    by_day = read_time(["ten", "to", "four"])
    by_night = read_time(["twenty", "to", "ten"])

    assert by_day is not None
    assert by_day.options == ("10:24",)
    assert "sounds like 10:24 too" in by_day.flags
    assert by_night is not None
    assert by_night.flags == ()  # 22:10 is no time for bees


@pytest.mark.parametrize(
    "said", ["the", "", "half", "half past", "quarter to", "to", "135\u00b0"]
)
def test_no_time(said: str) -> None:
    assert read_time(said.split()) is None


@pytest.mark.parametrize(
    ("said", "seconds"),
    [
        ("five and a half minutes", 330),
        ("six minutes ten", 370),
        ("six minutes and ten seconds", 370),
        ("ninety seconds", 90),
        ("one hundred and twenty seconds", 120),
        ("a minute and a half", 90),
        ("half a minute", 30),
        ("eight and a quarter minutes", 495),
        ("two and three quarters minutes", 165),
        ("half an hour", 1800),
        ("an hour and ten minutes", 4200),
        ("5.5 minutes", 330),
        ("five-and-a-half minutes", 330),
        ("6 min 10", 370),
    ],
)
def test_durations(said: str, seconds: float) -> None:
    reading = read_duration(said.split())

    assert reading is not None
    assert (reading.seconds, reading.used) == (seconds, len(said.split()))


def test_every_minute_and_second() -> None:
    for minutes, second in itertools.product(range(1, 100), range(60)):
        said = f"{cardinal(minutes)} minutes and {cardinal(second)} seconds"
        reading = read_duration(said.split())

        assert reading is not None, said
        assert reading.seconds == minutes * 60 + second


@pytest.mark.parametrize("said", ["five", "", "minutes", "ten twenty", "a week"])
def test_no_duration(said: str) -> None:
    assert read_duration(said.split()) is None


@given(ANY_WORDS)
def test_any_words_are_read_without_a_crash(words: list[str]) -> None:
    bearing = read_bearing(words)
    time = read_time(words)
    duration = read_duration(words)

    assert (
        bearing is None
        or (bearing.deg is None and bearing.flags)
        or (bearing.deg is not None and 0 <= bearing.deg <= 360)
    )
    assert time is None or time.hour is None or 0 <= time.hour <= 23
    for reading in (bearing, time, duration):
        assert reading is None or 0 < reading.used <= len(words)


@pytest.mark.parametrize(("hour", "minute"), [(24, 0), (-1, 0), (0, 60)])
def test_forms_refuse_what_does_not_exist(hour: int, minute: int) -> None:
    with pytest.raises(ValueError, match="must be 0 to"):
        time_forms(hour, minute)
    with pytest.raises(ValueError, match="deg must be 0 to 360, not 361"):
        bearing_forms(361)
    with pytest.raises(ValueError, match="value must be 0 to 99"):
        cardinal(100)


@pytest.mark.parametrize(
    ("said", "deg"),
    [("nor west", 315), ("sou east", 135), ("nor", None), ("sou", None)],
)
def test_nor_is_north_only_before_another_point(said: str, deg: int | None) -> None:
    reading = read_compass(said.split())

    assert (reading.deg if reading else None) == deg
