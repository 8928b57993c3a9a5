"""treeward locate."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from treeward.trips.wording import doubt_texts

from .options import hunt_option, json_option

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.report.model import HuntResult


MOST_DOUBTS = 6  # on the screen, where the answer is what is wanted; choice


@click.command(name="locate")
@hunt_option
@click.option("--with-sound", is_flag=True, help="Put short clips into the report.")
@click.option(
    "--online-map",
    is_flag=True,
    help="Write a map over pictures from a map server, too.",
)
@click.option(
    "--plain",
    is_flag=True,
    help="The plain prior, whatever own hunts taught (learned_from in hunt.toml).",
)
@click.option(
    "--with-find",
    is_flag=True,
    help="Let the report hold forecast against find, and its place to a kilometre.",
)
@json_option
def command(
    *,
    hunt_dir: Path,
    with_sound: bool,
    online_map: bool,
    plain: bool,
    with_find: bool,
    as_json: bool,
) -> None:
    """Work out where the colony is, how sure that is, and where to sit next.

    Writes the report, tables and map files into results/. None of them asks the
    network for anything, but for online-map.html, which --online-map adds: it fetches
    map pictures, when it is looked at, from the server named in hunt.toml.
    """
    from treeward.hunt.hunt import Hunt

    from .options import Doing, recover_first

    hunt = Hunt(hunt_dir, plain=plain)
    recover_first(hunt)
    with Doing() as doing:
        doing.step("working out where the colony is")
        result = hunt.locate()
        doing.step("weighing what hangs on notes still to look at")
        result = hunt.weigh_doubts(result)
        if with_find:
            from treeward.hunt.finds import with_finds

            result = with_finds(result, hunt.path)
        doing.step("drawing the report and the maps")
        written = hunt.write_results(
            result, with_sound=with_sound, online_map=online_map
        )
    if as_json:
        import json

        from treeward.report.formats.result_json import result_dict

        click.echo(json.dumps(result_dict(result), indent=2, allow_nan=False))
    else:
        for line in answer_lines(result):
            click.echo(line)
        click.echo(f"Report: {written.report}")
        maps = [
            f.name for f in written.files if f.suffix in {".kml", ".gpx", ".geojson"}
        ]
        click.echo(f"Maps in {written.directory}: {', '.join(maps)}")
        if online_map and (page := written.directory / "online-map.html").exists():
            click.echo(
                f"Online map: {page}. It fetches map pictures from "
                f"{hunt.file.map.server} over the network when you open it."
            )
    if result.fix is None:
        sys.exit(1)


def answer_lines(result: HuntResult) -> list[str]:
    """Give the answer in a few plain lines."""
    from treeward.positions import Position, format_position, utm_text
    from treeward.report.advice_wording import missing_text
    from treeward.report.finds import find_sentences, own_prior_sentence
    from treeward.report.searching import search_doubt_sentences, search_sentences
    from treeward.report.wording import (
        basis_sentence,
        colony_sentences,
        doubt_sentences,
        enough_sentences,
        headline,
        missing_sentences,
        next_of,
        placed_sentence,
    )
    from treeward.units import Units

    if result.fix is None or not result.fix.colonies:
        return [
            headline(result),
            *missing_sentences(result),
            *doubt_sentences(result),
        ]
    units = Units(result.hunt_file.hunt.units)
    lines = []
    if len(result.fix.colonies) > 1:
        lines.append(headline(result))
    for colony in result.fix.colonies:
        lines += colony_sentences(result, colony)
        place = Position(
            latitude_deg=colony.best_latitude_deg,
            longitude_deg=colony.best_longitude_deg,
        )
        area = colony.search_areas[90].area_m2
        lines.append(
            f"Best place: {format_position(place)} (UTM {utm_text(place)}); "
            f"90 % search area: {units.area(area)}."
        )
        lines += next_of(result, colony)
        lines += search_sentences(result, colony)
    lines += search_doubt_sentences(result)
    lines += enough_sentences(result)
    lines += day_lines(result)
    zone = result.hunt_file.hunt.zone
    lines += [missing_text(one, zone) for one in result.missing]
    lines += filter(None, [placed_sentence(result)])
    lines.append(basis_sentence(result))
    lines += filter(None, [own_prior_sentence(result)])
    lines += find_sentences(result)
    lines += doubt_sentences(result)
    lines += table_doubts(result)
    return lines


def table_doubts(result: HuntResult) -> list[str]:
    """Give the doubts about the notes as a whole, the first few of many."""
    from treeward.report.wording import sentence

    doubts = doubt_texts(result.table.doubts)
    if not doubts:
        return []
    more = len(doubts) - MOST_DOUBTS
    return [
        "Doubts about the notes:",
        *(f"  {sentence(text)}" for text in doubts[:MOST_DOUBTS]),
        *([f"  And {more} more: treeward trips lists them."] if more > 0 else []),
    ]


def day_lines(result: HuntResult) -> list[str]:
    """Lay out where each day of several alone puts the colonies."""
    from treeward.report.days import (
        agreement_sentences,
        agreement_text,
        day_text,
        off_text,
        place_rows,
    )
    from treeward.report.wording import for_colony
    from treeward.units import Units

    from .trips import columns

    units = Units(result.hunt_file.hunt.units)
    rows = [
        (
            f"  {day_text(day.day)}{for_colony(result, one.colony)}",
            f"90 % area {units.area(one.colony.search_areas[90].area_m2)}",
            f"{off_text(result, one)} of the common place",
            agreement_text(one),
            where,
        )
        for day, one, where in place_rows(result)
    ]
    if not rows:
        return []
    return ["Each day alone:", *columns(rows), *agreement_sentences(result)]
