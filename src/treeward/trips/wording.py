"""What is doubtful about trips, in words: for what shows it, not for what pairs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.measures import Units, counted

from .table import Doubt, DoubtCode

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

C = DoubtCode
# What is said of most; {d} is the doubt, {w} its words.
_SAID: Mapping[DoubtCode, str] = {
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
    C.NO_BEE_FLEW: ("of no bee, and none left then: not used until its row is kept"),
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
    C.NOT_BELIEVED_BETWEEN: "a note between was not believed ({w.note})",
    C.LANDINGS_TOO_NEAR: (
        "two landings {d.numbers[0]:.0f} s apart: two bees, or one said twice"
    ),
    C.DEPARTURES_TOO_NEAR: (
        "two departures {d.numbers[0]:.0f} s apart: two bees, or one said twice"
    ),
    C.TOO_SHORT: "{d.numbers[0]:.0f} s is too short for a trip: she circled and landed",
    C.LONGER_THAN_ANY: "{w.length} is longer than any trip for water or food",
    C.SAID_MISSED: "she was said not to have come when expected; {w.against}",
    C.FAR_TOO_LONG: "{w.against}: notes between were missed",
    C.LONG: "much longer than usual: {w.against}",
    C.NO_TIME_FOR_A_TRIP: "{w.whole_min} min is no time for a trip",
    C.KNOWN_HIVE: "{d.names[0]} is from {d.names[1]}, which is known",
    C.TOLD_APART: "two bees wear {d.names[0]}; told apart by their times",
    C.STATION_ASSUMED: (
        "no station was said in {d.names[0]}; station {d.names[1]}, the last one "
        "before, was taken"
    ),
    C.STATION_IN_DOUBT: "station {d.names[0]}{w.row} was heard with doubt",
    C.STATION_NOT_BELIEVED: (
        "station {d.names[0]}{w.row} was heard with doubt and is not believed yet"
    ),
    C.STATION_HELD: (
        "station {d.names[0]}{w.row} was heard with doubt and is not believed yet: the "
        "notes after it count for station {d.names[1]} until its row is kept"
    ),
    C.STATION_UNKNOWN: "station {d.names[0]} is not in hunt.toml",
    C.NO_STATION_OF_NOTES: "nobody said at which station {w.notes} were taken",
    C.RECORDING_ASSUMED: (
        "no station was said in {w.recording}: its {w.notes} count for station "
        "{d.names[1]}, the last one said before"
    ),
    C.RECORDING_UNUSED: (
        "no station was said in {w.recording}, so its {w.notes} are not used"
    ),
    C.PAUSE_NOT_BELIEVED: (
        "a {d.names[0]} at {d.moments[0]:%H:%M:%S}{w.row} was heard with doubt and is "
        "not believed until its row is kept"
    ),
    C.PAUSE_UNENDED: (
        "a pause was not ended by a resume; it was taken to last until the next bee at "
        "{d.moments[0]:%H:%M:%S}"
    ),
    C.TWO_BEES: "two bees wear {d.names[0]}: {d.names[1]}, {d.names[2]}",
    C.TWO_DIRECTIONS: (
        "{d.names[0]} left station {d.names[1]} in two directions: two bees?"
    ),
    C.TWO_AT_ONCE: (
        "two recordings at two stations at once ({d.names[0]} at {d.others[0]}, "
        "{d.names[1]} at {d.others[1]}): name the observers under [[recording]] in "
        "hunt.toml"
    ),
    C.MISHEARD: "does not fit the other notes of {d.names[0]}; misheard?",
    C.MISTYPED: "does not fit the other notes of {d.names[0]}; mistyped?",
    C.SEVERAL_TRIPS: (
        "about {w.times} the usual ({w.against}): notes between were missed"
    ),
    C.TIMED_AS_WELL: "the trip was timed as well{w.row}",
    C.TIMED_OTHERWISE: "the trip was timed as {d.numbers[0]:.0f} s{w.row}",
    C.STATION_NOT_LISTED: (
        "station {d.names[0]} was said but is not in hunt.toml, which has {w.listed}"
    ),
    C.NEXT_SEEN_AT: "her colour was next seen at station {d.names[0]}",
}


def doubt_text(doubt: Doubt) -> str:
    """Give the sentence of a doubt, without a capital and a full stop."""
    if doubt.code in _WORDED:
        return _WORDED[doubt.code](doubt)
    return _SAID[doubt.code].format(d=doubt, w=_Parts(doubt))


def doubt_texts(doubts: Iterable[Doubt]) -> tuple[str, ...]:
    """Give the sentences of doubts."""
    return tuple(doubt_text(doubt) for doubt in doubts)


@dataclass(frozen=True, slots=True)
class _Parts:
    """What sentences say of a doubt's parts."""

    doubt: Doubt

    @property
    def note(self) -> str:
        """The note, or its kind where it has no row."""
        return (*self.doubt.rows, *self.doubt.names)[0]

    @property
    def row(self) -> str:
        return f" ({', '.join(self.doubt.rows)})" if self.doubt.rows else ""

    @property
    def notes(self) -> str:
        return counted(round(self.doubt.numbers[0]), "note")

    @property
    def recording(self) -> str:
        return self.doubt.names[0] or "the notes typed by hand"

    @property
    def length(self) -> str:
        return _minutes(self.doubt.numbers[0])

    @property
    def whole_min(self) -> str:
        return f"{self.doubt.numbers[0] / 60:.0f}"

    @property
    def times(self) -> str:
        return {2: "twice", 3: "three times"}[round(self.doubt.numbers[2])]

    @property
    def listed(self) -> str:
        return ", ".join(self.doubt.names[1:])

    @property
    def against(self) -> str:
        return f"{self.length} against the usual {_minutes(self.doubt.numbers[1])}"


def _minutes(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d} min"


def _flagged(doubt: Doubt) -> str:
    said = doubt.flag.sentence if doubt.flag else ""
    return f"{doubt.rows[0]}: {said}" if doubt.rows else said


def _taken_back(doubt: Doubt) -> str:
    said = "was" if doubt.numbers[0] == 1 else "were"
    return f"{_Parts(doubt).notes} {said} taken back by a scratch"


def _unclocked(doubt: Doubt) -> str:
    has = "has" if doubt.numbers[0] == 1 else "have"
    return f"{_Parts(doubt).notes} {has} no clock time"


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


def _in_the_dark(doubt: Doubt) -> str:
    count = f"{_Parts(doubt).notes} {'is' if doubt.numbers[0] == 1 else 'are'}"
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


def _no_bearing(doubt: Doubt) -> str:
    return (
        f"{doubt.names[0]!r} is no bearing" if doubt.names else "no bearing was heard"
    )


def _no_duration(doubt: Doubt) -> str:
    return f"{doubt.names[0]!r} is no duration" if doubt.names else "none was heard"


_WORDED: Mapping[DoubtCode, Callable[[Doubt], str]] = {
    C.FLAGGED: _flagged,
    C.TAKEN_BACK: _taken_back,
    C.UNCLOCKED: _unclocked,
    C.TRACK_AGREES: _track,
    C.TRACK_DISAGREES: _track,
    C.IN_THE_DARK: _in_the_dark,
    C.DAYS_APART: _days_apart,
    C.SAME_BEES: _same_bees,
    C.NO_BEARING: _no_bearing,
    C.NO_DURATION: _no_duration,
}
