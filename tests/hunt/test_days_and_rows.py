"""What each day tells alone, and how far a single row moves the place.

The survey is a stand-in: what it is asked, and what is made of its answers, is tested.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from hunt import found_world as world
from hunt.found_world import HERE, colony, off
from treeward.errors import HuntError
from treeward.hunt import partial
from treeward.hunt.partial import days_of, gather, locate_days, row_moves, weigh_doubts
from treeward.hunt_file import parse_hunt_table
from treeward.language.kinds import About, EventKind
from treeward.measures import format_position
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode
from treeward.survey.records import Fix
from treeward.trips.table import FlightLine, Trip, TripTable

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treeward.hunt.partial import RowMove
    from treeward.hunt_file import HuntFile
    from treeward.survey.records import BeeDistance

K = EventKind
NOON = datetime(2026, 7, 14, 11, 0, tzinfo=UTC)
NEXT = NOON + timedelta(days=1)
DOUBT = (Flag.of(FlagCode.HARDLY_HEARD, "0.70"),)


def trip(away_s: float = 300.0, clock: datetime | None = NOON, **more: Any) -> Trip:
    told: dict[str, Any] = {"mark": "red", "bee": "red", "station": "1"} | more
    back = None if clock is None else clock + timedelta(seconds=away_s)
    ends: dict[str, Any] = {"away_clock": clock, "back_clock": back}
    return Trip(**ends, from_clock=clock, to_clock=back, away_s=away_s, **told)


def line(read_deg: float, clock: datetime = NOON, **more: Any) -> FlightLine:
    told: dict[str, Any] = {"mark": "red", "bee": "red", "station": "1", "used": True}
    return FlightLine(
        clock=clock, bearing_read_deg=read_deg, rounding_deg=1.0, **told | more
    )


def table(*trips: Trip, lines: Sequence[FlightLine] = ()) -> TripTable:
    return TripTable(visits=(), trips=trips, lines=tuple(lines), winds=())


def hunt_file(**tables: Any) -> HuntFile:
    whole: dict[str, Any] = {
        "hunt": {"name": "x", "timezone": "Europe/London"},
        "station": [{"id": "1"}, {"id": "2"}],
    }
    return parse_hunt_table(whole | tables, where="hunt.toml")


def test_a_day_is_counted_station_by_station() -> None:
    days = days_of(
        table(
            trip(300),
            trip(310, bee="blue", mark="blue"),
            trip(500),
            trip(900, used=False),
            trip(900, timing="round"),  # it holds the loading too
            trip(900, cycles=2),
            trip(100, station="2", timing="round"),
            trip(100, NEXT),
            lines=[
                line(10),
                line(20, bee="", mark=""),
                line(200, used=False, bee="pink"),
                line(40, station="3", bee="white"),
            ],
        ),
        UTC,
    )
    assert [day.day for day in days] == [date(2026, 7, 14), date(2026, 7, 15)]
    one, two, three = days[0].stations
    assert (one.station, two.station, three.station) == ("1", "2", "3")
    assert one.bees == ("red", "blue")
    assert (one.trips, one.trips_used, one.bearings_used) == (6, 5, 2)
    assert one.median_away_s == 310
    assert one.mean_bearing_read_deg == pytest.approx(15)
    assert (two.trips, two.median_away_s, two.mean_bearing_read_deg) == (1, None, None)
    assert (three.bees, three.trips, three.bearings_used) == (("white",), 0, 1)
    assert [s.median_away_s for s in days[1].stations] == [100]
    assert (days[0].bees, days[0].colonies) == ((), ())


@pytest.mark.parametrize(
    ("read_deg", "mean_deg"),
    [
        ((350, 20), 5),  # across north
        ((10,), 10),
        # Two lines 2 a apart spread by sqrt(-2 ln cos a): 29.1 and 30.7 degrees.
        ((100, 157), 128.5),
        ((100, 160), None),
        ((0, 180), None),
    ],
)
def test_bearings_that_lie_together_have_a_mean(
    read_deg: tuple[float, ...], mean_deg: float | None
) -> None:
    ((station,),) = [
        day.stations for day in days_of(table(lines=[line(d) for d in read_deg]), UTC)
    ]
    if mean_deg is None:
        assert station.mean_bearing_read_deg is None
    else:
        assert station.mean_bearing_read_deg == pytest.approx(mean_deg)


class Survey:
    """Answers every question with the same colonies, and keeps the questions."""

    def __init__(self, *answers: Fix | None) -> None:
        self.answers = list(answers)
        self.asked: list[tuple[TripTable, dict[str, Any]]] = []

    def __call__(
        self, _: HuntFile, part: TripTable, positions: object, **named: Any
    ) -> Any:
        self.asked.append((part, named))
        assert positions == {}
        return SimpleNamespace(fix=self.answers.pop(0))


def fix(*colonies: Any, bees: tuple[BeeDistance, ...] = ()) -> Fix:
    return Fix(bees=bees, colonies=colonies, next_station=None)


@pytest.fixture
def surveyed(monkeypatch: pytest.MonkeyPatch) -> Survey:
    survey = Survey()
    monkeypatch.setattr(partial, "survey_hunt", survey)
    return survey


BEES = (world.bee("red", "1"),)
WHOLE = fix(colony("A", HERE), replace(colony("B", off(4_000)), marks=("blue",)))
TWO_DAYS = table(
    trip(300),
    trip(310, station="2"),
    trip(320, NEXT, mark="blue", bee="blue"),
    trip(330, None),
    lines=[line(10), line(20, NEXT, mark="blue"), line(30, NEXT, station="2")],
)


def test_one_day_and_a_hunt_without_an_answer_ask_the_survey_nothing(
    surveyed: Survey,
) -> None:
    one_day = table(trip(300), trip(320))
    assert locate_days(hunt_file(), one_day, {}, WHOLE, today=NOON) == ()
    days = locate_days(hunt_file(), TWO_DAYS, {}, None, today=NOON)
    assert [day.day.day for day in days] == [14, 15]
    assert [day.colonies for day in days] == [(), ()]
    assert surveyed.asked == []


def test_each_day_is_asked_of_alone_with_the_bees_of_all(surveyed: Survey) -> None:
    surveyed.answers = [
        fix(colony("A", off(120)), bees=BEES),
        fix(colony("C", HERE), bees=BEES),  # all days together know no C
    ]
    one, two = locate_days(hunt_file(), TWO_DAYS, {}, WHOLE, today=NOON)
    (first, told), (second, _) = surveyed.asked
    assert [t.away_s for t in first.trips] == [300, 310]
    assert [t.away_s for t in second.trips] == [320]
    assert [x.bearing_read_deg for x in first.lines] == [10]
    assert [x.bearing_read_deg for x in second.lines] == [20, 30]
    assert told == {
        "today": NOON,
        "assigned": {"yellow": "A", "red": "A", "blue": "B"},
        "onward": False,
    }
    ((day_colony,), bees) = (one.colonies, one.bees)
    assert day_colony.off_m == pytest.approx(120, abs=0.1)
    assert bees == BEES
    assert (two.bees, two.colonies) == ((), ())
    assert [s.station for s in two.stations] == ["1", "2"]


def test_a_day_that_tells_no_place_is_counted_all_the_same(surveyed: Survey) -> None:
    surveyed.answers = [None, fix(colony("A", HERE), bees=BEES)]
    one, two = locate_days(hunt_file(), TWO_DAYS, {}, WHOLE, today=NOON)
    assert (one.bees, one.colonies, len(one.stations)) == ((), (), 2)
    assert (two.bees, len(two.colonies)) == (BEES, 1)


@pytest.mark.parametrize(
    ("station", "marks", "seconds", "bearings"),
    [
        # Of the first day there, and of no day, on the second too; and the other way.
        ("1", [], [[300, 310, 320, 330], [320, 300, 330]], [[10, 20], [20, 30, 10]]),
        ("1", ["blue"], [[300, 310, 320], [320]], [[10, 20], [20, 30]]),
        ("2", [], [[300, 310], [320, 310]], [[10, 30], [20, 30]]),
        ("2", ["blue"], [[300, 310], [320]], [[10], [20, 30]]),
    ],
)
def test_what_calibrates_counts_on_every_day(
    surveyed: Survey,
    station: str,
    marks: list[str],
    seconds: list[list[float]],
    bearings: list[list[float]],
) -> None:
    surveyed.answers = [None, None]
    hive = {"station": station, "hive": format_position(off(120)), "marks": marks}
    locate_days(hunt_file(calibration=hive), TWO_DAYS, {}, WHOLE, today=NOON)
    parts = [part for part, _ in surveyed.asked]
    assert [[t.away_s for t in part.trips] for part in parts] == seconds
    assert [[x.bearing_read_deg for x in part.lines] for part in parts] == bearings


def note(row: str, kind: EventKind, *, doubtful: bool = True) -> Event:
    return Event(kind=kind, row=row, flags=DOUBT if doubtful else ())


def test_a_note_in_doubt_counts_once_and_by_its_own_doubt() -> None:
    order = Flag.of(FlagCode.DEPARTURES_IN_A_ROW)
    unsaid = Flag.of(FlagCode.STATION_UNSAID)
    away = note("a", K.AWAY, doubtful=False)
    (lot,) = gather([replace(away, flags=(unsaid, order))])
    assert (lot.about, lot.notes, lot.believed) == (About.NO_STATION, 1, True)
    (lot,) = gather([replace(away, flags=(*DOUBT, order))])
    assert (lot.about, lot.rows) == (About.MOVE, ("a",))


@pytest.mark.parametrize(
    ("kind", "believed"),
    [
        (K.BACK, True), (K.BEARING, True), (K.WIND, True), (K.TIME, True),
        (K.STATION, False), (K.PAUSE, False), (K.SCRATCH, False), (K.MISSED, False),
        (K.SEARCHED, False), (K.OVERHEAD, False),
    ],
)  # fmt: skip
def test_what_is_not_believed_while_in_doubt(
    kind: EventKind, *, believed: bool
) -> None:
    (lot,) = gather([note("a", kind)])
    assert lot.believed is believed


TOLD = SimpleNamespace(searching="as it is")
LOOKED = SimpleNamespace(searching="looked anew")


def result(answer: Fix | None = WHOLE, *trips: Trip, search: Any = TOLD) -> Any:
    told = world.answer(*(answer.colonies if answer else ()))
    return replace(told, table=table(*trips), search=search)


class Weighed:
    """A survey that says where the place is by which rows it is told."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *, whole: int) -> None:
        self.whole = whole
        self.told: list[dict[str, Any]] = []
        monkeypatch.setattr(partial, "pair_trips", lambda events, _: events)
        monkeypatch.setattr(partial, "survey_hunt", self.survey)

    def survey(self, _: object, events: Any, positions: Any, **named: Any) -> Any:
        ((place, by),) = positions.values()
        assert (place, by, list(positions)) == (HERE, "hunt.toml", ["1"])
        self.told.append(named | {"rows": "".join(e.row for e in events)})
        lacking = self.whole - len(events)
        if lacking > 2:
            raise HuntError("no", where="x", mend="y")
        return SimpleNamespace(fix=fix(colony("A", off(100.0 * lacking))))


def weigh(events: Sequence[Event], given: Any) -> Any:
    return weigh_doubts(
        given,
        events,
        without=lambda rows: [e for e in events if e.row not in rows],
        looked=lambda _: LOOKED,  # type: ignore[arg-type, return-value]
        today=NOON,
    ).doubtful


ONE = fix(colony("A", HERE))


@pytest.mark.parametrize(
    ("kind", "notes", "asked", "singly"),
    [
        (K.BACK, 1, ["z"], True),  # all of one note is that note
        (K.BACK, 2, ["z", "bz", "az"], True),
        (K.TIME, 2, ["z", "bz", "az"], True),
        (K.BACK, 4, ["z", "bcdz", "acdz", "abdz", "abcz"], True),
        (K.BACK, 5, ["z"], False),
    ],
)
def test_up_to_four_notes_are_tried_one_by_one(
    monkeypatch: pytest.MonkeyPatch,
    kind: EventKind,
    notes: int,
    asked: list[str],
    *,
    singly: bool,
) -> None:
    events = [note(row, kind) for row in "abcde"[:notes]]
    events.append(note("z", K.AWAY, doubtful=False))
    survey = Weighed(monkeypatch, whole=len(events))
    (lot,) = weigh(events, result(ONE))
    assert [one["rows"] for one in survey.told] == asked
    assert lot.singly is singly
    # Without three notes or more there is no answer; alone each moves it by 100 m.
    assert lot.lost is (notes > 2)
    moved_m = {1: 100, 2: 200, 4: 100, 5: 0}[notes]
    assert lot.moves_m == pytest.approx(moved_m, abs=0.1)
    assert all(one["onward"] is False and one["today"] is NOON for one in survey.told)


@pytest.mark.parametrize(
    ("kind", "search", "told"),
    [
        (K.BACK, TOLD, "as it is"),
        (K.BACK, None, None),
        (K.OVERHEAD, TOLD, "looked anew"),
        (K.SEARCHED, None, "looked anew"),
    ],
)
def test_what_was_looked_at_is_worked_out_anew_for_notes_of_looking(
    monkeypatch: pytest.MonkeyPatch, kind: EventKind, search: Any, told: str | None
) -> None:
    survey = Weighed(monkeypatch, whole=1)
    weigh([note("a", kind)], result(ONE, search=search))
    assert [one["searching"] for one in survey.told] == [told]


@pytest.mark.parametrize(("used", "weighed"), [(1000, True), (1001, False)])
def test_only_trips_that_are_used_make_a_survey_long(
    monkeypatch: pytest.MonkeyPatch, used: int, *, weighed: bool
) -> None:
    survey = Weighed(monkeypatch, whole=1)
    trips = [trip()] * used + [trip(used=False)] * 5
    (lot,) = weigh([note("a", K.BACK)], result(ONE, *trips))
    assert (lot.moves_m is not None) is weighed
    assert len(survey.told) == weighed


class Influences:
    """Moves the place by what stands in the rows' names: "40" moves it by 40 m."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.made: list[Any] = []
        monkeypatch.setattr(partial, "pair_trips", lambda events, _: events)
        monkeypatch.setattr(partial, "prepare_hunt", self.prepare)
        monkeypatch.setattr(partial, "Influence", self.influence)
        monkeypatch.setattr(partial, "LookingInfluence", self.looking)

    def prepare(self, _: object, events: Any, positions: Any, **named: Any) -> Any:
        assert named == {"today": NOON}
        assert list(positions) == ["1"]
        rows = "+".join(e.row for e in events)
        if rows == "bad":
            raise ValueError(rows)
        return SimpleNamespace(seen=lambda: rows)

    def influence(self, seen: Any) -> Any:
        self.made.append(seen)
        moves = {"40": 40.0, "90": 90.0, "none": None}
        return SimpleNamespace(moves_m=lambda rows: moves.get(rows, 0.0))

    def looking(self, seen: Any, searching: Any) -> Any:
        self.made.append((seen, searching))

        def moved(one: Any) -> Any:
            return SimpleNamespace(moves_m=one["moves"], used_up=one["used"])

        return SimpleNamespace(moved=moved)


def looked(events: Sequence[Event]) -> Any:
    moves = {"40": (10.0, 0.3), "90": (200.0, 0.1)}
    move, used = moves.get(events[0].row, (0.0, 0.0))
    return SimpleNamespace(searching={"moves": move, "used": used})


def moves(
    events: Sequence[Event], ways: dict[str, list[str]], given: Any
) -> list[RowMove]:
    def otherwise(row: str) -> Iterable[Sequence[Event]]:
        return [[note(way, K.BACK)] for way in ways[row]]

    return list(
        row_moves(
            given,
            events,
            list(ways),
            otherwise=otherwise,
            looked=looked,
            today=NOON,
        )
    )


def test_a_row_moves_the_place_by_the_most_of_its_ways(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = Influences(monkeypatch).made
    events = [note("r", K.BACK), note("s", K.SEARCHED)]
    told = moves(
        events,
        {"r": ["40", "90"], "q": ["90", "40"], "n": ["none", "40"], "b": ["bad"]}
        | {"w": ["40", "bad"], "e": [], "0": ["nothing"]},
        result(ONE),
    )
    assert [(m.row, m.moves_m, m.lost) for m in told] == [
        ("r", 90.0, False),
        ("q", 90.0, False),
        ("n", None, True),  # one of its ways leaves no place
        ("b", None, True),
        ("w", None, True),
        ("e", None, False),  # there is no other way
        ("0", 0.0, False),
    ]
    assert [m.used_up for m in told] == [None] * 7
    assert made == ["r+s"]  # what there is is worked out once


def test_a_row_of_looking_tells_what_it_takes_away_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = Influences(monkeypatch).made
    events = [note("40", K.OVERHEAD), note("s", K.SEARCHED), note("r", K.BACK)]
    told = moves(
        events,
        {"40": ["40"], "s": ["40", "90"], "r": ["90"], "x": ["40"]},
        result(ONE),
    )
    assert [(m.row, m.moves_m, m.used_up) for m in told] == [
        ("40", 40.0, 0.3),  # by trips, which moves it farther than by looking
        ("s", 200.0, 0.3),
        ("r", 90.0, None),
        ("x", 40.0, None),
    ]
    assert made == ["40+s+r", ("40+s+r", {"moves": 10.0, "used": 0.3})]


@pytest.mark.parametrize(("trips", "told"), [(1000, 1), (1001, 0)])
def test_of_many_trips_and_without_a_place_no_row_is_weighed(
    monkeypatch: pytest.MonkeyPatch, trips: int, told: int
) -> None:
    Influences(monkeypatch)
    events = [note("r", K.BACK)]
    many = result(ONE, *[trip(used=False)] * trips)
    assert len(moves(events, {"r": ["40"]}, many)) == told
    assert moves(events, {"r": ["40"]}, result(None)) == []
