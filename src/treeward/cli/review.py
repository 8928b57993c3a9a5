"""treeward review."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from .options import hunt_option, json_option

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.desk.desk import Desk
    from treeward.hunt.hunt import Hunt


@click.command(name="review")
@hunt_option
@click.option("--browser", is_flag=True, help="A page with the sound, on this machine.")
@click.option("--no-open", is_flag=True, help="With --browser: only print the address.")
@click.option(
    "--all", "all_rows", is_flag=True, help="All rows, not only doubtful ones."
)
@json_option
def review_command(
    *, hunt_dir: Path, browser: bool, no_open: bool, all_rows: bool, as_json: bool
) -> None:
    """Look at the rows that may be wrong, worst first, and correct them.

    In a terminal, one row after the other, with keys; when the output goes elsewhere,
    as a list. Every correction is saved in review.csv at once.

    Example: treeward review --browser
    """
    from treeward.desk.desk import Desk
    from treeward.hunt.hunt import Hunt

    from .options import recover_first

    if browser and as_json:
        raise click.UsageError("--json goes without --browser.")
    if no_open and not browser:
        raise click.UsageError("--no-open goes with --browser.")
    hunt = Hunt(hunt_dir)
    recover_first(hunt)
    desk = Desk(hunt)
    desk.sheet()  # a fault in review.csv is told before anything opens
    if not browser and not hunt.review_path.exists():
        hunt.rows()  # says that there is none; on the page notes can be pasted
    if browser:
        _serve(hunt, open_page=not no_open)
    elif as_json:
        import json

        from treeward.desk.terminal import review_dict

        click.echo(json.dumps(review_dict(desk, all_rows=all_rows), indent=2))
    elif sys.stdin.isatty() and sys.stdout.isatty():
        _sit_down(desk, all_rows=all_rows)
    else:
        from treeward.desk.terminal import row_lines

        for line in row_lines(desk, all_rows=all_rows):
            click.echo(line)


def _serve(hunt: Hunt, *, open_page: bool) -> None:
    from treeward.desk.serve import ReviewServer

    server = ReviewServer(hunt)
    click.echo(f"Review page: {server.address}")
    click.echo("The address is good once. Ctrl-C here, or Finish there, ends it.")
    try:
        if open_page:
            with server.doorstep() as doorstep:
                _open(doorstep)
                server.run()
        else:
            server.run()
    except KeyboardInterrupt:
        click.echo()
    click.echo(f"Everything is saved in {hunt.review_path}. Next: treeward locate")


def _open(doorstep: str) -> None:
    """Open a browser, which may take its time or keep the terminal until it ends."""
    import threading
    import webbrowser

    def work() -> None:
        if not webbrowser.open(doorstep):
            click.echo("No browser was found here; open the address yourself.")

    threading.Thread(target=work, daemon=True).start()


def _sit_down(desk: Desk, *, all_rows: bool) -> None:
    from rich.console import Console

    from treeward.desk.terminal import TerminalReview
    from treeward.live.microphone import find_player

    console = Console(highlight=False)
    TerminalReview(
        desk,
        console,
        read_key=click.getchar,
        ask=console.input,
        player=find_player(),
    ).run(all_rows=all_rows)
    click.echo(f"Everything is saved in {desk.hunt.review_path}. Next: treeward locate")
