"""treeward transcribe FILE..., treeward review, treeward merge A B."""

from __future__ import annotations

import json
import os
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import click

from treeward.measures import counted

from . import (
    PathName,
    ProgressBar,
    hunt_option,
    is_terminal,
    json_option,
    recover_first,
)

if TYPE_CHECKING:
    from treeward.desk.desk import Desk
    from treeward.hunt.hunt import Hunt
    from treeward.hunt.transcription import Transcribed
    from treeward.notes.unread import Unread


_MOST_UNREAD = 20  # lines shown; choice
_WIDEST = 90  # letters of a line shown; choice


@click.command(name="transcribe")
@click.argument("files", nargs=-1, type=PathName(), metavar="[FILE]...")
@hunt_option
@click.option(
    "--start",
    metavar="WHEN",
    help='Clock time of the first second, as "2026-07-14 10:20", or the day of notes '
    "typed with their times, as 2026-07-14; for one FILE.",
)
@click.option("--model", metavar="PATH|NAME", help="Another speech model to use.")
@click.option(
    "--jobs",
    type=click.IntRange(1, 64),
    metavar="N",
    help="Processes at work at once, 350 MB each. [one a core, at most 8]",
)
@click.option("--fresh", is_flag=True, help="Forget what was heard before.")
@json_option
def transcribe_command(
    *,
    files: tuple[Path, ...],
    hunt_dir: Path,
    start: str | None,
    model: str | None,
    jobs: int | None,
    fresh: bool,
    as_json: bool,
) -> None:
    """Hear recordings, or read timed transcripts, and write review.csv.

    Without FILE, everything in the hunt's recordings folder. A FILE from elsewhere is
    copied there. What you changed in review.csv is kept. Ctrl-C keeps what is done;
    the same command goes on from there. The same is heard whatever --jobs says.

    Example: treeward transcribe memo.m4a --start "2026-07-14 10:20"
    """
    from treeward.hunt.hearing import usual_jobs
    from treeward.hunt.hunt import Hunt

    if start and len(files) != 1:
        raise click.UsageError("--start goes with one FILE.")
    hunt = Hunt(hunt_dir)
    recover_first(hunt)
    with ProgressBar() as bar:
        done = hunt.transcribe(
            files,
            start=start,
            model=model,
            jobs=jobs or usual_jobs(),
            fresh=fresh,
            watcher=bar,
        )
    if as_json:
        click.echo(json.dumps(_as_dict(done, hunt.review_path), indent=2))
    else:
        for line in summary_lines(done, hunt.review_path):
            click.echo(line)
        if done.rows and not done.faults and not done.stopped:
            review = "treeward review, then " if done.left.any else ""
            click.echo(f"Next: {review}treeward locate")
    for fault in done.faults:
        click.echo(f"treeward: {fault}", err=True)
    if done.faults or done.stopped:
        sys.exit(1)


def summary_lines(done: Transcribed, review_path: Path) -> list[str]:
    """Say in a few plain lines what transcribe did."""
    from treeward.report.wording import left_text

    lines = []
    for recording in done.recordings:
        if recording.fault:
            continue
        count = len(recording.events)
        state = "" if recording.complete else ", stopped before its end"
        lines.append(f"{recording.name}: {counted(count, 'note')}{state}")
        lines += [f"  {remark}" for remark in recording.remarks]
    lines += done.remarks
    if done.rows or not done.faults:  # else nothing was written
        notes = counted(done.rows, "note")
        kept = done.kept_changes
        changes = f", {kept} of your changes kept" if kept else ""
        look = f"to look at: {left_text(done.left)}"
        lines.append(f"{review_path}: {notes}, {look}{changes}")
    only_phrases = {one.name for one in done.recordings if one.not_free}
    told = sum(line.recording in only_phrases for line in done.unread)
    unread = [line for line in done.unread if line.recording not in only_phrases]
    if told:
        lines.append(
            f"{counted(told, 'sentence')} seem{'s' * (told == 1)} to tell of bees: "
            "see the list below the rows (treeward review), or set free = true under "
            "[speech] in hunt.toml"
        )
    if unread:
        count = len(unread)
        lines.append(
            f"{counted(count, 'line')} of what was read now made no note, and may "
            "hold one:"
        )
        lines += [_unread_line(line) for line in unread[:_MOST_UNREAD]]
        if count > _MOST_UNREAD:
            lines.append(f"  and {count - _MOST_UNREAD} more (--json lists them)")
    if done.stopped:
        lines.append("Stopped. Run the same command again to go on.")
    return lines


def _unread_line(line: Unread) -> str:
    text = line.text if len(line.text) <= _WIDEST else f"{line.text[:_WIDEST]} ..."
    return f"  {line.recording} {line.place}  {text}"


def _as_dict(done: Transcribed, review_path: Path) -> dict[str, object]:
    return {
        "review": str(review_path),
        "engine": done.engine,
        "rows": done.rows,
        "to_look_at": done.left.notes,
        "lines_to_look_at": done.left.lines,
        "kept_changes": done.kept_changes,
        "stopped": done.stopped,
        "recordings": [
            {
                "name": recording.name,
                "notes": len(recording.events),
                "complete": recording.complete,
                "fault": recording.fault,
                "remarks": list(recording.remarks),
            }
            for recording in done.recordings
        ],
        "remarks": list(done.remarks),
        "unread": [
            {
                "recording": line.recording,
                "start_s": None if line.start_s is None else round(line.start_s, 2),
                "end_s": None if line.end_s is None else round(line.end_s, 2),
                "line": line.line,
                "text": line.text,
                "marks": list(line.marks),
            }
            for line in done.unread
        ],
    }


_HUNT = PathName(file_okay=False)


@click.command(name="merge")
@click.argument("one", type=_HUNT, metavar="A")
@click.argument("other", type=_HUNT, metavar="B")
@click.option(
    "--into", type=_HUNT, metavar="DIR", help="The new hunt; A-and-B beside A if not."
)
@click.option(
    "--names",
    type=(str, str),
    metavar="WHO WHO",
    help="Who made A and who B, if hunt.toml does not say; else the folders' names.",
)
@json_option
def merge_command(
    *,
    one: Path,
    other: Path,
    into: Path | None,
    names: tuple[str, str] | None,
    as_json: bool,
) -> None:
    """Make one hunt of two people's hunts A and B, in a new folder.

    Each keeps a compass and marks of their own. Recordings and notes that both have
    are there once, and no correction is lost; A and B stay as they are.

    Example: treeward merge ann ben --into fern-bank --names Ann Ben
    """
    from treeward.hunt.hunt import Hunt
    from treeward.hunt.merging import merge_hunts
    from treeward.live.opening import is_listened_to

    called = [Path(os.path.realpath(folder)).name for folder in (one, other)]
    who = names or (called[0][:50], called[1][:50])
    if who[0] == who[1]:
        who = (who[0], f"{who[1]} 2")
    target = into or one.parent / f"{called[0]}-and-{called[1]}"
    going_on = []
    for folder in (one, other):
        if is_listened_to(folder):
            going_on.append(
                f"{folder} is being listened to, and what that hears is not in the "
                "merged hunt: merge anew, into another folder, when it has ended"
            )
        else:
            recover_first(Hunt(folder))
    merged = merge_hunts(one, other, target, names=who)
    remarks = [*going_on, *merged.remarks]
    if as_json:
        whole = {
            "hunt": str(merged.path),
            "recordings": merged.recordings,
            "recordings_in_both": merged.shared_recordings,
            "rows": merged.rows,
            "rows_in_both": merged.shared,
            "changed_by_both": list(merged.conflicts),
            "stations_renamed": list(merged.stations),
            "finds": merged.finds,
            "remarks": remarks,
        }
        click.echo(json.dumps(whole, indent=2))
        return
    recordings = counted(merged.recordings, "recording")
    click.echo(
        f"{merged.path} holds both hunts: {merged.rows} rows, {merged.shared} of them "
        f"in both; {recordings}, and {merged.shared_recordings} that both had."
    )
    if merged.conflicts:
        click.echo(
            f"{who[0]} and {who[1]} changed these rows otherwise; {who[0]}'s stands "
            f"and the remark tells {who[1]}'s: {', '.join(merged.conflicts)}."
        )
    for line in (*merged.stations, *remarks):
        click.echo(f"{line}.")
    click.echo(f"Next: treeward locate --hunt {merged.path}")


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
        from treeward.desk.terminal import review_dict

        click.echo(json.dumps(review_dict(desk, all_rows=all_rows), indent=2))
    elif is_terminal(sys.stdin) and is_terminal(sys.stdout):
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
        with ExitStack() as stack:
            if open_page:
                _open(stack.enter_context(server.doorstep()))
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
