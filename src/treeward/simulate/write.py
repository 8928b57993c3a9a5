"""An invented hunt as a hunt folder, and its truth as a file of its own."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.errors import HuntError
from treeward.files import write_text
from treeward.positions import format_position

from .sound import HibariVoice, SoundSettings, render
from .world import CALIBRATION_ID, line

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from treeward.notes.events import Event

    from .invented import SimulatedHunt
    from .sound import Voice

OBSERVER_PITCH, FRIEND_PITCH = 0.9, 0.78  # so that the two voices differ; choice


def write_hunt(
    hunt: SimulatedHunt,
    directory: Path,
    *,
    sound: bool,
    write_events: Callable[[Path, Sequence[Event]], None] | None = None,
    observer: Voice | None = None,
    friend: Voice | None = None,
    sound_settings: SoundSettings | None = None,
) -> SimulatedHunt:
    """Write a hunt folder.

    Parameters
    ----------
    hunt
        The invented hunt.
    directory
        The folder; made if missing. One that holds a hunt already is refused.
    sound
        Whether to speak the notes into recordings/. Without sound the events are
        written as a review.csv typed by hand.
    write_events
        Writes the events into the folder; as review.csv if not given.
    observer, friend
        Voices, the ones of hibari-tts if not given.
    sound_settings
        Noise, talk and file size.

    Returns
    -------
    SimulatedHunt
        The hunt with the times as they were really spoken.

    Raises
    ------
    HuntError
        If the folder holds a hunt.toml already.
    SpeechError
        If sound is wanted and no voice is installed.
    """
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
        typed = [_typed(event) for event in hunt.events]
        (write_events or _write_review)(directory, typed)
    write_text(toml, hunt_toml(hunt))
    return hunt


def _typed(event: Event) -> Event:
    """Return the event as if written down by hand: without a recording."""
    clock = event.clock
    if clock is not None:
        clock = clock.replace(microsecond=0)
    return replace(event, recording="", start_s=None, end_s=None, heard="", clock=clock)


def _write_review(directory: Path, events: Sequence[Event]) -> None:
    from treeward.review.file import ReviewRow, write_review

    write_review(directory / "review.csv", [ReviewRow(event=event) for event in events])


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
