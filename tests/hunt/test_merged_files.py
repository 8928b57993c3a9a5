"""What a merged hunt's files hold, and what they are called."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from treeward.errors import HuntError
from treeward.hunt.finds import read_finds
from treeward.hunt.hunt import Hunt
from treeward.hunt.merging import MergedHunt, merge_hunts

if TYPE_CHECKING:
    from pathlib import Path

AWAY = "10:00:00,away,{},"


def hunt_of(
    folder: Path,
    *rows: str,
    compass: str = "magnetic",
    name: str = "",
    position: str = "52.3012, -3.6104",
) -> Path:
    folder.mkdir()
    (folder / "hunt.toml").write_text(
        f'[hunt]\nname = "{name or folder.name}"\ntimezone = "Europe/London"\n'
        f'compass = "{compass}"\n[[station]]\nid = "1"\nposition = "{position}"\n',
        "utf-8",
    )
    if rows:
        lines = ["clock,event,mark,value", *(f"2026-07-14T{row}" for row in rows)]
        (folder / "review.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return folder


def pair(tmp_path: Path) -> tuple[Path, Path]:
    return (
        hunt_of(tmp_path / "ann", AWAY.format("yellow")),
        hunt_of(tmp_path / "ben", AWAY.format("blue")),
    )


def put(folder: Path, name: str, text: str = "x") -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, "utf-8")
    return path


def merged(one: Path, other: Path) -> tuple[MergedHunt, Hunt]:
    into = one.parent / "both"
    return merge_hunts(one, other, into, names=("Ann", "Ben")), Hunt(into)


def test_the_merged_hunt_is_called_by_both_names(tmp_path: Path) -> None:
    _, hunt = merged(*pair(tmp_path))
    assert hunt.file.hunt.name == "ann and ben"


@pytest.mark.parametrize(
    ("one", "other", "both"),
    [("Heath", "Heath", "Heath"), ("h" * 40, "m" * 40, "h" * 40 + " and " + "m" * 15)],
)
def test_a_name_stands_once_and_is_not_too_long(
    tmp_path: Path, one: str, other: str, both: str
) -> None:
    _, hunt = merged(
        hunt_of(tmp_path / "ann", AWAY.format("red"), name=one),
        hunt_of(tmp_path / "ben", AWAY.format("blue"), name=other),
    )
    assert hunt.file.hunt.name == both


def test_who_typed_notes_is_told_as_who_spoke_a_recording(tmp_path: Path) -> None:
    result, hunt = merged(*pair(tmp_path))
    assert {row.event.recording: row.event.mark for row in hunt.rows()} == {
        "typed Ann": "yellow",
        "typed Ben": "blue",
    }
    assert hunt.file.observer_of("typed Ben") == "Ben"
    assert (result.rows, result.shared, result.conflicts) == (2, 0, ())
    assert (result.recordings, result.shared_recordings, result.finds) == (0, 0, 0)
    assert (result.stations, result.remarks) == ((), ())
    assert result.path == tmp_path / "both"


def test_bearings_and_winds_keep_the_north_that_they_were_read_against(
    tmp_path: Path,
) -> None:
    values = {
        "bearing": ("210", "210 true", "sw"),
        "wind": ("light 300", "light 300 true", "light", "300 magnetic strong"),
        "overhead": ("45",),
    }
    minute = iter(range(60))
    rows = [
        f"10:{next(minute):02d}:00,{kind},,{value}"
        for kind, told in values.items()
        for value in told
    ]
    ann = hunt_of(tmp_path / "ann", *rows)
    ben = hunt_of(tmp_path / "ben", *rows, compass="true")
    _, hunt = merged(ann, ben)

    def of(who: str) -> list[str]:
        own = [r.event for r in hunt.rows() if r.event.recording == f"typed {who}"]
        return [e.value for e in sorted(own, key=lambda e: str(e.clock))]

    before = [row.event.value for row in Hunt(ann).rows()]
    assert of("Ann") == before
    turned = [one for one, own in zip(of("Ben"), before, strict=True) if one != own]
    assert turned == ["210 true", f"{before[2]} true", "light 300 true", "45 true"]
    assert hunt.file.hunt.compass == "magnetic"


def test_stations_that_were_said_are_called_as_they_are_called_now(
    tmp_path: Path,
) -> None:
    said = "09:00:00,station,,1"
    ann = hunt_of(tmp_path / "ann", said)
    ben = hunt_of(tmp_path / "ben", said, position="52.31, -3.6104")
    result, hunt = merged(ann, ben)
    assert result.stations == ("Ben's station 1 is 1b here",)
    assert sorted(row.event.value for row in hunt.rows()) == ["1", "1b"]


def test_a_folder_of_the_second_persons_recordings_is_nobodys_yet(
    tmp_path: Path,
) -> None:
    ann, ben = pair(tmp_path)
    put(ann, "recordings/ben/a.wav", "one")
    put(ben, "recordings/day/a.wav", "two")
    result, hunt = merged(ann, ben)
    sounds = hunt.recordings_dir.rglob("*.wav")
    names = {path.relative_to(hunt.recordings_dir).as_posix() for path in sounds}
    assert names == {"ben-2/day/a.wav", "ben/a.wav"}
    assert result.recordings == 2


def test_what_is_kept_of_a_recording_goes_by_its_new_name(tmp_path: Path) -> None:
    ann, ben = pair(tmp_path)
    for folder, minute in ((ann, 20), (ben, 40)):
        put(folder, "recordings/a.wav", folder.name)
        put(folder, "recordings/same.wav", "same")
        starts = {
            "a.wav": f"2026-07-14 10:{minute}",
            "same.wav": f"2026-07-15 10:{minute}",
            "gone.wav": "2026-07-14 11:00",
        }
        put(folder, ".treeward/starts.json", json.dumps(starts))
    put(ben, ".treeward/recordings.json", "[]")
    put(ben, ".treeward/unread.json", "{")
    result, hunt = merged(ann, ben)
    kept = json.loads((hunt.machine_dir / "starts.json").read_text("utf-8"))
    assert kept == {
        "a.wav": "2026-07-14 10:20",
        "ben/a.wav": "2026-07-14 10:40",
        "same.wav": "2026-07-15 10:20",  # the first's word stands
    }
    assert not (hunt.machine_dir / "recordings.json").exists()
    assert not (hunt.machine_dir / "unread.json").exists()
    assert (result.recordings, result.shared_recordings) == (3, 1)


def test_what_was_heard_of_a_shared_recording_is_the_firsts(tmp_path: Path) -> None:
    ann, ben = pair(tmp_path)
    for folder in (ann, ben):
        put(folder, "recordings/same.wav", "same")
        heard = Hunt(folder).heard_file("same.wav").path
        put(heard.parent, heard.name, f"heard by {folder.name}")
    _, hunt = merged(ann, ben)
    text = hunt.heard_file("same.wav").path.read_text("utf-8")
    assert text == "heard by ann"


GPX = (
    '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
    '<wpt lat="52.3" lon="-3.6"><name>{}</name></wpt></gpx>'
)


def test_tracks_of_one_name_do_not_write_over_one_another(tmp_path: Path) -> None:
    ann, ben = pair(tmp_path)
    put(ann, "walk.gpx", GPX.format("a"))
    put(ann, "tracks/walk.gpx", GPX.format("b"))
    put(ben, "walk.gpx", GPX.format("c"))
    _, hunt = merged(ann, ben)
    names = sorted(path.name for path in (hunt.path / "tracks").iterdir())
    assert names == ["ben-walk.gpx", "walk-2.gpx", "walk.gpx"]


@pytest.mark.parametrize(
    ("own", "others", "kept", "told"),
    [
        ("", "", None, False),
        ("", "# b\n", "# b\n", False),
        ("# a\n", "", "# a\n", False),
        ("# a\n", "# a\n", "# a\n", False),
        ("# a\n", "# b\n", "# a\n", True),
    ],
)
def test_a_phrase_book_is_the_firsts_and_another_is_told_of(
    tmp_path: Path, own: str, others: str, kept: str | None, *, told: bool
) -> None:
    ann, ben = pair(tmp_path)
    for folder, text in ((ann, own), (ben, others)):
        if text:
            put(folder, "phrasebook.toml", text)
    result, hunt = merged(ann, ben)
    said = "phrasebook.toml is Ann's; Ben's differs"
    assert result.remarks == ((said,) if told else ())
    path = hunt.path / "phrasebook.toml"
    assert (path.read_text("utf-8") if path.exists() else None) == kept


def test_finds_of_both_keep_their_looks(tmp_path: Path) -> None:
    ann, ben = pair(tmp_path)
    find = '[[find]]\nid = "{}"\nposition = "{}, -3.6"\nfound = 2026-07-20\n'
    look = '[[look]]\nfind = "{}"\nseen = 2027-04-02\nstate = "alive"\n'
    put(ann, "found.toml", find.format(1, 52.3) + look.format(1))
    put(
        ben, "found.toml",
        find.format(1, 52.4) + find.format(7, 52.3) + look.format(1) + look.format(7),
    )  # fmt: skip
    result, hunt = merged(ann, ben)
    found = read_finds(hunt.path)
    assert result.finds == 2
    assert [(f.id, f.position.latitude_deg) for f in found.find] == [
        ("1", 52.3),
        ("2", 52.4),
    ]
    assert [one.find for one in found.look] == ["1", "2"]


def test_where_only_one_has_notes_they_are_the_merged_hunts(tmp_path: Path) -> None:
    ann = hunt_of(tmp_path / "ann")
    ben = hunt_of(tmp_path / "ben", AWAY.format("blue"), AWAY.format("red"))
    result, hunt = merged(ann, ben)
    assert result.rows == len(hunt.rows()) == 2


@pytest.mark.parametrize(
    ("into", "said", "where"),
    [
        ("full", "is there already and not empty", "full"),
        ("ben/new", "lies in one of the hunts", "ben/new"),
        ("ann/new", "lies in one of the hunts", "ann/new"),
    ],
)
def test_where_a_hunt_cannot_be_merged_into_is_named(
    tmp_path: Path, into: str, said: str, where: str
) -> None:
    ann, ben = pair(tmp_path)
    put(tmp_path, "full/mine.txt")
    with pytest.raises(HuntError, match=said) as told:
        merge_hunts(ann, ben, tmp_path / into, names=("Ann", "Ben"))
    assert told.value.where == str(tmp_path / where)
    assert "--into" in told.value.mend
