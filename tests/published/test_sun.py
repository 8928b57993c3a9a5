"""astral's sun against USNO tables and the NREL solar position example.

USNO sunrise and sunset by the minute, as kept in pvlib's tests/test_spa.py.
NREL: Reda and Andreas 2004, Solar Energy 76:577, the worked example
(2003-10-17 12:30:30, UTC-7, 39.742476 N 105.1786 W).
"""

from __future__ import annotations

import datetime as dt

import pytest
from astral import Observer
from astral.sun import azimuth, sun, zenith

COLORADO = (Observer(39.0, -105.0), dt.timezone(dt.timedelta(hours=-7)))
BEIJING = (Observer(39.917, 116.383), dt.timezone(dt.timedelta(hours=8)))

USNO = [  # place, month, day, sunrise, sunset; all of 2015
    (COLORADO, 1, 2, "07:19", "16:49"),
    (COLORADO, 4, 2, "05:43", "18:24"),
    (COLORADO, 8, 2, "05:01", "19:10"),
    (COLORADO, 12, 2, "07:01", "16:38"),
    (BEIJING, 1, 2, "07:36", "17:00"),
    (BEIJING, 4, 2, "05:58", "18:39"),
    (BEIJING, 8, 2, "05:13", "19:28"),
    (BEIJING, 12, 2, "07:17", "16:50"),
]


@pytest.mark.parametrize(("place", "month", "day", "rise", "set_"), USNO)
def test_usno_days(
    place: tuple[Observer, dt.timezone], month: int, day: int, rise: str, set_: str
) -> None:
    observer, zone = place
    date = dt.date(2015, month, day)
    # tzinfo always: a UTC day west of Greenwich has its sunset before its sunrise.
    found = sun(observer, date=date, tzinfo=zone)
    for name, printed in (("sunrise", rise), ("sunset", set_)):
        wanted = dt.datetime.combine(date, dt.time.fromisoformat(printed), tzinfo=zone)
        assert abs((found[name] - wanted).total_seconds()) <= 60, name
        assert found[name].date() == date


def test_nrel_example() -> None:
    when = dt.datetime(
        2003, 10, 17, 12, 30, 30, tzinfo=dt.timezone(dt.timedelta(hours=-7))
    )
    place = Observer(39.742476, -105.1786, 1830.14)
    assert azimuth(place, when) == pytest.approx(194.340241, abs=0.01)
    assert zenith(place, when) == pytest.approx(50.11162, abs=0.01)


def test_nrel_day() -> None:
    zone = dt.timezone(dt.timedelta(hours=-7))
    found = sun(Observer(39.742476, -105.1786), date=dt.date(2003, 10, 17), tzinfo=zone)
    rise = dt.datetime(2003, 10, 17, 6, 12, 43, tzinfo=zone)
    transit = dt.datetime(2003, 10, 17, 11, 46, 4, tzinfo=zone)
    assert abs((found["sunrise"] - rise).total_seconds()) < 60
    assert abs((found["noon"] - transit).total_seconds()) < 60
    # The example prints 17:20:19, which is the sunset of the 16th on the local
    # clock (the algorithm works on the UT day); the 17th's is earlier.
    assert found["sunset"] < dt.datetime(2003, 10, 17, 17, 20, 19, tzinfo=zone)
