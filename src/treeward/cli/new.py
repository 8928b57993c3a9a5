"""treeward new DIR."""

from __future__ import annotations

import os
from pathlib import Path

import click

from treeward.errors import HuntError

LONGEST_NAME = 60  # letters, as hunt.toml allows


@click.command(name="new")
@click.argument("directory", type=click.Path(path_type=Path), metavar="DIR")
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
def command(
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
