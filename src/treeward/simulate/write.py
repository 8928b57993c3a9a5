"""An invented hunt as a hunt folder, and its truth as a file of its own.

Make the example hunt that comes along with Treeward.

    python -m treeward.simulate.example FOLDER --truth FILE.toml [--seed N]
    python -m treeward.simulate.example FOLDER --typed

The hunt is invented from the seed and spoken by the voice of hibari-tts over wind,
with some talk. Where the colony really is goes into the truth file only. `--typed`
writes the small hunts of TYPED instead, each as a review.csv and a truth file.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from treeward.errors import HuntError, TreewardError
from treeward.files import write_text
from treeward.positions import format_position

from .hunting import simulate_hunt
from .sound import HibariVoice, SoundSettings, render
from .world import CALIBRATION_ID, SimulationSettings, line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.notes.events import Event

    from .sound import Voice
    from .world import SimulatedHunt


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
        _write_review(directory, typed)
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


SEED = 4971  # five trips or more of each bee in half an hour of sound
SETTINGS = SimulationSettings(
    name="Marl Hollow",
    day=date(2026, 7, 14),
    start_hour=10.2,
    latitude_deg=52.30120,
    longitude_deg=-3.61040,
    stations=3,
    bees=4,
    same_bee=True,
    distance_m=(480.0, 560.0),
    station_step_m=(160.0, 260.0),
    watch_min_each=(9.0, 22.0, 8.0),
    move_min=16.0,
    recorder_stops=("2",),
    speed_factor=(0.92, 1.05),
    in_hive_factor=(0.85, 1.15),
    wind_mps=(1.0, 2.5),
    compass_sd_deg=2.0,
    bearing_sd_deg=(5.0, 8.0),
    bearing_share=0.7,
    missed_share=0.04,
    slip_share=0.03,
    pause_share=0.0,
)
SOUND = SoundSettings(noise="wind", snr_db=20.0, talk_share=0.5, compression=0.9)

TYPED = {
    "slate_fold": (
        3,
        SimulationSettings(
            name="Slate Fold",
            day=date(2026, 8, 2),
            start_hour=13.4,
            latitude_deg=52.31880,
            longitude_deg=-3.58210,
            stations=2,
            bees=3,
            cargo="syrup",
            distance_m=(700.0, 1100.0),
            watch_min=40.0,
            calibration=True,
        ),
    ),
    "cold_spring": (
        8,
        SimulationSettings(
            name="Cold Spring",
            day=date(2026, 6, 21),
            start_hour=9.6,
            latitude_deg=52.28740,
            longitude_deg=-3.64300,
            stations=2,
            bees=6,
            colonies=2,
            distance_m=(500.0, 1400.0),
            watch_min=50.0,
        ),
    ),
}


def write_typed(folder: Path) -> None:
    """Write the small hunts, without sound."""
    for name, (seed, settings) in TYPED.items():
        hunt = simulate_hunt(settings, seed)
        hunt = write_hunt(hunt, folder / name, sound=False)
        write_text(folder / f"{name}_truth.toml", truth_toml(hunt))


def main() -> int:
    """Write the example hunt that the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--truth", type=Path, help="file for the truth (TOML)")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--typed", action="store_true", help="the small hunts")
    args = parser.parse_args()
    try:
        if args.typed:
            write_typed(args.folder)
            return 0
        hunt = write_hunt(
            simulate_hunt(SETTINGS, args.seed),
            args.folder,
            sound=True,
            sound_settings=SOUND,
        )
        if args.truth is not None:
            write_text(args.truth, truth_toml(hunt))
    except TreewardError as error:
        sys.stderr.write(f"{error}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
