"""treeward demo [DIR]."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from treeward.errors import HuntError
from treeward.files import PREFIX


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
    from treeward.files import example_hunt_dir, new_folder
    from treeward.hunt.hearing import usual_jobs
    from treeward.hunt.hunt import Hunt

    from .locate import answer_lines
    from .options import ProgressBar
    from .transcribe import summary_lines
    from .trips import count_line

    source = example_hunt_dir()
    cut_short = is_cut_short(directory, source)
    taken = directory.exists() and (not directory.is_dir() or any(directory.iterdir()))
    if taken and not cut_short:
        raise HuntError(
            "is there already and not empty",
            where=str(directory),
            mend="Name another folder: treeward demo DIR",
        )
    if not (source / "hunt.toml").is_file():
        raise HuntError(
            "the example hunt is missing from this installation",
            where=str(source),
            mend="Install Treeward again.",
        )
    if not cut_short:
        with new_folder(directory) as beside:
            shutil.copytree(source, beside, dirs_exist_ok=True)
    hunt = Hunt(directory)
    done = "goes on in" if cut_short else "was copied to"
    click.echo(f"1. The example hunt, {hunt.file.hunt.name}, {done} {directory}.")
    recordings = hunt.recordings()
    click.echo(f"2. Hearing {len(recordings)} recordings ...")
    with ProgressBar() as bar:
        heard = hunt.transcribe(jobs=usual_jobs(), watcher=bar)
    for line in summary_lines(heard, hunt.review_path):
        click.echo(f"   {line}")
    table = hunt.trips()
    click.echo(f"3. {count_line(table)}")
    result = hunt.weigh_doubts(hunt.locate())
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


def is_cut_short(directory: Path, source: Path) -> bool:
    """Tell whether an earlier demo was stopped here before it came to its results."""
    mine, example = directory / "hunt.toml", source / "hunt.toml"
    if not mine.is_file() or mine.read_bytes() != example.read_bytes():
        return False
    half_made = any(directory.glob(f"{PREFIX}*"))
    return half_made or not (directory / "results" / "report.html").exists()
