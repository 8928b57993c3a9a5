"""hunt.toml: read, checked, and refused in one clear line."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.errors import HuntError
from treeward.hunt.folder import filled_template
from treeward.hunt_file import parse_hunt_table, read_hunt_file
from treeward.hunt_tables import DOUBT_BELOW

if TYPE_CHECKING:
    from pathlib import Path

HEAD = '[hunt]\nname = "Marl Hollow"\ntimezone = "Europe/London"\n'


def test_the_template_is_a_valid_hunt(tmp_path: Path) -> None:
    path = tmp_path / "hunt.toml"
    path.write_text(
        filled_template(name='Marl "H\\ollow', timezone="Europe/London"), "utf-8"
    )

    hunt = read_hunt_file(path)

    assert hunt.hunt.name == 'Marl "H\\ollow'
    assert [station.id for station in hunt.station] == ["1"]


def test_every_key_the_template_offers_is_taken() -> None:
    # What stands behind "# " and looks like a key or a table, uncommented.
    lines = []
    template = filled_template(name="x", timezone="Europe/London")
    for line in template.splitlines():
        bare = line.removeprefix("# ")
        if line.startswith("# ") and (" = " in bare or bare.startswith("[")):
            lines.append(bare)
        elif not line.startswith("#"):
            lines.append(line)

    hunt = parse_hunt_table(tomllib.loads("\n".join(lines)), where="template")

    assert hunt.calibration is not None
    assert hunt.known_hive[0].marks == ("pink",)
    assert hunt.colony[0].marks == ("yellow", "blue-white")
    assert hunt.model.in_hive_s == pytest.approx((90, 240))
    assert len(hunt.walk.leave_out[0]) == 3
    assert hunt.same_bee == ("yellow",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[hunt", "not valid TOML"),
        ('[hunt]\nname = "x"\n', "hunt.timezone is missing"),
        (
            HEAD.replace("London", "Londn"),
            "hunt.timezone: 'Europe/Londn' is no IANA time zone",
        ),
        (HEAD + "colour = 3\n", "hunt.colour is not a key that Treeward knows"),
        (HEAD + "[statoin]\n", "statoin is not a key"),
        (HEAD + 'units = "feet"\n', "hunt.units = 'feet' is not allowed"),
        (
            HEAD + '[[station]]\nid = "1"\nposition = "-3.61, 52.30"\n',
            "write the latitude first",
        ),
        (
            HEAD + '[[station]]\nid = "spring"\nposition = "152, 3"\n',
            r"station\[spring\].position: latitude 152",
        ),
        (HEAD + '[[station]]\nid = "1"\nposition = 52.3\n', "write it in quotes"),
        (HEAD + '[[station]]\nid = "1"\n' * 2, "station id '1' stands twice"),
        (
            HEAD + '[calibration]\nstation = "9"\nhive = "52.3, -3.6"\n',
            "calibration names station '9'",
        ),
        (HEAD + "[model]\nin_hive_s = [200, 100]\n", "must be low, then high"),
        (HEAD + "[model]\nin_hive_s = [90, 1e9]\n", "model.in_hive_s.* 7200"),
        (
            HEAD + "[model]\nflight_speed_out_m_per_s = [5, 1e9]\n",
            "model.flight_speed_out_m_per_s.* 30",
        ),
        (
            HEAD + "[model]\nprior_distance_max_m = 20000\n",
            "model.prior_distance_max_m = 20000.* 15000",
        ),
        (
            HEAD
            + '[[colony]]\nid = "A"\nmarks = ["red"]\n[[colony]]\nid = "B"\n'
            + 'marks = ["Red"]\n',
            "mark 'red' stands in two colonies",
        ),
        ("hunt = 3\n", "hunt = 3"),
    ],
)
def test_a_fault_is_one_line_with_file_key_and_mend(
    tmp_path: Path, text: str, said: str
) -> None:
    path = tmp_path / "hunt.toml"
    path.write_text(text, "utf-8")

    with pytest.raises(HuntError, match=said) as caught:
        read_hunt_file(path)

    line = caught.value.line()
    assert line.startswith(str(path))
    assert "\n" not in line
    assert caught.value.mend


def test_the_confidence_under_which_rows_are_flagged_is_the_parsers() -> None:
    def flag_below(more: str) -> float:
        return parse_hunt_table(
            tomllib.loads(HEAD + more), where="it"
        ).speech.flag_below

    assert flag_below("") == DOUBT_BELOW
    assert flag_below("[speech]\nflag_below = 0.75\n") == 0.75
    with pytest.raises(HuntError, match=r"speech\.flag_below = 50"):
        flag_below("[speech]\nflag_below = 50\n")


def test_a_missing_file_says_how_to_start(tmp_path: Path) -> None:
    with pytest.raises(HuntError, match="treeward new"):
        read_hunt_file(tmp_path / "hunt.toml")


def test_a_file_from_a_windows_editor_is_read(tmp_path: Path) -> None:
    path = tmp_path / "hunt.toml"
    path.write_bytes(b"\xef\xbb\xbf" + HEAD.replace("\n", "\r\n").encode())

    assert read_hunt_file(path).hunt.timezone == "Europe/London"


@given(st.binary(max_size=200))
def test_any_bytes_are_a_hunt_or_a_hunt_error(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.mktemp("hunt") / "hunt.toml"
    path.write_bytes(HEAD.encode() + data)

    try:
        hunt = read_hunt_file(path)
    except HuntError as error:
        line = error.line()
    else:
        line = hunt.hunt.name
    assert line
    assert "\n" not in line
