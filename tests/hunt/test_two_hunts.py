"""What two hunts have in common: one hunt.toml of two, and colonies counted once."""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from hunt.found_world import HERE, off
from treeward.hunt.finds import FindTable, LookTable
from treeward.hunt.hunt import Hunt
from treeward.hunt.two_hunts import (
    FoundColony,
    Side,
    counted_once,
    folder_name,
    merged_toml,
    notes_of,
    shares_notes,
    station_names,
)
from treeward.measures import format_position

if TYPE_CHECKING:
    from pathlib import Path

TEN = datetime(2026, 7, 14, 9, 0, tzinfo=UTC)


def hunt_of(
    folder: Path, *stations: str, before: str = "", head: str = "", more: str = ""
) -> Hunt:
    folder.mkdir(parents=True, exist_ok=True)
    text = before + f'[hunt]\nname = "{folder.name}"\ntimezone = "Europe/London"\n'
    text += head
    for station in stations:
        text += f'[[station]]\nid = "{station}"\n'
    (folder / "hunt.toml").write_text(text + more, "utf-8")
    return Hunt(folder)


def side(hunt: Hunt, who: str = "Ann", **more: Any) -> Side:
    stations = {station.id: station.id for station in hunt.file.station}
    plain: dict[str, Any] = {"recordings": {}, "placed": {}, "marks": frozenset()}
    return Side(hunt=hunt, who=who, **(plain | {"stations": stations} | more))


def merged(one: Side, other: Side) -> tuple[dict[str, Any], list[str]]:
    text, told = merged_toml(one, other, one.hunt.path.parent / "both", name="both")
    return tomllib.loads(text), told


def test_stations_of_one_name_are_one_where_they_lie_together(tmp_path: Path) -> None:
    one = hunt_of(tmp_path / "one", "1", "2", "3")
    other = hunt_of(tmp_path / "other", "1", "2", "3", "4")
    here = {"1": HERE, "2": HERE, "3": HERE}
    there = {"1": off(29.9, 70), "2": off(30.1, 70), "4": off(900, 70)}
    assert station_names(one, other, here, there) == {
        "1": "1",
        "2": "2b",
        "3": "3",  # nobody knows where the other's is
        "4": "4",
    }
    assert station_names(one, other, {}, there) == {n: n for n in "1234"}


def test_a_new_name_of_a_station_is_nobodys_yet(tmp_path: Path) -> None:
    one = hunt_of(tmp_path / "one", "1", "1b", "2")
    other = hunt_of(tmp_path / "other", "1", "1c", "2", "2b")
    here = {"1": HERE, "2": HERE}
    there = {"1": off(500, 70), "2": off(500, 70)}
    names = station_names(one, other, here, there)
    assert names == {"1": "1d", "1c": "1c", "2": "2c", "2b": "2b"}


def test_names_go_on_behind_the_alphabet(tmp_path: Path) -> None:
    taken = [f"1{letter}" for letter in "bcdefghijklmnopqrstuvwxyz"]
    one = hunt_of(tmp_path / "one", "1", *taken)
    names = station_names(
        one, hunt_of(tmp_path / "other", "1"), {"1": HERE}, {"1": off(500, 70)}
    )
    assert names == {"1": "12"}


def test_stations_of_both_are_there_once_with_what_either_knows(tmp_path: Path) -> None:
    one = hunt_of(tmp_path / "one", "1", more='cargo = "syrup"\n')
    other = hunt_of(tmp_path / "other", "1", "2", more='name = "spring"\n')
    (other.path / "hunt.toml").write_text(
        (other.path / "hunt.toml")
        .read_text("utf-8")
        .replace('id = "1"\n', 'id = "1"\nname = "dish"\n'),
        "utf-8",
    )
    other = Hunt(other.path)
    table, told = merged(
        side(one),
        side(
            other,
            placed={"1": HERE, "2": off(900, 70)},
            stations={"1": "1", "2": "2b"},
        ),
    )
    assert table["station"] == [
        {
            "id": "1",
            "cargo": "syrup",
            "name": "dish",
            "position": format_position(HERE),
        },
        {
            "id": "2b",
            "cargo": "water",
            "name": "spring",
            "position": format_position(off(900, 70)),
        },
    ]
    assert told == []


def test_the_firsts_place_and_name_of_a_station_stand(tmp_path: Path) -> None:
    one = hunt_of(tmp_path / "one", "1", more='name = "dish"\n')
    other = hunt_of(tmp_path / "other", "1", more='name = "spring"\n')
    table, _ = merged(
        side(one, placed={"1": HERE}), side(other, placed={"1": off(20, 70)})
    )
    (station,) = table["station"]
    assert (station["name"], station["position"]) == ("dish", format_position(HERE))


def test_what_both_say_of_the_whole_is_as_the_first_says(tmp_path: Path) -> None:
    limit = "[walk]\nlimit_m = {}\n"
    one = hunt_of(
        tmp_path / "one", "1", head='compass = "true"\n', more=limit.format(500)
    )
    other = hunt_of(
        tmp_path / "other", "1", head="altitude_m = 90\n",
        more=limit.format(900) + "[speech]\nflag_below = 0.8\n",
    )  # fmt: skip
    table, told = merged(side(one), side(other, "Ben"))
    assert table["hunt"] == {
        "name": "both",
        "timezone": "Europe/London",
        "compass": "true",
    }
    assert table["walk"] == {"limit_m": 500}
    assert table["speech"] == {"flag_below": 0.8}  # only the second says it
    assert told == ["[walk] is as Ann has it; Ben has it otherwise"]
    _, alike = merged(side(one), side(one, "Ben"))
    assert alike == []


def test_marks_are_limited_only_where_both_say_which(tmp_path: Path) -> None:
    one = hunt_of(tmp_path / "one", "1", head='marks = ["yellow", "red"]\n')
    other = hunt_of(tmp_path / "other", "1", head='marks = ["red", "blue"]\n')
    free = hunt_of(tmp_path / "free", "1")
    both, _ = merged(side(one), side(other))
    assert both["hunt"]["marks"] == ["yellow", "red", "blue"]
    for pair in ((one, free), (free, one)):
        table, _ = merged(*map(side, pair))
        assert "marks" not in table["hunt"]


def test_a_mark_that_both_painted_is_two_bees(tmp_path: Path) -> None:
    same = 'same_bee = ["Blue  White", "red"]\n'
    colony = '[[colony]]\nid = "A"\nmarks = ["Blue  White", "{}"]\n'
    one = hunt_of(tmp_path / "one", "1", before=same, more=colony.format("red"))
    other = hunt_of(
        tmp_path / "other", "1", before='same_bee = ["pink", "red"]\n',
        more=colony.format("pink"),
    )  # fmt: skip
    marks = frozenset({"blue white", "grey"})
    table, told = merged(
        side(one, marks=marks), side(other, "Ben", marks=marks | {"red"})
    )
    assert table["same_bee"] == ["red", "pink"]
    assert table["colony"] == [
        {"id": "A", "marks": ["red"]},
        {"id": "B", "marks": ["pink"]},
    ]
    assert len(told) == 3
    assert told[0].startswith("Blue  White was painted by both: two bees")
    assert told[1:] == [
        "colony A lost marks that both people painted: Blue  White",
        "colony B lost marks that both people painted: Blue  White",
    ]
    # Each kept what is hers alone: nothing is lost.
    table, told = merged(side(one, marks=marks), side(other, "Ben"))
    assert [len(c["marks"]) for c in table["colony"]] == [2, 2]
    assert told == []


def test_a_colony_without_a_mark_left_is_none(tmp_path: Path) -> None:
    colony = '[[colony]]\nid = "{}"\nmarks = ["red"]\n'
    one = hunt_of(tmp_path / "one", "1", more=colony.format("A"))
    other = hunt_of(tmp_path / "other", "1", more=colony.format("C"))
    red = frozenset({"red"})
    table, told = merged(side(one, marks=red), side(other, marks=red))
    assert "colony" not in table
    assert [line[:8] for line in told] == ["colony A", "colony C"]
    table, _ = merged(side(one), side(other))
    assert [one["id"] for one in table["colony"]] == ["A", "C"]


def test_known_hives_of_both_are_there_once(tmp_path: Path) -> None:
    hive = '[[known_hive]]\nname = "{}"\nposition = "52.31, -3.6"\n'
    lane, mill, farm = (hive.format(name) for name in ("lane", "mill", "farm"))
    one = hunt_of(tmp_path / "one", "1", more=lane + mill)
    other = hunt_of(tmp_path / "other", "1", more=farm + lane)
    table, _ = merged(side(one), side(other))
    assert [t["name"] for t in table["known_hive"]] == ["lane", "mill", "farm"]


def test_starts_go_by_the_new_names_and_the_firsts_word_stands(tmp_path: Path) -> None:
    start = '[start]\n"a.wav" = "2026-07-14 10:{:02d}"\n"{}" = "2026-07-14 11:00"\n'
    one = hunt_of(tmp_path / "one", "1", more=start.format(20, "b.wav"))
    other = hunt_of(tmp_path / "other", "1", more=start.format(30, "c.wav"))
    table, _ = merged(
        side(one), side(other, recordings={"c.wav": "ben/c.wav", "b.wav": "x.wav"})
    )
    assert table["start"] == {
        "a.wav": "2026-07-14 10:20",
        "b.wav": "2026-07-14 11:00",
        "ben/c.wav": "2026-07-14 11:00",
    }


def test_who_spoke_where_is_told_of_each_recording(tmp_path: Path) -> None:
    told = '[[recording]]\nname = "*.wav"\nobserver = "Cleo"\nstation = "2"\n'
    one = hunt_of(tmp_path / "one", "1", "2", more=told)
    sole = hunt_of(tmp_path / "sole", "1")
    table, _ = merged(
        side(one, recordings={"a[1].wav": "a[1].wav", "b.mp3": "b.mp3", "": "typed"}),
        side(sole, "B" * 70, recordings={"c.wav": "ben/c.wav"}, stations={"1": "1b"}),
    )
    assert table["recording"] == [
        {"name": "a[[]1].wav", "observer": "Cleo", "station": "2"},
        {"name": "b.mp3", "observer": "Ann"},
        {"name": "typed", "observer": "Ann"},
        # Where it was the only station nobody had to say it.
        {"name": "ben/c.wav", "observer": "B" * 60, "station": "1b"},
    ]


def test_a_calibration_names_the_station_as_it_is_called_now(tmp_path: Path) -> None:
    more = '[calibration]\nstation = "1"\nhive = "52.3045, -3.6133"\n'
    one = hunt_of(tmp_path / "one", "1")
    other = hunt_of(tmp_path / "other", "1", more=more)
    there = side(other, placed={"1": off(500, 70)}, stations={"1": "1b"})
    table, told = merged(side(one, placed={"1": HERE}), there)
    assert table["calibration"] == {"station": "1b", "hive": "52.3045, -3.6133"}
    assert told == []


def test_what_was_learned_is_found_from_the_new_folder(tmp_path: Path) -> None:
    season = '{"format": "treeward season 1", "lessons": []}'
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "season.json").write_text(season, "utf-8")
    learned = 'learned_from = "../season.json"\n'
    one = hunt_of(tmp_path / "a" / "one", "1", before=learned)
    other = hunt_of(tmp_path / "b" / "other", "1", before=learned)
    free = hunt_of(tmp_path / "free", "1")
    for pair, way in (
        ((one, other), "../a/season.json"),
        ((free, other), "../b/season.json"),
        ((free, free), None),
    ):
        mine, theirs = map(side, pair)
        text, _ = merged_toml(mine, theirs, tmp_path / "both", name="both")
        assert tomllib.loads(text).get("learned_from") == way


def test_the_text_says_what_made_it_and_has_no_empty_tables(tmp_path: Path) -> None:
    one = hunt_of(tmp_path / "one", "1")
    text, _ = merged_toml(side(one), side(one), tmp_path / "both", name="a")
    assert text.startswith("# Made of two hunts by treeward merge.\n")
    assert text.endswith("\n")
    assert set(tomllib.loads(text)) == {"hunt", "station"}
    named = {"odd key.wav": "2026-07-14 10:20", "plain-1_a": "2026-07-14 10:21"}
    rows = "".join(f'"{key}" = "{value}"\n' for key, value in named.items())
    other = hunt_of(tmp_path / "other", "1", more=f"[start]\n{rows}")
    text, _ = merged_toml(side(other), side(one), tmp_path / "both", name="a")
    assert tomllib.loads(text)["start"] == named
    assert '\nplain-1_a = "2026' in text  # a plain key needs no quotes


@pytest.mark.parametrize(
    ("who", "folder"),
    [
        ("Ben", "ben"),
        ("Dr. Ng-Oé_1", "dr--ng-oé_1"),
        ("/../etc", "etc"),
        ("***", "other"),
        ("", "other"),
        ("x" * 50, "x" * 40),
    ],
)
def test_a_name_makes_a_short_plain_folder(who: str, folder: str) -> None:
    assert folder_name(who) == folder


def notes(*minutes: int, mark: str = "yellow") -> frozenset[tuple[datetime, str, str]]:
    return frozenset((TEN + timedelta(minutes=m), "away", mark) for m in minutes)


def test_more_than_half_of_the_smaller_hunts_notes_are_most() -> None:
    assert shares_notes(notes(*range(20)), notes(0, 1, 2, 30))
    assert not shares_notes(notes(*range(20)), notes(0, 1, 30, 31))
    assert shares_notes(notes(0, 1, 2, 30), notes(*range(20)))
    assert not shares_notes(notes(0), notes(0, mark="red"))
    assert not shares_notes(notes(0), notes())
    assert not shares_notes(notes(), notes())


def typed(folder: Path, *minutes: int) -> Hunt:
    hunt = hunt_of(folder, "1")
    rows = [f"2026-07-14 10:{minute:02d}:00,away,yellow," for minute in minutes]
    text = "\n".join(["clock,event,mark,value", *rows])
    (folder / "review.csv").write_text(text + "\n", "utf-8")
    return hunt


def test_notes_are_known_by_their_time_kind_and_mark(tmp_path: Path) -> None:
    hunt = typed(tmp_path / "one", 0, 5)
    assert notes_of(hunt.path) == notes(0, 5)
    (hunt.path / "review.csv").write_text("no table", "utf-8")
    assert notes_of(hunt.path) == frozenset()
    assert notes_of(tmp_path / "none") == frozenset()


def found(
    hunt: Hunt, find_id: str = "1", *, at_m: float = 0.0, looks: tuple[str, ...] = ()
) -> FoundColony:
    find = {"id": find_id, "position": off(at_m, 70), "found": date(2026, 7, 20)}
    return FoundColony(
        hunt=hunt.file.hunt.name,
        folder=hunt.path,
        find=FindTable.model_validate(
            find | {"position": format_position(off(at_m, 70))}
        ),
        looks=tuple(
            LookTable.model_validate({"find": find_id, "seen": day, "state": "alive"})
            for day in looks
        ),
    )


def test_a_find_of_a_merged_hunt_counts_where_there_are_more_notes(
    tmp_path: Path,
) -> None:
    part = typed(tmp_path / "part", 0, 5, 10)
    whole = typed(tmp_path / "whole", 0, 5, 10, 15, 20)
    alone = typed(tmp_path / "alone", 30, 35)
    names = {h.path: h.file.hunt.name for h in (part, whole, alone)}
    colonies = [
        found(part, "7", looks=("2027-05-01", "2026-09-01")),
        found(alone),
        found(whole, "2", at_m=25, looks=("2026-12-01",)),
    ]
    once, told = counted_once(colonies, names)
    assert [(one.hunt, one.find.id) for one in once] == [("alone", "1"), ("whole", "2")]
    own, kept = once
    assert kept.name == "whole 2"
    assert kept.parts == (part.path,)
    assert [(k.find, k.seen.isoformat()) for k in kept.looks] == [
        ("2", "2026-09-01"),
        ("2", "2026-12-01"),
        ("2", "2027-05-01"),
    ]
    assert (kept.shared_with, own.shared_with) == (("part",), ())
    (line,) = told
    assert line.startswith(f"{part.path}: its find 7 is find 2 of {whole.path}, ")


def test_two_finds_of_one_hunt_or_two_trees_are_two(tmp_path: Path) -> None:
    one, other = typed(tmp_path / "one", 0, 5), typed(tmp_path / "other", 0, 5)
    names = {h.path: h.file.hunt.name for h in (one, other)}
    for colonies in (
        [found(one, "1"), found(one, "2")],
        [found(one), found(other, at_m=35)],
    ):
        once, told = counted_once(colonies, names)
        assert len(once) == 2
        assert told == []
    # A copy of a hunt with two finds of one tree holds both, each once.
    once, told = counted_once(
        [found(one, "1"), found(one, "2"), found(other, "1"), found(other, "2")], names
    )
    assert [(c.hunt, c.find.id) for c in once] == [("one", "1"), ("one", "2")]
    assert len(told) == 2
    assert {c.parts for c in once} == {(other.path,)}


def test_a_hunt_without_a_find_shares_its_notes_all_the_same(tmp_path: Path) -> None:
    one, copy = typed(tmp_path / "one", 0, 5), typed(tmp_path / "copy", 0, 5)
    names = {h.path: h.file.hunt.name for h in (one, copy)}
    ((only,), told) = counted_once([found(one)], names)
    assert only.shared_with == ("copy",)
    assert told == []
    assert counted_once([], names) == ([], [])
    alone = [found(one)]
    assert counted_once(alone, {one.path: "one"}) == (alone, [])


def test_looks_that_both_kept_are_kept_once(tmp_path: Path) -> None:
    one, copy = typed(tmp_path / "one", 0, 5, 9), typed(tmp_path / "copy", 0, 5)
    names = {h.path: h.file.hunt.name for h in (one, copy)}
    look = ("2026-09-01",)
    ((only,), _) = counted_once(
        [found(one, looks=look), found(copy, looks=look)], names
    )
    assert len(only.looks) == 1
