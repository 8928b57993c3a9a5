"""treeward found, treeward season DIR."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from treeward.errors import HuntError, ReportError, TreewardError
from treeward.files import write_text
from treeward.measures import Units, counted

from . import Doing, PathName, hunt_option, json_option
from .locate import columns

if TYPE_CHECKING:
    from datetime import date

    from treeward.hunt.finds import FindTable, FoundFile
    from treeward.hunt.hunt import Hunt
    from treeward.hunt.season import Season
    from treeward.hunt.two_hunts import FoundColony
    from treeward.report.looking import ColonyYear
    from treeward.report.model import FindCheck, HuntResult


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
@click.option(
    "--another", is_flag=True, help="Another colony, near one that is kept already."
)
@click.option("--remark", default="", help="Anything else.")
@click.option("--again", metavar="FIND", help="A look at a colony found before.")
@click.option("--state", type=click.Choice(STATES), help="With --again: how it is.")
@click.option(
    "--share",
    type=PathName(dir_okay=False),
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
def found_command(**options: Any) -> None:  # noqa: ANN401  (a dozen of them)
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

        finds = add_find(hunt, new, another=options["another"])
        new = finds.find[-1]
        said.append(
            f"Find {new.id} is kept in {hunt.path / 'found.toml'}, and nowhere else."
        )
        said += _day_doubt(hunt, new)
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


def _day_doubt(hunt: Hunt, find: FindTable) -> list[str]:
    """Say that a find is older than the notes that led to it."""
    try:
        clocks = [event.clock for event in hunt.events() if event.clock is not None]
    except TreewardError:  # of a hunt without notes
        return []
    first = min(clocks).astimezone(hunt.zone).date() if clocks else find.found
    if find.found >= first:
        return []
    said = (
        f"Its day, {find.found.isoformat()}, is before the first note of the hunt, "
        f"{first.isoformat()}: correct the one that is wrong."
    )
    return [said]


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
        position, day, words = noted_place(hunt, hunt.events())
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
    for key in ("nest", "height_m", "entrance", "colony", "photos", "may_know"):
        find[key] = options[key]
    find["remark"] = options["remark"] or words
    return checked(FindTable, find, named="--{}")


def _share(finds: FoundFile, options: dict[str, Any]) -> str:
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
    from treeward.report.looking import check_sentences
    from treeward.report.result_json import check_dict

    checks = check_finds(result, finds.find) if result is not None else ()
    if as_json:
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


FEWEST = 5  # found hunts before a share of areas says anything; choice


@click.command(name="season")
@click.argument("directory", type=PathName(), metavar="DIR", default=Path())
@click.option("--list", "only_list", is_flag=True, help="The known colonies alone.")
@click.option(
    "--print",
    "page",
    type=PathName(dir_okay=False),
    metavar="FILE.html",
    help="With the known colonies as a page to print.",
)
@click.option("--year", type=click.IntRange(1900, 2200), help="Of the list; this one.")
@click.option("--rounded", is_flag=True, help="Places in the list to a kilometre.")
@click.option(
    "--known-hives",
    type=PathName(file_okay=False),
    metavar="HUNT",
    help="Add living colonies near this hunt to its hunt.toml as known hives.",
)
@click.option(
    "--within-m",
    type=click.FloatRange(10, 20_000),
    default=6000.0,
    show_default=True,
    help="With --known-hives: how far from its stations.",
)
@json_option
def season_command(
    *,
    directory: Path,
    only_list: bool,
    page: Path | None,
    year: int | None,
    rounded: bool,
    known_hives: Path | None,
    within_m: float,
    as_json: bool,
) -> None:
    """Learn from the hunts in DIR that ended with a find, and list known colonies.

    Says how often the search areas held the colony, and writes season.json into DIR,
    which a new hunt takes as its prior where its hunt.toml says so at the top:
    learned_from = "../season.json". The plain prior comes back without that line, or
    with treeward locate --plain.
    """
    from treeward.hunt.season import (
        found_colonies,
        gather_season,
        keep_season,
        occupancy,
    )

    colonies, _, faults = found_colonies(directory)
    shown = year or datetime.now(tz=UTC).astimezone().year
    listed = occupancy(colonies, shown, square_m=1000.0 if rounded else None)
    said = _written_list(listed, page, shown) if page is not None else []
    if known_hives is not None:
        said += _known(known_hives, colonies, within_m)
    whole: dict[str, Any] = {}
    if not only_list and page is None and known_hives is None:
        with Doing() as doing:
            season = gather_season(
                directory, tell=lambda hunt: doing.step(f"learning from {hunt}")
            )
        path = keep_season(directory, season)
        whole = season_dict(season)
        said += season_lines(season, path)
        faults = list(season.left_out)
    if as_json:
        from treeward.report.result_json import occupancy_dict

        whole |= {
            "colonies": [occupancy_dict(one) for one in listed],
            "left_out": faults,
        }
        click.echo(json.dumps(whole, indent=2, allow_nan=False))
        return
    for line in [*said, *(_list_lines(listed) if page is None else [])]:
        click.echo(line)
    for line in faults:
        click.echo(f"Left out: {line}")


def _written_list(listed: list[ColonyYear], page: Path, year: int) -> list[str]:
    from treeward.report.page import occupancy_page

    if page.suffix.lower() not in {".html", ".htm"}:
        raise ReportError(
            "the list is a page for a browser, which prints it",
            where=str(page),
            mend=f"Call it {page.with_suffix('.html').name}.",
        )
    write_text(page, occupancy_page(listed, year))
    count = "1 colony" if len(listed) == 1 else f"{len(listed)} colonies"
    return [f"{page} lists {count}, to be printed from a browser."]


def _known(folder: Path, colonies: list[FoundColony], within_m: float) -> list[str]:
    from treeward.hunt.hunt import Hunt
    from treeward.hunt.season import add_known_hives

    hunt = Hunt(folder)
    added = add_known_hives(hunt, colonies, within_m)
    if not added:
        return [f"{hunt.path}: no living colony within {within_m:g} m is new to it."]
    return [
        f"{hunt.path / 'hunt.toml'} has as known hives now: {', '.join(added)}.",
        "Write beside them which marks fly there, and those are left out.",
    ]


def _list_lines(listed: list[ColonyYear]) -> list[str]:
    if not listed:
        return ["No colony was found yet: treeward found keeps one."]
    rows: list[tuple[str, ...]] = [("colony", "place", "found", "nest", "now", "seen")]
    rows += [
        (
            one.name,
            one.place,
            one.found.isoformat(),
            one.nest,
            one.state_text,
            one.history_text,
        )
        for one in listed
    ]
    return ["Known colonies:", *columns(rows)]


def season_lines(season: Season, path: Path) -> list[str]:
    """Say how the areas did, and what the hunts teach."""
    units = Units("metric")
    lines = []
    if season.judged:
        rows: list[tuple[str, ...]] = [
            ("find", "off", "inside", "90 % area", "with the others' lessons", "")
        ]
        for one in season.judged:
            own = one.own
            rows.append(
                (
                    one.colony.name,
                    units.distance(one.plain.off_m),
                    _inside(one.plain),
                    units.area(one.plain.area_90_m2),
                    "" if own is None else _inside(own),
                    "" if own is None else units.area(own.area_90_m2),
                )
            )
        lines += ["Forecast against find:", *columns(rows)]
        lines += _calibration(season)
    lines += _lessons(season)
    lines.append(
        f"{path} keeps what they teach, and no find's place. A hunt takes it as its "
        'prior by a line at the top of hunt.toml: learned_from = "../season.json"'
    )
    return lines


def _inside(check: FindCheck) -> str:
    return f"{check.holds_percent} %" if check.holds_percent else "outside"


def _calibration(season: Season) -> list[str]:
    lines = []
    for own, prior in ((False, "the plain prior"), (True, "the others' lessons")):
        held = {share: season.held(share, own=own) for share in (50, 90)}
        count = held[90][1]
        if not count:
            continue
        lines.append(
            f"With {prior} the 50 % area held {held[50][0]} of {count} finds, the "
            f"90 % area {held[90][0]}. {_judgement(held[90][0], count)}"
        )
    return lines


def _judgement(inside: int, count: int) -> str:
    """Say what so many of so many mean against nine in ten (binomial, exact)."""
    if count < FEWEST:
        return f"From {FEWEST} on that says something."
    fewer = sum(
        math.comb(count, k) * 0.9**k * 0.1 ** (count - k) for k in range(inside + 1)
    )
    if fewer < 0.05:
        return (
            f"Were they honest, so few would happen in {100 * fewer:.1f} of 100 "
            "seasons: they are too small for you."
        )
    return "That is in keeping with nine in ten."


def _lessons(season: Season) -> list[str]:
    from treeward.hunt.season import compasses, foretold

    prior = foretold(season)
    if prior is None:
        return ["No hunt teaches anything yet: a find with trips or bearings does."]
    finds = counted(len(season.file.lessons), "find")
    tell = "foretells" if len(season.file.lessons) == 1 else "foretell"
    lines = [f"What {finds} {tell} for the next hunt in that region:"]
    cargos = dict.fromkeys(c for one in season.file.lessons for c in one.cargos)
    if cargos:
        lines.append(
            f"  flight speed {math.exp(prior.ln_f):.2f} of the usual, give or take "
            f"{100 * prior.ln_f_sd:.0f} %"
        )
    lines += [
        f"  time in the hive with {cargo} {math.exp(prior.ln_g[cargo]):.2f} of the "
        f"usual, give or take {100 * prior.ln_g_sd[cargo]:.0f} %"
        for cargo in cargos
    ]
    reaction_s, sd_s = prior.reaction_s
    if cargos and abs(reaction_s) > sd_s:  # else it cannot be told apart yet
        lines.append(
            f"  you say returns {reaction_s:+.1f} s later than departures, give or "
            f"take {sd_s:.1f} s (part of the time in the hive above)"
        )
    for name, (mean_deg, sd_deg, hunts) in compasses(season).items():
        if hunts:
            who = f"{name}'s compass" if name else "your compass"
            lines.append(
                f"  {who} reads {abs(mean_deg):.1f}° too far "
                f"{'clockwise' if mean_deg >= 0 else 'anticlockwise'}, give or take "
                f"{sd_deg:.1f}°"
            )
    return lines


def season_dict(season: Season) -> dict[str, Any]:
    """Return a season as JSON, with units in the names; no find's place is in it."""
    from treeward.hunt.season import SHARES, compasses, foretold
    from treeward.report.result_json import check_dict

    prior = foretold(season)
    return {
        "forecast": [
            {
                "colony": one.colony.name,
                "plain": check_dict(one.plain),
                "own_prior": None if one.own is None else check_dict(one.own),
            }
            for one in season.judged
        ],
        "held": {
            name: {
                f"{share}": dict(
                    zip(("inside", "of"), season.held(share, own=own), strict=True)
                )
                for share in SHARES
            }
            for name, own in (("plain", False), ("own_prior", True))
        },
        "learned": None
        if prior is None
        else {
            "flight_speed_factor": round(math.exp(prior.ln_f), 4),
            "flight_speed_factor_log_sd": round(prior.ln_f_sd, 4),
            "in_hive_factor": {c: round(math.exp(x), 4) for c, x in prior.ln_g.items()},
            "in_hive_factor_log_sd": {c: round(x, 4) for c, x in prior.ln_g_sd.items()},
            "reaction_s": round(prior.reaction_s[0], 2),
            "reaction_sd_s": round(prior.reaction_s[1], 2),
            "compass": [
                {
                    "observer": name,
                    "offset_deg": round(mean, 2),
                    "sd_deg": round(sd, 2),
                    "hunts": hunts,
                }
                for name, (mean, sd, hunts) in compasses(season).items()
            ],
        },
        "hunts_without_find": list(season.unfound),
    }
