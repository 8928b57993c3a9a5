"""A whole invented hunt, from settings and a seed."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from treeward.language.kinds import EventKind
from treeward.notes.events import Event

from .observer import Watch, time_words, watch
from .world import (
    CALIBRATION_ID,
    RecorderStop,
    SimulatedBee,
    SimulatedColony,
    SimulatedHunt,
    SimulatedStation,
    SimulatedTrip,
    SimulationSettings,
    SpokenLine,
    Stop,
    declination_deg,
    draw_shared,
    fly,
    hatch_bees,
    place_colonies,
    place_stations,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

WORD_S = 0.34  # a spoken word and its share of silence; measured on the voices
BREATH_S = 0.25  # between two pieces said together; guess
STOPPED_S = 75.0  # a recorder is stopped only for a longer quiet than this; choice
LEAD_S = 2.0  # it is started again this long before a minute turns; choice


def simulate_hunt(settings: SimulationSettings, seed: int) -> SimulatedHunt:
    """Invent a hunt: who flew when, what was seen, and what was said.

    The same settings and seed give the same hunt.

    Parameters
    ----------
    settings
        What kind of hunt.
    seed
        Of the random numbers.

    Returns
    -------
    SimulatedHunt
        With `events` as a perfect listener would note them, clocks included.
    """
    rng = np.random.default_rng(seed)
    colonies = place_colonies(settings, rng)
    stations = place_stations(settings, colonies, rng)
    declination = declination_deg(stations[0].position, stations[0].start)
    shared = draw_shared(settings, rng, declination)
    bees = hatch_bees(settings, colonies, rng)
    homes = {colony.id: colony for colony in colonies}
    known_marks: set[str] = set()
    trips: list[SimulatedTrip] = []
    script: list[SpokenLine] = []
    gaps: list[RecorderStop] = []
    for station in stations:
        stops: list[Stop] = []
        for bee in visitors(bees, station, homes):
            stops += fly(
                bee,
                station,
                homes[bee.colony],
                settings=settings,
                shared=shared,
                rng=rng,
            )
        seen = watch(
            stops,
            station,
            colonies=homes,
            known_marks=known_marks,
            settings=settings,
            shared=shared,
            rng=rng,
        )
        trips += _trips(stops, seen, station)
        lines = speak(seen, station)
        if station.id in settings.recorder_stops:
            lines, stood = stop_recorder(lines, station)
            gaps += stood
        script += lines
    events = tuple(said.event for said in script if said.event is not None)
    return SimulatedHunt(
        settings=settings,
        seed=seed,
        stations=stations,
        colonies=colonies,
        bees=bees,
        shared=shared,
        trips=tuple(trips),
        events=events,
        script=tuple(script),
        gaps=tuple(gaps),
    )


def visitors(
    bees: Iterable[SimulatedBee],
    station: SimulatedStation,
    homes: dict[str, SimulatedColony],
) -> list[SimulatedBee]:
    """Return the bees that come to a station: those of the known hive keep to it."""
    at_hive = station.id == CALIBRATION_ID
    return [bee for bee in bees if homes[bee.colony].known == at_hive]


def _trips(
    stops: list[Stop], seen: Watch, station: SimulatedStation
) -> list[SimulatedTrip]:
    trips = []
    for before, after in pairwise(stops):
        if after.mark != before.mark or after.first:
            continue
        left, came = (before.mark, before.back_s), (after.mark, after.back_s)
        reading = seen.readings.get(left)
        trips.append(
            SimulatedTrip(
                mark=after.mark,
                station=station.id,
                colony=after.colony,
                away_clock=station.start + timedelta(seconds=before.away_s),
                back_clock=station.start + timedelta(seconds=after.back_s),
                out_s=after.out_s,
                in_hive_s=after.in_hive_s,
                home_s=after.home_s,
                away_noted=left in seen.away_noted,
                back_noted=came in seen.back_noted,
                bearing_true_deg=reading.flown_true_deg if reading else None,
                stray=reading.stray if reading else False,
            )
        )
    return trips


def speak(seen: Watch, station: SimulatedStation) -> list[SpokenLine]:
    """Put the notes of a sitting one after the other, as one mouth must."""
    lines: list[SpokenLine] = []
    free_s = 1.0
    for note in seen.notes:
        for number, piece in enumerate(note.pieces):
            start_s = max(free_s, note.ready_s if number == 0 else free_s)
            if piece.kind is EventKind.SCRATCH or (
                number and note.pieces[number - 1].kind is EventKind.SCRATCH
            ):
                start_s += 1.0  # to notice the slip
            clock = station.start + timedelta(seconds=start_s)
            text, value = piece.text, piece.value
            if piece.kind is EventKind.TIME:
                text = f"time {time_words(clock.hour, clock.minute)}"
                value = f"{clock:%H:%M}"
            end_s = start_s + WORD_S * len(text.replace("-", " ").split())
            event = Event(
                kind=piece.kind,
                mark=piece.mark,
                value=value,
                recording=station.recording,
                start_s=round(start_s, 3),
                end_s=round(end_s, 3),
                clock=clock,
                heard=text,
            )
            lines.append(
                SpokenLine(
                    start_s=start_s,
                    text=text,
                    recording=station.recording,
                    clock=clock,
                    event=event,
                )
            )
            free_s = end_s + BREATH_S
    return lines


def stop_recorder(
    lines: list[SpokenLine], station: SimulatedStation
) -> tuple[list[SpokenLine], list[RecorderStop]]:
    """Take long quiet times out of a recording, as a thrifty observer does.

    The recorder is started again just before a minute turns, and the time is said as
    it does, so that each stretch of sound can be put on the clock.
    """
    out: list[SpokenLine] = []
    gaps: list[RecorderStop] = []
    skipped_s = 0.0
    for said in lines:
        if out and (gap := _stop(out[-1], said, station, skipped_s)) is not None:
            gaps.append(gap)
            skipped_s += gap.skipped_s
            out.append(_time_line(gap.at_s + LEAD_S + 1.0, station, skipped_s))
        out.append(_shifted(said, skipped_s))
    return out, gaps


def _stop(
    last: SpokenLine, following: SpokenLine, station: SimulatedStation, skipped_s: float
) -> RecorderStop | None:
    """Say where the recorder stands between two lines, if it does."""
    at_s = last.start_s + WORD_S * len(last.text.split()) + 4.0
    into_minute_s = (station.start + timedelta(seconds=following.start_s - 10.0)).second
    turn_s = following.start_s - 10.0 - into_minute_s
    gap_s = turn_s - LEAD_S - skipped_s - at_s
    if gap_s < STOPPED_S:
        return None
    return RecorderStop(recording=station.recording, at_s=at_s, skipped_s=gap_s)


def _shifted(said: SpokenLine, earlier_s: float) -> SpokenLine:
    event = said.event
    if event is not None and event.start_s is not None and event.end_s is not None:
        event = replace(
            event,
            start_s=round(event.start_s - earlier_s, 3),
            end_s=round(event.end_s - earlier_s, 3),
        )
    return replace(said, start_s=said.start_s - earlier_s, event=event)


def _time_line(
    start_s: float, station: SimulatedStation, skipped_s: float
) -> SpokenLine:
    clock = station.start + timedelta(seconds=start_s + skipped_s)
    text = f"time {time_words(clock.hour, clock.minute)}"
    event = Event(
        kind=EventKind.TIME,
        value=f"{clock:%H:%M}",
        recording=station.recording,
        start_s=round(start_s, 3),
        end_s=round(start_s + WORD_S * len(text.split()), 3),
        clock=clock,
        heard=text,
    )
    return SpokenLine(
        start_s=start_s,
        text=text,
        recording=station.recording,
        clock=clock,
        event=event,
    )
