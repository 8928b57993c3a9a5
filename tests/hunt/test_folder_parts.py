"""The hunt folder: values as TOML has them, and one command at a time."""

from __future__ import annotations

import json
import re
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, Any

import pytest

from hunt.found_world import HERE, find, hunt_of
from treeward.errors import HuntError
from treeward.hunt import folder
from treeward.hunt.finds import add_find
from treeward.hunt.folder import HuntFolder, only_one, quoted, toml_value

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("a b", '"a b"'),
        ("ä\t\x1fb\x7f", '"äb"'),  # what cannot be shown is left out
        ('s "k"', '"s \\"k\\""'),
        (True, "true"),  # and is no number
        (False, "false"),
        (3, "3"),
        (3.0, "3"),
        (30.05, "30.05"),
        (date(2026, 7, 4), "2026-07-04"),
        (HERE, '"52.300000, -3.600000"'),
        (["a", 1.0], '["a", 1]'),
        ((), "[]"),
    ],
)
def test_values_are_written_as_toml_has_them(value: object, text: str) -> None:
    assert toml_value(value) == text


def test_what_toml_cannot_hold_is_a_fault() -> None:
    with pytest.raises(TypeError, match="None has no place in TOML"):
        toml_value(None)
    assert quoted("") == '""'


def test_a_hunt_is_started_in_folders_that_are_there_or_not(tmp_path: Path) -> None:
    deep = tmp_path / "a" / "b"
    assert HuntFolder.create(deep, name="x", timezone="Europe/London").path == deep
    begun = tmp_path / "begun"
    (begun / "recordings").mkdir(parents=True)
    HuntFolder.create(begun, name='a "b"', timezone="Europe/London")
    assert HuntFolder(begun).file.hunt.name == 'a "b"'
    taken = tmp_path / "taken"
    taken.write_text("mine", "utf-8")
    with pytest.raises(HuntError, match="is a file") as told:
        HuntFolder.create(taken, name="x", timezone="Europe/London")
    assert told.value.where == str(taken)
    with pytest.raises(HuntError):
        HuntFolder.create(tmp_path / "none", name="x", timezone="Nowhere/At_All")
    assert not (tmp_path / "none").exists()


def test_only_a_hunt_that_is_asked_to_be_plain_heeds_no_season(tmp_path: Path) -> None:
    hunt_of(tmp_path)
    text = (tmp_path / "hunt.toml").read_text("utf-8")
    (tmp_path / "hunt.toml").write_text(f'learned_from = "gone.json"\n{text}', "utf-8")
    with pytest.raises(HuntError, match="no such file"):
        _ = HuntFolder(tmp_path).file
    assert HuntFolder(tmp_path, plain=True).file.season is None


def test_positions_are_those_that_hunt_toml_states(tmp_path: Path) -> None:
    hunt = hunt_of(tmp_path)
    text = (tmp_path / "hunt.toml").read_text("utf-8")
    more = '[[station]]\nid = "2"\nposition = "52.3, -3.6"\n'
    (tmp_path / "hunt.toml").write_text(text + more, "utf-8")
    assert hunt.positions() == {"2": (HERE, "hunt.toml")}
    kept = hunt.heard_file("a.wav").path
    assert kept == tmp_path / ".treeward" / "heard" / "a.wav.jsonl"


def test_a_second_command_is_told_of_the_first_and_not_after_it(tmp_path: Path) -> None:
    hunt, other = hunt_of(tmp_path), HuntFolder(tmp_path)
    with hunt.locked("found"):
        with pytest.raises(HuntError) as told, other.locked():
            pass
        assert re.search(r"\(treeward found, since \d\d:\d\d:\d\d\)", told.value.what)
        assert told.value.where == str(tmp_path)
    assert not (hunt.machine_dir / "at_work.json").exists()
    with pytest.raises(ZeroDivisionError), other.locked("told"):
        raise ZeroDivisionError
    with other.locked():  # it was let go of
        pass


def test_a_find_waits_and_another_command_does_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    waits: list[tuple[float, str]] = []

    @contextmanager
    def one(_lock: Path, _owner: Path, said: str, **more: Any) -> Iterator[None]:
        waits.append((more["wait_s"], json.loads(said)["command"]))
        assert more["within"] == tmp_path
        yield

    monkeypatch.setattr(folder, "only_one", one)
    hunt = hunt_of(tmp_path)
    with hunt.locked():
        pass
    add_find(hunt, find("1", HERE))
    assert waits == [(0.0, "command"), (5.0, "found")]


def busy() -> HuntError:
    return HuntError("busy")


def test_who_is_at_work_stands_beside_the_lock_meanwhile(tmp_path: Path) -> None:
    lock, owner = tmp_path / "in" / "lock", tmp_path / "in" / "owner"
    with only_one(lock, owner, "it is me", busy=busy, within=tmp_path):
        assert owner.read_text("utf-8") == "it is me"
        with (
            pytest.raises(HuntError, match="busy"),
            only_one(lock, owner, "and me", busy=busy, within=tmp_path),
        ):
            pass
        assert owner.read_text("utf-8") == "it is me"
    assert not owner.exists()
    owner.mkdir()  # where nothing can be written the work goes on
    for _ in range(2):
        with only_one(lock, owner, "it is me", busy=busy, within=tmp_path):
            pass


def test_nothing_is_locked_through_a_link(tmp_path: Path) -> None:
    hunt, elsewhere = tmp_path / "hunt", tmp_path / "elsewhere"
    hunt.mkdir()
    elsewhere.mkdir()
    (hunt / ".treeward").mkdir()
    (hunt / ".treeward" / "heard").symlink_to(elsewhere)
    lock, owner = hunt / ".treeward" / "lock", hunt / ".treeward" / "owner"
    with (
        pytest.raises(HuntError, match="link"),
        only_one(lock, owner, "me", busy=busy, within=hunt),
    ):
        pass
    assert not lock.exists()


SINCE = '{"command": "found", "since_s": 0}'


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (SINCE, True),
        (SINCE.ljust(10_000), True),
        (SINCE.ljust(10_001), False),  # no such file of ours is so long
        ("{}", False),
        ("[]", False),
        ("no json", False),
        ('{"command": "found"}', False),
        ('{"command": "found", "since_s": "now"}', False),
        ('{"command": "found", "since_s": 1e300}', False),
        ('{"command": "found", "since_s": NaN}', False),
    ],
)
def test_who_is_at_work_is_told_as_far_as_it_is_known(
    tmp_path: Path, said: str, *, told: bool
) -> None:
    hunt = hunt_of(tmp_path)
    lock, other = hunt.machine_dir / "lock", tmp_path / "other"
    with only_one(lock, other, "", busy=busy, within=tmp_path):
        (hunt.machine_dir / "at_work.json").write_text(said, "utf-8")
        with (
            pytest.raises(HuntError, match="is at work on this hunt") as error,
            hunt.locked(),
        ):
            pass
    assert ("(treeward found, since " in error.value.what) is told
