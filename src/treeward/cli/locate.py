"""treeward trips, treeward locate."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from treeward.measures import (
    Position,
    Units,
    bearing_text,
    clock_face,
    counted,
    format_position,
    utm_text,
)
from treeward.trips.wording import doubt_text, doubt_texts

from . import Doing, hunt_option, json_option, recover_first

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from treeward.report.model import HuntResult
    from treeward.survey.records import Colony
    from treeward.trips.table import FlightLine, TripTable


@click.command(name="trips")
@hunt_option
@json_option
def trips_command(*, hunt_dir: Path, as_json: bool) -> None:
    """Pair the notes of review.csv into visits and trips, and say what is doubtful.

    Every trip says whether it counts, and why not.
    """
    from treeward.hunt.hunt import Hunt
    from treeward.hunt.locating import stations_of

    hunt = Hunt(hunt_dir)
    recover_first(hunt)
    paired = hunt.paired()
    stations = stations_of(hunt.file, hunt.path, paired.table, today=paired.created)
    paired = replace(paired, stations=stations)
    if as_json:
        from treeward.report.result_json import result_dict

        whole = result_dict(paired)
        keys = (
            "schema", "hunt", "trips", "visits", "flight_lines", "winds", "days",
            "doubts",
        )  # fmt: skip
        click.echo(json.dumps({key: whole[key] for key in keys}, indent=2))
        return
    for line in (*table_lines(paired), *lines_of_days(paired)):
        click.echo(line)
    click.echo(count_line(paired.table))


def count_line(table: TripTable) -> str:
    """Say in one sentence what was paired."""
    used = sum(trip.used for trip in table.trips)
    bees = len({trip.bee for trip in table.trips})
    lines = sum(line.used for line in table.lines)
    return (
        f"{counted(len(table.trips), 'trip')} of {counted(bees, 'bee')}, "
        f"{used} of them used; {lines} of {counted(len(table.lines), 'bearing')} "
        f"used; {counted(len(table.visits), 'visit')}."
    )


def table_lines(result: HuntResult) -> list[str]:
    """Lay out trips, bearings and what was left over."""
    table = result.table
    rows: list[tuple[str, ...]] = [("bee", "station", "from", "to", "away", "", "")]
    for trip in table.trips:
        kind = ""
        if trip.timing == "round":
            kind = "departure to departure" if trip.away_clock else "landing to landing"
        cycles = f"{trip.cycles} trips in one" if trip.cycles > 1 else ""
        why = "; ".join(filter(None, (kind, cycles, *doubt_texts(trip.doubts))))
        rows.append(
            (
                trip.bee,
                trip.station,
                _time(trip.from_clock or trip.away_clock),
                _time(trip.to_clock or trip.back_clock),
                clock_face(trip.away_s),
                "used" if trip.used else "left out",
                why,
            )
        )
    said = (
        columns(rows) if table.trips else ["No trips: no mark was said away and back."]
    )
    if table.lines:
        said += ["", *columns(_bearing_rows(result))]
    for heading, sentences in (
        ("Doubts about the whole", doubt_texts(table.doubts)),
        (
            "Notes in no trip",
            [
                f"{' '.join(filter(None, (_time(u.clock), u.mark, u.kind, u.value)))}"
                f": {doubt_text(u.why)}"
                for u in table.unpaired
            ],
        ),
    ):
        if sentences:
            said += ["", f"{heading}:", *(f"  {sentence}" for sentence in sentences)]
    return [*said, ""]


def _bearing_rows(result: HuntResult) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("bearing", "station", "at", "read", "", "")]
    rows += [
        (
            line.bee or "(no bee named)",
            line.station,
            _time(line.clock),
            _bearing_text(result, line),
            "used" if line.used else "left out",
            "; ".join(doubt_texts(line.doubts)),
        )
        for line in result.table.lines
    ]
    return rows


def _bearing_text(result: HuntResult, line: FlightLine) -> str:
    """Write a bearing as it was read, and true beside it where that is another."""
    from treeward.report.flight_lines import true_bearing_deg

    read = bearing_text(line.bearing_read_deg)
    true_deg = true_bearing_deg(result, line)
    true = read if true_deg is None else bearing_text(true_deg)
    beside = "" if true == read else f"({true} true)"
    return " ".join(filter(None, (read, line.reference, beside)))


def lines_of_days(result: HuntResult) -> list[str]:
    """Lay out what each day of several brought, station by station."""
    if not result.days:
        return []
    from treeward.report.wording import day_text

    rows: list[tuple[str, ...]] = [
        ("day", "station", "bees", "trips used", "median away", "bearings", "mean", "")
    ]
    for day in result.days:
        for number, one in enumerate(day.stations):
            away, mean = one.median_away_s, one.mean_bearing_read_deg
            rows.append(
                (
                    "" if number else day_text(day.day),
                    one.station,
                    f"{len(one.bees)}",
                    f"{one.trips_used} of {one.trips}",
                    "" if away is None else clock_face(away),
                    f"{one.bearings_used}",
                    ("scattered" if one.bearings_used else "")
                    if mean is None
                    else f"{round(mean) % 360:03d}°",
                    "",
                )
            )
    return [*columns(rows), ""]


def _time(clock: datetime | None) -> str:
    return "" if clock is None else f"{clock:%d %b %H:%M:%S}"


def columns(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Set cells under one another; the last column may be of any width."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]) - 1)]
    return [
        "  ".join(
            [cell.ljust(width) for cell, width in zip(row, widths, strict=False)]
            + [row[-1]]
        ).rstrip()
        for row in rows
    ]


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
def locate_command(
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

    hunt = Hunt(hunt_dir, plain=plain)
    recover_first(hunt)
    with Doing() as doing:
        doing.step("reading the map of the ground")
        hunt.check_ground()
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
        from treeward.report.result_json import result_dict

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
    from treeward.report.advice_wording import missing_text
    from treeward.report.looking import (
        find_sentences,
        found_already,
        found_steps,
        looked_sentences,
        own_prior_sentence,
        search_doubt_sentences,
    )
    from treeward.report.wording import (
        basis_sentence,
        doubt_sentences,
        enough_sentences,
        headline,
        missing_sentences,
        placed_sentence,
    )

    if result.fix is None or not result.fix.colonies:
        return [
            headline(result),
            *found_steps(result),
            *missing_sentences(result),
            *doubt_sentences(result),
        ]
    lines = found_steps(result)
    if len(result.fix.colonies) > 1:
        lines.append(headline(result))
    for colony in result.fix.colonies:
        lines += _colony_lines(result, colony)
    lines += looked_sentences(result)
    lines += search_doubt_sentences(result)
    if not all(found_already(result, colony) for colony in result.fix.colonies):
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


def _colony_lines(result: HuntResult, colony: Colony) -> list[str]:
    from treeward.report.looking import found_already, search_sentences
    from treeward.report.wording import colony_sentences, next_of

    found = found_already(result, colony)
    place = Position(
        latitude_deg=colony.best_latitude_deg, longitude_deg=colony.best_longitude_deg
    )
    area = colony.search_areas[90].area_m2
    size = Units(result.hunt_file.hunt.units).area(area)
    lines = [
        *colony_sentences(result, colony, found=found),
        (
            f"Best place: {format_position(place)} (UTM {utm_text(place)}); "
            f"90 % search area: {size}."
        ),
    ]
    if not found:
        lines += [*next_of(result, colony), *search_sentences(result, colony)]
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
    from treeward.report.wording import (
        agreement_sentences,
        agreement_text,
        day_text,
        for_colony,
        off_text,
        place_rows,
    )

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
