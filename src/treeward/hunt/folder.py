"""The hunt folder: where things lie in it, and what hunt.toml says.

The commented hunt.toml that `treeward new` writes, and values as TOML has them.
"""

from __future__ import annotations

import json
import time
from contextlib import contextmanager, suppress
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from treeward.errors import HuntError
from treeward.files import clear_leftovers, read_plain, write_text
from treeward.hunt_file import HuntFile, read_hunt_file
from treeward.within import held, open_plain, refuse_links

from .heard import HeardFile, heard_name
from .recordings import find_recordings

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager
    from os import PathLike
    from zoneinfo import ZoneInfo

    from treeward.language.phrasebook import PhraseBook
    from treeward.measures import Position
    from treeward.review.store import ReviewStore


TEMPLATE = """\
# A hunt: one search for one or more colonies. Lines that begin with # are comments;
# take the # away from a key to use it. Every key but name and timezone may be left out.

# A colour stands for one bee a day, and whether it is the same bee at another station
# is left open. Name marks here that are the same bee every day and everywhere.
# same_bee = ["yellow"]

# What your own found hunts taught (treeward season writes it) in place of what the
# literature says of flight speed, time in the hive and your compass.
# learned_from = "../season.json"

[hunt]
name = {name}
timezone = {timezone}      # IANA name; all spoken times are read in it
units = "metric"                # or "imperial"; for display only, files stay metric
compass = "magnetic"            # what bearings are read against: "magnetic" or "true"
# The marks you paint; others are then hardly heard, and flagged where they are.
# marks = ["yellow", "white", "blue-white"]
# altitude_m = 300              # of the place, for the magnetic model; a guess will do

# A station is a place where marked bees drink or feed and are watched. Say "station
# one" in the notes when you sit down at it. Write a position as decimal degrees
# (latitude first), as 52°18'04.3"N 3°36'37.4"W, or as UTM "30U 458400 5794400".
[[station]]
id = "1"
# position = "52.301200, -3.610400"
cargo = "water"                 # what bees fetch here: "water", "syrup" or "nectar"
# name = "spring below the wall"

# [[station]]
# id = "2"
# position = "52.304000, -3.613000"
# cargo = "water"

# When a recording does not say when it began (nobody spoke the time, and neither file
# nor file name tells): the clock time of its first second.
# [start]
# "memo-3.m4a" = "2026-07-14 10:20"

# Two people with a compass and marks of their own: who spoke which recording ("*"
# stands for any letters), and the station, where that was not said in it.
# [[recording]]
# name = "memo-3.m4a"
# observer = "Ann"
# station = "2"

# Trips between a station and a hive of known place measure the time bees spend inside,
# which makes every distance of the hunt sharper.
# [calibration]
# station = "2"
# hive = "52.304500, -3.613300"
# marks = ["red"]               # leave out: every mark seen at that station

# A hive that is not looked for; its bees are left out of the answer.
# [[known_hive]]
# name = "hives at the lane"
# position = "52.310000, -3.600000"
# marks = ["pink"]

# Marks that belong to one colony because you say so.
# [[colony]]
# id = "A"
# marks = ["yellow", "blue-white"]

# Rows that were heard with less confidence than this are flagged for a look (bearings
# and times 0.05 above): higher flags more of them. `treeward practice` finds what suits
# a voice and a microphone.
# [speech]
# flag_below = 0.9
# model = "models/base-en"      # another speech model: see treeward models
# free = true                   # read notes out of the words between the phrases too;
#                               # recordings are then heard again, which takes longer
# keep_talk = false             # keep nothing of what is said between the notes

# Where the next station may be.
# [walk]
# limit_m = 1000                # how far you would carry the station
# leave_out = [["52.300, -3.612", "52.301, -3.612", "52.301, -3.609"]]  # not to enter

# Looking for the tree. The widths say how far across the way walked a nest is seen,
# both sides together; they and the speeds are guesses until you know better.
# [search]
# cover = "leaf"                # "leaf", "bare" (winter trees), "wall" or "open"
# binoculars = true
# sweep_width_m = {{ leaf = 15, bare = 25, wall = 8, open = 35 }}
# look_m_per_h = 900            # walking while looking up trees
# walk_m_per_h = 2500           # from place to place, over rough ground
# path_m_per_h = 4300           # along a path
# start = "52.301200, -3.610400"  # where you stand; else where you were last
# tracks = ["tracks/search.gpx"]  # walks of which the whole was spent looking
# ground = "ground.geojson"     # or .gpx: ground by name, closed tracks, single trees
# weights = {{ water = 0, wood = 3, "open field" = 0.3 }}  # against other ground
# tree_weight = 10              # beside a single tree
# paths = "paths.gpx"           # or .geojson

# What was looked over, where neither a track nor a note says so: a place or an area.
# [[searched]]
# at = "52.303000, -3.612000"
# radius_m = 15
# share = 0.6                   # of the nests there that you would have seen
# [[searched]]
# area = ["52.303, -3.612", "52.304, -3.612", "52.304, -3.609"]

# Your own ground under the map of report and pictures, from files in this folder;
# nothing is fetched: a picture with a world file (.pgw, .jgw, .wld), MBTiles with
# pictures, GeoJSON or GPX of paths, woods and water, or PMTiles with pictures or a
# GeoTIFF (for these: pip install 'treeward[ground]').
# tiles and credit: whose map pictures `treeward locate --online-map` shows, and what to
# say of them; no other command and no other file asks the network for a map.
# [map]
# ground = ["ground.png", "paths.geojson"]
# ground_crs = "EPSG:27700"     # the grid of a picture's world file, if no .prj says it
# ground_credit = "drawn by hand after a walk"   # whose map it is, written on it
# tiles = "https://tile.openstreetmap.org/{{z}}/{{x}}/{{y}}.png"
# credit = "© OpenStreetMap contributors"

# What the estimate assumes, each as a 90 % range, when you know better than the
# literature (the report names the values used and their sources).
# [model]
# flight_speed_out_m_per_s = [6.0, 8.5]
# flight_speed_home_m_per_s = [5.5, 7.5]
# in_hive_s = [90, 240]
# compass_sd_deg = 3
# prior_distance_median_m = 900
# prior_distance_sigma = 0.8
# prior_distance_max_m = 6000
"""


def filled_template(*, name: str, timezone: str) -> str:
    """Return hunt.toml for a new hunt, the texts quoted as TOML wants them."""
    return TEMPLATE.format(name=quoted(name), timezone=quoted(timezone))


def quoted(text: str) -> str:
    """Return a text as TOML quotes it, without what cannot be shown."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    kept = "".join(c for c in escaped if c >= " " and c != "\x7f")
    return f'"{kept}"'


def toml_value(value: Any) -> str:  # noqa: ANN401  (what TOML holds)
    """Write a value as TOML: text, numbers, true and false, days, and lists of them.

    Numbers keep all their digits, whole ones none behind the point.
    """
    match value:
        case str():
            return quoted(value)
        case bool():
            return "true" if value else "false"
        case int() | float():
            return repr(value).removesuffix(".0")
        case date():
            return value.isoformat()
        case list() | tuple():
            return f"[{', '.join(toml_value(one) for one in value)}]"
        case _:
            msg = f"{value!r} has no place in TOML"
            raise TypeError(msg)


class HuntFolder:
    """The folder of one search for one or more colonies.

    Parameters
    ----------
    path
        The folder that holds hunt.toml.
    plain
        Heed no `learned_from` of hunt.toml: the plain prior.

    Raises
    ------
    HuntError
        At the first use of hunt.toml, if it is missing or faulty.
    """

    def __init__(self, path: str | PathLike[str], *, plain: bool = False) -> None:
        self.path = Path(path)
        self._plain = plain
        self.recordings_dir = self.path / "recordings"
        self.results_dir = self.path / "results"
        self.review_path = self.path / "review.csv"
        self.machine_dir = self.path / ".treeward"

    @classmethod
    def create(cls, path: str | PathLike[str], *, name: str, timezone: str) -> Self:
        """Start a hunt: hunt.toml with every key explained, and empty folders.

        Raises
        ------
        HuntError
            If a hunt is there already.
        """
        hunt = cls(path)
        hunt_toml = hunt.path / "hunt.toml"
        if hunt_toml.exists():
            raise HuntError(
                "a hunt is here already",
                where=str(hunt_toml),
                mend="Name another folder.",
            )
        if hunt.path.exists() and not hunt.path.is_dir():
            where = str(hunt.path)
            raise HuntError("is a file", where=where, mend="Name another folder.")
        from treeward.hunt_file import parse_hunt_table

        parse_hunt_table(
            {"hunt": {"name": name, "timezone": timezone}}, where=str(hunt_toml)
        )
        hunt.recordings_dir.mkdir(parents=True, exist_ok=True)
        filled = filled_template(name=name, timezone=timezone)
        write_text(hunt_toml, filled, within=hunt.path)
        return hunt

    @cached_property
    def file(self) -> HuntFile:
        """hunt.toml, read and checked."""
        return read_hunt_file(self.path / "hunt.toml", plain=self._plain)

    @property
    def zone(self) -> ZoneInfo:
        """The hunt's time zone."""
        return self.file.hunt.zone

    @cached_property
    def phrase_book(self) -> PhraseBook:
        """What can be said in this hunt."""
        from treeward.language.phrasebook import PhraseBook

        return PhraseBook.for_hunt(self.path)

    @property
    def review(self) -> ReviewStore:
        """Both copies of the review."""
        from treeward.review.store import ReviewStore

        return ReviewStore(self.review_path, self.machine_dir, self.zone)

    def locked(
        self, command: str = "command", *, wait_s: float = 0.0
    ) -> AbstractContextManager[None]:
        """Keep a second program from writing into this hunt meanwhile.

        Parameters
        ----------
        command
            What is at work, to be told to others.
        wait_s
            How long to wait for another one.

        Raises
        ------
        HuntError
            If another one is at work.
        """
        return only_command(self.path, self.machine_dir, command, wait_s=wait_s)

    def recordings(self) -> list[Path]:
        """List the hunt's recordings and transcripts."""
        return find_recordings(self.recordings_dir)

    def heard_file(self, name: str) -> HeardFile:
        """Return where the hearing of a recording is kept."""
        path = self.machine_dir / "heard" / heard_name(name)
        return HeardFile(path, within=self.path)

    def positions(self) -> dict[str, tuple[Position, str]]:
        """Give the positions that hunt.toml states, by station id."""
        return {
            station.id: (station.position, "hunt.toml")
            for station in self.file.station
            if station.position is not None
        }


LOCK_NAME = "lock"
_MOST_OWNER_BYTES = 10_000  # of it: a command's name and a time
OWNER_NAME = "at_work.json"  # beside the lock, which Windows lets nobody else read


@contextmanager
def only_command(
    hunt_dir: Path, machine_dir: Path, command: str, *, wait_s: float = 0.0
) -> Iterator[None]:
    """Hold the hunt's lock.

    Parameters
    ----------
    hunt_dir, machine_dir
        The hunt, and its `.treeward` folder.
    command
        What is at work, to be told to others.
    wait_s
        How long to wait for another command that is at work.

    Raises
    ------
    HuntError
        If another one is at work still.
    """
    from filelock import FileLock, Timeout

    refuse_links(hunt_dir)
    with held(hunt_dir, machine_dir, make=True):
        pass
    lock = FileLock(machine_dir / LOCK_NAME, timeout=wait_s, poll_interval=0.1)
    owner = machine_dir / OWNER_NAME
    try:
        lock.acquire()
    except Timeout as error:
        raise HuntError(
            f"another Treeward command is at work on this hunt{_told(owner)}",
            where=str(hunt_dir),
            mend="Wait until it has ended, then run this again.",
        ) from error
    try:
        with suppress(OSError):  # only for the message to others
            said = {"command": command, "since_s": time.time()}
            with open_plain(owner, "wb", within=hunt_dir) as file:
                file.write(json.dumps(said).encode())
        clear_leftovers(hunt_dir)
        yield
    finally:
        with suppress(OSError):
            owner.unlink(missing_ok=True)
        lock.release()


def _told(owner: Path) -> str:
    """Say who holds the lock and since when, as far as that is known."""
    try:
        said = json.loads(read_plain(owner, most_bytes=_MOST_OWNER_BYTES))
        since = datetime.fromtimestamp(said["since_s"]).astimezone()
        return f" (treeward {said['command']}, since {since:%H:%M:%S})"
    except (
        OSError,
        ValueError,
        LookupError,
        TypeError,
        ArithmeticError,
        RecursionError,
    ):
        return ""
