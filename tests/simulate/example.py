"""Make the example hunt that comes along with Treeward.

    PYTHONPATH=tests python -m simulate.example FOLDER --truth FILE.toml [--seed N]
    PYTHONPATH=tests python -m simulate.example FOLDER --typed

The hunt is invented from the seed and spoken by the voice of hibari-tts over wind,
with some talk. Where the colony really is goes into the truth file only. `--typed`
writes the small hunts of TYPED instead, each as a review.csv and a truth file.
"""

from __future__ import annotations

import argparse
import sys
from datetime import date
from pathlib import Path

from treeward.errors import TreewardError
from treeward.files import write_text
from treeward.simulate import SimulationSettings, simulate_hunt
from treeward.simulate.sound import SoundSettings
from treeward.simulate.write import truth_toml, write_hunt

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
SOUND = SoundSettings(snr_db=20.0, talk_share=0.5, compression=0.9)

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
