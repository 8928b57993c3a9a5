"""What a merged hunt's files hold, and what they are called."""

from __future__ import annotations

import json
import os
from typing import TYPE_CHECKING

import pytest

from treeward.errors import HuntError
from treeward.hunt.finds import read_finds
from treeward.hunt.hunt import Hunt
from treeward.hunt.merging import MergedHunt, merge_hunts
from treeward.hunt.tracks import TrackError

if TYPE_CHECKING:
    from pathlib import Path

AWAY = "10:00:00,away,{},"
LINKS = pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")


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


def spoken(folder: Path, name: str, *rows: str, heard: bool = False) -> None:
    """Write rows of a recording, and where `heard` the machine's copy of them too."""
    head = "row,recording,start_s,end_s,clock,event,mark,value,heard\n"
    lines = [
        f"{n},{name},{second}.000,{second}.500,2026-07-14T10:00:{second}+01:00,"
        f"away,{mark},,{mark} away\n"
        for n, (second, _, mark) in enumerate((r.partition(" ") for r in rows), 1)
    ]
    text = "".join([head, *lines])
    put(folder, "review.csv", text)
    if heard:
        put(folder, ".treeward/review_machine.csv", text)


@pytest.mark.parametrize(
    ("one", "other", "heard", "there", "names"),
    [
        # Two recordings of one name, as far as anybody knows.
        (["10 red"], ["20 blue"], False, None, {"memo.wav", "Ben/memo.wav"}),
        (["10 red"], ["20 blue"], True, None, {"memo.wav", "Ben/memo.wav"}),
        (["10 red"], ["10 blue"], True, None, {"memo.wav", "Ben/memo.wav"}),
        # The same words at the same second: it was one recording.
        (["10 red", "30 blue"], ["10 red"], True, None, {"memo.wav"}),
        # One of them has it still.
        (["10 red"], ["20 blue"], True, "ann", {"memo.wav"}),
    ],
)
def test_rows_of_recordings_that_are_gone_are_of_two_unless_words_agree(
    tmp_path: Path,
    one: list[str],
    other: list[str],
    *,
    heard: bool,
    there: str | None,
    names: set[str],
) -> None:
    ann, ben = pair(tmp_path)
    spoken(ann, "memo.wav", *one, heard=heard)
    spoken(ben, "memo.wav", *other, heard=heard)
    if there:
        put(tmp_path / there, "recordings/memo.wav")
    _, hunt = merged(ann, ben)
    assert {row.event.recording for row in hunt.rows()} == names


def test_rows_of_a_recording_that_only_one_ever_had_keep_its_name(
    tmp_path: Path,
) -> None:
    ann, ben = pair(tmp_path)
    spoken(ben, "gone.wav", "20 blue")
    _, hunt = merged(ann, ben)
    assert {r.event.recording for r in hunt.rows()} == {"typed Ann", "gone.wav"}


def test_copies_keep_their_times_and_the_same_sound_twice_in_one_hunt_is_two(
    tmp_path: Path,
) -> None:
    ann, ben = pair(tmp_path)
    for folder, name in ((ann, "a.wav"), (ann, "day/b.wav"), (ben, "c.wav")):
        path = put(folder, f"recordings/{name}", "same")
        os.utime(path, (1_780_000_000, 1_780_000_000))
        heard = Hunt(folder).heard_file(name).path
        put(heard.parent, heard.name, f"heard in {name}")
    put(ben, "recordings/d.wav", "another")
    spoken(ben, "c.wav", "20 blue")
    result, hunt = merged(ann, ben)
    sounds = sorted(hunt.recordings_dir.rglob("*.wav"))
    names = [path.relative_to(hunt.recordings_dir).as_posix() for path in sounds]
    assert names == ["a.wav", "ben/d.wav", "day/b.wav"]
    assert sounds[0].stat().st_mtime == 1_780_000_000
    assert (result.recordings, result.shared_recordings) == (3, 1)
    # What Ben heard in it is of the first of the two.
    assert {r.event.recording for r in hunt.rows()} == {"typed Ann", "a.wav"}
    assert hunt.heard_file("day/b.wav").path.read_text("utf-8") == "heard in day/b.wav"


def test_what_is_kept_of_each_recording_is_copied_under_all_its_names(
    tmp_path: Path,
) -> None:
    ann, ben = pair(tmp_path)
    put(ben, "recordings/a.wav", "a")
    for name in ("starts", "recordings", "unread", "dismissed", "left_out"):
        put(ben, f".treeward/{name}.json", json.dumps({"a.wav": "x", "b.wav": "y"}))
    _, hunt = merged(ann, ben)
    kept = {
        path.name: json.loads(path.read_text("utf-8"))
        for path in hunt.machine_dir.glob("*.json")
    }
    assert kept == {
        f"{name}.json": {"ben/a.wav": "x"}
        for name in ("starts", "recordings", "unread", "dismissed")
    }


@LINKS
def test_recordings_and_hearings_that_are_links_are_not_copied(tmp_path: Path) -> None:
    ann, ben = pair(tmp_path)
    secret = put(tmp_path, "secret.wav", "mine")
    put(ben, "recordings/own.wav")
    (ben / "recordings" / "link.wav").symlink_to(secret)
    (ben / "walk.gpx").symlink_to(put(tmp_path, "walk.gpx", GPX.format("a")))
    put(ben, "way.gpx", GPX.format("b"))
    result, hunt = merged(ann, ben)
    assert [path.name for path in hunt.recordings_dir.rglob("*.wav")] == ["own.wav"]
    assert result.recordings == 1
    assert result.remarks == (f"{ben / 'walk.gpx'}: is a link, and was not copied",)
    assert [path.name for path in hunt.path.rglob("*.gpx")] == ["ben-way.gpx"]


def test_empty_tracks_and_phrase_books_and_folders_of_that_name_are_passed_over(
    tmp_path: Path,
) -> None:
    ann, ben = pair(tmp_path)
    (ann / "phrasebook.toml").mkdir()
    put(ben, "phrasebook.toml", "# b\n")
    put(ben, "walk.gpx", GPX.format("a"))
    put(ben, "tracks/copy.gpx", GPX.format("a"))
    result, hunt = merged(ann, ben)
    assert (hunt.path / "phrasebook.toml").read_text("utf-8") == "# b\n"
    assert result.remarks == ()
    assert [path.name for path in (hunt.path / "tracks").iterdir()] == ["ben-copy.gpx"]


FIND = '[[find]]\nid = "{}"\nposition = "{}, -3.6"\nfound = 2026-07-{}\n'
LOOK = '[[look]]\nfind = "{}"\nseen = 2027-04-{:02d}\nstate = "alive"\n'


def test_finds_are_the_same_by_place_and_day_and_each_keeps_its_looks(
    tmp_path: Path,
) -> None:
    ann, ben = pair(tmp_path)
    put(ann, "found.toml", FIND.format(2, 52.3, 20) + LOOK.format(2, 1))
    put(
        ben, "found.toml",
        FIND.format(5, 52.3, 21) + FIND.format(6, 52.4, 20) + FIND.format(7, 52.3, 20)
        + LOOK.format(5, 2) + LOOK.format(6, 3) + LOOK.format(7, 1) + LOOK.format(7, 4),
    )  # fmt: skip
    result, hunt = merged(ann, ben)
    found = read_finds(hunt.path)
    assert result.finds == 3
    told = [(f.id, f.position.latitude_deg, f.found.day) for f in found.find]
    assert told == [("2", 52.3, 20), ("1", 52.3, 21), ("3", 52.4, 20)]
    looks = [(one.find, one.seen.day) for one in found.look]
    assert looks == [("2", 1), ("1", 2), ("3", 3), ("2", 4)]


def test_hunts_without_notes_or_finds_make_one_without(tmp_path: Path) -> None:
    ann, ben = hunt_of(tmp_path / "ann"), hunt_of(tmp_path / "ben")
    put(ben, "walk.gpx", "no gpx")  # it places nothing, as long as nothing is noted
    result, hunt = merged(ann, ben)
    assert (result.rows, result.finds) == (0, 0)
    assert not hunt.review_path.exists()
    assert not (hunt.path / "found.toml").exists()
    assert (hunt.path / "tracks" / "ben-walk.gpx").read_text("utf-8") == "no gpx"


def test_more_rows_in_doubt_than_eight_are_named_in_part(tmp_path: Path) -> None:
    ann, _ = pair(tmp_path)
    ben = hunt_of(tmp_path / "two", compass="true")
    doubt = "heard with little confidence (0.60)"
    lines = ["row,clock,event,mark,value,flag,decision"]
    lines += [
        f"{n},2026-07-14T10:{n:02d}:00+01:00,bearing,blue,200,{doubt},"
        for n in range(1, 11)
    ]
    lines.append(f"11,2026-07-14T10:30:00+01:00,wind,,light 200,{doubt},")
    lines.append(f"12,2026-07-14T10:31:00+01:00,bearing,blue,200,{doubt},keep")
    lines.append("13,2026-07-14T10:32:00+01:00,bearing,blue,200,,")
    put(ben, "review.csv", "\n".join(lines) + "\n")
    result, _ = merged(ann, ben)
    (said,) = result.remarks
    assert said.startswith("Ben's rows in doubt 1, 2, 3, 4, 5, 6, 7, 8 are written")
    lines = [lines[0], *lines[-3:]]
    put(ben, "review.csv", "\n".join(lines) + "\n")
    (said,) = merge_hunts(ann, ben, tmp_path / "new", names=("Ann", "Ben")).remarks
    assert said.startswith("Ben's rows in doubt 11 are written")


def test_what_a_compass_calls_north_is_added_where_nobody_said_it(
    tmp_path: Path,
) -> None:
    rows = [
        f"10:{n:02d}:00,{told}"
        for n, told in enumerate(
            ("bearing,red,210", "wind,,light 300 magnetic", "wind,,300 light",
             "station,,1", "remark,,300 paces")
        )
    ]  # fmt: skip
    ann = hunt_of(tmp_path / "ann", compass="true")
    ben = hunt_of(tmp_path / "ben", *rows)
    _, hunt = merged(ann, ben)
    values = [row.event.value for row in hunt.rows()]
    assert values == [
        "210 magnetic", "light 300 magnetic", "300 light magnetic", "1", "300 paces"
    ]  # fmt: skip


def test_where_notes_need_a_track_that_cannot_be_read_nothing_is_merged(
    tmp_path: Path,
) -> None:
    ann, ben = pair(tmp_path)
    put(ben, "walk.gpx", "no gpx")
    with pytest.raises(TrackError, match=r"walk\.gpx"):
        merged(ann, ben)
    assert not (tmp_path / "both").exists()


def test_what_tells_too_little_to_place_anything_is_not_copied_twice(
    tmp_path: Path,
) -> None:
    """An empty track is none, and the same one in both hunts is one."""
    ann, ben = hunt_of(tmp_path / "ann"), hunt_of(tmp_path / "ben")
    put(ann, "empty.gpx", "")
    put(ann, "walk.gpx", GPX.format("a"))
    put(ben, "other.gpx", GPX.format("a"))
    put(ben, "tracks/nothing.gpx", "")
    _, hunt = merged(ann, ben)
    assert [path.name for path in (hunt.path / "tracks").iterdir()] == ["walk.gpx"]


def test_stations_that_one_alone_has_keep_their_names(tmp_path: Path) -> None:
    ann = hunt_of(tmp_path / "ann", "09:00:00,station,,5")
    ben = hunt_of(
        tmp_path / "ben", "09:00:00,station,,7", "09:30:00,station,,1",
        position="52.31, -3.6104",
    )  # fmt: skip
    for folder, own in ((ann, 5), (ben, 7)):
        with (folder / "hunt.toml").open("a", encoding="utf-8") as toml:
            toml.write(f'[[station]]\nid = "{own}"\nposition = "52.32, -3.{own}"\n')
    result, hunt = merged(ann, ben)
    assert [station.id for station in hunt.file.station] == ["1", "5", "1b", "7"]
    assert result.stations == ("Ben's station 1 is 1b here",)
    assert [row.event.value for row in hunt.rows()] == ["5", "7", "1b"]
