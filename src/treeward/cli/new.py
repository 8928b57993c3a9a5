"""treeward new DIR, treeward demo [DIR], treeward simulate DIR: hunts to begin with."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import click

from treeward.errors import HuntError
from treeward.files import PREFIX, example_hunt_dir, new_folder, write_text

from . import PathName, ProgressBar

LONGEST_NAME = 60  # letters, as hunt.toml allows


@click.command(name="new")
@click.argument("directory", type=PathName(), metavar="DIR")
@click.option("--name", help="What the hunt is called; the folder's name otherwise.")
@click.option(
    "--timezone",
    help="IANA time zone of the place, as Europe/London; this machine's otherwise.",
)
@click.option(
    "--sheet",
    is_flag=True,
    help="Add a tally sheet to print, and a spreadsheet of the same columns.",
)
def new_command(
    directory: Path, name: str | None, timezone: str | None, *, sheet: bool
) -> None:
    """Start a hunt in DIR: hunt.toml with every key explained, and empty folders.

    Example: treeward new marl-hollow --timezone Europe/London
    """
    from treeward.hunt.hunt import Hunt

    if timezone and not _is_zone(timezone):
        raise HuntError(
            f"--timezone {timezone!r} is no IANA time zone",
            mend="Write it like --timezone Europe/London.",
        )
    called = name or Path(os.path.realpath(directory)).name
    if not 1 <= len(called) <= LONGEST_NAME or not called.isprintable():
        raise HuntError(
            f"the name {called!r} has "
            + ("more than 60 letters" if called.isprintable() else "odd letters in it"),
            where=str(directory),
            mend='Give the hunt another one: --name "Fern Bank".',
        )
    zone = timezone or machine_timezone()
    if zone is None:
        raise HuntError(
            "this machine does not tell its time zone",
            where=str(directory),
            mend="Name it, for example --timezone Europe/London.",
        )
    hunt = Hunt.create(directory, name=called, timezone=zone)
    click.echo(f"A new hunt stands in {hunt.path}. Spoken times are read in {zone};")
    click.echo("if you watch elsewhere, change that in hunt.toml.")
    click.echo(f"  1. Write your stations' positions into {hunt.path / 'hunt.toml'},")
    click.echo("     or put your phone's GPX track or waypoints beside it.")
    click.echo(
        f"  2. Put recordings into {hunt.recordings_dir}, or run treeward listen."
    )
    click.echo(
        f"  3. Stand in the folder (cd {hunt.path}) and run: treeward transcribe,"
    )
    click.echo("     then look at review.csv, then: treeward locate.")
    if sheet:
        from treeward.report.figures.sheets import write_tally_sheet

        pdf, table = write_tally_sheet(hunt.path, name=called)
        click.echo(f"To print: {pdf}. Type it off into {table.name}, then run:")
        click.echo(f"     treeward transcribe {table.name}")
    click.echo("What can be said: treeward phrases")


def machine_timezone() -> str | None:
    """Return this machine's IANA time zone, or None where it cannot be told."""
    named = os.environ.get("TZ", "").lstrip(":")
    if named and _is_zone(named):
        return named
    from tzlocal import get_localzone_name

    try:
        found: object = get_localzone_name()
    except (LookupError, OSError, ValueError):
        return None
    return found if isinstance(found, str) and _is_zone(found) else None


def _is_zone(key: str) -> bool:
    from zoneinfo import ZoneInfo

    try:
        ZoneInfo(key)
    except (KeyError, ValueError, OSError):
        return False
    return True


@click.command(name="demo")
@click.argument(
    "directory",
    required=False,
    default="treeward-demo",
    type=PathName(),
    metavar="[DIR]",
)
def demo_command(directory: Path) -> None:
    """Copy the example hunt to DIR and run all of it, sound to map.

    DIR is treeward-demo unless you name another. The hunt is invented, and so is
    every voice in it. Nothing is fetched.
    """
    from treeward.hunt.hearing import usual_jobs
    from treeward.hunt.hunt import Hunt

    from .locate import answer_lines, count_line
    from .transcribe import summary_lines

    source = example_hunt_dir()
    cut_short = is_cut_short(directory, source)
    if not cut_short:
        _refuse_taken(directory, mend="Name another folder: treeward demo DIR")
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


def _refuse_taken(directory: Path, *, mend: str) -> None:
    if directory.exists() and (not directory.is_dir() or any(directory.iterdir())):
        raise HuntError(
            "is there already and not empty", where=str(directory), mend=mend
        )


def is_cut_short(directory: Path, source: Path) -> bool:
    """Tell whether an earlier demo was stopped here before it came to its results."""
    mine, example = directory / "hunt.toml", source / "hunt.toml"
    if not mine.is_file() or mine.read_bytes() != example.read_bytes():
        return False
    half_made = any(directory.glob(f"{PREFIX}*"))
    return half_made or not (directory / "results" / "report.html").exists()


@click.command(name="simulate", context_settings={"show_default": True})
@click.argument("directory", type=PathName(), metavar="DIR")
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=1,
    help="The same seed gives the same hunt.",
)
@click.option("--sound", is_flag=True, help="Speak the notes into recordings.")
@click.option(
    "--stations", type=click.IntRange(1, 26), default=3, help="How many stations."
)
@click.option(
    "--bees", type=click.IntRange(1, 24), default=4, help="How many marked bees."
)
@click.option(
    "--colonies",
    type=click.IntRange(1, 2),
    default=1,
    help="How many colonies they come from.",
)
@click.option(
    "--cargo",
    type=click.Choice(["water", "syrup", "nectar"]),
    default="water",
    help="What the bees fetch.",
)
@click.option(
    "--minutes",
    "watch_min",
    type=click.FloatRange(5, 600),
    default=45.0,
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
    type=PathName(dir_okay=False),
    metavar="FILE",
    help="Where to write what is true; DIR.truth.toml if not named.",
)
def simulate_command(
    *,
    directory: Path,
    seed: int,
    sound: bool,
    truth_path: Path | None,
    **world: Any,  # noqa: ANN401 (settings by their names)
) -> None:
    """Invent a hunt with a known answer, as events or as sound.

    For trying things out: work on DIR as on any hunt, then compare with the truth,
    which is written beside it. Sound needs the package hibari-tts.
    """
    from treeward.simulate import SimulationSettings, simulate_hunt
    from treeward.simulate.write import truth_toml, write_hunt

    _refuse_taken(directory, mend="Name another folder.")
    settings = SimulationSettings(**world)
    called = Path(os.path.realpath(directory)).name
    truth = truth_path or directory.with_name(f"{called}.truth.toml")
    with new_folder(directory) as beside:  # a hunt cut short has no truth
        hunt = write_hunt(simulate_hunt(settings, seed=seed), beside, sound=sound)
        write_text(truth, truth_toml(hunt))
    click.echo(f"An invented hunt stands in {directory}; what is true is in {truth}.")
    first = "treeward transcribe, then " if sound else ""
    click.echo(f"Stand in that folder and run: {first}treeward locate")
