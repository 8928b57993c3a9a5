"""What was found: kept in the hunt's folder, compared with the forecast, shared."""

from __future__ import annotations

import errno
import json
import threading
import time
import tomllib
from typing import TYPE_CHECKING, Any

import pytest
from pyproj import Geod

from treeward.cli import main
from treeward.errors import TreewardError
from treeward.hunt.finds import FindTable, add_find, check_finds, coarse, read_finds
from treeward.hunt.hunt import Hunt
from treeward.measures import Position, parse_position
from treeward.report.advice_wording import HAND_RULES
from treeward.report.looking import check_sentences

if TYPE_CHECKING:
    from pathlib import Path

PLACE = "52.296000, -3.615000"
TRACK = """<?xml version="1.0"?>
<gpx version="1.1" creator="phone" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>
<trkpt lat="52.295" lon="-3.615"><time>2026-07-14T13:00:00Z</time></trkpt>
<trkpt lat="52.296" lon="-3.615"><time>2026-07-14T13:01:00Z</time></trkpt>
</trkseg></trk></gpx>"""


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


def find_at(place: str, **more: Any) -> FindTable:
    whole = {"id": "1", "position": place, "found": "2026-07-20", **more}
    return FindTable.model_validate(whole)


def place_off(result: Any, off_m: float, bearing_deg: float) -> str:
    """Return a place so far from the best one."""
    best = result.fix.colonies[0]
    lon, lat, _ = Geod(ellps="WGS84").fwd(
        best.best_longitude_deg, best.best_latitude_deg, bearing_deg, off_m
    )
    return f"{lat:.7f}, {lon:.7f}"


def test_two_finds_at_once_are_both_kept(typed_hunt: Path) -> None:
    hunt = Hunt(typed_hunt)
    one, other = find_at(PLACE), find_at("52.297000, -3.615000")  # both saw no file

    add_find(hunt, one)
    kept = add_find(hunt, other)

    assert [find.id for find in kept.find] == ["1", "2"]
    assert kept.find[-1].position == other.position


def test_a_find_at_a_spot_that_is_kept_is_a_look_again(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    add_find(Hunt(typed_hunt), find_at("52.297000, -3.615000"))
    found = ("found", "--hunt", str(typed_hunt), "--position")
    near, farther = "52.297200, -3.615000", "52.297400, -3.615000"  # 22 and 45 m

    code, _, err = run(capsys, *found, near)
    assert code == 1
    assert "find 1 is kept already, within 30 m" in err
    assert "treeward found --again 1" in err
    assert len(read_finds(typed_hunt).find) == 1

    assert run(capsys, *found, near, "--another")[0] == 0
    assert run(capsys, *found, farther, "--another")[0] == 0
    assert len(read_finds(typed_hunt).find) == 3


@pytest.mark.parametrize(
    ("day", "doubted"), [("2026-07-13", True), ("2026-07-14", False)]
)
def test_a_find_before_the_first_note_is_doubted(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str], day: str, doubted: bool
) -> None:
    code, out, _ = run(
        capsys, "found", "--hunt", str(typed_hunt), "--position", PLACE, "--date", day
    )
    assert code == 0
    assert ("before the first note of the hunt, 2026-07-14" in out) is doubted


def test_a_find_waits_for_a_command_that_is_at_work(typed_hunt: Path) -> None:
    hunt = Hunt(typed_hunt)
    held = threading.Event()

    def work() -> None:
        with Hunt(typed_hunt).locked("transcribe"):
            held.set()
            time.sleep(0.3)

    other = threading.Thread(target=work)
    other.start()
    held.wait()
    kept = add_find(hunt, find_at(PLACE))
    other.join()

    assert len(kept.find) == 1


def test_a_full_disk_says_which_file_was_not_written(
    typed_hunt: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    add_find(Hunt(typed_hunt), find_at(PLACE))
    before = (typed_hunt / "found.toml").read_bytes()
    monkeypatch.setattr("pathlib.Path.write_bytes", full)

    code, _, err = run(
        capsys, "found", "--hunt", str(typed_hunt), "--position", PLACE, "--another"
    )

    assert code == 1
    assert f"{typed_hunt / 'found.toml'}: No space left on device" in err
    assert (typed_hunt / "found.toml").read_bytes() == before
    assert not list(typed_hunt.glob(".treeward-*"))


def test_a_place_off_the_grid_is_a_line_and_keeps_no_list_back(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    add_find(Hunt(typed_hunt), find_at("85.230000, -3.615000"))
    shared = typed_hunt.parent / "shared.geojson"

    code, _, err = run(
        capsys, "found", "--hunt", str(typed_hunt), "--share", str(shared)
    )
    listed, out, _ = run(capsys, "season", str(typed_hunt), "--list", "--rounded")

    assert code == 1
    assert "found.toml: the place 85.230000, -3.615000 cannot be rounded" in err
    assert not shared.exists()
    assert listed == 0
    assert "not on the UTM grid" in out


def test_all_that_was_told_is_read_back(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(
        capsys, "found", "--hunt", str(typed_hunt), "--position", PLACE,
        "--date", "2026-07-20", "--nest", "wall", "--height-m", "6.5",
        "--entrance", 'south "knot" hole', "--photo", "a.jpg", "--photo", "b\\c.jpg",
        "--may-know", "Ann", "--remark", "Löwenzahn",
    )  # fmt: skip

    (find,) = read_finds(typed_hunt).find
    assert code == 0
    assert "Find 1 is kept" in out
    assert (find.nest, find.height_m, find.entrance) == (
        "wall",
        6.5,
        'south "knot" hole',
    )
    assert find.photos == ("a.jpg", "b\\c.jpg")
    assert (find.may_know, find.remark) == (("Ann",), "Löwenzahn")
    assert find.found.isoformat() == "2026-07-20"
    assert find.position == parse_position(PLACE)


def test_what_a_person_wrote_into_found_toml_stays(typed_hunt: Path) -> None:
    hunt = Hunt(typed_hunt)
    add_find(hunt, find_at(PLACE))
    path = typed_hunt / "found.toml"
    mine = path.read_text("utf-8") + "# beside the third gate\n"
    path.write_text(mine.replace("\n", "\r\n"), "utf-8", newline="")

    add_find(hunt, find_at("52.3, -3.6", id="2"))

    kept = path.read_bytes().decode("utf-8")
    assert kept.startswith(mine.replace("\n", "\r\n"))
    assert [find.id for find in read_finds(typed_hunt).find] == ["1", "2"]


def test_a_faulty_found_toml_is_one_line_and_stays(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = typed_hunt / "found.toml"
    for text, part in (
        ('[[find]]\nid = "1"\nposition = "52.3, -3.6"\nfound = soon\n', "TOML"),
        ('[[find]]\nid = "1"\nposition = "north"\nfound = 2026-07-20\n', "position"),
        ('[[look]]\nfind = "4"\nseen = 2026-07-20\nstate = "dead"\n', "find '4'"),
    ):
        path.write_text(text, "utf-8")
        code, _, err = run(
            capsys, "found", "--hunt", str(typed_hunt), "--position", PLACE
        )
        assert code == 1
        assert err.count("\n") == 1
        assert part in err
        assert path.read_text("utf-8") == text


@pytest.mark.parametrize(
    ("off_m", "said"),
    [(5.0, "inside the 50 % search area"), (9000.0, "outside every search area")],
)
def test_the_forecast_is_held_against_the_find(
    typed_hunt: Path, off_m: float, said: str
) -> None:
    result = Hunt(typed_hunt).locate()
    find = find_at(place_off(result, off_m, 77.0))

    (check,) = check_finds(result, [find])

    assert check.off_m == pytest.approx(off_m, abs=0.1)
    assert said in " ".join(check_sentences(result, check))
    for one in check.stations:
        place = result.station(one.station)
        assert place is not None
        _, _, away_m = Geod(ellps="WGS84").inv(
            place.longitude_deg,
            place.latitude_deg,
            find.position.longitude_deg,
            find.position.latitude_deg,
        )
        assert one.true_m == pytest.approx(away_m, abs=0.1)
        assert one.low90_m <= one.median_m <= one.high90_m
    assert result.fix is not None
    said_by = {r.kind for bee in result.fix.bees for r in bee.hand_rules}
    rules = {HAND_RULES[kind][0] for kind in said_by}
    assert {rule.name for one in check.stations for rule in one.rules} == rules


def test_a_find_outside_the_area_is_kept_and_said_plainly(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    far = place_off(Hunt(typed_hunt).locate(), 9000.0, 10.0)

    code, out, _ = run(capsys, "found", "--hunt", str(typed_hunt), "--position", far)

    assert code == 0
    assert "outside every search area" in out
    assert len(read_finds(typed_hunt).find) == 1


@pytest.mark.slow
def test_no_export_holds_a_find_unless_asked(typed_hunt: Path) -> None:
    place = "52.297753, -3.616123"
    add_find(Hunt(typed_hunt), find_at(place, remark="behind the old kiln"))
    main_quietly("locate", "--hunt", str(typed_hunt))
    results = typed_hunt / "results"

    without = [p for p in results.iterdir() if b"against find" in p.read_bytes()]
    assert without == []
    main_quietly("locate", "--hunt", str(typed_hunt), "--with-find")

    page = (results / "report.html").read_text("utf-8")
    whole = json.loads((results / "result.json").read_text("utf-8"))
    assert "Forecast against find" in page
    assert whole["finds"][0]["find"] == "1"
    for path in results.iterdir():
        raw = path.read_bytes()
        assert b"52.297753" not in raw
        assert b"3.616123" not in raw
        assert b"old kiln" not in raw


def main_quietly(*arguments: str) -> None:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    assert not ended.value.code


def test_a_shared_place_is_the_middle_of_a_square_that_holds_it() -> None:
    near = Position(latitude_deg=52.296, longitude_deg=-3.615)
    for square_m in (100.0, 1000.0, 10_000.0):
        rough = coarse(near, square_m)
        _, _, off_m = Geod(ellps="WGS84").inv(
            near.longitude_deg,
            near.latitude_deg,
            rough.longitude_deg,
            rough.latitude_deg,
        )
        assert off_m <= square_m / 2**0.5 * 1.002 + 1.0
        again = coarse(
            Position(
                latitude_deg=rough.latitude_deg, longitude_deg=rough.longitude_deg
            ),
            square_m,
        )
        assert again == rough


@pytest.mark.parametrize("exact", [False, True])
def test_sharing_rounds_unless_told_otherwise(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str], exact: bool
) -> None:
    add_find(Hunt(typed_hunt), find_at(PLACE, remark="secret", may_know=["Ann"]))
    file = typed_hunt / "share.geojson"
    more = ["--share-exact"] if exact else []

    run(capsys, "found", "--hunt", str(typed_hunt), "--share", str(file), *more)

    text = file.read_text("utf-8")
    longitude, latitude = json.loads(text)["features"][0]["geometry"]["coordinates"]
    assert ((latitude, longitude) == (52.296, -3.615)) is exact
    assert "secret" not in text
    assert "Ann" not in text


def test_the_track_says_where_one_stood(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (typed_hunt / "walk.gpx").write_text(TRACK, "utf-8")

    code, _, _ = run(
        capsys, "found", "--hunt", str(typed_hunt), "--at", "2026-07-14 14:00:30"
    )

    (find,) = read_finds(typed_hunt).find
    assert code == 0
    assert find.position.latitude_deg == pytest.approx(52.2955, abs=1e-6)
    assert (find.placed_by, find.found.isoformat()) == ("track", "2026-07-14")
    code, _, err = run(
        capsys, "found", "--hunt", str(typed_hunt), "--at", "2026-07-15 14:00"
    )
    assert code == 1
    assert "no track of this hunt" in err


def test_a_note_that_says_found_is_placed_by_the_track(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (typed_hunt / "walk.gpx").write_text(TRACK, "utf-8")
    review = typed_hunt / "review.csv"
    note = "2026-07-14 14:00:30,found,,in a hollow ash\n"
    review.write_text(review.read_text("utf-8") + note, "utf-8")

    code, _, _ = run(capsys, "found", "--hunt", str(typed_hunt), "--from-note")

    (find,) = read_finds(typed_hunt).find
    assert code == 0
    assert find.position.latitude_deg == pytest.approx(52.2955, abs=1e-6)
    assert (find.placed_by, find.remark) == ("note", "in a hollow ash")
    assert find.found.isoformat() == "2026-07-14"


@pytest.mark.parametrize(
    ("arguments", "code", "part"),
    [
        (("--position", "north"), 1, "not a position"),
        (("--position", PLACE, "--height-m", "999"), 1, "--height-m"),
        (("--position", PLACE, "--date", "2999-01-01"), 1, "still to come"),
        (("--at", "soon"), 1, "no time"),
        (("--again", "3", "--state", "alive"), 1, "no find '3'"),
        (("--again", "3"), 2, "belong together"),
        (("--from-note",), 1, "says found"),
        (("--position", PLACE, "--at", "2026-07-14 14:00"), 2, "enough"),
        ((), 1, "nothing was found here yet"),
    ],
)
def test_what_cannot_be_is_one_line_and_keeps_nothing(
    typed_hunt: Path,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    code: int,
    part: str,
) -> None:
    ended, _, err = run(capsys, "found", "--hunt", str(typed_hunt), *arguments)

    assert ended == code
    assert part in err
    assert code == 2 or err.count("\n") == 1
    assert not (typed_hunt / "found.toml").exists()


def test_looks_are_kept_with_their_days(
    typed_hunt: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    add_find(Hunt(typed_hunt), find_at(PLACE))

    for day, state in (("2027-04-02", "alive"), ("2026-10-01", "not looked at")):
        run(
            capsys, "found", "--hunt", str(typed_hunt),
            "--again", "1", "--state", state, "--date", day,
        )  # fmt: skip
    looks = tomllib.loads((typed_hunt / "found.toml").read_text("utf-8")).get(
        "look", []
    )

    days = [look["seen"].isoformat() for look in looks]
    assert days == ["2026-10-01"]  # the other day is still to come
    assert [look.state for look in read_finds(typed_hunt).looks_of("1")] == [
        "not looked at"
    ]


def test_a_link_is_not_written_through(typed_hunt: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside.toml"
    outside.write_text("", "utf-8")
    (typed_hunt / "found.toml").symlink_to(outside)

    with pytest.raises(TreewardError, match="link"):
        add_find(Hunt(typed_hunt), find_at(PLACE))

    assert outside.read_text("utf-8") == ""
