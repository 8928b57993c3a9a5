"""Two people's hunts as one, in a folder of its own."""

from __future__ import annotations

import json
import os
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest

from treeward.cli import main
from treeward.errors import HuntError
from treeward.hunt.hunt import Hunt
from treeward.hunt.merging import MergedHunt, merge_hunts

STATION = '\n[[station]]\nid = "{id}"\nposition = "{position}"\ncargo = "water"\n'
HEAD = '[hunt]\nname = "{name}"\ntimezone = "Europe/London"\ncompass = "{compass}"\n'


def hunt_of(
    folder: Path,
    rows: list[tuple[str, str, str, str]],
    *,
    compass: str = "magnetic",
    position: str = "52.301200, -3.610400",
    before: str = "",
    more: str = "",
) -> Path:
    """Write a hunt with rows typed by hand and one station."""
    folder.mkdir()
    toml = before + HEAD.format(name=folder.name, compass=compass)
    toml += STATION.format(id="1", position=position) + more
    (folder / "hunt.toml").write_text(toml, "utf-8")
    lines = ["clock,event,mark,value"]
    lines += [f"2026-07-14T{t}+01:00,{kind},{mark},{v}" for t, kind, mark, v in rows]
    (folder / "review.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return folder


def trips(mark: str, bearing: str, minute: int = 0) -> list[tuple[str, str, str, str]]:
    """Return three trips of a bee and two bearings."""
    rows = [
        (f"10:{minute + 6 * n + part:02d}:00", kind, mark, "")
        for n in range(4)
        for part, kind in ((0, "back"), (1, "away"))
    ]
    rows += [
        (f"10:{minute + 6 * n + 1:02d}:05", "bearing", mark, bearing) for n in (0, 1)
    ]
    return sorted(rows)


def together(tmp_path: Path, one: Path, other: Path) -> tuple[MergedHunt, Hunt]:
    merged = merge_hunts(one, other, tmp_path / "both", names=("Ann", "Ben"))
    return merged, Hunt(tmp_path / "both")


def snapshot(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file()
    }


def test_two_people_keep_their_marks_and_compasses(tmp_path: Path) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("yellow", "215", minute=2))
    before = snapshot(ann), snapshot(ben)
    alone = [len(Hunt(folder).trips().trips) for folder in (ann, ben)]

    merged, hunt = together(tmp_path, ann, ben)

    table = hunt.trips()
    assert len(table.trips) == sum(alone) > 4
    assert {trip.bee for trip in table.trips} == {"yellow of Ann", "yellow of Ben"}
    assert {(x.observer, x.bearing_read_deg) for x in table.lines} == {
        ("Ann", 210.0),
        ("Ben", 215.0),
    }
    assert (merged.shared, merged.conflicts) == (0, ())
    assert (snapshot(ann), snapshot(ben)) == before


def test_a_hunt_and_its_copy_are_that_hunt(tmp_path: Path) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = tmp_path / "ben"
    shutil.copytree(ann, ben)
    alone = Hunt(ann).trips()

    merged, hunt = together(tmp_path, ann, ben)

    assert merged.rows == len(Hunt(ann).rows())
    table = hunt.trips()
    assert [t.away_s for t in table.trips] == [t.away_s for t in alone.trips]
    assert len(table.lines) == len(alone.lines)


def test_stations_of_one_id_at_two_places_stay_two(tmp_path: Path) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(
        tmp_path / "ben",
        [("09:59:00", "station", "", "1"), *trips("blue", "180")],
        position="52.304000, -3.613000",
    )

    merged, hunt = together(tmp_path, ann, ben)

    assert merged.stations == ("Ben's station 1 is 1b here",)
    seats = {trip.bee: trip.station for trip in hunt.trips().trips}
    assert seats == {"yellow": "1", "blue": "1b"}
    assert [s.id for s in hunt.file.station] == ["1", "1b"]


def test_bearings_of_another_compass_say_so(tmp_path: Path) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("blue", "180"), compass="true")

    _, hunt = together(tmp_path, ann, ben)

    lines = hunt.trips().lines
    assert {(x.observer, x.reference) for x in lines} == {("Ann", ""), ("Ben", "true")}


def test_what_cannot_be_joined_is_told(tmp_path: Path) -> None:
    same = 'same_bee = ["yellow"]\n'
    model = '\n[[colony]]\nid = "A"\nmarks = ["yellow", "{}"]\n[walk]\nlimit_m = {}\n'
    ann = hunt_of(
        tmp_path / "ann",
        [*trips("yellow", "210"), ("11:30:00", "back", "red", "")],
        before=same,
        more=model.format("red", 500),
    )
    ben = hunt_of(
        tmp_path / "ben", trips("yellow", "210"), more=model.format("pink", 7)
    )

    merged, hunt = together(tmp_path, ann, ben)

    said = "; ".join(merged.remarks)
    for part in ("same_bee", "colony A lost marks", "[walk] is as Ann has it"):
        assert part in said
    assert hunt.file.same_bee == ()
    assert [(c.id, c.marks) for c in hunt.file.colony] == [
        ("A", ("red",)),
        ("B", ("pink",)),
    ]
    assert hunt.file.walk.limit_m == 500


def test_recordings_of_both_are_there_once(tmp_path: Path) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("blue", "180"))
    text = "WEBVTT\n\n00:01.000 --> 00:02.000\ntime ten {}\n\n"
    text += "00:05.000 --> 00:06.000\nwhite away\n\n"
    for folder, minute in ((ann, "twenty"), (ben, "forty")):
        (folder / "recordings").mkdir()
        (folder / "recordings" / "memo.vtt").write_text(text.format(minute), "utf-8")
        shared = folder / "recordings" / "2026-07-15 walk.vtt"
        shared.write_text(text.format("fifty"), "utf-8")
        Hunt(folder).transcribe()
    ours = [len(Hunt(folder).rows()) for folder in (ann, ben)]
    corrected = Hunt(ben).review_path
    corrected.write_text(
        "".join(
            line.replace("white", "pink") if "walk" in line else line
            for line in corrected.read_text("utf-8").splitlines(keepends=True)
        ),
        "utf-8",
    )

    merged, hunt = together(tmp_path, ann, ben)

    assert (merged.recordings, merged.shared_recordings, merged.shared) == (3, 1, 2)
    assert merged.rows == sum(ours) - 2
    marks = {
        row.event.recording: row.event.mark for row in hunt.rows() if row.event.mark
    }
    assert marks["2026-07-15 walk.vtt"] == "pink"
    assert marks["memo.vtt"] == marks["ben/memo.vtt"] == "white"
    again = hunt.transcribe()
    assert (again.rows, again.kept_changes) == (merged.rows, 1)


def test_what_was_heard_comes_along_and_labels_and_hidden_files_do_not(
    tmp_path: Path,
) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("blue", "180"))
    for folder, names in ((ann, ("a.wav", "b.wav")), (ben, ("c.wav",))):
        (folder / "recordings").mkdir()
        for name in names:
            (folder / "recordings" / name).write_bytes(f"sound {name}".encode())
            heard = Hunt(folder).heard_file(name).path
            heard.parent.mkdir(parents=True, exist_ok=True)
            heard.write_text(f"heard in {name}", "utf-8")
    (ann / "recordings" / ".a.wav.part").write_bytes(b"half")
    (ann / "recordings" / "a.events.txt").write_text("labels", "utf-8")

    merged, hunt = together(tmp_path, ann, ben)

    there = [path for path in hunt.recordings_dir.rglob("*") if path.is_file()]
    copied = {path.relative_to(hunt.recordings_dir).as_posix() for path in there}
    assert copied == {"a.wav", "b.wav", "ben/c.wav"}
    assert merged.recordings == 3
    for name in copied:
        text = hunt.heard_file(name).path.read_text("utf-8")
        assert text == f"heard in {Path(name).name}"


def test_finds_of_both_are_kept_the_same_once(tmp_path: Path) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("blue", "180"))
    same = '[[find]]\nid = "{}"\nposition = "52.3, -3.6"\nfound = 2026-07-20\n'
    other = '[[find]]\nid = "1"\nposition = "52.4, -3.6"\nfound = 2026-07-21\n'
    look = '[[look]]\nfind = "1"\nseen = 2027-04-02\nstate = "alive"\n'
    (ann / "found.toml").write_text(same.format(1), "utf-8")
    (ben / "found.toml").write_text(other + same.format(2) + look, "utf-8")

    merged, hunt = together(tmp_path, ann, ben)

    found = tomllib.loads((hunt.path / "found.toml").read_text("utf-8"))
    assert merged.finds == 2
    assert [f["id"] for f in found["find"]] == ["1", "2"]
    assert [(one["find"], one["state"]) for one in found["look"]] == [("2", "alive")]


def test_tracks_come_along_once_and_links_do_not(tmp_path: Path) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("blue", "180"))
    head = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'
    head += '<wpt lat="52.3" lon="-3.6"><name>gate</name></wpt>'
    for folder in (ann, ben):
        (folder / "walk.gpx").write_text(f"{head}</gpx>", "utf-8")
    (ben / "way.gpx").write_text(f"{head}<!-- another --></gpx>", "utf-8")
    secret = tmp_path / "secret.gpx"
    secret.write_text(f"{head}<!-- secret --></gpx>", "utf-8")
    (ben / "link.gpx").symlink_to(secret)

    together(tmp_path, ann, ben)

    assert sorted(snapshot(tmp_path / "both" / "tracks")) == ["ben-way.gpx", "walk.gpx"]


@pytest.mark.parametrize("into", ["ann", "ann/new", "full"])
def test_a_hunt_is_never_merged_over_anything(tmp_path: Path, into: str) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("blue", "180"))
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    before = snapshot(tmp_path)

    with pytest.raises(HuntError):
        merge_hunts(ann, ben, tmp_path / into, names=("Ann", "Ben"))

    assert snapshot(tmp_path) == before


def test_a_fault_in_one_leaves_no_half_hunt(tmp_path: Path) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", [("10:00:00", "flew", "blue", "")])

    with pytest.raises(Exception, match="flew"):
        merge_hunts(ann, ben, tmp_path / "both", names=("Ann", "Ben"))

    assert sorted(p.name for p in tmp_path.iterdir()) == ["ann", "ben"]


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


def test_the_command_tells_what_came_of_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("blue", "180"))

    code, out, _ = run(capsys, "merge", str(ann), str(ben), "--json")

    whole: dict[str, Any] = json.loads(out)
    assert code == 0
    assert Path(whole["hunt"]) == tmp_path / "ann-and-ben"
    assert whole["rows"] == len(Hunt(ann).rows()) + len(Hunt(ben).rows())
    code, _, err = run(capsys, "merge", str(ann), str(ben))
    assert code == 1
    assert err.count("\n") == 1
    assert "--into" in err


def test_a_hunt_that_is_listened_to_says_what_is_not_in_the_merged_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from treeward.live.opening import only_listener

    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("white", "200"))

    with only_listener(ben):
        code, out, _ = run(capsys, "merge", str(ann), str(ben))

    assert code == 0
    assert f"{ben} is being listened to" in out
    assert f"{ann} is being listened to" not in out


@pytest.mark.parametrize("name", ["recordings.json", "starts.json"])
def test_half_a_letter_in_what_is_kept_does_not_keep_hunts_apart(
    tmp_path: Path, name: str
) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("white", "215", minute=2))
    recordings = ben / "recordings"
    recordings.mkdir()
    (recordings / "memo.txt").write_text("[0:01] white away\n", "utf-8")
    (ben / ".treeward").mkdir()
    (ben / ".treeward" / name).write_text('{"memo.txt": {"day": "\\ud800"}}', "utf-8")

    merged, hunt = together(tmp_path, ann, ben)

    assert merged.recordings == 1
    assert hunt.trips().trips


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
@pytest.mark.parametrize("place", ["recordings", ".treeward", "review.csv"])
def test_nothing_from_elsewhere_is_copied_through_a_link(
    tmp_path: Path, place: str
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    (home / "secret.txt").write_text("mine", "utf-8")
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("white", "215", minute=2))
    (ben / place).unlink(missing_ok=True)
    (ben / place).symlink_to(home)

    with pytest.raises(HuntError, match=f"ben/{place}: is a link"):
        together(tmp_path, ann, ben)

    assert not (tmp_path / "both").exists()


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
def test_a_track_and_a_phrase_book_that_are_links_are_not_copied(
    tmp_path: Path,
) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("[spots]\n", "utf-8")
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("white", "215", minute=2))
    (ben / "phrasebook.toml").symlink_to(secret)
    track = tmp_path / "track.gpx"
    point = '<wpt lat="52.3" lon="-3.6"><name>gate</name></wpt>'
    track.write_text(f'<gpx version="1.1" creator="x">{point}</gpx>', "utf-8")
    (ben / "walk.gpx").symlink_to(track)

    merged, hunt = together(tmp_path, ann, ben)

    assert any("walk.gpx: is a link" in line for line in merged.remarks)
    assert not list(hunt.path.rglob("*.gpx"))
    assert not (hunt.path / "phrasebook.toml").exists()


def test_an_empty_folder_takes_the_merged_hunt_and_a_file_does_not(
    tmp_path: Path,
) -> None:
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", trips("blue", "180", minute=2))
    (tmp_path / "both").mkdir()

    merged, hunt = together(tmp_path, ann, ben)

    assert merged.rows == len(hunt.rows()) == len(Hunt(ann).rows()) * 2
    (tmp_path / "file").write_text("mine", "utf-8")
    with pytest.raises(HuntError, match="is there already"):
        merge_hunts(ann, ben, tmp_path / "file", names=("Ann", "Ben"))
    assert (tmp_path / "file").read_text("utf-8") == "mine"
    with pytest.raises(HuntError, match="both hunts are this folder"):
        merge_hunts(ann, ann, tmp_path / "new", names=("Ann", "Ben"))
    with pytest.raises(HuntError, match="lies in one of the hunts"):
        merge_hunts(ann, ben, ben / "both", names=("Ann", "Ben"))


DOUBT = "heard with little confidence (0.60)"


def flagged(folder: Path, *kinds: str) -> None:
    """Put the rows of some kinds in doubt."""
    heading, *lines = (folder / "review.csv").read_text("utf-8").splitlines()
    doubtful = [
        f"{line},{DOUBT if line.split(',')[1] in kinds else ''}" for line in lines
    ]
    text = "\n".join([f"{heading},flag", *doubtful]) + "\n"
    (folder / "review.csv").write_text(text, "utf-8")


@pytest.mark.parametrize(
    ("position", "compass", "doubted", "told"),
    [
        ("52.301200, -3.610400", "magnetic", "bearing", 0),  # as they were
        ("52.301200, -3.610400", "true", "bearing", 2),  # rewritten: another north
        ("52.301200, -3.610400", "true", "back", 0),
        ("52.304000, -3.613000", "magnetic", "station", 1),  # another number here
        ("52.304000, -3.613000", "magnetic", "bearing", 0),
    ],
)
def test_notes_in_doubt_that_are_written_otherwise_are_named(
    tmp_path: Path, position: str, compass: str, doubted: str, told: int
) -> None:
    rows = [("09:59:00", "station", "", "1"), *trips("blue", "180", minute=2)]
    ann = hunt_of(tmp_path / "ann", trips("yellow", "210"))
    ben = hunt_of(tmp_path / "ben", rows, position=position, compass=compass)
    flagged(ben, doubted)

    merged, _ = together(tmp_path, ann, ben)

    said = [one for one in merged.remarks if "count as looked at" in one]
    assert len(said) == bool(told)
    for one in said:
        assert one.startswith("Ben's rows in doubt ")
        named = one.removeprefix("Ben's rows in doubt ").partition(" are written")[0]
        doubtful = [row for row in Hunt(ben).rows() if row.event.doubtful]
        assert named == ", ".join(row.name for row in doubtful)
        assert len(doubtful) == told
