"""treeward merge A B."""

from __future__ import annotations

import os
from pathlib import Path

import click

from .options import json_option, recover_first

_HUNT = click.Path(path_type=Path, file_okay=False)


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
def command(
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
        import json

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
    recordings = f"{merged.recordings} recording{'' if merged.recordings == 1 else 's'}"
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
