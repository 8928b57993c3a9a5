"""treeward found."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from treeward.errors import HuntError, TreewardError

from .options import hunt_option, json_option

if TYPE_CHECKING:
    from datetime import date

    from treeward.hunt.finds import FindTable, FoundFile
    from treeward.hunt.hunt import Hunt
    from treeward.report.model import HuntResult

NESTS = ("tree", "wall", "building", "rock", "ground", "box", "other")
STATES = ("alive", "dead", "moved in", "not looked at")
_DAY = click.DateTime(["%Y-%m-%d"])


@click.command(name="found")
@hunt_option
@click.option("--position", metavar="PLACE", help='Where: "52.304500, -3.613300".')
@click.option(
    "--at",
    "at_clock",
    metavar="CLOCK",
    help='Or when you stood there, by your GPX track: "2026-07-14 15:20".',
)
@click.option("--from-note", is_flag=True, help="Or where your note says found.")
@click.option("--date", "day", type=_DAY, metavar="DAY", help="Today if left out.")
@click.option(
    "--nest", type=click.Choice(NESTS), default="tree", help="Where it lives; a tree."
)
@click.option("--height-m", type=float, help="Of the entrance above the ground.")
@click.option("--entrance", default="", help='"south-east, a knot hole".')
@click.option("--photo", "photos", multiple=True, metavar="NAME", help="Name of one.")
@click.option("--may-know", multiple=True, metavar="WHO", help="Who may be told.")
@click.option("--colony", default="", help="The answer's name for it, of several.")
@click.option("--remark", default="", help="Anything else.")
@click.option("--again", metavar="FIND", help="A look at a colony found before.")
@click.option("--state", type=click.Choice(STATES), help="With --again: how it is.")
@click.option(
    "--share",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the places as GeoJSON for others, rounded.",
)
@click.option(
    "--share-square-m",
    type=click.FloatRange(10, 100_000),
    default=1000.0,
    show_default=True,
    help="Side of the square that a shared place is rounded to.",
)
@click.option("--share-exact", is_flag=True, help="Share places as they are.")
@json_option
def command(**options: Any) -> None:  # noqa: ANN401  (a dozen of them)
    """Keep where the colony was found, and compare the forecast with it.

    With neither a place nor --again it compares what is kept in found.toml, which
    stays in the hunt's folder: reports and maps hold nothing of it.

    Example: treeward found --position "52.304500, -3.613300" --height-m 6
    """
    from treeward.hunt.finds import read_finds
    from treeward.hunt.hunt import Hunt

    hunt = Hunt(options["hunt_dir"])
    _ = hunt.file  # a faulty or missing hunt.toml is told first
    _only_one_way(options)
    said: list[str] = []
    new = None
    if options["again"] is not None:
        finds = _look(hunt, options)
        said.append(f"Kept in {hunt.path / 'found.toml'}.")
    elif new := _new_find(hunt, options):
        from treeward.hunt.finds import add_find

        finds = add_find(hunt, new)
        new = finds.find[-1]
        said.append(
            f"Find {new.id} is kept in {hunt.path / 'found.toml'}, and nowhere else."
        )
    else:
        finds = read_finds(hunt.path)
        if not finds.find:
            raise HuntError(
                "nothing was found here yet",
                where=str(hunt.path / "found.toml"),
                mend='Say where: treeward found --position "52.304500, -3.613300"',
            )
    if options["share"]:
        said.append(_share(finds, options))
    result, fault = _located(hunt)
    chosen = new.id if new is not None else options["again"]
    shown = [find for find in finds.find if chosen in (None, find.id)]
    finds = finds.model_copy(update={"find": tuple(shown)})
    _tell(finds, result, said=said, fault=fault, as_json=options["as_json"])


def _only_one_way(options: dict[str, Any]) -> None:
    ways = ("position", "at_clock", "from_note", "again")
    given = [way for way in ways if options[way] not in (None, False)]
    if len(given) > 1:
        raise click.UsageError(
            "One of --position, --at, --from-note and --again is enough."
        )
    if (options["again"] is None) != (options["state"] is None):
        raise click.UsageError("--again FIND and --state belong together.")


def _day(hunt: Hunt, options: dict[str, Any]) -> date:
    from treeward.hunt.finds import day_told

    return day_told(hunt, options["day"].date() if options["day"] else None)


def _look(hunt: Hunt, options: dict[str, Any]) -> FoundFile:
    from treeward.hunt.finds import LookTable, add_look, checked, read_finds

    known = [find.id for find in read_finds(hunt.path).find]
    if options["again"] not in known:
        raise HuntError(
            f"there is no find {options['again']!r}",
            where=str(hunt.path / "found.toml"),
            mend=f"There are: {', '.join(known)}." if known else "Keep the find first.",
        )
    look = {
        "find": options["again"],
        "seen": _day(hunt, options),
        "state": options["state"],
        "remark": options["remark"],
    }
    return add_look(hunt, checked(LookTable, look, named="--{}"))


def _new_find(hunt: Hunt, options: dict[str, Any]) -> FindTable | None:
    """Return the find that the options tell of, None where they tell of none."""
    from treeward.hunt.finds import (
        FindTable,
        checked,
        noted_place,
        place_at,
        read_finds,
        typed_place,
    )

    words = ""
    if options["position"] is not None:
        position, placed_by, day = typed_place(options["position"]), "typed", None
    elif options["at_clock"] is not None:
        position, day = place_at(hunt, options["at_clock"])
        placed_by = "track"
    elif options["from_note"]:
        position, day, words = noted_place(hunt)
        placed_by = "note"
    else:
        return None
    if options["day"] or day is None:
        day = _day(hunt, options)
    find = {
        "id": read_finds(hunt.path).free_id(),
        "position": position,
        "placed_by": placed_by,
        "found": day,
    }
    for key in ("nest", "height_m", "entrance", "colony", "remark"):
        find[key] = options[key]
    find["remark"] = options["remark"] or words
    for key in ("photos", "may_know"):
        find[key] = list(options[key])
    return checked(FindTable, find, named="--{}")


def _share(finds: FoundFile, options: dict[str, Any]) -> str:
    from treeward.files import write_text
    from treeward.hunt.finds import shared_geojson

    square_m = None if options["share_exact"] else options["share_square_m"]
    path: Path = options["share"]
    write_text(path, shared_geojson(finds, square_m))
    how = "exactly" if square_m is None else f"to squares of {square_m:g} m"
    return f"{path} holds the places {how}; give it to those who may know."


def _located(hunt: Hunt) -> tuple[HuntResult | None, str]:
    """Return the answer to compare with, or why there is none; a find is kept."""
    try:
        result = hunt.locate()
    except TreewardError as error:
        return None, error.line()
    if result.fix is None:
        from treeward.report.wording import headline

        return None, headline(result)
    return result, ""


def _tell(
    finds: FoundFile,
    result: HuntResult | None,
    *,
    said: list[str],
    fault: str,
    as_json: bool,
) -> None:
    from treeward.hunt.finds import check_finds
    from treeward.report.finds import check_dict, check_sentences

    checks = check_finds(result, finds.find) if result is not None else ()
    if as_json:
        import json

        whole = {
            "finds": finds.model_dump(mode="json")["find"],
            "looks": finds.model_dump(mode="json")["look"],
            "forecast": [check_dict(check) for check in checks],
            "not_compared": fault,
        }
        click.echo(json.dumps(whole, indent=2, allow_nan=False))
        return
    for line in said:
        click.echo(line)
    for check in checks:
        assert result is not None  # noqa: S101
        for line in check_sentences(result, check):
            click.echo(line)
    if fault:
        click.echo(f"There is no forecast to compare it with: {fault}")
    for find in finds.find:
        looks = finds.looks_of(find.id)
        if looks:
            seen = ", ".join(f"{look.state} {look.seen.isoformat()}" for look in looks)
            click.echo(f"Find {find.id} since: {seen}.")
