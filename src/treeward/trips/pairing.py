"""Landings and departures of one colour at one station to visits and trips.

How long a bee usually is away, and how many trips a longer gap holds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Literal

from treeward.language.kinds import EventKind
from treeward.notes.flags import FlagCode

from .identity import LEAST_AWAY_S, LEAST_ROUND_S, tell_bees_apart
from .table import Doubt, DoubtCode, Trip, Visit

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from .sightings import Pause, Sighting


USUAL_VISIT_S = 60.0  # bees load water in 30-60 s; common practice
LONG = 1.7  # times the usual: a gap that asks for an explanation; guess
NEAR = 0.15  # share by which a gap may miss a multiple of the usual; guess
FAR_TOO_LONG = 4.5  # times the usual round trip: more than three trips; guess
UPPER_BOUND = 1.3  # times the usual up to which an unwatched gap is used; guess
LONGEST_S = 3600.0  # nectar trips last up to an hour; Iowa State dissertation (Park)


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """One bee's habits at one station; seconds."""

    away_s: float | None  # None where it was never timed
    visit_s: float
    trips: int  # that `away_s` comes from

    def expected_s(self, cycles: int, *, round_trip: bool) -> float | None:
        """Return how long a gap of so many trips should be.

        Between a departure and a landing lie one visit fewer than trips, between two
        landings as many.
        """
        if self.away_s is None:
            return None
        visits = cycles if round_trip else cycles - 1
        return cycles * self.away_s + visits * self.visit_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What a gap is: trips in it, whether it is used, and what is doubtful."""

    cycles: int = 1
    used: bool = True
    doubts: tuple[Doubt, ...] = ()


def usual_of(away_s: Sequence[float], visit_s: Sequence[float]) -> Usual:
    """Find the usual from trips and visits that nothing speaks against.

    Long gaps may hold several trips, so the usual is the median of those that are not
    much longer than the shorter half.
    """
    visit = median(visit_s) if visit_s else USUAL_VISIT_S
    if not away_s:
        return Usual(away_s=None, visit_s=visit, trips=0)
    ordered = sorted(away_s)
    short = median(ordered[: math.ceil(len(ordered) / 2)])
    plain = [a for a in ordered if a <= LONG * short]
    return Usual(away_s=median(plain), visit_s=visit, trips=len(plain))


def judge_gap(gap_s: float, usual: Usual, *, round_trip: bool, missed: bool) -> Verdict:
    """Say how many trips a gap holds and whether it can be used.

    Parameters
    ----------
    gap_s
        From departure to landing, or between two landings.
    usual
        The same bee's habits at the same station.
    round_trip
        Whether the gap holds a visit more.
    missed
        Whether somebody said meanwhile that the bee did not come when expected.
    """
    if gap_s > LONGEST_S:
        doubt = Doubt(code=DoubtCode.LONGER_THAN_ANY, numbers=(gap_s,))
        return Verdict(used=False, doubts=(doubt,))
    once_s = usual.expected_s(1, round_trip=round_trip)
    if once_s is None:
        return Verdict()
    if missed:
        doubt = Doubt(code=DoubtCode.SAID_MISSED, numbers=(gap_s, once_s))
        return Verdict(used=gap_s <= LONG * once_s, doubts=(doubt,))
    if gap_s <= LONG * once_s:
        return Verdict()
    return _judge_long(gap_s, usual, once_s, round_trip=round_trip)


def _judge_long(
    gap_s: float, usual: Usual, once_s: float, *, round_trip: bool
) -> Verdict:
    for cycles in (2, 3):
        expected_s = usual.expected_s(cycles, round_trip=round_trip)
        if expected_s is not None and abs(gap_s / expected_s - 1) <= NEAR:
            numbers = (gap_s, once_s, cycles)
            doubt = Doubt(code=DoubtCode.SEVERAL_TRIPS, numbers=numbers)
            return Verdict(cycles=cycles, doubts=(doubt,))
    cycle_s = usual.expected_s(1, round_trip=True)
    if round_trip or cycle_s is None or gap_s > FAR_TOO_LONG * cycle_s:
        doubt = Doubt(code=DoubtCode.FAR_TOO_LONG, numbers=(gap_s, once_s))
        return Verdict(used=False, doubts=(doubt,))
    return Verdict(doubts=(Doubt(code=DoubtCode.LONG, numbers=(gap_s, once_s)),))


def judge_unwatched(gap_s: float, usual: Usual, *, between: bool) -> Verdict:
    """Judge a gap in part of which nobody was watching: it is an upper bound.

    It is used only where it is hardly longer than trips that were watched. `between`
    tells that it was a gap between two recordings, not a pause that was said.
    """
    if usual.away_s is not None and gap_s <= UPPER_BOUND * usual.away_s:
        code = DoubtCode.GAP_OF_RECORDINGS_USED if between else DoubtCode.UNWATCHED_USED
        return Verdict(doubts=(Doubt(code=code),))
    code = DoubtCode.GAP_OF_RECORDINGS_BOUND if between else DoubtCode.UNWATCHED_BOUND
    return Verdict(used=False, doubts=(Doubt(code=code),))


LONG_VISIT = 3.0  # times the usual, and longer than:
LONG_VISIT_S = 180.0  # a departure and a return may have been missed; guess
_SURE_TRIPS = 3  # that must agree before a note in doubt is not believed; guess
STOPPED_S = 30.0  # more clock than sound between two notes: the recorder was stopped
STOPPED_WIDTH_S = 60.0  # a spoken time before and one after it name the minute only


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """What else was going on while a colour was watched at a station."""

    station: str
    pauses: tuple[Pause, ...] = ()
    missed_s: tuple[float, ...] = ()  # when she was said not to have come
    barred: tuple[Doubt, ...] = ()  # why nothing of this colour can be used

    def pauses_within(self, from_s: float, to_s: float) -> list[Pause]:
        """Return the pauses that could hide a visit between two moments."""
        return [
            p
            for p in self.pauses
            if p.hides_a_visit and p.from_s < to_s and p.to_s > from_s
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Paired:
    """What came of one colour at one station."""

    visits: tuple[Visit, ...]
    trips: tuple[Trip, ...]
    left_over: tuple[tuple[Sighting, Doubt], ...]  # notes in neither, and why
    bee_of: dict[int, str]  # index of a sighting to the bee it is about
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, slots=True)
class _Gap:
    """A stretch in which a bee was, at least in part, not at the station."""

    one: Sighting
    two: Sighting
    timing: Literal["away", "round"]

    @property
    def length_s(self) -> float:
        return self.two.time_s - self.one.time_s

    @property
    def ends(self) -> tuple[int, int]:
        return self.one.index, self.two.index

    @property
    def doubtful(self) -> bool:
        return self.one.event.doubtful or self.two.event.doubtful


@dataclass(slots=True)
class _BeeNotes:
    """The notes of one bee, and what they make."""

    name: str
    sightings: list[Sighting]
    visits: list[tuple[Sighting, Sighting]] = field(default_factory=list)
    gaps: list[_Gap] = field(default_factory=list)

    def walk(self) -> None:
        """Pair each note with the one before it."""
        for one, two in pairwise(self.sightings):
            pair = (one.kind, two.kind)
            if pair == (EventKind.BACK, EventKind.AWAY):
                self.visits.append((one, two))
            elif pair == (EventKind.AWAY, EventKind.BACK):
                self.gaps.append(_Gap(one, two, "away"))
            elif one.kind is two.kind and one.kind is not EventKind.MARK:
                self.gaps.append(_Gap(one, two, "round"))


def pair_colour(
    sightings: Sequence[Sighting],
    around: Circumstances,
    name_of: Callable[[int], str],
) -> Paired:
    """Pair one colour's landings, departures and markings at one station, in order.

    `name_of` gives the name of the first (0) and the second (1) bee of the colour.
    """
    sightings, refused = _sure_first(sightings, around)
    identities = tell_bees_apart(sightings)
    tracks = [
        _BeeNotes(
            name_of(bee),
            [s for s, b in zip(sightings, identities.bee, strict=True) if b == bee],
        )
        for bee in range(identities.bees)
    ]
    doubts: list[Doubt] = []
    about_bees: tuple[Doubt, ...] = ()
    if len(tracks) > 1:
        colour = sightings[0].event.mark
        about_bees = (Doubt(code=DoubtCode.TOLD_APART, names=(colour,)),)
        names = (colour, tracks[0].name, tracks[1].name)
        doubts.append(Doubt(code=DoubtCode.TWO_BEES, names=names))
    unsure = {(sightings[i].index, sightings[j].index) for i, j in identities.unsure}
    not_believed = [s for s, b in zip(sightings, identities.bee, strict=True) if b < 0]
    visits: list[Visit] = []
    trips: list[Trip] = []
    used_notes: set[int] = set()
    bee_of: dict[int, str] = {}
    for track in tracks:
        track.walk()
        usual = _usual_of_track(track, unsure, around)
        longest_s = max(LONG_VISIT_S, LONG_VISIT * usual.visit_s)
        visits += [_visit(track.name, a, b, around, longest_s) for a, b in track.visits]
        for gap in track.gaps:
            verdict = _judge(gap, usual, around)
            if gap.ends in unsure:
                either = Doubt(code=DoubtCode.EITHER_BEE)
                verdict = replace(verdict, used=False, doubts=(either,))
            found = _trip(track.name, gap, verdict, around.barred)
            between = tuple(
                _not_believed(s)
                for s in not_believed
                if gap.one.time_s <= s.time_s <= gap.two.time_s
            )
            trips.append(replace(found, doubts=found.doubts + about_bees + between))
        for pair in [*track.visits, *((g.one, g.two) for g in track.gaps)]:
            used_notes |= {pair[0].index, pair[1].index}
        bee_of |= {s.index: track.name for s in track.sightings}
    left_over = [
        (s, _why_left_over(s, identities.bee[i], tracks))
        for i, s in enumerate(sightings)
        if s.index not in used_notes and s.kind is not EventKind.MARK
    ]
    left_over += [(s, Doubt(code=DoubtCode.AGAINST_SURE)) for s in refused]
    return Paired(
        visits=tuple(visits),
        trips=tuple(trips),
        left_over=tuple(left_over),
        bee_of=bee_of,
        doubts=tuple(doubts),
    )


def _usual_of_track(
    track: _BeeNotes, unsure: Collection[tuple[int, int]], around: Circumstances
) -> Usual:
    """Find a bee's habits from what nothing speaks against, surer notes first."""
    visits = [
        b.time_s - a.time_s
        for a, b in track.visits
        if _visit_doubt(a, b, around) is None
    ]
    clean = [g for g in track.gaps if _is_clean(g, around) and g.ends not in unsure]
    surely = [g for g in clean if not g.doubtful]
    told_by = surely if len(surely) >= _SURE_TRIPS else clean
    return usual_of([g.length_s for g in told_by], visits)


def _not_believed(sighting: Sighting) -> Doubt:
    row = sighting.event.row
    return Doubt(
        code=DoubtCode.NOT_BELIEVED_BETWEEN,
        rows=(row,) if row else (),
        names=(sighting.kind.value,),
    )


def _sure_first(
    sightings: Sequence[Sighting], around: Circumstances
) -> tuple[list[Sighting], list[Sighting]]:
    """Part notes in doubt that would cut up a trip which sure notes tell plainly.

    Such a trip is no longer than is usual of this bee by her other sure trips.
    """
    sure = [s for s in sightings if not s.event.doubtful]
    if len(sure) in {0, len(sightings)}:
        return list(sightings), []
    track = _BeeNotes("", sure)
    track.walk()
    clean = [g for g in track.gaps if _is_clean(g, around)]
    visits = [b.time_s - a.time_s for a, b in track.visits]
    usual = usual_of([g.length_s for g in clean], visits)
    if usual.away_s is None or usual.trips < _SURE_TRIPS:
        return list(sightings), []
    longest_s = UPPER_BOUND * usual.away_s
    plain = [(g.one.time_s, g.two.time_s) for g in clean if g.length_s <= longest_s]
    refused = [
        s
        for s in sightings
        if s.event.doubtful
        and s.kind is not EventKind.MARK
        and any(begin_s <= s.time_s <= end_s for begin_s, end_s in plain)
    ]
    gone = {s.index for s in refused}
    return [s for s in sightings if s.index not in gone], refused


def _why_left_over(sighting: Sighting, bee: int, tracks: Sequence[_BeeNotes]) -> Doubt:
    if bee < 0:
        typed = sighting.event.start_s is None
        code = DoubtCode.MISTYPED if typed else DoubtCode.MISHEARD
        return Doubt(code=code, names=(sighting.event.mark,))
    last = tracks[bee].sightings[-1] is sighting
    if sighting.kind is EventKind.AWAY:
        code = DoubtCode.NOT_SEEN_AGAIN if last else DoubtCode.RETURN_UNNOTED
    else:
        code = DoubtCode.NOTHING_NEAR if last else DoubtCode.NOTHING_BEFORE
    return Doubt(code=code)


def _is_clean(gap: _Gap, around: Circumstances) -> bool:
    """Tell whether a gap may tell what is usual."""
    return (
        gap.timing == "away"
        and LEAST_AWAY_S <= gap.length_s <= LONGEST_S
        and gap.one.day == gap.two.day
        and not around.pauses_within(gap.one.time_s, gap.two.time_s)
        and not _clock_doubt(gap.one, gap.two)
    )


def _clock_doubt(one: Sighting, two: Sighting) -> bool:
    flags = (*one.event.flags, *two.event.flags)
    return any(flag.code is FlagCode.RECORDER_PAUSED for flag in flags)


def _stopped_s(one: Sighting, two: Sighting) -> float:
    """Return how long the recorder stood still between two notes, 0 if not known."""
    a, b = one.event, two.event
    if a.start_s is None or b.start_s is None or a.recording != b.recording:
        return 0.0
    return (two.time_s - one.time_s) - (b.start_s - a.start_s)


def note_doubts(*sightings: Sighting) -> tuple[Doubt, ...]:
    """Return what speaks against the notes themselves, with the row named."""
    found: list[Doubt] = []
    for sighting in sightings:
        for flag in sighting.event.flags:
            if not flag.settled:
                rows = (sighting.event.row,) if sighting.event.row else ()
                found.append(Doubt(code=DoubtCode.FLAGGED, rows=rows, flag=flag))
        found += sighting.doubts
    return tuple(dict.fromkeys(found))


def _visit_doubt(
    back: Sighting,
    away: Sighting,
    around: Circumstances,
    longest_s: float = math.inf,
) -> DoubtCode | None:
    length_s = away.time_s - back.time_s
    if around.pauses_within(back.time_s, away.time_s):
        return DoubtCode.UNWATCHED_VISIT
    if _clock_doubt(back, away):
        return DoubtCode.RECORDER_PAUSED
    if back.day != away.day:
        return DoubtCode.OVERNIGHT
    if length_s > longest_s:
        return DoubtCode.LONG_VISIT
    return None


def _visit(
    bee: str, back: Sighting, away: Sighting, around: Circumstances, longest_s: float
) -> Visit:
    doubt = _visit_doubt(back, away, around, longest_s)
    assert back.event.clock is not None  # noqa: S101  (sightings have clocks)
    assert away.event.clock is not None  # noqa: S101
    return Visit(
        mark=back.event.mark,
        station=around.station,
        back_clock=back.event.clock,
        away_clock=away.event.clock,
        visit_s=round(away.time_s - back.time_s, 3),
        used=not doubt and not around.barred,
        doubts=(
            *((Doubt(code=doubt),) if doubt else ()),
            *around.barred,
            *note_doubts(back, away),
        ),
        back_row=back.event.row,
        away_row=away.event.row,
        bee=bee,
    )


def _trip(bee: str, gap: _Gap, verdict: Verdict, barred: tuple[Doubt, ...]) -> Trip:
    doubts = (*barred, *verdict.doubts, *note_doubts(gap.one, gap.two))
    stopped_s = _stopped_s(gap.one, gap.two)
    if stopped_s > STOPPED_S:
        doubts = (*doubts, Doubt(code=DoubtCode.RECORDER_STOPPED))
    one, two = gap.one.event, gap.two.event
    return Trip(
        mark=one.mark,
        bee=bee,
        station=gap.one.station,
        away_clock=one.clock if one.kind is EventKind.AWAY else None,
        back_clock=two.clock if two.kind is EventKind.BACK else None,
        away_s=round(gap.length_s, 3),
        timing=gap.timing,
        rounding_s=STOPPED_WIDTH_S if stopped_s > STOPPED_S else 0.0,
        cycles=verdict.cycles,
        used=verdict.used and not barred,
        doubts=tuple(dict.fromkeys(doubts)),
        away_row=one.row,
        back_row=two.row,
        from_clock=one.clock,
        to_clock=two.clock,
    )


def _judge(gap: _Gap, usual: Usual, around: Circumstances) -> Verdict:
    round_trip = gap.timing == "round"
    if gap.one.day != gap.two.day:
        return Verdict(used=False, doubts=(Doubt(code=DoubtCode.OVERNIGHT),))
    if _clock_doubt(gap.one, gap.two):
        return Verdict(used=False, doubts=(Doubt(code=DoubtCode.TIME_OFF),))
    if round_trip and gap.length_s < LEAST_ROUND_S:
        landings = gap.one.kind is EventKind.BACK
        doubt = Doubt(
            code=DoubtCode.LANDINGS_TOO_NEAR
            if landings
            else DoubtCode.DEPARTURES_TOO_NEAR,
            numbers=(gap.length_s,),
        )
        return Verdict(used=False, doubts=(doubt,))
    if not round_trip and gap.length_s < LEAST_AWAY_S:
        doubt = Doubt(code=DoubtCode.TOO_SHORT, numbers=(gap.length_s,))
        return Verdict(used=False, doubts=(doubt,))
    missed = any(gap.one.time_s < m <= gap.two.time_s for m in around.missed_s)
    unwatched = around.pauses_within(gap.one.time_s, gap.two.time_s)
    if unwatched and gap.length_s <= LONGEST_S:
        verdict = judge_unwatched(
            gap.length_s, usual, between=unwatched[0].between_recordings
        )
    else:
        verdict = judge_gap(gap.length_s, usual, round_trip=round_trip, missed=missed)
    if verdict.doubts and _stopped_s(gap.one, gap.two) > STOPPED_S:
        # Two weak points at once: a stop put wrongly lengthens just such a gap.
        verdict = replace(verdict, used=False)
    if round_trip:
        landed = gap.one.kind is EventKind.BACK
        code = DoubtCode.DEPARTURE_UNNOTED if landed else DoubtCode.LANDING_UNNOTED
        verdict = replace(verdict, doubts=(Doubt(code=code), *verdict.doubts))
    return verdict
