"""treeward simulate DIR."""

from __future__ import annotations

import os
from pathlib import Path

import click

from treeward.errors import HuntError


@click.command(name="simulate")
@click.argument("directory", type=click.Path(path_type=Path), metavar="DIR")
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=1,
    show_default=True,
    help="The same seed gives the same hunt.",
)
@click.option("--sound", is_flag=True, help="Speak the notes into recordings.")
@click.option(
    "--stations",
    type=click.IntRange(1, 26),
    default=3,
    show_default=True,
    help="How many stations.",
)
@click.option(
    "--bees",
    type=click.IntRange(1, 24),
    default=4,
    show_default=True,
    help="How many marked bees.",
)
@click.option(
    "--colonies",
    type=click.IntRange(1, 2),
    default=1,
    show_default=True,
    help="How many colonies they come from.",
)
@click.option(
    "--cargo",
    type=click.Choice(["water", "syrup", "nectar"]),
    default="water",
    show_default=True,
    help="What the bees fetch.",
)
@click.option(
    "--minutes",
    type=click.FloatRange(5, 600),
    default=45.0,
    show_default=True,
    help="How long each station is watched.",
)
@click.option(
    "--calibration",
    is_flag=True,
    help="One more station, beside a hive of known place.",
)
@click.option(
    "--truth",
    "truth_path",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Where to write what is true; DIR.truth.toml if not named.",
)
def command(
    *,
    directory: Path,
    seed: int,
    sound: bool,
    stations: int,
    bees: int,
    colonies: int,
    cargo: str,
    minutes: float,
    calibration: bool,
    truth_path: Path | None,
) -> None:
    """Invent a hunt with a known answer, as events or as sound.

    For trying things out: work on DIR as on any hunt, then compare with the truth,
    which is written beside it. Sound needs the package hibari-tts.
    """
    from typing import get_args

    from treeward.files import new_folder, write_text
    from treeward.simulate import SimulationSettings, simulate_hunt
    from treeward.simulate.world import Cargo
    from treeward.simulate.write import truth_toml, write_hunt

    if directory.exists() and (not directory.is_dir() or any(directory.iterdir())):
        raise HuntError(
            "is there already and not empty",
            where=str(directory),
            mend="Name another folder.",
        )
    chosen = next(one for one in get_args(Cargo) if one == cargo)
    settings = SimulationSettings(
        stations=stations,
        bees=bees,
        colonies=colonies,
        cargo=chosen,
        watch_min=minutes,
        calibration=calibration,
    )
    called = Path(os.path.realpath(directory)).name
    truth = truth_path or directory.with_name(f"{called}.truth.toml")
    with new_folder(directory) as beside:  # a hunt cut short has no truth
        hunt = write_hunt(simulate_hunt(settings, seed=seed), beside, sound=sound)
        write_text(truth, truth_toml(hunt))
    click.echo(f"An invented hunt stands in {directory}; what is true is in {truth}.")
    first = "treeward transcribe, then " if sound else ""
    click.echo(f"Stand in that folder and run: {first}treeward locate")
