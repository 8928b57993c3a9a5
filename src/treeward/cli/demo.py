"""treeward demo [DIR]."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from treeward.errors import HuntError


@click.command(name="demo")
@click.argument(
    "directory",
    required=False,
    default="treeward-demo",
    type=click.Path(path_type=Path),
    metavar="[DIR]",
)
def command(directory: Path) -> None:
    """Copy the example hunt to DIR and run all of it, sound to map.

    DIR is treeward-demo unless you name another. The hunt is invented, and so is
    every voice in it. Nothing is fetched.
    """
    from treeward.cli.locate import answer_lines
    from treeward.cli.progress import ProgressBar
    from treeward.cli.transcribe import summary_lines
    from treeward.cli.trips import count_line
    from treeward.hearing_processes import usual_jobs
    from treeward.hunt import Hunt
    from treeward.resources import example_hunt_dir

    if directory.exists() and (not directory.is_dir() or any(directory.iterdir())):
        raise HuntError(
            "is there already and not empty",
            where=str(directory),
            mend="Name another folder: treeward demo DIR",
        )
    source = example_hunt_dir()
    if not (source / "hunt.toml").is_file():
        raise HuntError(
            "the example hunt is missing from this installation",
            where=str(source),
            mend="Install Treeward again.",
        )
    shutil.copytree(source, directory, dirs_exist_ok=True)
    hunt = Hunt(directory)
    click.echo(
        f"1. The example hunt, {hunt.file.hunt.name}, was copied to {directory}."
    )
    recordings = hunt.recordings()
    click.echo(f"2. Hearing {len(recordings)} recordings ...")
    with ProgressBar() as bar:
        heard = hunt.transcribe(jobs=usual_jobs(), watcher=bar)
    for line in summary_lines(heard, hunt.review_path):
        click.echo(f"   {line}")
    table = hunt.trips()
    click.echo(f"3. {count_line(table)}")
    result = hunt.locate()
    written = hunt.write_results(result)
    click.echo("4. The answer:")
    for line in answer_lines(result):
        click.echo(f"   {line}")
    click.echo("5. Open these:")
    for path, what in (
        (hunt.review_path, "what was heard, to correct"),
        (written.report, "the report, in any browser"),
        (written.directory / "map.kml", "the map, for a phone or a globe"),
        (written.directory / "stations.gpx", "the places, for a hand-held receiver"),
    ):
        click.echo(f"   {path}  {what}")
