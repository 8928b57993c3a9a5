"""What a report is made of: filled in once, by after everything else.

The person's own map under the answer: pictures and lines, wherever from.

What a hunt knows of looking for the tree.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Literal

from treeward.measures import Units
from treeward.review.store import Left
from treeward.survey.records import Settings
from treeward.survey.search import Searching

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from treeward.hunt_file import Cargo, HuntFile
    from treeward.language.kinds import About
    from treeward.survey.records import BeeDistance, Colony, Fix
    from treeward.trips.table import TripTable


@dataclass(frozen=True, slots=True, kw_only=True)
class StationPlace:
    """A station whose position is known.

    `declination_deg` is the magnetic declination there on the day, east positive; it
    is added to spoken bearings only where the hunt's compass is magnetic. `placed_by`
    says where the position comes from: "hunt.toml", "track" or "waypoint".
    """

    id: str
    latitude_deg: float
    longitude_deg: float
    declination_deg: float
    cargo: Cargo = "water"
    name: str = ""
    placed_by: str = "hunt.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRow:
    """A row of review.csv: where in which recording it was said, and what.

    `said` is the note in plain words ("yellow away"), `heard` what the engine wrote.
    Seconds count from the start of `recording`; None for a row typed by hand.
    """

    row: str
    recording: str = ""
    start_s: float | None = None
    end_s: float | None = None
    clock: datetime | None = None
    said: str = ""
    heard: str = ""
    confidence: float | None = None
    flag: str = ""
    decision: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackLine:
    """The way the person walked, for the map; degrees, n points."""

    latitude_deg: tuple[float, ...]
    longitude_deg: tuple[float, ...]
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayStation:
    """What one day brought at one station.

    `median_away_s` is of the used trips that were timed from departure to return,
    `mean_bearing_read_deg` of the used bearings as read; None where there are none, or
    where they are scattered.
    """

    station: str
    bees: tuple[str, ...]
    trips: int
    trips_used: int
    bearings_used: int
    median_away_s: float | None
    mean_bearing_read_deg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DayColony:
    """Where one day alone puts a colony, against all days together.

    `holds_percent` is 50, 90 or 95: the smallest of this day's search areas that
    holds the best place of all days together; None where none does. `off_m` and
    `off_bearing_true_deg` lead from that place to this day's.
    """

    colony: Colony
    holds_percent: int | None
    off_m: float
    off_bearing_true_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DayResult:
    """One day of a hunt of several.

    `bees` and `colonies` are what its trips and bearings give without the other
    days', with the bees shared out among the colonies as all days together say; both
    are empty where nothing was located.
    """

    day: date  # in the hunt's time zone
    stations: tuple[DayStation, ...]
    bees: tuple[BeeDistance, ...] = ()
    colonies: tuple[DayColony, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtfulNotes:
    """Notes in doubt of one sort, that nobody has looked at yet.

    `believed` says whether they count meanwhile.
    `moves_m` is how far the best place moves if they are all otherwise, or at most if
    all or any single one of them is where `singly`; None where that was not worked out.
    `lost` says that an answer would then be lacking.
    """

    about: About
    notes: int
    rows: tuple[str, ...]
    believed: bool = True
    moves_m: float | None = None
    singly: bool = False
    lost: bool = False


class MissingKind(StrEnum):
    """Why a station that was named cannot be used."""

    NO_POSITION = "no_position"  # neither in hunt.toml nor, without GPX files, there
    NOT_IN_GPX = "not_in_gpx"  # GPX files are there, and tell nothing of it
    UNKNOWN_STATION = "unknown_station"  # named by notes, not by hunt.toml


@dataclass(frozen=True, slots=True, kw_only=True)
class GpxSearch:
    """What was looked for in a hunt's GPX files, and what these hold instead.

    Times are aware; `noted` is from the first to the last note at the station, None
    where none has a clock.
    """

    files: tuple[str, ...]
    names: tuple[str, ...]  # that a waypoint would have
    waypoints: tuple[str, ...]  # that there are
    noted: tuple[datetime, datetime] | None
    tracks: tuple[tuple[str, datetime, datetime], ...]  # file, first and last point


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """Something that was lacking, with the stations that it is about."""

    kind: MissingKind
    stations: tuple[str, ...]
    gpx: GpxSearch | None = None  # of NOT_IN_GPX


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleCheck:
    """What a published rule of thumb said at a station, bee by bee, against the find.

    `said_m` is the median of the `bees`, `low_m` and `high_m` the least and the most.
    """

    name: str
    source: str
    bees: int
    said_m: float
    low_m: float
    high_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StationCheck:
    """How far the colony really is from a station, and what was forecast."""

    station: str
    true_m: float
    low90_m: float
    median_m: float
    high90_m: float
    rules: tuple[RuleCheck, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FindCheck:
    """A found colony beside the forecast that comes nearest to it.

    `holds_percent` is 50, 90 or 95: the smallest search area that holds it; None where
    none does. `off_m` is from the best place to the find. Nothing here says where the
    find lies; `coarse_text` does, to a kilometre or what was asked for, where sharing
    was asked for.
    """

    find: str
    found: date
    colony: str
    off_m: float
    holds_percent: int | None
    area_90_m2: float
    stations: tuple[StationCheck, ...]
    coarse_text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HiddenDisc:
    """Where no way walked is drawn, since a find lies in it, but for its middle."""

    latitude_deg: float
    longitude_deg: float
    radius_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundTold:
    """What is known of finds: for the next step, and for what is not drawn.

    `rows` say found and no find is kept of them, the last of them `noted`;
    `doubtful_rows` too, in doubt. `kept` are finds and the colony of the answer that
    each is of, "" where it may be another.
    """

    noted: datetime | None = None
    rows: tuple[str, ...] = ()
    doubtful_rows: tuple[str, ...] = ()
    kept: tuple[tuple[str, str], ...] = ()
    hidden: tuple[HiddenDisc, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnPriorUse:
    """That own found hunts stood in for the plain prior.

    `file` is hunt.toml's `learned_from`, `hunts` how many it holds with trips, and
    `turned_deg` how much too far clockwise each observer was taken to read.
    """

    file: str
    hunts: int
    turned_deg: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class HuntResult:
    """Everything that the tables, pictures, map files and the report show.

    `fix` is None where nothing could be located; `missing` then says what was
    lacking. `recordings_from_results` is the way from results/ to the folder
    of the recordings, for links to the sound. `settings` are what the survey went by,
    with what hunt.toml says in place of the defaults, and `own_prior` tells whether own
    found hunts did. `finds` are for a report that was asked to hold them.
    `left` is what is still to be looked at, and `doubtful` what hangs on notes of it.
    `recording_days` holds each recording's day, ISO 8601, and what tells it
    (notes.clock.DAY_FROM). `days` is empty for a hunt of one day.
    """

    hunt_file: HuntFile
    stations: tuple[StationPlace, ...]
    table: TripTable
    fix: Fix | None
    rows: Mapping[str, NoteRow] = field(default_factory=dict)
    software_version: str
    created: datetime  # aware
    missing: tuple[Missing, ...] = ()
    tracks: tuple[TrackLine, ...] = ()
    days: tuple[DayResult, ...] = ()
    recordings_from_results: str = "../recordings/"
    settings: Settings = field(default_factory=Settings)
    doubtful: tuple[DoubtfulNotes, ...] = ()
    left: Left = field(default_factory=Left)
    recording_days: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    search: SearchTold | None = None  # what is known of looking for the tree
    own_prior: OwnPriorUse | None = None
    finds: tuple[FindCheck, ...] = ()
    ground: Ground | None = None  # read when the results are written
    found: FoundTold = field(default_factory=FoundTold)

    @property
    def units(self) -> Units:
        """The measures that the person reads."""
        return Units(self.hunt_file.hunt.units)

    @property
    def colonies(self) -> tuple[Colony, ...]:
        """The colonies that were located; none where nothing was."""
        return self.fix.colonies if self.fix else ()

    @property
    def several(self) -> bool:
        """Whether there is more than one of them."""
        return len(self.colonies) > 1

    @property
    def bees(self) -> tuple[BeeDistance, ...]:
        """The distances by single bees."""
        return self.fix.bees if self.fix else ()

    def station(self, station_id: str) -> StationPlace | None:
        """Return the station of that id if its position is known."""
        return next((s for s in self.stations if s.id == station_id), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenFiles:
    """The files that `write_results` wrote."""

    directory: Path
    files: tuple[Path, ...]

    @property
    def report(self) -> Path:
        """The page to open first."""
        return self.directory / "report.html"


Sort = Literal["water", "wood", "way", "other"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundPicture:
    """A picture of the ground with its place on the globe.

    Attributes
    ----------
    pixels
        (rows, columns, 4) red, green, blue and opacity, 0-255; the first row is the
        northern one, or whichever `affine` says.
    crs
        What pyproj takes for a reference system: "EPSG:27700", or WKT.
    affine
        a, b, c, d, e, f: x = a column + b row + c and y = d column + e row + f, where
        column and row 0 are the outer corner of the first pixel.
    """

    pixels: NDArray[np.uint8]
    crs: str
    affine: tuple[float, float, float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundLine:
    """A path, a stream or the outline of a wood or a lake; WGS84 degrees.

    Holes of an outline are not drawn.
    """

    longitude_deg: NDArray[np.float64]  # (n,)
    latitude_deg: NDArray[np.float64]  # (n,)
    closed: bool = False
    sort: Sort = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """All that lies under the answer, in the order in which it is drawn."""

    pictures: tuple[GroundPicture, ...] = ()
    lines: tuple[GroundLine, ...] = ()
    credit: str = ""


class BoutKind(StrEnum):
    """What was looked at in one go."""

    TRACK = "track"  # a whole track, spent looking
    WALK = "walk"  # the way walked before a note
    TREE = "tree"  # a tree, or round about a spot
    AREA = "area"  # an area typed by hand
    DISH = "dish"  # that no bee visited
    OVERHEAD = "overhead"  # bees that passed in the air


@dataclass(frozen=True, slots=True, kw_only=True)
class Bout:
    """One go at looking; `row` is its note's, `name` a file's or a remark.

    `since` and `clock` are from when to when a note counts; `since` is None where it
    counts a place alone.
    """

    kind: BoutKind
    row: str = ""
    name: str = ""
    since: datetime | None = None
    clock: datetime | None = None
    walked_m: float = 0.0
    spent_s: float = 0.0  # 0 where that is not known


class SearchDoubtKind(StrEnum):
    """What could not be used; beside each the fields of `SearchDoubt` that it has."""

    NO_TRACK = "no_track"  # row, clock: no track was running
    NO_CLOCK = "no_clock"  # row
    DOUBTFUL = "doubtful"  # row, clock: not believed before it is looked at
    NO_BEARING = "no_bearing"  # row, clock: bees overhead without a bearing
    UNTIMED = "untimed"  # file: used without times
    IDLE = "idle"  # file: neither times nor names, and not needed
    NO_WAY = "no_way"  # file: holds no line
    JUMPS = "jumps"  # file, count
    FAST = "fast"  # file, metres
    NO_WEIGHT = "no_weight"  # file, words
    FAR = "far"  # what was given, metres: beyond where the colony is looked for
    SWAPPED = "swapped"  # the same, and it would not be with its numbers changed about
    CROSSING = "crossing"  # an outline whose sides cross
    NO_SUCH_GROUND = "no_such_ground"  # words: weights of what no file holds
    NO_GROUND = "no_ground"  # file: neither outlines nor places


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchDoubt:
    """Something of the looking that could not be used; `where` is a row or a file."""

    kind: SearchDoubtKind
    where: str
    clock: datetime | None = None
    count: int = 0
    metres: float = 0.0
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchTold:
    """What the hunt knows of looking for the tree."""

    searching: Searching = field(default_factory=Searching)
    bouts: tuple[Bout, ...] = ()
    doubts: tuple[SearchDoubt, ...] = ()

    @property
    def walked_m(self) -> float:
        """Metres walked while looking."""
        return sum(bout.walked_m for bout in self.bouts)

    @property
    def spent_s(self) -> float:
        """Time spent looking, as far as it is known [s]."""
        return sum(bout.spent_s for bout in self.bouts)
