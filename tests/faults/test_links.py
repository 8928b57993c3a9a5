"""A hunt that came from somebody else writes and removes nothing outside its folder.

Every hostile hunt has a link where Treeward writes, replaces, joins or removes; every
command that does so is run on it. What lies outside must be as it was, and the command
either did its work or refused in one line.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import wave
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from drawing import mostly_slow
from treeward import within
from treeward.audio.recorder import Recorder
from treeward.errors import HuntError, TreewardError
from treeward.hunt.hunt import Hunt
from treeward.hunt.journal import Journal, _write
from treeward.live.opening import cautions_shown, only_listener
from treeward.within import held, open_plain, refuse_links

from .contract import HUNT_TOML, MEMO, REVIEW, check_fault

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from treeward.report.model import HuntResult

pytestmark = pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")

KEPT = b"echo mine\n"
SESSION = "live-2026-07-14_100000"
NOTE = {
    "type": "event",
    "n": 1,
    "kind": "away",
    "mark": "yellow",
    "recording": f"{SESSION}.flac",
    "start_s": 0.5,
    "end_s": 1.0,
    "clock": "2026-07-14T10:00:01.000+01:00",
}


def write_few(_result: object, folder: Path, _clips: object) -> dict[str, str]:
    """Write results of a word each: what is drawn does not matter here."""
    for name in ("report.html", "map.kml", "trips.csv"):
        (folder / name).write_text("ours", "utf-8")
    return {}


@pytest.fixture(autouse=True)
def few_results(monkeypatch: pytest.MonkeyPatch) -> None:
    """Write files of a word each, and a sheet of a word, in place of drawn ones."""
    monkeypatch.setattr("treeward.report.writing._write_all", write_few)
    sheet = "treeward.report.figures.sheets.sheet_pdf"
    monkeypatch.setattr(sheet, lambda _name: b"ours")


def outside(root: Path) -> Path:
    """Lay out what nobody may touch; return the folder."""
    folder = root / "home"
    (folder / "deep" / "in").mkdir(parents=True)
    (folder / ".profile").write_bytes(KEPT)
    for name in ("report.html", "complete.json", "lock", "starts.json", "a.flac"):
        (folder / name).write_bytes(KEPT)
        (folder / "deep" / name).write_bytes(KEPT)
    (folder / "hunt.toml").write_text(HUNT_TOML, "utf-8")
    for name in ("0000000000.wav", "0000000000.flac", f"{SESSION}.jsonl"):
        (folder / name).write_bytes(KEPT)
    return folder


FOUND = """\
[[find]]
id = "1"
position = "52.304500, -3.613300"
found = 2026-07-14
photos = ["../home/.profile", "oak.jpg"]
"""
WITH_MAP = f"""\
learned_from = "season.json"
{HUNT_TOML}[map]
ground = ["ground.geojson", "../home/hunt.toml"]
"""


def seen(folder: Path) -> dict[str, object]:
    found: dict[str, object] = {}
    for path in sorted([folder, *folder.rglob("*")]):
        name = str(path.relative_to(folder))
        if path.is_symlink():
            found[name] = path.readlink()
        elif path.is_dir():
            found[name] = sorted(p.name for p in path.iterdir())
        else:
            found[name] = path.read_bytes()
    return found


def hunt_in(root: Path) -> Path:
    """Lay out a good hunt with all that an earlier owner may have left in it."""
    folder = root / "hunt"
    (folder / "recordings").mkdir(parents=True)
    (folder / "hunt.toml").write_text(HUNT_TOML, "utf-8")
    (folder / "review.csv").write_text(REVIEW, "utf-8")
    (folder / "recordings" / "2026-07-14_1000.vtt").write_text(MEMO, "utf-8")
    live = folder / ".treeward" / "live"
    (live / SESSION).mkdir(parents=True)
    (live / f"{SESSION}.jsonl").write_text(json.dumps(NOTE) + "\n", "utf-8")
    with wave.open(str(live / SESSION / "0000000000.wav"), "wb") as piece:
        piece.setnchannels(1)
        piece.setsampwidth(2)
        piece.setframerate(16_000)
        piece.writeframes(bytes(32_000))
    return folder


def recover(hunt: Hunt) -> None:
    from treeward.live.opening import recover_sessions

    recover_sessions(hunt)


def correct(hunt: Hunt) -> None:
    from treeward.desk.desk import Desk
    from treeward.desk.edits import NewRow

    cells = {"clock": "10:15:00", "event": "wind", "value": "calm"}
    Desk(hunt).apply([NewRow(cells=cells)])


def listen(hunt: Hunt) -> None:
    with only_listener(hunt.path):
        cautions_shown(hunt.path)
        journal = Journal(hunt.machine_dir / "live" / f"{SESSION}.jsonl")
        journal.write({"type": "begin"})
        journal.close()


def find(hunt: Hunt) -> None:
    from treeward.hunt.finds import FindTable, add_find
    from treeward.measures import parse_position

    place = parse_position("52.304500, -3.613300")
    add_find(hunt, FindTable(id="1", position=place, found=date(2026, 7, 14)))


def learn(hunt: Hunt) -> None:
    """Keep a season in it, take known hives into it, share and list its finds."""
    from treeward.files import write_text
    from treeward.hunt.finds import read_finds, shared_geojson
    from treeward.hunt.season import (
        Season,
        add_known_hives,
        found_colonies,
        keep_season,
        occupancy,
    )
    from treeward.hunt_file import SeasonFile
    from treeward.report.page import occupancy_page

    colonies, unfound, faults = found_colonies(hunt.path)
    season = Season(
        colonies=tuple(colonies), judged=(), file=SeasonFile(),
        unfound=tuple(unfound), left_out=tuple(faults),
    )  # fmt: skip
    keep_season(hunt.path, season)
    shared = shared_geojson(read_finds(hunt.path), 1000.0)
    write_text(hunt.path / "shared.geojson", shared)
    page = occupancy_page(occupancy(colonies, 2026), 2026)
    write_text(hunt.path / "list.html", page)
    elsewhere = [replace(one, folder=hunt.path.parent) for one in colonies]
    add_known_hives(hunt, elsewhere, 6000.0)


def look(hunt: Hunt) -> None:
    """List what is to be looked at, and read the person's own map."""
    from treeward.desk.desk import Desk
    from treeward.desk.terminal import review_dict
    from treeward.hunt.ground import read_ground
    from treeward.report.model import StationPlace

    review_dict(Desk(hunt), all_rows=True)
    here = StationPlace(
        id="1", latitude_deg=52.3012, longitude_deg=-3.6104, declination_deg=0.0
    )
    read_ground(replace(hunt.paired(), stations=(here,)), hunt.path)


def print_sheet(hunt: Hunt) -> None:
    from treeward.report.figures.sheets import write_tally_sheet

    write_tally_sheet(hunt.path, name="Marl Hollow")


def join(hunt: Hunt) -> None:
    """Join it with a good hunt, which takes copies of what is in it."""
    from treeward.hunt.merging import merge_hunts

    root = hunt.path.parent
    shutil.rmtree(root / "other", ignore_errors=True)
    shutil.rmtree(root / "both", ignore_errors=True)
    other = root / "other"
    other.mkdir()
    (other / "hunt.toml").write_text(HUNT_TOML, "utf-8")
    (other / "review.csv").write_text(REVIEW, "utf-8")
    merge_hunts(other, hunt.path, root / "both", names=("Ann", "Ben"))
    for path in (root / "both").rglob("*"):
        assert path.is_dir() or KEPT not in path.read_bytes(), path


def located(root: Path) -> HuntResult:
    """Return an answer of a good hunt, worked out once."""
    if not _LOCATED:
        folder = hunt_in(root / "good")
        recover(Hunt(folder))
        _LOCATED.append(Hunt(folder).locate())
    return _LOCATED[0]


_LOCATED: list[HuntResult] = []
WORK: list[Callable[[Hunt], object]] = [
    recover,
    lambda hunt: hunt.transcribe(),
    lambda hunt: hunt.transcribe(start="2026-07-14 10:00"),
    correct,
    find,
    learn,
    look,
    print_sheet,
    join,
    lambda hunt: hunt.write_results(located(hunt.path.parent)),
    listen,
]
# Where a link stands, and what of the outside it leads to ("" is the folder itself).
LINKS = [
    (place, aim)
    for place, aims in {
        ".treeward": ("", "deep", "nowhere"),
        ".treeward/lock": (".profile", "nowhere"),
        ".treeward/at_work.json": (".profile", "nowhere"),
        ".treeward/listen.lock": (".profile", "nowhere"),
        ".treeward/listen.lock.owner": (".profile", "nowhere"),
        ".treeward/starts.json": ("starts.json", "nowhere"),
        ".treeward/review_machine.csv": (".profile", "nowhere"),
        ".treeward/review_last.csv": (".profile", "nowhere"),
        ".treeward/ready": ("", "deep"),
        ".treeward/ready/review.csv": (".profile",),
        ".treeward/ready/review_machine.csv": (".profile",),
        ".treeward/ready/review_last.csv": (".profile",),
        ".treeward/cautions-read.txt": (".profile", "nowhere"),
        ".treeward/heard": ("", "nowhere"),
        ".treeward/heard/memo.wav.jsonl": (".profile",),
        ".treeward/live": ("", "deep"),
        f".treeward/live/{SESSION}": ("", "deep/in"),
        f".treeward/live/{SESSION}.jsonl": (".profile", "nowhere"),
        f".treeward/live/{SESSION}/0000000000.wav": (".profile", "0000000000.wav"),
        f".treeward/live/{SESSION}/0000000000.flac": ("0000000000.flac", "nowhere"),
        f".treeward/live/{SESSION}/0000000000.wav.part": (".profile", "nowhere"),
        ".treeward/live/room-for-notes.bin": (".profile", "nowhere"),
        f"recordings/.{SESSION}.flac.part": (".profile", "nowhere"),
        f"recordings/{SESSION}.flac": ("a.flac", "nowhere"),
        "recordings": ("", "deep"),
        "recordings/2026-07-14_1000.events.vtt": (".profile", "nowhere"),
        "recordings/2026-07-14_1000.events.txt": (".profile", "nowhere"),
        "results": ("", "deep", "nowhere"),
        "results/report.html": ("report.html", "nowhere"),
        "results/map.kml": (".profile", "nowhere"),
        "results/trips.csv": (".profile", ""),
        "review.csv": (".profile", "nowhere"),
        "found.toml": (".profile", "nowhere"),
        "hunt.toml": ("hunt.toml",),
        "season.json": (".profile", "nowhere"),
        "shared.geojson": (".profile", "nowhere"),
        "list.html": (".profile", "nowhere"),
        "tally-sheet.pdf": (".profile", "nowhere"),
        "tally-sheet.csv": (".profile", "nowhere"),
        ".treeward/unread.json": (".profile", "nowhere"),
        "ground.geojson": (".profile",),
        "oak.jpg": (".profile",),
        ".treeward-review-x": (".profile", "", "deep"),
        ".treeward-results-x": ("", "deep"),
    }.items()
    for aim in aims
]

# What found.toml and hunt.toml name, or finds are written to.
NAMED_BY_HUNT = {
    "season.json",
    "shared.geojson",
    "list.html",
    "ground.geojson",
    "oak.jpg",
}


def put_link(folder: Path, place: str, target: Path) -> None:
    import shutil

    path = folder / place
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
    path.symlink_to(target)
    stamp = 1.6e9  # long ago: what a killed command left may be cleared away
    if os.utime in os.supports_follow_symlinks:
        os.utime(path, (stamp, stamp), follow_symlinks=False)


def work_all(folder: Path) -> list[str]:
    """Run everything that writes; return what was refused."""
    refused = []
    for work in WORK:
        try:
            work(Hunt(folder))
        except TreewardError as error:
            check_fault(error, folder.name, "review.csv")
            refused.append(error.line())
    return refused


def test_there_are_sixty_hostile_hunts() -> None:
    assert len(LINKS) + 2 * len(LEFTOVERS) >= 60


@pytest.mark.parametrize("by_descriptor", [True, False])
@pytest.mark.parametrize(("place", "aim"), mostly_slow(LINKS, quick=LINKS[::20]))
def test_nothing_is_written_through_a_link(
    place: str,
    aim: str,
    by_descriptor: bool,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(within, "BY_DESCRIPTOR", by_descriptor)
    home, folder = outside(tmp_path), hunt_in(tmp_path)
    if place in NAMED_BY_HUNT:
        (folder / "found.toml").write_text(FOUND, "utf-8")
        (folder / "hunt.toml").write_text(WITH_MAP, "utf-8")
    put_link(folder, place, home / aim if aim else home)
    before = seen(home)

    refused = work_all(folder)

    assert seen(home) == before
    taken_away = place.startswith((".treeward-", "recordings/live"))
    replaced = not (folder / place).is_symlink()  # by a file of the hunt's own
    assert taken_away or replaced or refused


LEFTOVERS = [
    {"directory": "docs", "files": [".profile"], "stale": []},
    {"directory": "docs", "files": [], "stale": ["report.html", ".profile"]},
    {"directory": "../home", "files": [".profile"], "stale": []},
    {"directory": "docs", "files": ["../../home/.profile"], "stale": []},
    {"directory": "docs", "files": [], "stale": ["../home/.profile"]},
    {"directory": "docs", "files": ["in"], "stale": ["deep"]},
]


@pytest.mark.slow
@pytest.mark.parametrize("by_descriptor", [True, False])
@pytest.mark.parametrize("said", mostly_slow(LEFTOVERS, quick=LEFTOVERS[1:4:2]))
@pytest.mark.parametrize("leftover_is_a_link", [True, False])
def test_a_leftover_moves_nothing_out(
    said: dict[str, object],
    leftover_is_a_link: bool,
    by_descriptor: bool,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(within, "BY_DESCRIPTOR", by_descriptor)
    home, folder = outside(tmp_path), hunt_in(tmp_path)
    left = folder / ".treeward-docs-x"
    real = tmp_path / "elsewhere" if leftover_is_a_link else left
    real.mkdir()
    (real / "complete.json").write_text(json.dumps(said), "utf-8")
    (real / ".profile").write_bytes(b"echo theirs\n")
    if leftover_is_a_link:
        left.symlink_to(real)
    (folder / "docs").symlink_to(home)
    before, theirs = seen(home), seen(real)

    work_all(folder)

    assert seen(home) == before
    if leftover_is_a_link:
        assert seen(real) == theirs


@pytest.mark.parametrize(
    "place",
    mostly_slow(
        [
            ".treeward/lock",
            ".treeward/at_work.json",
            ".treeward/listen.lock",
            ".treeward/listen.lock.owner",
            f".treeward/live/{SESSION}.jsonl",
            ".treeward/heard/memo.wav.jsonl",
            ".treeward/live/room-for-notes.bin",
        ],
        quick=[".treeward/lock", f".treeward/live/{SESSION}.jsonl"],
    ),
)
def test_a_file_that_has_another_place_outside_is_not_written(
    place: str, tmp_path: Path
) -> None:
    home, folder = outside(tmp_path), hunt_in(tmp_path)
    path = folder / place
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    path.hardlink_to(home / ".profile")
    before = seen(home)

    refused = work_all(folder)

    assert seen(home) == before
    assert any("hard link" in line for line in refused)


@pytest.mark.slow
@pytest.mark.parametrize(
    "place",
    mostly_slow(
        [
            "hunt.toml",
            "review.csv",
            "walk.gpx",
            "phrasebook.toml",
            ".treeward/starts.json",
            ".treeward/at_work.json",
            ".treeward/lock",
            ".treeward/review_machine.csv",
            ".treeward/heard/2026-07-14_1000.vtt.jsonl",
            f".treeward/live/{SESSION}.jsonl",
            f".treeward/live/{SESSION}/0000000000.wav",
            "recordings/2026-07-14_1000.events.vtt",
            "recordings/other.wav",
            "recordings/other.vtt",
        ],
        quick=["hunt.toml", ".treeward/lock", "review.csv", "recordings/other.wav"],
    ),
)
@pytest.mark.parametrize("kind", ["pipe", "link to zeros"])
def test_a_pipe_or_a_device_neither_hangs_nor_fills_the_disk(
    place: str, kind: str, tmp_path: Path
) -> None:
    from pathlib import Path as RealPath

    folder = hunt_in(tmp_path)
    path = folder / place
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    if kind == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to(RealPath("/dev/zero"))

    work_all(folder)  # would hang here

    assert sum(p.stat().st_size for p in folder.rglob("*") if p.is_file()) < 20_000_000


def test_a_review_that_is_a_link_is_read_and_refused_before_it_is_written(
    typed_hunt: Path, tmp_path: Path
) -> None:
    cloud = tmp_path / "cloud.csv"
    review = typed_hunt / "review.csv"
    review.replace(cloud)
    review.symlink_to(cloud)
    before = cloud.read_bytes()
    (typed_hunt / "recordings").mkdir()
    (typed_hunt / "recordings" / "2026-07-14_1000.vtt").write_text(MEMO, "utf-8")

    assert Hunt(typed_hunt).trips().trips
    with pytest.raises(HuntError, match=r"review\.csv: is a link.*the file.* itself"):
        Hunt(typed_hunt).transcribe()

    assert review.is_symlink()
    assert cloud.read_bytes() == before


def test_the_hunt_itself_may_be_reached_by_a_link(
    typed_hunt: Path, tmp_path: Path
) -> None:
    other = tmp_path / "by-link"
    other.symlink_to(typed_hunt)

    hunt = Hunt(other)
    written = hunt.write_results(hunt.locate())

    assert (typed_hunt / "results" / "report.html").is_file()
    assert written.report.is_file()


@pytest.mark.parametrize("by_descriptor", [True, False])
def test_a_folder_that_becomes_a_link_meanwhile_leads_nowhere(
    by_descriptor: bool,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(within, "BY_DESCRIPTOR", by_descriptor)
    root, home = tmp_path / "hunt", tmp_path / "home"
    (root / "results").mkdir(parents=True)
    home.mkdir()
    with held(root, root / "results") as folder:
        name = folder.make_file(".treeward-", ".txt")
        if by_descriptor:
            (root / "results").replace(root / "other")
            (root / "results").symlink_to(home)
        folder.replace(name, "report.html")

    assert list(home.iterdir()) == []
    (root / "more").symlink_to(home)
    with (
        pytest.raises(HuntError, match="more: is a link"),
        held(root, root / "more" / "below", make=True),
    ):
        raise AssertionError("let in")
    assert list(home.iterdir()) == []


def test_a_plain_file_is_opened_and_a_link_is_not(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    with open_plain(path, "ab") as file:
        file.write(b"one\n")
    with open_plain(path, "ab") as file:
        file.write(b"two\n")
    (tmp_path / "b.txt").symlink_to(path)

    with pytest.raises(HuntError, match=r"b\.txt: is a link"):
        open_plain(tmp_path / "b.txt", "ab")

    assert path.read_bytes() == b"one\ntwo\n"
    refuse_links(tmp_path)  # a link of the person's own in another place is theirs


def swap(path: Path, aim: Path) -> Path:
    """Put a link in the place of a folder; return where the folder is now."""
    moved = path.with_name(f"{path.name}-moved")
    path.replace(moved)
    path.symlink_to(aim)
    return moved


@pytest.mark.parametrize("by_descriptor", [True, False])
def test_pieces_of_sound_follow_no_link_put_there_meanwhile(
    by_descriptor: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(within, "BY_DESCRIPTOR", by_descriptor)
    root, home = tmp_path / "hunt", outside(tmp_path)
    pieces = root / ".treeward" / "live" / "live-1"
    (home / "0000000000.wav").write_bytes(b"theirs")
    before = seen(home)
    keeper = Recorder(pieces, within=root)
    sound = np.full(16_000, 0.25, np.float32)
    assert keeper.begin(0.0)
    keeper.write(sound)
    moved = swap(pieces, home)
    keeper.end()  # is mended, made FLAC and removed in a thread
    keeper.wait()
    began = keeper.begin(2.0)
    keeper.write(sound)
    fault = keeper.fault
    keeper.close()

    assert seen(home) == before
    kept = sorted(path.name for path in moved.iterdir())
    if by_descriptor:
        assert kept == ["0000000000.flac", "0000002000.flac"]
    else:
        assert not began
        assert "is a link" in fault
        assert kept == ["0000000000.wav"]


@pytest.mark.parametrize("by_descriptor", [True, False])
@pytest.mark.parametrize("place", ["recordings", ".treeward/live", "pieces", "piece"])
def test_joining_follows_no_link_put_there_meanwhile(
    place: str, by_descriptor: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(within, "BY_DESCRIPTOR", by_descriptor)
    folder, home = hunt_in(tmp_path), outside(tmp_path)
    live = folder / ".treeward" / "live"
    theirs = home / SESSION
    theirs.mkdir()
    shutil.copy(live / SESSION / "0000000000.wav", theirs / "0000000000.flac")
    shutil.copy(live / SESSION / "0000000000.wav", home / "0000000000.flac")
    before = seen(home)
    usual = _write

    def swapped_meanwhile(*arguments: Any) -> tuple[int, int]:
        match place:
            case "pieces":
                swap(live / SESSION, home)
            case "piece":
                piece = live / SESSION / "0000000000.flac"
                piece.unlink()
                piece.symlink_to(home / ".profile")
            case _:
                swap(folder / place, home)
        return usual(*arguments)

    monkeypatch.setattr("treeward.hunt.journal._write", swapped_meanwhile)
    hunt = Hunt(folder)
    with contextlib.suppress(HuntError):
        recover(hunt)

    assert seen(home) == before


@pytest.mark.parametrize("by_descriptor", [True, False])
def test_a_journal_is_not_opened_through_a_link_on_its_way(
    by_descriptor: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(within, "BY_DESCRIPTOR", by_descriptor)
    folder, home = hunt_in(tmp_path), outside(tmp_path)
    swap(folder / ".treeward" / "live", home)
    before = seen(home)

    with pytest.raises(HuntError, match="live: is a link"):
        Journal(folder / ".treeward" / "live" / "live-9.jsonl", within=folder)

    assert seen(home) == before
