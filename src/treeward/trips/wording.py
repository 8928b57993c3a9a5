"""What is doubtful about trips, in words: for what shows it, not for what pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.units import Units

from .table import Doubt, DoubtCode

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

C = DoubtCode
_PLAIN: Mapping[DoubtCode, str] = {
    C.OVERNIGHT: "overnight",
    C.RECORDER_PAUSED: "the recorder seems to have been paused meanwhile",
    C.TIME_OFF: (
        "the recorder seems to have been paused meanwhile, so the time is off"
    ),
    C.RECORDER_STOPPED: "the recorder was stopped meanwhile; good to a minute",
    C.UNWATCHED_VISIT: "nobody was watching for part of it",
    C.LONG_VISIT: ("much longer than usual: she may have been away meanwhile, unseen"),
    C.DEPARTURE_UNNOTED: (
        "her departure between was not noted, so this holds a visit too"
    ),
    C.LANDING_UNNOTED: "her landing between was not noted, so this holds a visit too",
    C.UNWATCHED_USED: (
        "nobody was watching for part of it, so a return may have been missed; not "
        "longer than usual, so used"
    ),
    C.UNWATCHED_BOUND: (
        "nobody was watching for part of it, so a return may have been missed: it is "
        "an upper bound only"
    ),
    C.GAP_OF_RECORDINGS_USED: (
        "between two recordings for part of it, so a return may have been missed; not "
        "longer than usual, so used"
    ),
    C.GAP_OF_RECORDINGS_BOUND: (
        "between two recordings for part of it, so a return may have been missed: it "
        "is an upper bound only"
    ),
    C.EITHER_BEE: "two bees wear this mark at once, and this could be either of them",
    C.ARRIVING: "read on an arriving bee? Only departures point home",
    C.FIRST_DEPARTURE: "her first departure: bees circle before they know the way",
    C.STATION_UNSAID: "no station was said",
    C.STATION_SAID_LATER: "the station was said only later",
    C.STATION_OTHER_DAY: "the station was said on another day",
    C.SCRATCHED: "taken back by a scratch",
    C.SCRATCH_IN_DOUBT: "it was heard with doubt, so nothing was taken",
    C.SCRATCHED_NOTHING: "there was no note before it to take back",
    C.SAID_TWICE: "the same was said just before",
    C.NO_CLOCK: "nothing tells when this was",
    C.AGAINST_SURE: "heard with doubt, and does not fit what surer notes say",
    C.NOT_SEEN_AGAIN: "she was not seen again",
    C.NOT_SEEN_AGAIN_THAT_DAY: "she was not seen again that day",
    C.RETURN_UNNOTED: "her return was not noted",
    C.NOTHING_NEAR: "nothing of her is noted before or after",
    C.NOTHING_BEFORE: "nothing of her is noted before, and no departure after",
    C.MISSED_IN_DOUBT: "heard with doubt, so not believed",
    C.NOT_KNOWN_AWAY: "she was not known to be away then",
    C.NO_BEE: "no bee is named",
    C.UNMARKED: "unmarked bees cannot be told apart",
    C.NO_MARKED_BEE: "no marked bee is named, so the trip has no bee",
    C.NO_WIND: "nothing was said of the wind's strength",
    C.WIND_IN_DOUBT: "heard with doubt; what was surely said goes on",
}


def doubt_text(doubt: Doubt) -> str:
    """Give the sentence of a doubt, without a capital and a full stop."""
    plain = _PLAIN.get(doubt.code)
    return _WORDED[doubt.code](doubt) if plain is None else plain


def doubt_texts(doubts: Iterable[Doubt]) -> tuple[str, ...]:
    """Give the sentences of doubts."""
    return tuple(doubt_text(doubt) for doubt in doubts)


def _flagged(doubt: Doubt) -> str:
    said = doubt.flag.sentence if doubt.flag else ""
    return f"{doubt.rows[0]}: {said}" if doubt.rows else said


def _not_believed_between(doubt: Doubt) -> str:
    return f"a note between was not believed ({(*doubt.rows, *doubt.names)[0]})"


def _too_near(doubt: Doubt) -> str:
    what = "landings" if doubt.code is C.LANDINGS_TOO_NEAR else "departures"
    return f"two {what} {doubt.numbers[0]:.0f} s apart: two bees, or one said twice"


def _too_short(doubt: Doubt) -> str:
    return f"{doubt.numbers[0]:.0f} s is too short for a trip: she circled and landed"


def _longer_than_any(doubt: Doubt) -> str:
    return f"{_minutes(doubt.numbers[0])} is longer than any trip for water or food"


def _against(doubt: Doubt) -> str:
    length_s, usual_s = doubt.numbers[:2]
    return f"{_minutes(length_s)} against the usual {_minutes(usual_s)}"


def _said_missed(doubt: Doubt) -> str:
    return f"she was said not to have come when expected; {_against(doubt)}"


def _several_trips(doubt: Doubt) -> str:
    times = {2: "twice", 3: "three times"}[round(doubt.numbers[2])]
    return f"about {times} the usual ({_against(doubt)}): notes between were missed"


def _far_too_long(doubt: Doubt) -> str:
    return f"{_against(doubt)}: notes between were missed"


def _long(doubt: Doubt) -> str:
    return f"much longer than usual: {_against(doubt)}"


def _no_time(doubt: Doubt) -> str:
    return f"{doubt.numbers[0] / 60:.0f} min is no time for a trip"


def _timed(doubt: Doubt) -> str:
    rows = f" ({', '.join(doubt.rows)})" if doubt.rows else ""
    same = doubt.code is C.TIMED_AS_WELL
    said = "timed as well" if same else f"timed as {doubt.numbers[0]:.0f} s"
    return f"the trip was {said}{rows}"


def _known_hive(doubt: Doubt) -> str:
    return f"{doubt.names[0]} is from {doubt.names[1]}, which is known"


def _told_apart(doubt: Doubt) -> str:
    return f"two bees wear {doubt.names[0]}; told apart by their times"


def _station_assumed(doubt: Doubt) -> str:
    recording, station = doubt.names
    return (
        f"no station was said in {recording}; station {station}, the last one before, "
        "was taken"
    )


def _row(doubt: Doubt) -> str:
    return f" ({doubt.rows[0]})" if doubt.rows else ""


def _station_in_doubt(doubt: Doubt) -> str:
    return f"station {doubt.names[0]}{_row(doubt)} was heard with doubt"


def _station_not_believed(doubt: Doubt) -> str:
    return f"{_station_in_doubt(doubt)} and is not believed yet"


def _station_held(doubt: Doubt) -> str:
    return (
        f"{_station_not_believed(doubt)}: the notes after it count for station "
        f"{doubt.names[1]} until its row is kept"
    )


def _station_unknown(doubt: Doubt) -> str:
    return f"station {doubt.names[0]} is not in hunt.toml"


def _station_not_listed(doubt: Doubt) -> str:
    station, *listed = doubt.names
    return (
        f"station {station} was said but is not in hunt.toml, which has "
        f"{', '.join(listed)}"
    )


def _notes(doubt: Doubt) -> str:
    count = round(doubt.numbers[0])
    return "1 note" if count == 1 else f"{count} notes"


def _taken_back(doubt: Doubt) -> str:
    said = "was" if doubt.numbers[0] == 1 else "were"
    return f"{_notes(doubt)} {said} taken back by a scratch"


def _unclocked(doubt: Doubt) -> str:
    has = "has" if doubt.numbers[0] == 1 else "have"
    return f"{_notes(doubt)} {has} no clock time"


def _no_station_of_notes(doubt: Doubt) -> str:
    return f"nobody said at which station {_notes(doubt)} were taken"


def _recording(doubt: Doubt) -> str:
    return doubt.names[0] or "the notes typed by hand"


def _recording_assumed(doubt: Doubt) -> str:
    return (
        f"no station was said in {_recording(doubt)}: its {_notes(doubt)} count for "
        f"station {doubt.names[1]}, the last one said before"
    )


def _recording_unused(doubt: Doubt) -> str:
    return (
        f"no station was said in {_recording(doubt)}, so its {_notes(doubt)} are not "
        "used"
    )


def _track(doubt: Doubt) -> str:
    station, recording, units = doubt.names
    away = Units("imperial" if units == "imperial" else "metric").distance(
        doubt.numbers[0]
    )
    agrees = doubt.code is C.TRACK_AGREES
    same = "as was taken" if agrees else "not what was taken"
    return (
        f"the GPX track was {away} from station {station} while {recording} was "
        f'spoken, {same}: to say so, add [[recording]] name = "{recording}", '
        f'station = "{station}" to hunt.toml'
    )


def _pause_not_believed(doubt: Doubt) -> str:
    return (
        f"a {doubt.names[0]} at {doubt.moments[0]:%H:%M:%S}{_row(doubt)} was heard "
        "with doubt and is not believed until its row is kept"
    )


def _pause_unended(doubt: Doubt) -> str:
    return (
        "a pause was not ended by a resume; it was taken to last until the next bee "
        f"at {doubt.moments[0]:%H:%M:%S}"
    )


def _two_bees(doubt: Doubt) -> str:
    colour, one, two = doubt.names
    return f"two bees wear {colour}: {one}, {two}"


def _two_directions(doubt: Doubt) -> str:
    bee, station = doubt.names
    return f"{bee} left station {station} in two directions: two bees?"


def _in_the_dark(doubt: Doubt) -> str:
    count = f"{_notes(doubt)} {'is' if doubt.numbers[0] == 1 else 'are'}"
    clock = doubt.moments[0]
    return (
        f"{count} of bees flying with the sun down, the first at {clock.day} "
        f"{clock:%b %H:%M}: is the clock right?"
    )


def _days_apart(doubt: Doubt) -> str:
    one, two = doubt.moments
    return (
        f"the notes of {one.day} {one:%b %Y} and of {two.day} {two:%b %Y} lie "
        f"{(two - one).days} days apart: are both days right?"
    )


def _same_bees(doubt: Doubt) -> str:
    marks = list(doubt.names)
    return (
        f"{' and '.join(marks)} {'was' if len(marks) == 1 else 'were'} seen at "
        f"stations {' and '.join(doubt.others)}: are they the same bees? Those that "
        f"are, write at the top of hunt.toml, same_bee = {marks}; until then that is "
        "left open"
    )


def _misheard(doubt: Doubt) -> str:
    return f"does not fit the other notes of {doubt.names[0]}; misheard?"


def _next_seen_at(doubt: Doubt) -> str:
    return f"her colour was next seen at station {doubt.names[0]}"


def _no_bearing(doubt: Doubt) -> str:
    return (
        f"{doubt.names[0]!r} is no bearing" if doubt.names else "no bearing was heard"
    )


def _no_duration(doubt: Doubt) -> str:
    return f"{doubt.names[0]!r} is no duration" if doubt.names else "none was heard"


def _minutes(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d} min"


_WORDED: Mapping[DoubtCode, Callable[[Doubt], str]] = {
    C.FLAGGED: _flagged,
    C.NOT_BELIEVED_BETWEEN: _not_believed_between,
    C.LANDINGS_TOO_NEAR: _too_near,
    C.DEPARTURES_TOO_NEAR: _too_near,
    C.TOO_SHORT: _too_short,
    C.LONGER_THAN_ANY: _longer_than_any,
    C.SAID_MISSED: _said_missed,
    C.SEVERAL_TRIPS: _several_trips,
    C.FAR_TOO_LONG: _far_too_long,
    C.LONG: _long,
    C.NO_TIME_FOR_A_TRIP: _no_time,
    C.TIMED_AS_WELL: _timed,
    C.TIMED_OTHERWISE: _timed,
    C.KNOWN_HIVE: _known_hive,
    C.TOLD_APART: _told_apart,
    C.STATION_ASSUMED: _station_assumed,
    C.STATION_IN_DOUBT: _station_in_doubt,
    C.STATION_NOT_BELIEVED: _station_not_believed,
    C.STATION_UNKNOWN: _station_unknown,
    C.TAKEN_BACK: _taken_back,
    C.UNCLOCKED: _unclocked,
    C.NO_STATION_OF_NOTES: _no_station_of_notes,
    C.STATION_NOT_LISTED: _station_not_listed,
    C.STATION_HELD: _station_held,
    C.RECORDING_ASSUMED: _recording_assumed,
    C.RECORDING_UNUSED: _recording_unused,
    C.TRACK_AGREES: _track,
    C.TRACK_DISAGREES: _track,
    C.PAUSE_NOT_BELIEVED: _pause_not_believed,
    C.PAUSE_UNENDED: _pause_unended,
    C.TWO_BEES: _two_bees,
    C.TWO_DIRECTIONS: _two_directions,
    C.IN_THE_DARK: _in_the_dark,
    C.DAYS_APART: _days_apart,
    C.SAME_BEES: _same_bees,
    C.MISHEARD: _misheard,
    C.NEXT_SEEN_AT: _next_seen_at,
    C.NO_BEARING: _no_bearing,
    C.NO_DURATION: _no_duration,
}
