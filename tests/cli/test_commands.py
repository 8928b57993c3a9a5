"""The program: every command has help, errors are one line, results go to stdout."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from typing import TYPE_CHECKING

import click
import pytest

from cli.in_this_process import here
from treeward.cli import COMMANDS, CommandTable, group

if TYPE_CHECKING:
    from pathlib import Path


def treeward(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run the program as a person does, in a process of its own."""
    environment = {**os.environ, "PYTHONIOENCODING": "utf-8", "TERM": "dumb"}
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "treeward", *arguments],
        capture_output=True,
        cwd=cwd,
        env=environment,
        encoding="utf-8",
        check=False,
        timeout=300,
    )


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_has_help_and_is_listed(name: str) -> None:
    assert isinstance(group, CommandTable)
    context = click.Context(group)
    command = group.get_command(context, name)

    assert command is not None
    assert command.name == name
    assert command.help
    text = command.get_help(click.Context(command, info_name=name))
    assert "Usage:" in text
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"{name} {parameter.opts} has no help"


@pytest.mark.parametrize("name", ["models", "phrases", "trips"])
def test_a_hunt_that_is_named_must_be_there(tmp_path: Path, name: str) -> None:
    run = here(name, "--hunt", "nowhere", cwd=tmp_path)

    assert run.returncode == 1
    assert run.stdout == ""
    assert run.stderr.count("\n") == 1
    assert "nowhere" in run.stderr
    assert "there is no hunt.toml here" in run.stderr


def test_phrases_keeps_what_is_said_apart_from_what_it_means(tmp_path: Path) -> None:
    listed = here("phrases", cwd=tmp_path).stdout
    asked = here("phrases", "--json", cwd=tmp_path).stdout

    for section in json.loads(asked)["sections"]:
        for saying in section["sayings"]:
            line = rf"^  {re.escape(saying['say'])} {{2,}}{re.escape(saying['means'])}$"
            assert re.search(line, listed, re.MULTILINE), saying["say"]


def test_trips_prints_a_table(typed_hunt: Path) -> None:
    run = treeward("trips", cwd=typed_hunt)

    assert run.returncode == 0, run.stderr
    assert "6 trips of 2 bees, 6 of them used; 3 of 3 bearings used" in run.stdout
    assert "5:10" in run.stdout
    assert run.stderr == ""


def test_trips_shows_bearings_as_read_and_true_beside(typed_hunt: Path) -> None:
    # At Seattle the needle points some 15 degrees east of true north (NOAA's charts
    # for 2025; from memory).
    path = typed_hunt / "hunt.toml"
    toml = path.read_text("utf-8").replace("52.301200, -3.610400", "47.60, -122.33")
    path.write_text(toml, "utf-8")

    run = here("trips", cwd=typed_hunt)

    found = re.search(r"211° \((\d{3})° true\)", run.stdout)
    assert found, run.stdout
    assert 14 <= int(found[1]) - 211 <= 16


def test_trips_shows_bearings_read_against_true_north_once(typed_hunt: Path) -> None:
    path = typed_hunt / "hunt.toml"
    path.write_text(
        path.read_text("utf-8").replace("[hunt]", '[hunt]\ncompass = "true"', 1),
        "utf-8",
    )

    run = here("trips", cwd=typed_hunt)

    assert "211°" in run.stdout
    assert " true)" not in run.stdout


def test_trips_of_a_station_without_a_place_shows_what_was_read(
    typed_hunt: Path,
) -> None:
    path = typed_hunt / "hunt.toml"
    kept = [x for x in path.read_text("utf-8").splitlines() if "position" not in x]
    path.write_text("\n".join(kept), "utf-8")

    run = here("trips", cwd=typed_hunt)

    assert run.returncode == 0, run.stderr
    assert "211°" in run.stdout
    assert " true)" not in run.stdout


def test_trips_as_json_has_the_fixed_keys(typed_hunt: Path) -> None:
    run = here("trips", "--json", cwd=typed_hunt)

    trips = json.loads(run.stdout)["trips"]
    assert {
        "mark", "station", "away_clock", "back_clock", "away_s", "cycles", "used",
        "doubts",
    } <= set(trips[0])  # fmt: skip


def test_locate_ends_with_the_place_and_the_files(typed_hunt: Path) -> None:
    run = treeward("locate", cwd=typed_hunt)

    assert run.returncode == 0, run.stderr
    assert "Best place: 52." in run.stdout
    assert "90 % search area" in run.stdout
    assert "Sit next" in run.stdout
    for name in (
        "result.json", "trips.csv", "bees.csv", "report.html", "map.geojson",
        "map.kml", "stations.gpx", "map.png",
    ):  # fmt: skip
        assert (typed_hunt / "results" / name).stat().st_size > 0


@pytest.mark.slow
def test_locate_as_json_is_the_result(typed_hunt: Path) -> None:
    run = treeward("locate", "--json", cwd=typed_hunt)

    data = json.loads(run.stdout)
    kept = json.loads((typed_hunt / "results" / "result.json").read_text("utf-8"))
    assert data["colonies"] == kept["colonies"]
    assert data["next_station"]["from_station"] in {"1", "2"}


@pytest.mark.slow
def test_imperial_units_are_shown_alone(typed_hunt: Path) -> None:
    toml = (typed_hunt / "hunt.toml").read_text("utf-8")
    imperial = toml.replace("[hunt]\n", '[hunt]\nunits = "imperial"\n', 1)
    (typed_hunt / "hunt.toml").write_text(imperial, "utf-8")

    run = treeward("locate", cwd=typed_hunt)

    answer = run.stdout.split("Best place")[0]
    assert "acres" in answer
    assert " m " not in answer
    assert " ha" not in answer


def _named_paths() -> list[tuple[str, str]]:
    """Return each command with each option and argument that takes one kind of path."""
    found = []
    for name in COMMANDS:
        command = group.get_command(click.Context(group), name)
        assert command is not None
        for parameter in command.params:
            kind = parameter.type
            if isinstance(kind, click.Path) and kind.file_okay != kind.dir_okay:
                option = isinstance(parameter, click.Option)
                found.append((name, parameter.opts[0] if option else ""))
    return sorted(set(found))


@pytest.mark.parametrize(("name", "option"), _named_paths())
def test_a_file_where_a_folder_is_wanted_is_one_line(
    tmp_path: Path, name: str, option: str
) -> None:
    (tmp_path / "a-file").write_text("x", "utf-8")
    (tmp_path / "a-folder").mkdir()
    wants_folder = option in {"", "--hunt", "--into", "--known-hives"}
    given = "a-file" if wants_folder else "a-folder"
    needed = {"simulate": ["new-hunt"], "merge": ["a-folder", "b"]}.get(name, [])
    asked = [option, given, *needed] if option else [given, given]

    run = here(name, *asked, cwd=tmp_path)

    assert run.returncode == 1
    assert run.stdout == ""
    assert run.stderr.count("\n") == 1
    is_a, wanted = ("file", "folder") if wants_folder else ("folder", "file")
    assert run.stderr.startswith(f"treeward: {given}: is a {is_a}, and ")
    assert run.stderr.endswith(f"{option or 'A'} wants a {wanted}. Name a {wanted}.\n")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("trips",), "there is no hunt.toml here"),
        (("locate",), "treeward new"),
        (("transcribe",), "there is no hunt.toml here"),
        (("trips", "--hunt", "nowhere"), "nowhere"),
    ],
)
def test_outside_a_hunt_one_line_says_how_to_start(
    tmp_path: Path, arguments: tuple[str, ...], said: str
) -> None:
    run = here(*arguments, cwd=tmp_path)

    assert run.returncode == 1
    assert said in run.stderr
    assert run.stderr.count("\n") == 1
    assert run.stdout == ""


def test_a_usage_error_is_status_two(tmp_path: Path) -> None:
    assert treeward("locat", cwd=tmp_path).returncode == 2
    assert "Did you mean 'locate'?" in here("locat", cwd=tmp_path).stderr
    assert here("trips", "--nonsense", cwd=tmp_path).returncode == 2


@pytest.mark.parametrize("aloud", [(), ("--json",)])
def test_practice_without_standard_input_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, aloud: tuple[str, ...]
) -> None:
    monkeypatch.setattr(sys, "stdin", None)  # as Python has it after <&-

    run = here("practice", "--input", "-", *aloud, cwd=tmp_path)

    assert run.returncode == 1
    assert run.stdout == ""
    assert run.stderr.startswith("treeward: standard input: is closed. Feed it sound: ")
    assert run.stderr.endswith("| treeward practice --input -\n")
    assert run.stderr.count("\n") == 1


@pytest.mark.slow
def test_review_without_standard_input_prints_the_rows(
    typed_hunt: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = ("review", "--all")
    before = here(*asked, cwd=typed_hunt)
    monkeypatch.setattr(sys, "stdin", None)

    run = here(*asked, cwd=typed_hunt)

    assert run.returncode == before.returncode == 0
    assert "yellow" in run.stdout
    assert run.stdout == before.stdout


def test_each_fault_of_review_csv_is_a_line(typed_hunt: Path) -> None:
    (typed_hunt / "review.csv").write_text(
        "clock,event,mark,value\n"
        "2026-07-14 10:00:00,flew,yellow,\n"
        "2026-07-14 99:00:00,away,yellow,\n",
        "utf-8",
    )

    run = here("trips", cwd=typed_hunt)

    assert run.returncode == 1
    lines = run.stderr.splitlines()
    assert len(lines) == 2
    assert "flew" in lines[0]
    assert "99:00" in lines[1]
    assert all("review.csv" in line for line in lines)


def test_new_explains_the_next_steps(tmp_path: Path) -> None:
    run = treeward("new", "fern-bank", "--timezone", "Europe/London", cwd=tmp_path)

    assert run.returncode == 0, run.stderr
    assert (tmp_path / "fern-bank" / "hunt.toml").is_file()
    assert "treeward transcribe" in run.stdout
    again = here("new", "fern-bank", "--timezone", "Europe/London", cwd=tmp_path)
    assert again.returncode == 1
    wrong = here("new", "x", "--timezone", "Nowhere/Here", cwd=tmp_path)
    assert wrong.returncode == 1
    assert "IANA" in wrong.stderr


def test_transcribe_names_a_missing_file(typed_hunt: Path) -> None:
    run = here("transcribe", "gone.wav", cwd=typed_hunt)

    assert run.returncode == 1
    assert "gone.wav: there is no such file" in run.stderr


def test_transcribe_refuses_a_start_that_is_no_time(typed_hunt: Path) -> None:
    (typed_hunt / "memo.txt").write_text("[0:01] yellow away\n", "utf-8")

    run = here("transcribe", "memo.txt", "--start", "soon", cwd=typed_hunt)

    assert run.returncode == 1
    assert "soon" in run.stderr
    assert run.stderr.count("\n") == 1


def test_a_transcript_with_a_start_fills_the_review(typed_hunt: Path) -> None:
    (typed_hunt / "review.csv").unlink()
    (typed_hunt / "memo.txt").write_text(
        "[0:01] yellow away\n[5:11] yellow back\n", "utf-8"
    )

    run = treeward(
        "transcribe", "memo.txt", "--start", "2026-07-14 10:00", cwd=typed_hunt
    )

    assert run.returncode == 0, run.stderr
    text = (typed_hunt / "review.csv").read_text("utf-8")
    assert "2026-07-14T10:00:01+01:00,away,yellow" in text
    assert here("trips", cwd=typed_hunt).returncode == 0


def test_the_version_is_the_packages_own(tmp_path: Path) -> None:
    from treeward import __version__

    assert __version__ in treeward("--version", cwd=tmp_path).stdout
