"""treeward season DIR."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .options import Doing, json_option

if TYPE_CHECKING:
    from treeward.hunt.same_notes import FoundColony
    from treeward.hunt.season import Season
    from treeward.report.finds import ColonyYear
    from treeward.report.model import FindCheck

FEWEST = 5  # found hunts before a share of areas says anything; choice


@click.command(name="season")
@click.argument(
    "directory", type=click.Path(path_type=Path), metavar="DIR", default=Path()
)
@click.option("--list", "only_list", is_flag=True, help="The known colonies alone.")
@click.option(
    "--print",
    "page",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.html",
    help="With the known colonies as a page to print.",
)
@click.option("--year", type=click.IntRange(1900, 2200), help="Of the list; this one.")
@click.option("--rounded", is_flag=True, help="Places in the list to a kilometre.")
@click.option(
    "--known-hives",
    type=click.Path(path_type=Path, file_okay=False),
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
def command(
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
    listed = occupancy(
        colonies,
        year or datetime.now(tz=UTC).astimezone().year,
        square_m=1000.0 if rounded else None,
    )
    said = _written_list(listed, page, year) if page is not None else []
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
        import json

        from treeward.report.finds import occupancy_dict

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


def _written_list(listed: list[ColonyYear], page: Path, year: int | None) -> list[str]:
    from treeward.errors import ReportError
    from treeward.files import write_text
    from treeward.report.finds import occupancy_page

    if page.suffix.lower() not in {".html", ".htm"}:
        raise ReportError(
            "the list is a page for a browser, which prints it",
            where=str(page),
            mend=f"Call it {page.with_suffix('.html').name}.",
        )
    shown = year or datetime.now(tz=UTC).astimezone().year
    write_text(page, occupancy_page(listed, shown))
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
    from treeward.report.finds import history_text

    from .trips import columns

    rows: list[tuple[str, ...]] = [("colony", "place", "found", "nest", "now", "seen")]
    rows += [
        (
            one.name,
            one.place,
            one.found.isoformat(),
            one.nest,
            one.state_text,
            history_text(one),
        )
        for one in listed
    ]
    return ["Known colonies:", *columns(rows)]


def season_lines(season: Season, path: Path) -> list[str]:
    """Say how the areas did, and what the hunts teach."""
    from treeward.units import Units

    from .trips import columns

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
    from treeward.units import counted

    prior = foretold(season)
    if prior is None:
        return ["No hunt teaches anything yet: a find with trips or bearings does."]
    finds = counted(len(season.file.lessons), "find")
    lines = [f"What {finds} foretell for the next hunt in that region:"]
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
    from treeward.report.finds import check_dict

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
