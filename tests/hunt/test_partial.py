"""What notes still to be looked at could move, held against really moving them."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from treeward import Hunt
from treeward.cli.locate import answer_lines
from treeward.hunt import partial
from treeward.hunt.partial import farthest_m
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode
from treeward.report.page import page_text
from treeward.report.result_json import result_dict

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from treeward.report.model import DoubtfulNotes

TOML = (
    '[hunt]\nname = "x"\ntimezone = "Europe/London"\ncompass = "true"\n'
    '[[station]]\nid = "1"\nposition = "52.3012, -3.6104"\n'
    '[[station]]\nid = "2"\nposition = "52.3040, -3.6130"\n'
)
Row = tuple[str, str, str, str, str]
DOUBT = "heard with little confidence (0.70)"


def hunt_of(folder: Path, rows: list[Row]) -> Hunt:
    folder.mkdir()
    (folder / "hunt.toml").write_text(TOML, "utf-8")
    lines = ["clock,event,mark,value,flag"]
    lines += [f"2026-07-14 {time},{','.join(rest)}" for time, *rest in rows]
    (folder / "review.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return Hunt(folder)


def watch(bearings: dict[int, str]) -> list[Row]:
    """Return five trips of one bee; the bearings numbered here are in doubt."""
    rows: list[Row] = [("10:00:00", "station", "", "1", "")]
    for n in range(5):
        minute = 1 + 7 * n
        bearing = bearings.get(n, "210")
        flag = DOUBT if n in bearings else ""
        rows += [
            (f"10:{minute:02d}:00", "away", "yellow", "", ""),
            (f"10:{minute:02d}:05", "bearing", "yellow", bearing, flag),
            (f"10:{minute + 5:02d}:10", "back", "yellow", "", ""),
        ]
    return rows


@pytest.mark.slow
def test_doubtful_bearings_move_as_far_as_is_said(tmp_path: Path) -> None:
    rows = watch({1: "250", 3: "255"})
    hunt = hunt_of(tmp_path / "as it is", rows)
    without = hunt_of(tmp_path / "without", [r for r in rows if not r[4]])
    alone = [
        hunt_of(tmp_path / f"without {n}", [r for r in rows if r is not flagged])
        for n, flagged in enumerate(r for r in rows if r[4])
    ]

    result = hunt.weigh_doubts(hunt.locate())

    (lot,) = result.doubtful
    assert (lot.about, lot.notes, lot.believed) == ("bearing", 2, True)
    fix = result.fix
    fixes = [other.locate().fix for other in (without, *alone)]
    assert fix is not None
    truth = max(farthest_m(fix, other) for other in fixes if other is not None)
    assert lot.moves_m is not None
    assert lot.moves_m == pytest.approx(truth, abs=0.1)
    assert truth > 50
    said = "2 doubtful bearings: if they are wrong, the best place moves by up to"
    assert any(line.startswith(said) for line in answer_lines(result))
    assert "2 notes are still to look at (treeward review):" in answer_lines(result)
    assert said in page_text(result, drawings={})
    assert result_dict(result)["to_look_at"][0]["moves_m"] == round(truth, 1)


@pytest.mark.slow
def test_each_lot_is_weighed_alone(tmp_path: Path) -> None:
    rows = watch({1: "250"})
    (third,) = [n for n, row in enumerate(rows) if row[0] == "10:20:10"]
    rows[third] = (*rows[third][:4], DOUBT)  # a landing
    flagged = [row for row in rows if row[4]]
    hunt = hunt_of(tmp_path / "as it is", rows)

    result = hunt.weigh_doubts(hunt.locate())

    assert result.fix is not None
    assert [lot.notes for lot in result.doubtful] == [1, 1]
    for lot in result.doubtful:
        (one,) = [
            row for row in flagged if (row[1] == "bearing") is (lot.about == "bearing")
        ]
        other = hunt_of(
            tmp_path / one[1], [row for row in rows if row is not one]
        ).locate()
        assert other.fix is not None
        assert lot.moves_m == pytest.approx(farthest_m(result.fix, other.fix), abs=0.1)


@pytest.mark.slow
def test_a_doubtful_station_is_weighed_as_if_it_were_right(tmp_path: Path) -> None:
    rows = watch({})
    moved: Row = ("10:20:00", "station", "", "2", DOUBT)
    hunt = hunt_of(tmp_path / "as it is", [*rows, moved])
    sure = hunt_of(tmp_path / "sure", [*rows, (*moved[:4], "")])

    result = hunt.weigh_doubts(hunt.locate())

    (lot,) = result.doubtful
    assert (lot.about, lot.believed) == ("station", False)
    fix, other = result.fix, sure.locate().fix
    assert fix is not None
    assert other is not None
    assert lot.moves_m == pytest.approx(farthest_m(fix, other), abs=0.1)
    assert any("if it is right after all" in line for line in answer_lines(result))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("event", "value", "about"),
    [
        ("searched", "", "note of ground looked at"),
        ("overhead", "150", "note of bees overhead"),
    ],
)
def test_a_doubtful_note_of_looking_is_weighed_as_if_it_were_right(
    tmp_path: Path, event: str, value: str, about: str
) -> None:
    rows = watch({})
    told: Row = ("10:59:00", event, "", value, DOUBT)
    hunts = {
        name: hunt_of(tmp_path / name, [*rows, *more])
        for name, more in (("as it is", [told]), ("sure", [(*told[:4], "")]))
    }
    best = hunt_of(tmp_path / "none", rows).locate().fix
    assert best is not None
    (colony,) = best.colonies
    for hunt in hunts.values():  # about the best place, from 10:35 to 11:00
        east = 0.0005 * np.tile([-1, 1], 13)
        north = np.linspace(-0.0015, 0.0015, 26)
        points = "".join(
            f'<trkpt lat="{colony.best_latitude_deg + y:.6f}" '
            f'lon="{colony.best_longitude_deg + x:.6f}">'
            f"<time>2026-07-14T09:{35 + n:02d}:00Z</time></trkpt>"
            for n, (x, y) in enumerate(zip(east, north, strict=True))
            if n < 25
        )
        (hunt.path / "tracks").mkdir()
        (hunt.path / "tracks" / "phone.gpx").write_text(
            '<gpx version="1.1" creator="a phone" '
            'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
            f"{points}</trkseg></trk></gpx>",
            "utf-8",
        )

    result = hunts["as it is"].weigh_doubts(hunts["as it is"].locate())

    (lot,) = result.doubtful
    assert (lot.about, lot.believed) == (about, False)
    fix, other = result.fix, hunts["sure"].locate().fix
    assert fix is not None
    assert other is not None
    truth = farthest_m(fix, other)
    assert truth > 5
    assert lot.moves_m == pytest.approx(truth, abs=0.1)
    said = f"1 doubtful {about}: if it is right after all, the best place moves by"
    assert any(line.startswith(said) for line in answer_lines(result))
    (move,) = hunts["as it is"].row_moves(result, {lot.rows[0]: ()})
    assert move.moves_m == pytest.approx(truth, abs=1.0)
    assert not move.lost
    assert move.used_up is not None
    looked = other.colonies[0].searched
    assert looked is not None
    assert move.used_up == pytest.approx(looked.found_by_now, abs=0.005)
    assert (move.used_up > 0.05) == (event == "searched")


def test_without_the_doubtful_notes_there_may_be_no_answer(tmp_path: Path) -> None:
    rows = [(*r[:4], DOUBT) if r[1] != "station" else r for r in watch({})]
    hunt = hunt_of(tmp_path / "h", [r for r in rows if r[1] != "bearing"])

    result = hunt.weigh_doubts(hunt.locate())

    (lot,) = result.doubtful
    assert lot.lost
    assert any("nothing is left to tell" in line for line in answer_lines(result))


@pytest.mark.slow
def test_confirmed_notes_are_not_told_of(tmp_path: Path) -> None:
    rows = watch({1: "250"})
    hunt = hunt_of(tmp_path / "h", rows)
    text = hunt.review_path.read_text("utf-8")
    lines = [f"{line},decision" if n == 0 else line for n, line in
             enumerate(text.splitlines())]  # fmt: skip
    kept = [f"{line},keep" if DOUBT in line else line for line in lines]
    hunt.review_path.write_text("\n".join(kept) + "\n", "utf-8")

    result = hunt.weigh_doubts(hunt.locate())

    assert result.doubtful == ()
    assert not any("still to look at" in line for line in answer_lines(result))


@pytest.mark.slow
def test_many_doubtful_notes_are_weighed_together_and_said_so(tmp_path: Path) -> None:
    rows = [("10:00:00", "station", "", "1", "")]
    rows += [
        (f"{10 + n // 7}:{(8 * n) % 56 + k[0]:02d}:00", k[1], "yellow", k[2], k[3])
        for n in range(12)
        for k in (
            (0, "away", "", ""),
            (0, "bearing", "250" if n < 6 else "210", DOUBT if n < 6 else ""),
            (5, "back", "", ""),
        )
    ]
    hunt = hunt_of(tmp_path / "many", rows)

    result = hunt.weigh_doubts(hunt.locate())

    (lot,) = result.doubtful
    assert (lot.notes, lot.singly) == (6, False)
    said = "6 doubtful bearings: if all of them are wrong, the best place moves by "
    assert any(
        line.startswith(said) and "up to" not in line for line in answer_lines(result)
    )


@pytest.mark.slow
def test_departures_in_a_row_are_counted_and_weighed(tmp_path: Path) -> None:
    rows = watch({})
    order = (
        '"order: the second of two departures of yellow in a row, 1:30 min apart: was '
        'it a landing, or was one missed?"'
    )
    again: Row = ("10:09:30", "away", "yellow", "", order)
    hunt = hunt_of(tmp_path / "as it is", [*rows, again])
    without = hunt_of(tmp_path / "without", rows)

    result = hunt.weigh_doubts(hunt.locate())

    (lot,) = result.doubtful
    assert (lot.about, lot.notes, lot.believed) == ("departure in a row", 1, True)
    fix, other = result.fix, without.locate().fix
    assert fix is not None
    assert other is not None
    assert lot.moves_m == pytest.approx(farthest_m(fix, other), abs=0.1)
    assert "1 note is still to look at (treeward review):" in answer_lines(result)


@pytest.mark.slow
def test_a_recording_without_a_station_is_counted_and_weighed(tmp_path: Path) -> None:
    rows = watch({2: "240"})
    flag = '"station: none was said in this recording, add a row that says it"'
    rows = [(*r[:4], flag) if r[4] == DOUBT else r for r in rows]
    hunt = hunt_of(tmp_path / "as it is", rows)

    result = hunt.weigh_doubts(hunt.locate())

    (lot,) = result.doubtful
    assert (lot.about, lot.notes) == ("recording without a station", 1)
    assert lot.lost  # all of these notes are of one (unnamed) recording
    assert any("nothing is left to tell" in line for line in answer_lines(result))


@pytest.mark.slow
def test_a_doubtful_time_is_weighed_by_the_clock_without_it(tmp_path: Path) -> None:
    # The time said a second time makes the trip it falls into out to be longer.
    said = [(0, "station one"), (2, "time ten o'clock")]
    for n in range(4):
        said.append((60 + 400 * n, "yellow away"))
        said.append((64 + 400 * n, "bearing two one zero"))
        said.append(((390 if n > 1 else 290) + 400 * n, "yellow back"))

    def heard(folder: Path, *more: tuple[int, str]) -> Hunt:
        hunt = hunt_of(folder, [])
        hunt.review_path.unlink()
        words = [
            {"word": word, "start": at + 0.4 * n, "end": at + 0.4 * n + 0.35, "conf": 1}
            for at, text in sorted([*said, *more])
            for n, word in enumerate(text.split())
        ]
        (folder / "recordings").mkdir()
        transcript = folder / "recordings" / "2026-07-14.json"
        transcript.write_text(json.dumps({"result": words}), "utf-8")
        hunt.transcribe()
        return hunt

    hunt = heard(tmp_path / "as it is", (600, "time ten seventeen"))
    text = hunt.review_path.read_text("utf-8")
    flagged = text.replace("time ten seventeen,,,", f"time ten seventeen,,{DOUBT},")
    assert flagged != text
    hunt.review_path.write_text(flagged, "utf-8")
    result = hunt.weigh_doubts(hunt.locate())
    fix, other = result.fix, heard(tmp_path / "without").locate().fix

    (lot,) = result.doubtful
    assert (lot.about, lot.notes) == ("time", 1)
    assert fix is not None
    assert other is not None
    assert lot.moves_m is not None
    assert lot.moves_m == pytest.approx(farthest_m(fix, other), abs=0.1)
    assert lot.moves_m > 5.0
    assert hunt.review_path.read_text("utf-8") == flagged


@pytest.mark.slow
@pytest.mark.parametrize("doubtful", [{1: "250", 3: "255"}, {0: "120", 2: "230"}])
def test_a_row_moves_the_place_as_far_as_leaving_it_out_does(
    tmp_path: Path, doubtful: dict[int, str]
) -> None:
    rows = watch(doubtful)
    hunt = hunt_of(tmp_path / "as it is", rows)
    result = hunt.locate()
    flagged = [event.row for event in hunt.events() if event.doubtful]
    assert len(flagged) == 2

    moves = list(hunt.row_moves(result, dict.fromkeys(flagged, ())))

    assert [move.row for move in moves] == flagged
    assert result.fix is not None
    for n, (move, row) in enumerate(zip(moves, [r for r in rows if r[4]], strict=True)):
        without = hunt_of(tmp_path / f"without {n}", [r for r in rows if r is not row])
        fix = without.locate().fix
        assert fix is not None
        # The answer's place is one of its cells, here up to 14 m wide.
        assert move.moves_m == pytest.approx(farthest_m(result.fix, fix), abs=10)


@pytest.mark.slow
def test_another_reading_that_moves_the_place_farther_counts(tmp_path: Path) -> None:
    rows = watch({1: "212"})
    hunt = hunt_of(tmp_path / "as it is", rows)
    result = hunt.locate()
    (own,) = [event for event in hunt.events() if event.doubtful]
    far_off = replace(own, value="300", flags=())

    (left_out,) = hunt.row_moves(result, {own.row: ()})
    (read,) = hunt.row_moves(result, {own.row: [far_off]})

    assert left_out.moves_m is not None
    assert read.moves_m is not None
    assert read.moves_m > left_out.moves_m + 10


@pytest.mark.slow
def test_a_row_without_which_there_is_no_place_is_told_as_that(tmp_path: Path) -> None:
    rows: list[Row] = [
        ("10:00:00", "station", "", "1", ""),
        ("10:01:00", "bearing", "yellow", "210", DOUBT),
    ]
    hunt = hunt_of(tmp_path / "as it is", rows)
    result = hunt.locate()
    (own,) = [event.row for event in hunt.events() if event.doubtful]

    (move,) = hunt.row_moves(result, {own: ()})

    assert move.lost
    assert move.moves_m is None


def fix_at(*places: tuple[float, float]) -> Any:
    """Return an answer that is nothing but its best places."""
    colonies = tuple(
        SimpleNamespace(latitude_deg=lat, longitude_deg=lon) for lat, lon in places
    )
    return SimpleNamespace(colonies=colonies)


def weighed(
    monkeypatch: pytest.MonkeyPatch,
    events: list[Event],
    *,
    fix: Any = None,
    trips: int = 3,
    answers: Callable[[Sequence[Event]], Any],
) -> tuple[tuple[DoubtfulNotes, ...], list[tuple[str, ...]]]:
    """Weigh with answers of our own; return the lots and the rows of each answer."""
    asked: list[tuple[str, ...]] = []

    def located(
        _file: object, others: Sequence[Event], *_: object, **__: object
    ) -> Any:
        asked.append(tuple(event.row for event in others))
        return SimpleNamespace(fix=answers(others))

    monkeypatch.setattr(partial, "pair_trips", lambda others, _: others)
    monkeypatch.setattr(partial, "survey_hunt", located)

    @dataclass(frozen=True)
    class Result:
        fix: Any
        table: Any
        hunt_file: Any = None
        search: Any = None
        stations: tuple[Any, ...] = ()
        doubtful: tuple[DoubtfulNotes, ...] = ()

    table = SimpleNamespace(trips=[SimpleNamespace(used=True)] * trips)
    told = partial.weigh_doubts(
        Result(fix, table),  # type: ignore[arg-type]
        events,
        without=lambda rows: [event for event in events if event.row not in rows],
        looked=lambda _: SimpleNamespace(searching=None),  # type: ignore[arg-type, return-value]
        today=datetime(2026, 7, 14, tzinfo=UTC),
    )
    return told.doubtful, asked


def note(row: int, kind: EventKind, *, doubtful: bool = True) -> Event:
    flags = (Flag.of(FlagCode.HARDLY_HEARD, "0.50"),) if doubtful else ()
    return Event(kind=kind, row=f"r{row}", flags=flags)


PLACE = (52.3, -3.6)
NORTH = (52.3 + 500 / 111_269, -3.6)  # 500 m: a degree here is 111 269 m (WGS84)


def test_small_lots_are_tried_one_by_one_as_far_as_eight_go(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kinds = [EventKind.BEARING] * 4 + [EventKind.BACK] * 4 + [EventKind.WIND] * 2
    events = [note(n, kind) for n, kind in enumerate(kinds)]
    events.append(note(99, EventKind.AWAY, doubtful=False))

    # Whoever leaves the third bearing out alone is 500 m farther north.
    def answers(others: Sequence[Event]) -> Any:
        rows = {event.row for event in others}
        return fix_at(NORTH if "r2" not in rows and "r1" in rows else PLACE)

    lots, asked = weighed(monkeypatch, events, fix=fix_at(PLACE), answers=answers)

    assert sorted(lot.notes for lot in lots) == [2, 4, 4]
    # Two lots of four are all that is tried singly; the last is weighed as a whole.
    assert [lot.singly for lot in lots] == [True, True, False]
    assert len(asked) == (1 + 4) + (1 + 4) + 1
    (moved,) = [lot for lot in lots if lot.moves_m]
    assert moved.about == "bearing"
    assert moved.moves_m == pytest.approx(500.0, abs=0.5)
    assert all(rows.count("r99") == 1 for rows in asked)


def test_where_nothing_was_found_or_much_was_seen_doubts_are_only_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    events = [note(0, EventKind.BEARING), note(1, EventKind.BEARING)]
    for fix, trips in ((None, 3), (fix_at(PLACE), 1001)):
        lots, asked = weighed(
            monkeypatch, events, fix=fix, trips=trips, answers=lambda _: fix_at(PLACE)
        )
        assert asked == []
        assert [(lot.notes, lot.moves_m, lot.lost) for lot in lots] == [
            (2, None, False)
        ]
    lots, asked = weighed(
        monkeypatch, events, fix=fix_at(PLACE), trips=1000, answers=lambda _: None
    )
    assert len(asked) == 3
    assert [lot.lost for lot in lots] == [True]


def test_of_several_colonies_the_one_that_moves_farthest_counts() -> None:
    east = (52.3, -3.6 + 0.01)  # 682 m
    one, two = fix_at(PLACE, NORTH), fix_at(NORTH, east)
    # Each to the nearest of the other answer: 500 m and nothing; the other way about
    # nothing and 682 m.
    assert partial.farthest_m(one, two) == pytest.approx(682.4, abs=1.0)
    assert partial.farthest_m(two, one) == pytest.approx(682.4, abs=1.0)


def test_a_colony_more_is_a_move_whichever_answer_has_it() -> None:
    one, two = fix_at(PLACE), fix_at(PLACE, NORTH)
    assert partial.farthest_m(one, two) == pytest.approx(500.0, abs=0.5)
    assert partial.farthest_m(two, one) == pytest.approx(500.0, abs=0.5)
    assert partial.farthest_m(two, two) == 0
