"""What trips hands to survey and report: trips and their like, and what is doubtful.

Doubts are codes with numbers; `treeward.trips.wording` makes the sentences of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from datetime import date, datetime, tzinfo

    from treeward.language.bearings import Reference
    from treeward.notes.flags import Flag


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """back -> away: a bee's time at the station, loading."""

    mark: str
    station: str
    back_clock: datetime
    away_clock: datetime
    visit_s: float
    used: bool
    doubts: tuple[Doubt, ...] = ()
    back_row: str = ""
    away_row: str = ""
    bee: str = ""  # as in Trip


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """away -> back: out, unloading in the hive, and the flight back.

    `timing` is "away" (departure to return) or "round" (landing to landing,
    which holds the loading time too); "stated" durations come from words.
    `cycles` is how many trips the gap probably holds (2 when a return and a
    departure were missed). `rounding_s` is the width of the interval the time was
    rounded to (0 for a timed one; a minute where the recorder was stopped
    meanwhile). `station` is where it was seen; `bee` tells apart two bees of the same
    colour: it is the mark, or "yellow (2)", and where a colour was used again on
    another day, "yellow 14 Jul", at another station "yellow at 2", or by another
    observer "yellow of Ann".

    A "round" trip is timed between two landings, or between two departures where the
    landing was not noted; `from_clock` and `to_clock` are the ends of the timed
    stretch in every case, `away_row` and `back_row` the rows that say them.
    """

    mark: str
    bee: str
    station: str
    away_clock: datetime | None
    back_clock: datetime | None
    away_s: float
    timing: Literal["away", "round"] = "away"
    stated: bool = False
    rounding_s: float = 0.0
    cycles: int = 1
    used: bool = True
    doubts: tuple[Doubt, ...] = ()
    away_row: str = ""
    back_row: str = ""
    from_clock: datetime | None = None  # None for a stated trip
    to_clock: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlightLine:
    """One vanishing bearing, as read off the compass at a station."""

    mark: str  # "" where no bee was named
    bee: str
    station: str
    clock: datetime | None
    bearing_read_deg: float  # clockwise, as it was said
    rounding_deg: float  # 1, 5, 22.5 (sixteen winds) or 45 (eight winds)
    used: bool
    doubts: tuple[Doubt, ...] = ()
    row: str = ""
    reference: Reference = ""  # the north it was read against; "": hunt.toml's compass
    observer: str = ""  # who read it off which compass; "" where hunt.toml names nobody


@dataclass(frozen=True, slots=True, kw_only=True)
class WindSaid:
    """What was said of the wind, from then on."""

    clock: datetime | None
    strength: str
    from_deg: float | None  # where it blows from, as it was said
    row: str = ""
    reference: Reference = ""  # as of a FlightLine
    station: str = ""  # where it was said; "" where that is not known


@dataclass(frozen=True, slots=True, kw_only=True)
class Unpaired:
    """A note that is in no visit, trip or flight line, and why."""

    kind: str
    mark: str
    value: str
    clock: datetime | None
    why: Doubt
    row: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AssumedStation:
    """A recording in which no station was said, and the one that was taken for it.

    `station` is "" where nothing tells it; `clocks` are those of its notes.
    """

    recording: str
    station: str
    notes: int
    clocks: tuple[datetime, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TripTable:
    """Everything paired from the events of a hunt.

    Every "back", "away", "bearing", "duration" and "missed" note is in `visits`,
    `trips` or `lines`, or stands in `unpaired` with the reason; and so do notes of
    the other kinds that could not be used.

    `maybe_same` holds pairs of bees of one colour at two stations that may be one bee;
    `assumed` the recordings whose station nobody said.
    """

    visits: tuple[Visit, ...]
    trips: tuple[Trip, ...]
    lines: tuple[FlightLine, ...]
    winds: tuple[WindSaid, ...]
    doubts: tuple[Doubt, ...] = ()  # about the whole
    unpaired: tuple[Unpaired, ...] = ()
    maybe_same: tuple[tuple[str, str], ...] = ()
    assumed: tuple[AssumedStation, ...] = ()


class DoubtCode(StrEnum):
    """What is doubtful. Behind each stand the parts of `Doubt` that it has."""

    # A note.
    FLAGGED = "flagged"  # rows: the note; flag
    NOT_BELIEVED_BETWEEN = "not_believed_between"  # rows: the note; names: or its kind
    # A trip or a visit.
    OVERNIGHT = "overnight"
    RECORDER_PAUSED = "recorder_paused"
    TIME_OFF = "time_off"  # by a paused recorder
    RECORDER_STOPPED = "recorder_stopped"
    UNWATCHED_VISIT = "unwatched_visit"
    LONG_VISIT = "long_visit"
    LANDINGS_TOO_NEAR = "landings_too_near"  # numbers: s
    DEPARTURES_TOO_NEAR = "departures_too_near"  # numbers: s
    TOO_SHORT = "too_short"  # numbers: s
    DEPARTURE_UNNOTED = "departure_unnoted"
    LANDING_UNNOTED = "landing_unnoted"
    LONGER_THAN_ANY = "longer_than_any"  # numbers: s
    SAID_MISSED = "said_missed"  # numbers: s, usual s
    SEVERAL_TRIPS = "several_trips"  # numbers: s, usual s, trips
    FAR_TOO_LONG = "far_too_long"  # numbers: s, usual s
    LONG = "long"  # numbers: s, usual s
    UNWATCHED_USED = "unwatched_used"
    UNWATCHED_BOUND = "unwatched_bound"
    GAP_OF_RECORDINGS_USED = "gap_of_recordings_used"
    GAP_OF_RECORDINGS_BOUND = "gap_of_recordings_bound"
    NO_TIME_FOR_A_TRIP = "no_time_for_a_trip"  # numbers: s
    TIMED_AS_WELL = "timed_as_well"  # rows: of the timed trip, or none
    TIMED_OTHERWISE = "timed_otherwise"  # rows: the same; numbers: s
    KNOWN_HIVE = "known_hive"  # names: mark, hive
    EITHER_BEE = "either_bee"
    TOLD_APART = "told_apart"  # names: colour
    # A flight line.
    ARRIVING = "arriving"
    FIRST_DEPARTURE = "first_departure"
    NO_BEE_FLEW = "no_bee_flew"  # in doubt, of no bee, and none left then
    # A station.
    STATION_UNSAID = "station_unsaid"
    STATION_SAID_LATER = "station_said_later"
    STATION_OTHER_DAY = "station_other_day"
    STATION_ASSUMED = "station_assumed"  # names: recording, station
    STATION_IN_DOUBT = "station_in_doubt"  # names: station; rows: the note
    STATION_NOT_BELIEVED = "station_not_believed"  # the same
    STATION_UNKNOWN = "station_unknown"  # names: station
    # The whole.
    TAKEN_BACK = "taken_back"  # numbers: notes
    UNCLOCKED = "unclocked"  # numbers: notes
    NO_STATION_OF_NOTES = "no_station_of_notes"  # numbers: notes
    STATION_NOT_LISTED = "station_not_listed"  # names: station, those of hunt.toml
    STATION_HELD = "station_held"  # names: station, the one held; rows: the note
    RECORDING_ASSUMED = "recording_assumed"  # names: recording, station; numbers: notes
    RECORDING_UNUSED = "recording_unused"  # names: recording; numbers: notes
    TRACK_AGREES = "track_agrees"  # names: station, recording, units; numbers: m
    TRACK_DISAGREES = "track_disagrees"  # the same
    PAUSE_NOT_BELIEVED = "pause_not_believed"  # names: kind; moments; rows
    PAUSE_UNENDED = "pause_unended"  # moments: the next bee
    TWO_BEES = "two_bees"  # names: colour, both bees
    TWO_DIRECTIONS = "two_directions"  # names: bee, station
    TWO_AT_ONCE = "two_at_once"  # names: both recordings; others: their stations
    IN_THE_DARK = "in_the_dark"  # numbers: notes; moments: the first
    DAYS_APART = "days_apart"  # moments: both days
    SAME_BEES = "same_bees"  # names: marks; others: stations
    # Why a note is in no visit, trip or flight line.
    SCRATCHED = "scratched"
    SCRATCH_IN_DOUBT = "scratch_in_doubt"
    SCRATCHED_NOTHING = "scratched_nothing"
    SAID_TWICE = "said_twice"
    NO_CLOCK = "no_clock"
    AGAINST_SURE = "against_sure"
    MISHEARD = "misheard"  # names: mark
    MISTYPED = "mistyped"  # names: mark
    NOT_SEEN_AGAIN = "not_seen_again"
    NOT_SEEN_AGAIN_THAT_DAY = "not_seen_again_that_day"
    NEXT_SEEN_AT = "next_seen_at"  # names: station
    RETURN_UNNOTED = "return_unnoted"
    NOTHING_NEAR = "nothing_near"
    NOTHING_BEFORE = "nothing_before"
    MISSED_IN_DOUBT = "missed_in_doubt"
    NOT_KNOWN_AWAY = "not_known_away"
    NO_BEE = "no_bee"
    UNMARKED = "unmarked"
    NO_BEARING = "no_bearing"  # names: the value, where there is one
    NO_DURATION = "no_duration"  # the same
    NO_MARKED_BEE = "no_marked_bee"
    NO_WIND = "no_wind"
    WIND_IN_DOUBT = "wind_in_doubt"


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What is doubtful, with what belongs to it.

    `rows` are those of the notes concerned, `names` bees, stations and recordings,
    `numbers` counts, seconds and metres, `moments` days and clocks; see the code.
    """

    code: DoubtCode
    rows: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    numbers: tuple[float, ...] = ()
    moments: tuple[date, ...] = ()
    flag: Flag | None = None


def timed_ends(trip: Trip) -> tuple[datetime | None, datetime | None]:
    """Return when the timed stretch began and ended, as far as it is known."""
    return trip.away_clock or trip.from_clock, trip.back_clock or trip.to_clock


def trip_day(trip: Trip, zone: tzinfo) -> date | None:
    """Return the day a trip began on; None for one without a clock."""
    start, end = timed_ends(trip)
    clock = start or end
    return None if clock is None else clock.astimezone(zone).date()


def line_day(line: FlightLine, zone: tzinfo) -> date | None:
    """Return the day of a bearing; None for one without a clock."""
    return None if line.clock is None else line.clock.astimezone(zone).date()


def day_tables(table: TripTable, zone: tzinfo) -> dict[date, TripTable]:
    """Share a table of trips out among its days; what has no clock is in none."""
    days = {trip_day(trip, zone) for trip in table.trips}
    days |= {line_day(line, zone) for line in table.lines}
    return {
        day: replace(
            table,
            trips=tuple(t for t in table.trips if trip_day(t, zone) == day),
            lines=tuple(x for x in table.lines if line_day(x, zone) == day),
            visits=tuple(
                v for v in table.visits if v.back_clock.astimezone(zone).date() == day
            ),
        )
        for day in sorted(day for day in days if day is not None)
    }


def undated(table: TripTable) -> int:
    """Count the trips that have no clock and so belong to no day."""
    return sum(timed_ends(trip) == (None, None) for trip in table.trips)
