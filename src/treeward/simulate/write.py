"""A whole invented hunt from settings and a seed, as a hunt folder and its truth."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from treeward.errors import HuntError
from treeward.files import write_text
from treeward.language.kinds import EventKind
from treeward.measures import format_position
from treeward.notes.events import Event

from .observer import Watch, time_words, watch
from .sound import HibariVoice, SoundSettings, render
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
    line,
    place_colonies,
    place_stations,
)

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime
    from pathlib import Path

    from .sound import Voice


WORD_S = 0.34  # a spoken word and its share of silence; measured on the voices
BREATH_S = 0.25  # between two pieces said together; guess
STOPPED_S = 75.0  # a recorder is stopped only for a longer quiet than this; choice
LEAD_S = 2.0  # it is started again this long before a minute turns; choice


def simulate_hunt(settings: SimulationSettings, seed: int) -> SimulatedHunt:
    """Invent a hunt: who flew when, what was seen, and what was said.

    The same settings and seed give the same hunt. Its `events` are as a perfect
    listener would note them, clocks included.
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
            lines.append(_line_of(event, clock, start_s))
            free_s = end_s + BREATH_S
    return lines


def _line_of(event: Event, clock: datetime, start_s: float) -> SpokenLine:
    """Return the line that says a note."""
    return SpokenLine(
        start_s=start_s,
        text=event.heard,
        recording=event.recording,
        clock=clock,
        event=event,
    )


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
    return _line_of(event, clock, start_s)


OBSERVER_PITCH, FRIEND_PITCH = 0.9, 0.78  # so that the two voices differ; choice


def write_hunt(
    hunt: SimulatedHunt,
    directory: Path,
    *,
    sound: bool,
    observer: Voice | None = None,
    friend: Voice | None = None,
    sound_settings: SoundSettings | None = None,
) -> SimulatedHunt:
    """Write a hunt folder, made if missing; return it with the times as really spoken.

    Parameters
    ----------
    sound
        Whether to speak the notes into recordings/. Without sound the events are
        written as a review.csv typed by hand.
    observer, friend
        Voices, the ones of hibari-tts if not given.

    Raises
    ------
    HuntError
        If the folder holds a hunt.toml already.
    SpeechError
        If sound is wanted and no voice is installed.
    """
    from treeward.review.file import ReviewRow, write_review

    toml = directory / "hunt.toml"
    if toml.exists():
        raise HuntError(
            "there is a hunt already", where=str(toml), mend="Name another folder."
        )
    if sound:
        # The voices come first: without them nothing is written.
        observer = observer or HibariVoice("british", pitch=OBSERVER_PITCH)
        friend = friend or HibariVoice("american", pitch=FRIEND_PITCH)
        hunt = render(
            hunt,
            directory / "recordings",
            observer=observer,
            friend=friend,
            settings=sound_settings,
        )
    else:
        directory.mkdir(parents=True, exist_ok=True)
        typed = [ReviewRow(event=_typed(event)) for event in hunt.events]
        write_review(directory / "review.csv", typed)
    write_text(toml, hunt_toml(hunt))
    return hunt


def _typed(event: Event) -> Event:
    """Return the event as if written down by hand: without a recording."""
    clock = event.clock
    if clock is not None:
        clock = clock.replace(microsecond=0)
    return replace(event, recording="", start_s=None, end_s=None, heard="", clock=clock)


def hunt_toml(hunt: SimulatedHunt) -> str:
    """Return hunt.toml of an invented hunt; it tells nothing of the colonies sought."""
    settings = hunt.settings
    painted = ", ".join(f'"{bee.mark}"' for bee in hunt.bees)
    rows = [
        "# An invented hunt: the place, the bees and the voices do not exist.",
        "",
        f"same_bee = [{painted}]  # one bee each, at every station",
        "",
        "[hunt]",
        f'name = "{settings.name}"',
        f'timezone = "{settings.timezone}"  # IANA name of the time zone',
        'units = "metric"                 # or "imperial"; for display only',
        'compass = "magnetic"             # what spoken bearings are read against',
        f"marks = [{painted}]  # another is hardly heard, and flagged",
    ]
    for station in hunt.stations:
        rows += [
            "",
            "[[station]]",
            f'id = "{station.id}"',
            f'position = "{format_position(station.position)}"',
            f'cargo = "{station.cargo}"',
        ]
    for colony in hunt.colonies:
        if colony.known:
            marks = [bee.mark for bee in hunt.bees if bee.colony == colony.id]
            listed = ", ".join(f'"{mark}"' for mark in marks)
            rows += [
                "",
                "[calibration]",
                f'station = "{CALIBRATION_ID}"',
                f'hive = "{format_position(colony.position)}"',
                f"marks = [{listed}]",
            ]
    return "\n".join(rows) + "\n"


def truth_toml(hunt: SimulatedHunt) -> str:
    """Return everything that is true of an invented hunt, as TOML."""
    shared = hunt.shared
    rows = [
        "# The truth behind an invented hunt; no part of the hunt itself.",
        f"seed = {hunt.seed}",
        "",
        "[shared]",
        f"speed_factor = {shared.speed_factor:.4f}",
        f"in_hive_factor = {shared.in_hive_factor:.4f}",
        f"compass_offset_deg = {shared.compass_offset_deg:.2f}",
        f"bearing_sd_deg = {shared.bearing_sd_deg:.2f}",
        f"wind_m_per_s = {shared.wind_mps:.2f}",
        f"declination_deg = {shared.declination_deg:.2f}",
    ]
    for colony in hunt.colonies:
        marks = [bee.mark for bee in hunt.bees if bee.colony == colony.id]
        rows += [
            "",
            "[[colony]]",
            f'id = "{colony.id}"',
            f"known = {str(colony.known).lower()}",
            f"latitude_deg = {colony.position.latitude_deg:.6f}",
            f"longitude_deg = {colony.position.longitude_deg:.6f}",
            f"marks = [{', '.join(repr(mark) for mark in marks)}]",
        ]
        for station in hunt.stations:
            bearing_deg, distance_m = line(station.position, colony.position)
            rows.append(
                f'from."{station.id}" = '
                f"{{ bearing_true_deg = {bearing_deg:.1f}, "
                f"distance_m = {distance_m:.0f} }}"
            )
    for trip in hunt.trips:
        rows += [
            "",
            "[[trip]]",
            f'mark = "{trip.mark}"',
            f'station = "{trip.station}"',
            f"away_clock = {trip.away_clock.isoformat(timespec='milliseconds')}",
            f"back_clock = {trip.back_clock.isoformat(timespec='milliseconds')}",
            f"in_hive_s = {trip.in_hive_s:.1f}",
            f"away_noted = {str(trip.away_noted).lower()}",
            f"back_noted = {str(trip.back_noted).lower()}",
        ]
    for event in hunt.events:
        rows += ["", "[[event]]", f'kind = "{event.kind}"']
        rows += [f'mark = "{event.mark}"'] if event.mark else []
        rows += [f'value = "{event.value}"'] if event.value else []
        if event.start_s is not None and event.end_s is not None:
            rows += [
                f'recording = "{event.recording}"',
                f"start_s = {event.start_s:.3f}",
                f"end_s = {event.end_s:.3f}",
            ]
        if event.clock is not None:
            rows.append(f"clock = {event.clock.isoformat(timespec='milliseconds')}")
        rows.append(f'said = "{event.heard}"')
    return "\n".join(rows) + "\n"
