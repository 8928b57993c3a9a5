"""treeward trips."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from treeward.trips.wording import doubt_text, doubt_texts

from .options import hunt_option, json_option

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from treeward.report.model import HuntResult
    from treeward.trips.table import FlightLine, TripTable


@click.command(name="trips")
@hunt_option
@json_option
def command(*, hunt_dir: Path, as_json: bool) -> None:
    """Pair the notes of review.csv into visits and trips, and say what is doubtful.

    Every trip says whether it counts, and why not.
    """
    from treeward.hunt.hunt import Hunt
    from treeward.hunt.locating import stations_of

    from .options import recover_first

    hunt = Hunt(hunt_dir)
    recover_first(hunt)
    paired = hunt.paired()
    stations = stations_of(hunt.file, hunt.path, paired.table, today=paired.created)
    paired = replace(paired, stations=stations)
    if as_json:
        import json

        from treeward.report.formats.result_json import result_dict

        whole = result_dict(paired)
        keys = (
            "schema", "hunt", "trips", "visits", "flight_lines", "winds", "days",
            "doubts",
        )  # fmt: skip
        click.echo(json.dumps({key: whole[key] for key in keys}, indent=2))
        return
    for line in (*table_lines(paired), *day_lines(paired)):
        click.echo(line)
    click.echo(count_line(paired.table))


def count_line(table: TripTable) -> str:
    """Say in one sentence what was paired."""
    used = sum(trip.used for trip in table.trips)
    bees = len({trip.bee for trip in table.trips})
    lines = sum(line.used for line in table.lines)
    return (
        f"{_counted(len(table.trips), 'trip')} of {_counted(bees, 'bee')}, "
        f"{used} of them used; {lines} of {_counted(len(table.lines), 'bearing')} "
        f"used; {_counted(len(table.visits), 'visit')}."
    )


def _counted(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"


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
                minutes(trip.away_s),
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
    from treeward.report.bundles import true_bearing_deg
    from treeward.units import bearing_text

    read = bearing_text(line.bearing_read_deg)
    true_deg = true_bearing_deg(result, line)
    true = read if true_deg is None else bearing_text(true_deg)
    beside = "" if true == read else f"({true} true)"
    return " ".join(filter(None, (read, line.reference, beside)))


def day_lines(result: HuntResult) -> list[str]:
    """Lay out what each day of several brought, station by station."""
    if not result.days:
        return []
    from treeward.report.days import day_text

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
                    "" if away is None else minutes(away),
                    f"{one.bearings_used}",
                    ("scattered" if one.bearings_used else "")
                    if mean is None
                    else f"{round(mean) % 360:03d}°",
                    "",
                )
            )
    return [*columns(rows), ""]


def minutes(seconds: float) -> str:
    """Write seconds as minutes and seconds, "5:07", with hours where there are any."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    if hours:
        return f"{hours}:{rest // 60:02d}:{rest % 60:02d}"
    return f"{rest // 60}:{rest % 60:02d}"


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
