"""Known colonies: how they were last seen, which count, and which are near a hunt."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from hunt.found_world import HERE, find, off
from treeward.errors import HuntError
from treeward.hunt.finds import LookTable, coarse
from treeward.hunt.hunt import Hunt
from treeward.hunt.season import (
    Judged,
    Season,
    add_known_hives,
    compasses,
    first_finds,
    foretold,
    found_colonies,
    hunt_folders,
    keep_season,
    living,
    occupancy,
    state_of,
)
from treeward.hunt.two_hunts import FoundColony
from treeward.hunt_file import LessonTable, OffsetTable, SeasonFile, read_season
from treeward.measures import Position, format_position
from treeward.report.model import FindCheck

if TYPE_CHECKING:
    from collections.abc import Sequence

TREE = off(700)


def look(day: str, state: str, find_id: str = "1") -> LookTable:
    return LookTable.model_validate({"find": find_id, "seen": day, "state": state})


def known(
    *looks: LookTable,
    hunt: str = "Heath",
    place: Position = TREE,
    find_id: str = "1",
    folder: str = "heath",
    **more: Any,
) -> FoundColony:
    return FoundColony(
        hunt=hunt,
        folder=Path(folder),
        find=find(find_id, place, **more),
        looks=looks,
    )


def check(
    find_id: str, *, holds: int | None = 50, off_m: float = 10.0, colony: str = "A"
) -> FindCheck:
    return FindCheck(
        find=find_id, found=date(2026, 7, 20), colony=colony, off_m=off_m,
        holds_percent=holds, area_90_m2=1.0, stations=(),
    )  # fmt: skip


def season(judged: Sequence[Judged] = (), *lessons: LessonTable) -> Season:
    file = SeasonFile(lessons=lessons)
    return Season(colonies=(), judged=tuple(judged), file=file, unfound=(), left_out=())


def lesson(hunt: str, *, lon: float = -3.6, **offsets: float) -> LessonTable:
    return LessonTable(
        hunt=hunt,
        latitude_deg=52.3,
        longitude_deg=lon,
        cargos=("water",),
        trips=30,
        bearings=9,
        precision=((400.0, 0.0), (0.0, 400.0)),
        weighted=(-40.0, 60.0),
        offsets=tuple(
            OffsetTable(observer=name, precision=2.0, weighted=2.0 * deg)
            for name, deg in offsets.items()
        ),
    )


def test_of_several_finds_the_nearest_counts_for_a_colony() -> None:
    finds = [find(name, TREE) for name in "123"]

    def first(*checks: FindCheck) -> dict[str, str]:
        return first_finds(finds, {one.find: one for one in checks})

    assert first(check("1", holds=90), check("2", holds=50)) == {"A": "2"}
    assert first(check("1", holds=None), check("2", holds=95)) == {"A": "2"}
    assert first(check("1", off_m=30), check("2", off_m=20)) == {"A": "2"}
    # The area counts before the distance, and of two alike the one kept first.
    near = check("1", holds=90, off_m=5), check("2", holds=50, off_m=50)
    assert first(*near) == {"A": "2"}
    assert first(check("1"), check("2")) == {"A": "1"}
    assert first(check("3")) == {"A": "3"}
    assert first(check("1"), check("2", colony="B")) == {"A": "1", "B": "2"}
    assert first() == {}
    named = [find("1", TREE), find("2", TREE, colony="A")]
    checks = {one.find: one for one in (check("1"), check("2", holds=None))}
    assert first_finds(named, checks) == {"A": "2"}


def test_how_many_finds_an_area_held_is_counted_of_those_that_can_be() -> None:
    judged = [
        Judged(colony=known(), plain=check("1", holds=50), own=check("1", holds=90)),
        Judged(colony=known(), plain=check("2", holds=90)),
        Judged(colony=known(), plain=check("3", holds=95), own=check("3", holds=None)),
        Judged(colony=known(), plain=check("4", holds=None)),
    ]
    told = season(judged)
    assert [told.held(p, own=False) for p in (50, 90, 95)] == [(1, 4), (2, 4), (3, 4)]
    assert [told.held(p, own=True) for p in (50, 90, 95)] == [(0, 2), (1, 2), (1, 2)]
    assert season().held(90, own=False) == (0, 0)


def test_a_colony_is_as_it_was_last_seen() -> None:
    assert state_of(known()) == ("found", date(2026, 7, 20))
    seen = look("2026-09-01", "alive"), look("2027-04-01", "dead")
    assert state_of(known(*seen)) == ("dead", date(2027, 4, 1))
    unseen = look("2027-06-01", "not looked at")
    assert state_of(known(*seen, unseen)) == ("dead", date(2027, 4, 1))
    assert state_of(known(unseen)) == ("found", date(2026, 7, 20))


def test_the_living_near_a_hunt_are_those_not_known_to_be_dead() -> None:
    dead = known(look("2027-04-01", "dead"))
    again = known(look("2027-04-01", "dead"), look("2027-06-01", "moved in"))
    alone = known()
    colonies = [dead, again, alone]
    assert living(colonies, [HERE], 701) == [again, alone]
    assert living(colonies, [HERE], 699) == []
    assert living(colonies, [off(5_000), HERE], 701) == [again, alone]
    assert living(colonies, [], 1e9) == []


def test_the_list_of_a_year_says_what_is_known_of_each_colony() -> None:
    looks = look("2026-09-01", "alive"), look("2027-04-01", "not looked at")
    one = known(*looks, hunt="B", height_m=4.0, entrance="south", nest="wall")
    late = known(hunt="A", find_id="2", found="2027-05-01")
    early = known(hunt="A", find_id="3", found="2025-05-01", entrance="knot")
    first, second, third = occupancy([one, late, early], 2026)
    assert [c.name for c in (first, second, third)] == ["A 3", "A 2", "B 1"]
    assert third.place == format_position(one.find.position)
    assert (third.found, third.nest) == (date(2026, 7, 20), "wall")
    assert third.entrance == "entrance at 4 m, south"
    assert (first.entrance, second.entrance) == ("knot", "")
    assert third.history == (
        (date(2026, 9, 1), "alive"),
        (date(2027, 4, 1), "not looked at"),
    )
    assert (third.state, third.seen) == ("alive", date(2026, 9, 1))
    assert [c.looked for c in (first, second, third)] == [False, False, True]
    assert [c.looked for c in occupancy([one], 2027)] == [False]


def test_a_list_for_others_rounds_the_places() -> None:
    off_grid = known(place=Position(latitude_deg=85.0, longitude_deg=10.0), hunt="A")
    rough = occupancy([off_grid, known()], 2026, square_m=1000.0)
    middle = coarse(TREE, 1000.0)
    assert [c.place for c in rough] == [
        "not on the UTM grid",
        f"{middle.latitude_deg:.3f}, {middle.longitude_deg:.3f} (rounded)",
    ]


def test_what_a_season_foretells_is_of_where_its_last_hunt_was() -> None:
    assert foretold(season()) is None
    told = foretold(season((), lesson("a"), lesson("b")))
    assert told is not None
    assert told.hunts == 2


def test_each_observers_compass_is_told_by_name() -> None:
    both = compasses(season((), lesson("a", Ann=6.0), lesson("b", Ann=6.0, Ben=-4.0)))
    assert set(both) == {"Ann", "Ben"}
    (ann, ann_sd, ann_hunts), (ben, ben_sd, ben_hunts) = both["Ann"], both["Ben"]
    assert (ann_hunts, ben_hunts) == (2, 1)
    assert 0 < ann < 6  # drawn towards none
    assert -4 < ben < 0
    assert 0 < ann_sd < ben_sd
    assert compasses(season()) == {}


def test_a_season_is_kept_beside_its_hunts(tmp_path: Path) -> None:
    told = season((), lesson("a"))
    path = keep_season(tmp_path, told)
    assert path == tmp_path / "season.json"
    assert read_season(path) == told.file


def hunt_of(folder: Path, *, position: str = "", more: str = "") -> Hunt:
    folder.mkdir(parents=True)
    text = f'[hunt]\nname = "{folder.name}"\ntimezone = "Europe/London"\n'
    text += '[[station]]\nid = "1"\n'
    text += f'position = "{position}"\n' if position else ""
    (folder / "hunt.toml").write_text(text + more, "utf-8")
    return Hunt(folder)


def test_known_hives_are_written_with_how_they_were_last_seen(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path / "new", position=format_position(HERE), more="# mine")
    before = (hunt.path / "hunt.toml").read_text("utf-8")
    seen = known(look("2027-05-01", "alive"), hunt="Heath " * 12)
    other = known(find_id="2", folder="moor", hunt="Moor")
    own = known(folder=str(hunt.path), hunt="own")
    part = replace(known(hunt="part"), parts=(hunt.path,))
    far = known(place=off(9_000), hunt="far")
    names = add_known_hives(hunt, [seen, other, own, part, far], 1_000)
    assert names == (seen.name, "Moor 2")
    text = (hunt.path / "hunt.toml").read_text("utf-8")
    assert text.startswith(before + "\n\n[[known_hive]]  # alive 2027-05-01\n")
    assert "[[known_hive]]  # found 2026-07-20\n" in text
    first, second = Hunt(hunt.path).file.known_hive
    assert (first.name, second.name) == (seen.name[:60], "Moor 2")
    assert first.position == seen.find.position
    # Those that it knows already stay out.
    again = [other, known(hunt="Dell")]
    assert add_known_hives(Hunt(hunt.path), again, 1_000) == ("Dell 1",)
    assert add_known_hives(Hunt(hunt.path), again, 1_000) == ()


def test_where_a_hunt_is_may_be_told_by_a_waypoint(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path / "new")
    with pytest.raises(
        HuntError, match="no station of this hunt has a position"
    ) as told:
        add_known_hives(hunt, [known()], 1_000)
    assert told.value.where == str(hunt.path / "hunt.toml")
    (hunt.path / "a.gpx").write_text(
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="52.3" lon="-3.6"><name>spring</name></wpt></gpx>',
        "utf-8",
    )
    assert add_known_hives(hunt, [known()], 1_000) == ("Heath 1",)


def test_a_hunt_toml_that_takes_no_table_at_its_end_stays_as_it_is(
    tmp_path: Path,
) -> None:
    hunt = hunt_of(tmp_path / "new", position=format_position(HERE))
    path = hunt.path / "hunt.toml"
    text = "known_hive = []\n" + path.read_text("utf-8")
    path.write_text(text, "utf-8")
    with pytest.raises(HuntError, match="known hives cannot be added at its end"):
        add_known_hives(Hunt(hunt.path), [known()], 1_000)
    assert path.read_text("utf-8") == text


def test_hunts_of_a_folder_are_found_with_and_without_a_find(tmp_path: Path) -> None:
    for name in ("one", "two", "bad"):
        hunt_of(tmp_path / name)
    (tmp_path / "bad" / "hunt.toml").write_text("[hunt", "utf-8")
    (tmp_path / "one" / "found.toml").write_text(
        '[[find]]\nid = "1"\nposition = "52.3, -3.6"\nfound = 2026-07-20\n'
        '[[look]]\nfind = "1"\nseen = 2026-09-01\nstate = "alive"\n',
        "utf-8",
    )
    colonies, unfound, faults = found_colonies(tmp_path)
    (only,) = colonies
    assert (only.hunt, only.folder, only.find.id) == ("one", tmp_path / "one", "1")
    assert only.looks == (look("2026-09-01", "alive"),)
    assert unfound == ["two"]
    (fault,) = faults
    assert fault.startswith(str(tmp_path / "bad"))
    assert fault.count(str(tmp_path / "bad")) == 1


def test_a_folder_without_hunts_says_what_to_name(tmp_path: Path) -> None:
    for folder, said in ((tmp_path / "none", "no such folder"), (tmp_path, "no hunt")):
        with pytest.raises(HuntError, match=said) as told:
            hunt_folders(folder)
        assert told.value.where == str(folder)
        assert told.value.mend == "Name the folder that holds your hunts."
    own = hunt_of(tmp_path / "a" / "own").path
    assert hunt_folders(own) == [own]
