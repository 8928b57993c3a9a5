"""What is told of finds, what is kept back because of them, and lessons of others."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from hunt.found_world import (
    FAR,
    HERE,
    NEAR,
    A,
    B,
    answer,
    find,
    hunt_of,
    off,
)
from treeward import survey
from treeward.hunt.finds import (
    FILE,
    FoundFile,
    coarse,
    found_text,
)
from treeward.hunt.found_told import (
    KEPT_BACK_M,
    SQUARE_M,
    found_told,
    hidden_discs,
    is_hidden,
    known_lessons,
    learned_for,
    maybe_another,
    parts_outside,
    start_apart,
    without_finds,
)
from treeward.hunt_file import LessonTable, OffsetTable, SeasonFile, parse_hunt_table
from treeward.hunt_tables import ModelTable
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode
from treeward.report.model import FoundTold, HiddenDisc, SearchTold, TrackLine

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.measures import Position


def gpx(folder: Path, name: str = "walk.gpx") -> None:
    """Write a walk north from the station: a hundredth of a degree in a minute."""
    rows = "".join(
        f'<trkpt lat="{52.3 + n / 100:.2f}" lon="-3.6">'
        f"<time>2026-07-14T12:0{n}:00Z</time></trkpt>"
        for n in range(3)
    )
    (folder / name).write_text(
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{rows}</trkseg></trk></gpx>",
        "utf-8",
    )


def said(
    minute: int | None, value: str, *, doubt: bool = False, row: str = ""
) -> Event:
    clock = (
        datetime(2026, 7, 14, 12, minute, tzinfo=UTC) if minute is not None else None
    )
    flags = (Flag(FlagCode.HARDLY_HEARD),) if doubt else ()
    return Event(kind=EventKind.FOUND, value=value, clock=clock, flags=flags, row=row)


def test_a_find_outside_the_area_may_be_of_another_colony_unless_told() -> None:
    inside, outside = off(145, 0, NEAR), off(155, 0, NEAR)
    assert not maybe_another(A, find("1", inside))
    assert maybe_another(A, find("1", outside))
    assert maybe_another(A, find("1", outside, colony="B"))
    assert not maybe_another(A, find("1", outside, colony="A"))


def disc(place: Position = NEAR, radius_m: float = 100.0) -> HiddenDisc:
    return HiddenDisc(
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        radius_m=radius_m,
    )


def test_what_lies_in_a_disc_is_hidden() -> None:
    for metres, hidden in ((99, True), (101, False)):
        place = off(metres, 200, NEAR)
        where = place.latitude_deg, place.longitude_deg
        assert is_hidden([disc()], *where) is hidden
        assert is_hidden([disc(FAR), disc()], *where) is hidden
    assert not is_hidden([], NEAR.latitude_deg, NEAR.longitude_deg)


def way(*metres: float, beside_m: float = 0.0) -> tuple[Any, Any]:
    """Return a way due north past a place: metres before and after, and beside it."""
    middle = off(beside_m, 90, NEAR)
    places = [off(m, 0, middle) for m in metres]
    return (
        np.array([p.latitude_deg for p in places]),
        np.array([p.longitude_deg for p in places]),
    )


def parts(lat: Any, lon: Any, *discs: HiddenDisc) -> list[list[int]]:
    """Return which points of a way are drawn, part by part."""
    return [
        [int(np.flatnonzero(lat == one)[0]) for one in part]
        for part, _ in parts_outside(lat, lon, discs)
    ]


def test_of_a_way_only_the_legs_that_touch_no_disc_are_drawn() -> None:
    lat, lon = way(-300, -200, -90, 0, 90, 200, 300)
    assert parts(lat, lon, disc()) == [[0, 1], [5, 6]]
    assert parts(lat, lon) == [[0, 1, 2, 3, 4, 5, 6]]
    # A leg may cross a disc with both of its ends outside of it.
    lat, lon = way(-300, -200, 200, 300)
    assert parts(lat, lon, disc()) == [[0, 1], [2, 3]]
    # And pass beside it.
    for beside_m, whole in ((99, False), (101, True)):
        lat, lon = way(-300, 300, beside_m=beside_m)
        assert (parts(lat, lon, disc()) == [[0, 1]]) is whole
    # A leg that points at a disc and ends before it does not touch it.
    assert parts(*way(-300, -101), disc()) == [[0, 1]]
    assert parts(*way(101, 300), disc()) == [[0, 1]]
    assert parts(*way(-300, -99), disc()) == []
    # Each of several discs takes its part.
    lat, lon = way(-300, -200, 200, 300, 400)
    assert parts(lat, lon, disc(), disc(off(350, 0, NEAR), 20)) == [[0, 1], [2, 3]]


def test_a_stand_still_is_a_leg_of_no_length() -> None:
    assert len(parts_outside(*way(-300, -300), [disc()])) == 1
    assert parts_outside(*way(50, 50), [disc()]) == []
    assert parts_outside(*way(-300), []) == []
    assert len(parts_outside(*way(-300, -300), [])) == 1


def test_both_coordinates_of_a_part_are_the_ways_own() -> None:
    lat, lon = way(-300, -200, 200, 300)
    first, second = parts_outside(lat, lon, [disc()])
    assert first[1].tolist() == lon[:2].tolist()
    assert second[1].tolist() == lon[2:].tolist()


def test_about_a_find_so_much_is_kept_back_that_its_middle_tells_little(
    tmp_path: Path,
) -> None:
    hunt = hunt_of(tmp_path)
    kept = FoundFile(find=(find("1", NEAR), find("2", off(1, 0, NEAR))))
    (tmp_path / FILE).write_text(found_text(kept), "utf-8")
    (one,) = hidden_discs(hunt.file, tmp_path, [])  # both lie in one square
    middle = coarse(NEAR, SQUARE_M)
    assert (one.latitude_deg, one.longitude_deg) == (
        middle.latitude_deg,
        middle.longitude_deg,
    )
    # Wherever in the square the tree is, all within 200 m of it is hidden.
    corner_m = SQUARE_M / 2 * 2**0.5
    assert one.radius_m == pytest.approx(KEPT_BACK_M + corner_m)
    assert is_hidden([one], NEAR.latitude_deg, NEAR.longitude_deg)


def test_a_note_that_says_found_hides_the_place_too(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path)
    typed, phone = said(None, "52.5, -3.5"), said(1, "ash")
    (one,) = hidden_discs(hunt.file, tmp_path, [typed])
    assert is_hidden([one], 52.5, -3.5)
    assert hidden_discs(hunt.file, tmp_path, [phone]) == ()  # nobody knows where
    gpx(tmp_path)
    one, other = hidden_discs(hunt.file, tmp_path, [typed, phone])
    assert is_hidden([other], 52.31, -3.6)
    assert not is_hidden([other], 52.5, -3.5)
    searched = replace(typed, kind=EventKind.SEARCHED)
    assert hidden_discs(hunt.file, tmp_path, [searched]) == ()
    (tmp_path / "walk.gpx").write_text("no gpx", "utf-8")
    assert hidden_discs(hunt.file, tmp_path, [typed, phone]) == (one,)


def test_off_the_grid_the_disc_lies_about_the_place_itself(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path)
    (one,) = hidden_discs(hunt.file, tmp_path, [said(None, "85.0, 10.0")])
    assert (one.latitude_deg, one.longitude_deg) == (85.0, 10.0)
    assert one.radius_m == KEPT_BACK_M


def test_a_walk_is_not_laid_out_from_a_find() -> None:
    def starts(place: Position | None) -> tuple[float, float] | None:
        start = (place.latitude_deg, place.longitude_deg) if place else None
        told = SearchTold(searching=survey.Searching(start=start, look_mps=0.5))
        apart = start_apart(told, [disc()])
        assert apart.searching.look_mps == 0.5
        return apart.searching.start

    assert starts(off(50, 0, NEAR)) is None
    assert starts(HERE) == (HERE.latitude_deg, HERE.longitude_deg)
    assert starts(None) is None


def test_all_that_leads_to_a_find_is_left_out_and_nothing_else() -> None:
    lat, lon = way(-300, -200, 200, 300)
    track = TrackLine(latitude_deg=tuple(lat), longitude_deg=tuple(lon), name="day")
    near, far = off(50, 0, NEAR), off(300, 90, NEAR)

    def ring(middle: Position) -> Any:
        corners = [off(60, azimuth, middle) for azimuth in (0, 120, 240)]
        return np.array([(p.longitude_deg, p.latitude_deg) for p in corners])

    told = survey.Searching(
        walked=(survey.Walked(latitude_deg=lat, longitude_deg=lon, sweep_width_m=7.0),),
        looked_over=tuple(
            survey.LookedOver(ring=ring(place), effort=1.0) for place in (near, far)
        ),
        spots=tuple(
            survey.LookedSpot(
                latitude_deg=p.latitude_deg,
                longitude_deg=p.longitude_deg,
                radius_m=9.0,
                effort=1.0,
            )
            for p in (near, far)
        ),
    )
    whole = answer(A, tracks=(track,), search=SearchTold(searching=told))
    assert without_finds(whole) is whole
    hidden = replace(whole, found=FoundTold(hidden=(disc(),)))
    cut = without_finds(hidden)
    assert [(t.latitude_deg, t.name) for t in cut.tracks] == [
        (tuple(lat[:2]), "day"),
        (tuple(lat[2:]), "day"),
    ]
    assert [t.longitude_deg for t in cut.tracks] == [tuple(lon[:2]), tuple(lon[2:])]
    assert cut.search is not None
    left = cut.search.searching
    assert [w.latitude_deg.tolist() for w in left.walked] == [
        lat[:2].tolist(),
        lat[2:].tolist(),
    ]
    assert {w.sweep_width_m for w in left.walked} == {7.0}
    assert left.looked_over == told.looked_over[1:]
    assert left.spots == told.spots[1:]
    assert without_finds(replace(hidden, search=None)).search is None


def test_notes_after_the_last_find_are_open_and_others_are_that_finds(
    tmp_path: Path,
) -> None:
    notes = [
        said(5, "ash", row="a"),
        said(9, "oak", row="b"),
        said(7, "elm", row="c", doubt=True),
        said(None, "lime", row="d"),
    ]
    discs = (disc(),)
    told = found_told(answer(A), tmp_path, notes, discs)
    assert told.noted == notes[1].clock
    assert told.rows == ("a", "b", "d")
    assert told.doubtful_rows == ("c",)
    assert (told.kept, told.hidden) == ((), discs)

    def keep(day: str) -> FoundTold:
        own = find("1", NEAR, found=day)
        (tmp_path / FILE).write_text(found_text(FoundFile(find=(own,))), "utf-8")
        return found_told(answer(A), tmp_path, notes, ())

    assert keep("2026-07-13").rows == ("a", "b")  # nobody knows when the other was
    assert keep("2026-07-14").rows == ()
    assert keep("2026-07-14").noted is None
    assert keep("2026-07-14").doubtful_rows == ()
    assert found_told(answer(A), tmp_path, [], ()).rows == ()


def test_each_find_is_kept_with_the_colony_that_it_is_of(tmp_path: Path) -> None:
    finds = FoundFile(
        find=(
            find("1", NEAR),
            find("2", off(200, 0, NEAR)),
            find("3", off(200, 0, NEAR), colony="B"),
        )
    )
    (tmp_path / FILE).write_text(found_text(finds), "utf-8")
    kept = found_told(answer(A, B), tmp_path, [], ()).kept
    assert kept == (("1", "A"), ("2", ""), ("3", "B"))
    assert found_told(answer(), tmp_path, [], ()).kept == (
        ("1", ""), ("2", ""), ("3", "")
    )  # fmt: skip
    # What is wrong with the file is said elsewhere.
    (tmp_path / FILE).write_text("[[find]]\n", "utf-8")
    assert found_told(answer(A), tmp_path, [], ()).kept == ()


def test_lessons_go_to_the_survey_as_they_are_kept() -> None:
    table = LessonTable(
        hunt="x",
        latitude_deg=52.3,
        longitude_deg=-3.6,
        cargos=("water", "syrup"),
        trips=40,
        bearings=20,
        precision=((4.0, 1.0), (2.0, 3.0)),
        weighted=(5.0, 6.0),
        offsets=(
            OffsetTable(observer="Ann", precision=0.0, weighted=0.0),
            OffsetTable(observer="Ben", precision=0.25, weighted=1.5),
        ),
    )
    (known,) = known_lessons(SeasonFile(lessons=(table,)))
    assert (known.latitude_deg, known.longitude_deg) == (52.3, -3.6)
    assert known.observers == ("Ann", "Ben")
    assert known.lesson.cargos == ("water", "syrup")
    assert (known.lesson.trips, known.lesson.bearings) == (40, 20)
    assert known.lesson.precision.tolist() == [[4.0, 1.0], [2.0, 3.0]]
    assert known.lesson.weighted.tolist() == [5.0, 6.0]
    # Who read no bearing taught nothing, and the other keeps her place.
    assert known.lesson.offsets == ((1, 0.25, 1.5),)


def test_two_hundred_metres_about_a_find_are_kept_back(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path)
    (one,) = hidden_discs(hunt.file, tmp_path, [said(None, "52.5, -3.5")])
    # And half the diagonal of a square of 250 m: 176.8 m.
    assert one.radius_m == pytest.approx(376.8, abs=0.1)
    (north,) = hidden_discs(hunt.file, tmp_path, [said(None, "85.0, 10.0")])
    assert north.radius_m == 200.0


def taught(hunt: str, *readers: tuple[str, float]) -> LessonTable:
    """Return a lesson of a hunt, and how far clockwise who read too far in it."""
    return LessonTable(
        hunt=hunt, latitude_deg=52.3, longitude_deg=-3.6, cargos=("water",), trips=40,
        bearings=20, precision=((4.0, 0.0), (0.0, 4.0)), weighted=(0.4, 0.0),
        offsets=tuple(
            OffsetTable(observer=name, precision=4.0, weighted=4.0 * turned_deg)
            for name, turned_deg in readers
        ),
    )  # fmt: skip


def learned(*lessons: LessonTable) -> Any:
    told = {"hunt": {"name": "Fern Bank", "timezone": "Europe/London"}}
    hunt_file = parse_hunt_table(told, where="hunt.toml")
    hunt_file.take_season(SeasonFile(lessons=lessons), learned_from="own.json")
    return learned_for(hunt_file, answer().stations)


def test_a_season_is_asked_for_and_teaches_another_hunt_than_its_own() -> None:
    told = {"hunt": {"name": "Fern Bank", "timezone": "Europe/London"}}
    plain = parse_hunt_table(told, where="hunt.toml")
    assert learned_for(plain, answer().stations) is None
    assert learned() is None
    assert learned(taught("Fern Bank")) is None
    plain.take_season(SeasonFile(lessons=(taught("x"),)), learned_from="own.json")
    assert learned_for(plain, ()) is None
    one = learned(taught("Fern Bank"), taught("x"), taught("y"))
    assert len(one.known) == 2
    assert one.prior.hunts == 2
    assert one.here_deg == (HERE.latitude_deg, HERE.longitude_deg)
    assert one.cargos == tuple({place.cargo for place in answer().stations})
    assert one.file == "own.json"


def test_the_compass_is_narrowed_where_every_readers_is_known() -> None:
    one = learned(
        taught("x", ("Ann", 6.0), ("Ben", -6.0)), taught("y", ("Ann", 6.0)), taught("z")
    )
    usual, plain = survey.Settings(), ModelTable()
    (ann, ann_sd, ann_hunts), (ben, ben_sd, ben_hunts) = map(
        one.compass, ("Ann", "Ben")
    )
    assert ben < 0 < ann < 6.0
    assert ann_sd < ben_sd  # heard twice
    assert (ann_hunts, ben_hunts) == (2, 1)
    nobody, wide_sd, hunts = one.compass("Cid")
    assert (nobody, hunts) == (0.0, 0)

    def spread(model: ModelTable, *observers: str) -> float:
        chosen = one.applied(usual, model, observers)
        assert chosen.learned is not None
        return float(chosen.compass_sd_deg)

    # Each in the share by which the whole spread is less; of two the wider.
    assert spread(plain, "Ann") == pytest.approx(
        usual.compass_sd_deg * ann_sd / wide_sd
    )
    assert spread(plain, "Ann", "Ben") == spread(plain, "Ben", "Ann")
    assert spread(plain, "Ann", "Ben") == spread(plain, "Ben") > spread(plain, "Ann")
    # Not where one is unknown, where nobody read, or where hunt.toml says it.
    assert spread(plain, "Ann", "Cid") == usual.compass_sd_deg
    assert spread(plain) == usual.compass_sd_deg
    stated = ModelTable(compass_sd_deg=9.0)
    assert spread(stated, "Ann") == usual.compass_sd_deg

    use = one.used(plain, ("Ann", "Ben", "Cid"))
    assert (use.file, use.hunts) == ("own.json", 3)
    assert use.turned_deg == (("Ann", ann), ("Ben", ben), ("Cid", 0.0))
    assert one.used(stated, ("Ann",)).turned_deg == ()
