"""A folder of own hunts: what it keeps and teaches, and what a hunt makes of it."""

from __future__ import annotations

import json
import shutil
import tomllib
from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward import survey
from treeward.cli import main
from treeward.errors import HuntError
from treeward.hunt.finds import FindTable, add_find
from treeward.hunt.found_told import _core
from treeward.hunt.hunt import Hunt
from treeward.hunt.merging import merge_hunts
from treeward.hunt.season import (
    add_known_hives,
    found_colonies,
    gather_season,
    hunt_folders,
    keep_season,
    occupancy,
)
from treeward.hunt_file import LessonTable, OffsetTable, SeasonFile, write_season
from treeward.survey.own_prior import plain_compass_sd_deg

if TYPE_CHECKING:
    from pathlib import Path

PLACE = "52.296598, -3.614945"  # where the typed hunt points


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


@pytest.fixture
def season_dir(typed_hunt: Path, tmp_path: Path) -> Path:
    """Give three hunts of one person on three days, two of them with a find."""
    folder = tmp_path / "season"
    for number, place in enumerate((PLACE, "52.297300, -3.614200", ""), start=1):
        hunt = folder / f"hunt{number}"
        shutil.copytree(typed_hunt, hunt)
        toml = (hunt / "hunt.toml").read_text("utf-8")
        (hunt / "hunt.toml").write_text(
            toml.replace("Marl Hollow", f"Hollow {number}"), "utf-8"
        )
        rows = (hunt / "review.csv").read_text("utf-8")
        day = rows.replace("2026-07-14", f"2026-07-1{3 + number}")
        (hunt / "review.csv").write_text(day, "utf-8")
        if place:
            find = {"id": "1", "position": place, "found": "2026-07-20"}
            add_find(Hunt(hunt), FindTable.model_validate(find))
    return folder


def lesson(hunt: str = "elsewhere", *, offset_deg: float = 6.0) -> LessonTable:
    """Return a lesson of slow bees that stay long, read by a compass that is off."""
    precision = 400.0
    return LessonTable(
        hunt=hunt,
        latitude_deg=52.3,
        longitude_deg=-3.6,
        cargos=("water",),
        trips=40,
        bearings=20,
        precision=((precision, 0.0), (0.0, precision)),
        weighted=(precision * np.log(0.85), precision * np.log(1.4)),
        offsets=(OffsetTable(precision=1.0, weighted=offset_deg),),
    )


def with_season(hunt: Path, *lessons: LessonTable, more: str = "") -> Hunt:
    write_season(hunt.parent / "season.json", SeasonFile(lessons=lessons))
    toml = (hunt / "hunt.toml").read_text("utf-8")
    line = 'learned_from = "../season.json"\n'
    (hunt / "hunt.toml").write_text(line + toml + more, "utf-8")
    return Hunt(hunt)


@pytest.mark.slow
def test_a_season_says_what_held_and_keeps_no_place(season_dir: Path) -> None:
    season = gather_season(season_dir)
    path = keep_season(season_dir, season)

    assert season.held(90, own=False) == (2, 2)
    assert season.held(90, own=True)[1] == 2
    assert season.unfound == ("Hollow 3",)
    assert season.left_out == ()
    kept = json.loads(path.read_text("utf-8"))
    assert [one["hunt"] for one in kept["lessons"]] == ["Hollow 1", "Hollow 2"]
    assert {one["latitude_deg"] for one in kept["lessons"]} == {52.3}
    assert "52.29" not in path.read_text("utf-8")


@pytest.fixture
def merged_season(typed_hunt: Path, tmp_path: Path) -> Path:
    """Give a merged hunt, its two parts, and one of another day, all with a find."""
    folder = tmp_path / "merged"
    for name, mark in (("ann", "green"), ("ben", "red"), ("else", "pink")):
        shutil.copytree(typed_hunt, folder / name)
        toml = folder / name / "hunt.toml"
        toml.write_text(toml.read_text("utf-8").replace("Marl Hollow", name), "utf-8")
        review = folder / name / "review.csv"
        rows = review.read_text("utf-8").replace("yellow", mark)
        if name == "else":
            rows = rows.replace("2026-07-14", "2026-08-14")
        review.write_text(rows, "utf-8")
        find = {"id": "1", "position": PLACE, "found": "2026-09-20"}
        add_find(Hunt(folder / name), FindTable.model_validate(find))
    merge_hunts(folder / "ann", folder / "ben", folder / "both", names=("Ann", "Ben"))
    return folder


@pytest.mark.slow
def test_a_find_of_a_merged_hunt_and_of_its_parts_counts_once(
    merged_season: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    look = '\n[[look]]\nfind = "1"\nseen = 2026-10-20\nstate = "dead"\n'
    found = merged_season / "ann" / "found.toml"
    found.write_text(found.read_text("utf-8") + look, "utf-8")

    season = gather_season(merged_season)
    _, out, _ = run(capsys, "season", str(merged_season), "--list")

    assert [one.name for one in season.colonies] == ["ann and ben 1", "else 1"]
    assert season.held(90, own=False)[1] == 2
    assert [one.hunt for one in season.file.lessons] == ["ann and ben", "else"]
    # What its own notes taught is no prior to a hunt, in whichever folder they lie.
    for name, left in (("ann", ["else"]), ("else", ["ann and ben"])):
        assert [one.hunt for one in season.file.without(name).lessons] == left
    assert [look.state for look in season.colonies[0].looks] == ["dead"]
    assert len(season.left_out) == 2
    for name in ("ann", "ben"):
        line = f"{merged_season / name}: its find 1 is find 1 of {merged_season}/both"
        assert line in out
    assert add_known_hives(Hunt(merged_season / "ann"), season.colonies, 6e3) == (
        "else 1",
    )


@pytest.mark.slow
def test_two_hunts_with_notes_of_their_own_that_found_one_colony_both_count(
    merged_season: Path,
) -> None:
    shutil.rmtree(merged_season / "both")

    season = gather_season(merged_season)

    assert season.held(90, own=False)[1] == 3
    assert season.left_out == ()


def test_a_hunt_with_a_fault_is_left_out_in_a_line(season_dir: Path) -> None:
    (season_dir / "hunt2" / "review.csv").write_text("clock,event\nx,back\n", "utf-8")
    (season_dir / "hunt3" / "hunt.toml").write_text("[hunt", "utf-8")

    season = gather_season(season_dir)

    assert len(season.judged) == 1
    assert len(season.left_out) == 2
    for hunt, line in zip(("hunt3", "hunt2"), season.left_out, strict=True):
        assert str(season_dir / hunt) in line
    assert all("\n" not in line for line in season.left_out)


@pytest.mark.slow
def test_a_find_farther_than_bees_fly_teaches_nothing(season_dir: Path) -> None:
    found = season_dir / "hunt1" / "found.toml"
    text = found.read_text("utf-8").replace("52.296598", "53.296598")
    found.write_text(text, "utf-8")

    season = gather_season(season_dir)

    assert [one.hunt for one in season.file.lessons] == ["Hollow 2"]
    assert "farther off than bees fly" in " ".join(season.left_out)
    assert len(season.colonies) == 2


def keep_again(hunt: Path, *places: str, **more: str) -> None:
    for place in places:
        find = {"id": "1", "position": place, "found": "2026-07-20", **more}
        add_find(Hunt(hunt), FindTable.model_validate(find), another=True)


@pytest.mark.slow
def test_a_colony_that_was_kept_often_counts_once(season_dir: Path) -> None:
    before = gather_season(season_dir)
    keep_again(season_dir / "hunt1", *[PLACE] * 4)

    season = gather_season(season_dir)

    assert len(season.colonies) == 6
    assert season.held(90, own=False) == before.held(90, own=False) == (2, 2)
    assert season.file == before.file
    assert len(season.left_out) == 4
    assert all("as find 1, and a colony counts once" in x for x in season.left_out)


@pytest.mark.slow
def test_of_several_finds_the_one_that_names_the_colony_counts(
    season_dir: Path,
) -> None:
    keep_again(season_dir / "hunt1", "52.297300, -3.614200", colony="A")

    season = gather_season(season_dir)

    assert [one.colony.find.id for one in season.judged] == ["2", "1"]
    assert [one.find for one in season.file.lessons] == ["2", "1"]


@pytest.mark.slow
def test_a_find_outside_the_area_teaches_nothing_unless_told(
    season_dir: Path,
) -> None:
    found = season_dir / "hunt1" / "found.toml"
    text = found.read_text("utf-8").replace("52.296598", "52.320000")
    found.write_text(text, "utf-8")

    season = gather_season(season_dir)
    assert [one.hunt for one in season.file.lessons] == ["Hollow 2"]
    assert season.held(90, own=False) == (1, 2)  # it is not hidden
    assert "may be of another colony" in " ".join(season.left_out)

    found.write_text(text + 'colony = "A"\n', "utf-8")
    told = gather_season(season_dir)
    assert [one.hunt for one in told.file.lessons] == ["Hollow 1", "Hollow 2"]
    assert told.left_out == ()


@pytest.mark.slow
def test_one_line_in_hunt_toml_takes_the_lessons_and_a_switch_leaves_them(
    typed_hunt: Path,
) -> None:
    plain = Hunt(typed_hunt).locate()
    hunt = with_season(typed_hunt, *(lesson(f"hunt {n}") for n in range(4)))

    learned = hunt.locate()
    switched = Hunt(typed_hunt, plain=True).locate()

    assert switched.settings == plain.settings
    assert switched.own_prior is None
    assert learned.settings.learned is not None
    assert np.exp(learned.settings.learned.ln_f) < 0.95
    assert np.exp(learned.settings.learned.ln_g) > 1.2
    assert learned.settings.compass_sd_deg < plain.settings.compass_sd_deg
    assert learned.own_prior is not None
    ((_, turned_deg),) = learned.own_prior.turned_deg
    assert turned_deg == pytest.approx(6.0, abs=1.5)
    # Slow bees that stay long live nearer.
    near, far = (
        result.fix.colonies[0].distance_m["1"][1]  # type: ignore[union-attr]
        for result in (learned, plain)
    )
    assert near < far


@pytest.mark.slow
def test_what_lessons_did_is_said_and_the_switch_is_one_of_the_command(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with_season(typed_hunt, *(lesson(f"hunt {n}") for n in range(4)))

    code, out, _ = run(capsys, "locate", "--hunt", str(typed_hunt))
    assert code == 0
    assert "as 4 finds of your own taught (../season.json)" in out
    code, out, _ = run(capsys, "locate", "--hunt", str(typed_hunt), "--plain")
    assert "of your own" not in out


@pytest.mark.slow
def test_what_the_person_says_stands_before_what_was_learned(typed_hunt: Path) -> None:
    more = "\n[model]\nin_hive_s = [90, 240]\ncompass_sd_deg = 5\n"
    more += "flight_speed_out_m_per_s = [6.0, 8.5]\n"
    lessons = [lesson(f"hunt {n}") for n in range(4)]

    learned = with_season(typed_hunt, *lessons, more=more).locate()

    plain = Hunt(typed_hunt, plain=True).locate()
    assert learned.settings.compass_sd_deg == 5
    assert learned.own_prior is not None
    assert learned.own_prior.turned_deg == ()
    assert learned.fix is not None
    assert plain.fix is not None
    one, other = learned.fix.colonies[0], plain.fix.colonies[0]
    assert one.distance_m == other.distance_m


def test_a_hunt_is_not_its_own_prior(typed_hunt: Path) -> None:
    plain = Hunt(typed_hunt).locate().settings

    assert with_season(typed_hunt, lesson("Marl Hollow")).locate().settings == plain


@pytest.mark.parametrize(
    ("text", "part"),
    [
        (None, "no such file"),
        ("{", "no season"),
        ('{"format": "other 1"}', "format"),
        ('{"lessons": [{"hunt": "x"}]}', "lessons.0"),
        ("[" * 100_000, "no season"),
    ],
)
def test_a_faulty_season_is_one_line(
    typed_hunt: Path,
    capsys: pytest.CaptureFixture[str],
    text: str | None,
    part: str,
) -> None:
    with_season(typed_hunt)
    path = typed_hunt.parent / "season.json"
    path.unlink()
    if text is not None:
        path.write_text(text, "utf-8")

    code, _, err = run(capsys, "locate", "--hunt", str(typed_hunt))

    assert code == 1
    assert err.count("\n") == 1
    assert part in err


def test_the_list_tells_the_year_of_each_colony(
    season_dir: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for day, state in (("2026-09-30", "alive"), ("2026-10-20", "dead")):
        run(
            capsys, "found", "--hunt", str(season_dir / "hunt1"),
            "--again", "1", "--state", state, "--date", day,
        )  # fmt: skip
    page = season_dir / "list.html"

    colonies, _, _ = found_colonies(season_dir)
    first, second = occupancy(colonies, 2026)
    later = occupancy(colonies, 2027)[0]
    code, out, _ = run(
        capsys, "season", str(season_dir), "--print", str(page), "--rounded"
    )

    assert (first.state, first.seen.isoformat()) == ("dead", "2026-10-20")
    assert second.state_text == "found 2026-07-20"
    assert later.state_text == "not looked at this year; last dead 2026-10-20"
    text = page.read_text("utf-8")
    assert code == 0
    assert "2 colonies" in out
    assert "2026-09-30 alive, 2026-10-20 dead" in text
    assert "52.2965" not in text
    assert not (season_dir / "season.json").exists()


def test_a_list_to_print_is_not_written_under_another_kind_of_name(
    season_dir: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = season_dir / "list.pdf"

    code, _, err = run(capsys, "season", str(season_dir), "--print", str(page))

    assert code == 1
    assert "Call it list.html." in err
    assert not page.exists()


def test_known_hives_of_a_new_hunt_are_the_living_near_it(season_dir: Path) -> None:
    dead = '\n[[look]]\nfind = "1"\nseen = 2026-10-20\nstate = "dead"\n'
    first = season_dir / "hunt1" / "found.toml"
    hunt = Hunt(season_dir / "hunt3")
    toml = hunt.path / "hunt.toml"
    before = toml.read_text("utf-8")
    colonies, _, _ = found_colonies(season_dir)

    assert add_known_hives(hunt, colonies, 10.0) == ()
    assert toml.read_text("utf-8") == before
    assert add_known_hives(hunt, colonies, 6000.0) == ("Hollow 1 1", "Hollow 2 1")
    assert add_known_hives(Hunt(hunt.path), colonies, 6000.0) == ()
    assert toml.read_text("utf-8").startswith(before)
    names = [
        hive["name"] for hive in tomllib.loads(toml.read_text("utf-8"))["known_hive"]
    ]
    assert names == ["Hollow 1 1", "Hollow 2 1"]
    first.write_text(first.read_text("utf-8") + dead, "utf-8")
    toml.write_text(before, "utf-8")
    colonies, _, _ = found_colonies(season_dir)
    assert add_known_hives(Hunt(hunt.path), colonies, 6000.0) == ("Hollow 2 1",)
    own = Hunt(season_dir / "hunt2")
    assert add_known_hives(own, colonies, 6000.0) == ()


def test_known_hives_are_not_added_where_toml_takes_no_more(season_dir: Path) -> None:
    hunt = Hunt(season_dir / "hunt3")
    toml = hunt.path / "hunt.toml"
    text = "known_hive = []\n" + toml.read_text("utf-8")
    toml.write_text(text, "utf-8")
    colonies, _, _ = found_colonies(season_dir)

    with pytest.raises(HuntError, match="cannot be added"):
        add_known_hives(hunt, colonies, 6000.0)

    assert toml.read_text("utf-8") == text


def test_the_command_writes_its_json(
    season_dir: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "season", str(season_dir), "--json")

    whole = json.loads(out)
    assert code == 0
    assert whole["held"]["plain"]["90"] == {"inside": 2, "of": 2}
    assert [one["name"] for one in whole["colonies"]] == ["Hollow 1 1", "Hollow 2 1"]
    assert whole["learned"]["compass"][0]["hunts"] == 2
    assert (season_dir / "season.json").exists()


@pytest.mark.parametrize("name", ["nowhere", "empty"])
def test_a_folder_without_hunts_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    (tmp_path / "empty").mkdir()

    code, _, err = run(capsys, "season", str(tmp_path / name))

    assert code == 1
    assert err.count("\n") == 1


@pytest.mark.parametrize("compass_sd_deg", [2.0, 5.0])
def test_a_learned_compass_is_told_without_its_tail(compass_sd_deg: float) -> None:
    settings = survey.Settings(compass_sd_deg=compass_sd_deg)
    with_tail = plain_compass_sd_deg(settings)

    assert with_tail > compass_sd_deg
    assert _core(with_tail, settings) == pytest.approx(compass_sd_deg)
    assert _core(3 * with_tail, settings) == pytest.approx(3 * compass_sd_deg)


def test_hunts_are_looked_for_two_folders_down(tmp_path: Path) -> None:
    for name in ("a", "2026/b", "2026/may/c", "1/2/3/4", ".hidden", "a/within"):
        (tmp_path / name).mkdir(parents=True, exist_ok=True)
        (tmp_path / name / "hunt.toml").write_text("", "utf-8")
    (tmp_path / "link").symlink_to(tmp_path / "2026/b", target_is_directory=True)
    (tmp_path / "2026/readme.txt").write_text("no folder", "utf-8")

    found = [path.relative_to(tmp_path).as_posix() for path in hunt_folders(tmp_path)]

    assert found == ["2026/b", "a"]
