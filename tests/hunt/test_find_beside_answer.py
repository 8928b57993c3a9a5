"""A find beside the answer: which colony it is of, how far, and what is kept back."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pyproj import Transformer

from hunt.found_world import (
    FAR,
    GLOBE,
    HERE,
    NEAR,
    A,
    B,
    answer,
    bee,
    colony,
    find,
    hunt_of,
    off,
)
from treeward.errors import HuntError
from treeward.hunt.finds import (
    FILE,
    FoundFile,
    LookTable,
    add_find,
    add_look,
    check_finds,
    checked,
    coarse,
    colony_of,
    day_told,
    found_text,
    inside_area,
    noted_place,
    place_at,
    read_finds,
    shared_geojson,
    typed_place,
    with_finds,
)
from treeward.hunt.finds import FindTable as Find
from treeward.hunt.hunt import Hunt
from treeward.language.kinds import EventKind
from treeward.measures import Position
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode
from treeward.report.advice_wording import HAND_RULES
from treeward.survey.records import HandRuleKind

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("metres", "percent"),
    [(0, 50), (45, 50), (55, 90), (95, 90), (105, 95), (145, 95), (155, None)],
)
def test_the_smallest_area_that_holds_a_find_is_told(
    metres: float, percent: int | None
) -> None:
    assert inside_area(A, find("1", off(metres, 0, NEAR))) == percent


def test_a_find_is_of_the_colony_that_it_names_else_of_the_nearest_area() -> None:
    both = answer(A, B)
    assert colony_of(both, find("1", FAR, colony="A")) is A
    assert colony_of(both, find("1", FAR)) is B
    assert colony_of(both, find("1", off(200, 0, NEAR))) is A  # in no area
    # Held by the small area of one that is farther away than a wide one's middle.
    wide = colony("W", off(60, 0, NEAR), halves_m=(1, 2, 500))
    tight = colony("T", off(90, 180, NEAR), halves_m=(100, 101, 102))
    assert colony_of(answer(wide, tight), find("1", NEAR)) is tight
    # In none or in the same the nearer one counts.
    assert colony_of(answer(B, A), find("1", off(900))) is A
    assert colony_of(answer(B, A), find("1", NEAR, colony="C")) is A
    assert colony_of(answer(), find("1", NEAR, colony="A")) is None


def test_a_forecast_is_held_against_the_find_in_metres() -> None:
    place = off(40, 0, NEAR)
    rules = (HandRuleKind.SEELEY, HandRuleKind.KEPHART)
    bees = (
        bee("yellow", "1", (rules[0], 900.0), (rules[1], 1500.0)),
        bee("red", "1", (rules[0], 1200.0)),
        bee("red", "2", (rules[0], 9000.0)),
        bee("pink", "1", (rules[0], 9000.0)),  # of no bee of this colony
    )
    (check,) = check_finds(answer(A, bees=bees), [find("7", place)])
    assert (check.find, check.colony, check.holds_percent) == ("7", "A", 50)
    assert check.found == date(2026, 7, 20)
    assert check.off_m == pytest.approx(40, abs=0.2)
    assert check.area_90_m2 == A.search_areas[90].area_m2
    (station,) = check.stations  # the other's place is not known
    assert station.station == "1"
    assert (station.low90_m, station.median_m, station.high90_m) == (800, 1000, 1300)
    there = GLOBE.inv(
        HERE.longitude_deg, HERE.latitude_deg, place.longitude_deg, place.latitude_deg
    )[2]
    assert station.true_m == pytest.approx(there, abs=0.2)
    seeley, kephart = station.rules
    assert (seeley.name, seeley.source) == HAND_RULES[rules[0]]
    assert (seeley.bees, seeley.said_m, seeley.low_m, seeley.high_m) == (
        2, 1050.0, 900.0, 1200.0,
    )  # fmt: skip
    assert (kephart.name, kephart.source) == HAND_RULES[rules[1]]
    assert (kephart.bees, kephart.low_m, kephart.high_m) == (1, 1500.0, 1500.0)
    assert check_finds(answer(), [find("7", place)]) == ()


def test_a_report_that_holds_finds_rounds_them_to_a_square_of_a_kilometre(
    tmp_path: Path,
) -> None:
    (tmp_path / FILE).write_text(found_text(FoundFile(find=(find("1", NEAR),))))
    (check,) = with_finds(answer(A), tmp_path).finds
    place = coarse(NEAR, 1000.0)
    said = f"{place.latitude_deg:.3f}, {place.longitude_deg:.3f}, the middle of "
    assert check.coarse_text.startswith(said)
    assert with_finds(answer(A), tmp_path / "none").finds == ()


@pytest.mark.parametrize(
    ("place", "epsg"),
    [
        (HERE, 32630),
        (Position(latitude_deg=-36.5, longitude_deg=174.5), 32760),
        (Position(latitude_deg=0.01, longitude_deg=33.5), 32636),
        (Position(latitude_deg=-0.01, longitude_deg=33.5), 32736),
    ],
)
@pytest.mark.parametrize("square_m", [250.0, 1000.0])
def test_all_places_of_a_utm_square_are_told_as_its_middle(
    place: Position, epsg: int, square_m: float
) -> None:
    rough = coarse(place, square_m)
    to_grid = Transformer.from_crs("EPSG:4326", f"EPSG:{epsg}", always_xy=True)
    grid = np.array(to_grid.transform(rough.longitude_deg, rough.latitude_deg))
    own = np.array(to_grid.transform(place.longitude_deg, place.latitude_deg))
    assert grid % square_m == pytest.approx(square_m / 2, abs=1.0)  # written to 1e-5
    assert (np.abs(own - grid) <= square_m / 2 + 1.0).all()


def test_beyond_the_utm_grid_nothing_is_rounded() -> None:
    with pytest.raises(HuntError, match=r"the place 85\.0.* cannot be rounded") as told:
        coarse(Position(latitude_deg=85.0, longitude_deg=10.0), 1000.0)
    assert told.value.where == FILE


def test_finds_for_others_are_points_with_a_year_and_a_nest() -> None:
    finds = FoundFile(find=(find("1", NEAR, nest="wall"), find("2", FAR)))
    exact = json.loads(shared_geojson(finds, None))
    assert exact["type"] == "FeatureCollection"
    first, second = exact["features"]
    assert first["properties"] == {
        "find": "1", "year": 2026, "nest": "wall", "rounded_to_m": 0
    }  # fmt: skip
    assert second["properties"]["nest"] == "tree"
    kept = finds.find[0].position
    # RFC 7946: longitude first.
    assert first["geometry"] == {
        "type": "Point",
        "coordinates": pytest.approx([kept.longitude_deg, kept.latitude_deg], abs=5e-7),
    }
    rough = json.loads(shared_geojson(finds, 1000.0))["features"][0]
    place = coarse(NEAR, 1000.0)
    assert rough["geometry"]["coordinates"] == [place.longitude_deg, place.latitude_deg]
    assert rough["properties"]["rounded_to_m"] == 1000.0


def look(find_id: str, day: str, state: str = "alive") -> LookTable:
    return LookTable.model_validate({"find": find_id, "seen": day, "state": state})


def test_looks_of_a_find_are_its_own_by_day() -> None:
    finds = FoundFile(
        find=(find("1", NEAR), find("2", FAR)),
        look=(
            look("1", "2027-05-01"),
            look("2", "2027-01-01"),
            look("1", "2026-09-01"),
        ),
    )
    assert [k.seen.isoformat() for k in finds.looks_of("1")] == [
        "2026-09-01",
        "2027-05-01",
    ]
    assert finds.looks_of("3") == ()


def test_a_new_find_gets_the_next_number_that_is_free() -> None:
    assert FoundFile().free_id() == "1"
    assert FoundFile(find=(find("2", NEAR),)).free_id() == "1"
    assert FoundFile(find=(find("1", NEAR), find("ash", FAR))).free_id() == "2"
    assert FoundFile(find=(find("1", NEAR), find("2", FAR))).free_id() == "3"


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ({"find": [find("1", NEAR), find("1", FAR)]}, "find id '1' stands twice"),
        (
            {
                "find": [find("1", NEAR), find("2", FAR)],
                "look": [look("3", "2026-08-01")],
            },
            "a look names find '3', but the finds are 1, 2",
        ),
        ({"look": [look("3", "2026-08-01")]}, "but the finds are none"),
    ],
)  # fmt: skip
def test_finds_that_do_not_fit_together_are_refused(
    tables: dict[str, Any], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        FoundFile.model_validate(tables)


def test_a_whole_found_toml_is_read_back_as_it_was(tmp_path: Path) -> None:
    finds = FoundFile(
        find=(
            find("1", NEAR, height_m=4.5, entrance='south, "knot"', nest="wall"),
            find("2", FAR, placed_by="track", photos=["a.jpg"], may_know=["Ann"]),
        ),
        look=(look("2", "2026-09-01", "not looked at"),),
    )
    text = found_text(finds)
    (tmp_path / FILE).write_text(text, "utf-8")
    assert read_finds(tmp_path) == finds
    assert text.startswith("# The colonies found in this hunt")
    assert text.count("[[find]]") == 2
    assert "\n\n[[look]]\n" in text
    assert "remark" not in text  # what was not told is not written
    assert read_finds(tmp_path / "none") == FoundFile()


def test_a_fault_of_found_toml_is_named_by_table_and_key(tmp_path: Path) -> None:
    text = found_text(FoundFile(find=(find("1", NEAR), find("2", FAR))))
    (tmp_path / FILE).write_text(text + "height_m = 151\n", "utf-8")
    with pytest.raises(HuntError, match="find 2 height_m: ") as told:
        read_finds(tmp_path)
    assert told.value.where == str(tmp_path / FILE)
    assert told.value.mend == "Correct it there."


def test_what_was_told_of_a_find_is_refused_by_its_option() -> None:
    good = {"id": "1", "position": "52.3, -3.6", "found": "2026-07-20"}
    assert checked(Find, good).nest == "tree"
    with pytest.raises(HuntError, match=r"^--height-m: input should be"):
        checked(Find, good | {"height_m": 151}, named="--{}")
    with pytest.raises(HuntError, match=r"^position: "):
        checked(Find, good | {"position": "here"})


@pytest.mark.parametrize(
    ("height_m", "fits"), [(-50, True), (150, True), (-51, False), (151, False)]
)
def test_an_entrance_is_in_a_tree_or_a_shaft(height_m: float, *, fits: bool) -> None:
    told = {"id": "1", "position": "52.3, -3.6", "found": "2026-07-20"}
    if fits:
        assert checked(Find, told | {"height_m": height_m}).height_m == height_m
    else:
        with pytest.raises(HuntError, match=r"^height-m: "):
            checked(Find, told | {"height_m": height_m})


def test_a_day_that_is_still_to_come_is_refused(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path)
    today = datetime.now(tz=hunt.zone).date()
    assert day_told(hunt, today) == today
    assert day_told(hunt, date(2026, 1, 2)) == date(2026, 1, 2)
    assert day_told(hunt, None) - today <= timedelta(days=1)
    late = today + timedelta(days=2)
    with pytest.raises(HuntError, match=f"the day {late.isoformat()} is still to come"):
        day_told(hunt, late)


def test_a_look_is_added_at_the_end_and_only_of_a_find(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path)
    text = found_text(FoundFile(find=(find("1", NEAR),))) + "# mine"  # no line end
    (tmp_path / FILE).write_text(text, "utf-8")
    kept = add_look(hunt, look("1", "2026-08-01"))
    assert kept.look == (look("1", "2026-08-01"),)
    after = (tmp_path / FILE).read_text("utf-8")
    assert after.startswith(f"{text}\n\n[[look]]\n")
    assert read_finds(tmp_path) == kept
    with pytest.raises(HuntError, match="a look names find '2'"):
        add_look(hunt, look("2", "2026-08-01"))
    assert (tmp_path / FILE).read_text("utf-8") == after


def test_a_place_that_is_typed_is_one() -> None:
    assert typed_place("52.3, -3.6") == HERE
    with pytest.raises(HuntError, match="Write it like"):
        typed_place("by the wall")


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


def test_a_time_is_read_in_the_hunts_zone_unless_it_says_its_own(
    tmp_path: Path,
) -> None:
    hunt = hunt_of(tmp_path)
    gpx(tmp_path)
    for text in (" 2026-07-14 13:01 ", "2026-07-14T12:01:00+00:00"):
        place, day = place_at(hunt, text)
        assert place.latitude_deg == pytest.approx(52.31)
        assert day == date(2026, 7, 14)
    with pytest.raises(HuntError, match="'soon' is no time"):
        place_at(hunt, "soon")
    with pytest.raises(HuntError, match="you were at 2026-07-14 10:00") as told:
        place_at(hunt, "2026-07-14 10:00")
    assert "no GPX file" not in str(told.value)
    (tmp_path / "walk.gpx").unlink()
    with pytest.raises(HuntError, match="; there is no GPX file in it") as told:
        place_at(hunt, "2026-07-14 13:01")
    assert told.value.where == str(tmp_path / "tracks")


def said(
    minute: int | None, value: str, *, doubt: bool = False, row: str = ""
) -> Event:
    clock = (
        datetime(2026, 7, 14, 12, minute, tzinfo=UTC) if minute is not None else None
    )
    flags = (Flag(FlagCode.HARDLY_HEARD),) if doubt else ()
    return Event(kind=EventKind.FOUND, value=value, clock=clock, flags=flags, row=row)


def test_the_last_sure_note_says_where_the_tree_is(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path)
    gpx(tmp_path)
    notes = [said(1, "in an ash"), said(0, "no"), said(2, "maybe", doubt=True)]
    place, day, words = noted_place(hunt, notes)
    assert place.latitude_deg == pytest.approx(52.31)
    assert (day, words) == (date(2026, 7, 14), "in an ash")
    # A place that is typed into the note stands before the phone's.
    typed = noted_place(hunt, [*notes, said(2, "52.5, -3.5")])
    assert typed == (Position(latitude_deg=52.5, longitude_deg=-3.5), day, "")
    # And needs no time.
    untimed = noted_place(hunt, [said(None, "ash"), said(None, "52.5, -3.5")])
    assert untimed == (Position(latitude_deg=52.5, longitude_deg=-3.5), None, "")
    for none in ([], [said(None, "ash")], [said(1, "ash", doubt=True)]):
        with pytest.raises(HuntError, match="no note with a time") as told:
            noted_place(hunt, none)
        assert told.value.where == str(hunt.review_path)
    with pytest.raises(HuntError, match="when 13:30 was noted as found"):
        noted_place(hunt, [said(30, "ash")])


@pytest.mark.parametrize(("metres", "kept"), [(29.5, False), (30.5, True)])
def test_two_finds_of_one_tree_are_no_thirty_metres_apart(
    tmp_path: Path, metres: float, *, kept: bool
) -> None:
    hunt = hunt_of(tmp_path)
    add_find(hunt, find("1", NEAR))
    if kept:
        assert len(add_find(hunt, find("1", off(metres, 0, NEAR))).find) == 2
        return
    with pytest.raises(HuntError, match="find 1 is kept already, within 30 m") as told:
        add_find(hunt, find("1", off(metres, 0, NEAR)))
    assert told.value.where == str(tmp_path / FILE)


def test_a_found_toml_may_have_a_megabyte(tmp_path: Path) -> None:
    path = tmp_path / FILE
    path.write_text("#".ljust(2**20, "x"), "utf-8")
    assert read_finds(tmp_path) == FoundFile()
    path.write_text("#".ljust(2**20 + 1, "x"), "utf-8")
    with pytest.raises(HuntError, match=r"1\.05 MB large"):
        read_finds(tmp_path)


@pytest.mark.parametrize(
    ("key", "most"), [("entrance", 200), ("colony", 200), ("remark", 2000)]
)
def test_what_is_told_of_a_find_is_so_long_at_most(key: str, most: int) -> None:
    told = {"id": "1", "position": "52.3, -3.6", "found": "2026-07-20"}
    assert getattr(checked(Find, told | {key: "x" * most}), key) == "x" * most
    with pytest.raises(HuntError, match=f"^{key}: "):
        checked(Find, told | {key: "x" * (most + 1)})
    seen = {"find": "1", "seen": "2026-08-01", "state": "dead"}
    assert len(checked(LookTable, seen | {"remark": "x" * 2000}).remark) == 2000
    with pytest.raises(HuntError, match=r"^remark: "):
        checked(LookTable, seen | {"remark": "x" * 2001})


def test_today_is_the_day_in_the_hunts_zone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Late(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return datetime(2026, 7, 14, 23, 30, tzinfo=UTC).astimezone(tz)

    monkeypatch.setattr("treeward.hunt.finds.datetime", Late)
    hunt = hunt_of(tmp_path)  # an hour ahead in summer
    today = date(2026, 7, 15)
    assert day_told(hunt, None) == today
    assert day_told(hunt, today) == today
    with pytest.raises(HuntError, match="the day 2026-07-16 is still to come"):
        day_told(hunt, date(2026, 7, 16))


def test_a_note_of_the_small_hours_is_of_the_day_in_the_hunts_zone(
    tmp_path: Path,
) -> None:
    late = datetime(2026, 7, 14, 23, 30, tzinfo=UTC)
    note = Event(kind=EventKind.FOUND, value="52.5, -3.5", clock=late)
    assert noted_place(hunt_of(tmp_path), [note])[1] == date(2026, 7, 15)


def test_a_track_that_tells_nothing_does_not_hide_the_one_that_does(
    tmp_path: Path,
) -> None:
    hunt = hunt_of(tmp_path)
    (tmp_path / "a.gpx").write_text(
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"/>',
        "utf-8",
    )
    gpx(tmp_path)
    assert place_at(hunt, "2026-07-14 13:01")[0].latitude_deg == pytest.approx(52.31)
    # A map of the ground is no track.
    text = (tmp_path / "hunt.toml").read_text("utf-8")
    (tmp_path / "hunt.toml").write_text(
        text + '[map]\nground = ["walk.gpx"]\n', "utf-8"
    )
    with pytest.raises(HuntError, match="no track of this hunt"):
        place_at(Hunt(tmp_path), "2026-07-14 13:01")


def test_a_shared_place_has_so_many_digits() -> None:
    fine = Find.model_validate(
        {"id": "1", "position": "52.12345678, -3.98765432", "found": "2026-07-20"}
    )
    exact = shared_geojson(FoundFile(find=(fine,)), None)
    (feature,) = json.loads(exact)["features"]
    assert feature["geometry"]["coordinates"] == [-3.987654, 52.123457]
    assert exact.startswith('{\n "type": "FeatureCollection"')
    rough = coarse(fine.position, 1000.0)  # a metre or so
    assert rough.latitude_deg == round(rough.latitude_deg, 5)
    assert rough.longitude_deg == round(rough.longitude_deg, 5)
