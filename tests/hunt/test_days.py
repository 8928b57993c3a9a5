"""A hunt of several days: each day alone beside all days together."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward import Hunt, survey
from treeward.report.looking import holds

if TYPE_CHECKING:
    from pathlib import Path


def second_day(folder: Path, *, turned_deg: int = 0, more: str = "") -> Hunt:
    """Add a day on which the same is seen, its bearings turned."""
    lines = []
    for line in (folder / "review.csv").read_text("utf-8").splitlines()[1:]:
        clock, kind, mark, value = line.split(",")
        shown = str((int(value) + turned_deg) % 360) if kind == "bearing" else value
        clock = clock.replace("2026-07-14", "2026-07-15")
        lines.append(f"{clock},{kind},{mark},{shown}\n")
    with (folder / "review.csv").open("a", encoding="utf-8") as file:
        file.writelines(lines)
    toml = (folder / "hunt.toml").read_text("utf-8")
    (folder / "hunt.toml").write_text(more + toml, "utf-8")
    return Hunt(folder)


def test_a_hunt_of_one_day_has_no_days(typed_hunt: Path) -> None:
    assert Hunt(typed_hunt).locate().days == ()


@pytest.mark.slow
def test_two_like_days_agree(typed_hunt: Path) -> None:
    result = second_day(typed_hunt).locate()

    assert [day.day for day in result.days] == [date(2026, 7, 14), date(2026, 7, 15)]
    assert result.fix is not None
    whole = result.fix.colonies[0]
    for day in result.days:
        (one,) = day.colonies
        assert one.colony.id == whole.id
        assert one.holds_percent in {50, 90}
        # Half the notes leave a larger area than all of them.
        alone, both = one.colony.search_areas[90], whole.search_areas[90]
        assert alone.area_m2 > both.area_m2
        (station,) = day.stations
        assert (station.trips_used, station.bearings_used) == (6, 3)
        assert station.mean_bearing_read_deg == pytest.approx(210.3, abs=0.5)


@pytest.mark.slow
def test_a_colour_used_again_is_another_bee_unless_said(typed_hunt: Path) -> None:
    result = second_day(typed_hunt, more='same_bee = ["yellow"]\n').locate()

    first, second = (day.stations[0].bees for day in result.days)
    assert set(first) & set(second) == {"yellow"}


@pytest.mark.slow
def test_a_day_with_the_compass_read_backwards_does_not_agree(typed_hunt: Path) -> None:
    # One colony because the person says so; else they would be taken for two.
    marks = '"yellow", "blue-white"'
    hunt = second_day(
        typed_hunt, turned_deg=150, more='same_bee = ["yellow", "blue-white"]\n'
    )
    text = (typed_hunt / "hunt.toml").read_text("utf-8")
    colony = f'\n[[colony]]\nid = "A"\nmarks = [{marks}]\n'
    (typed_hunt / "hunt.toml").write_text(text + colony, "utf-8")
    hunt = Hunt(typed_hunt)

    result = hunt.locate()

    verdicts = [day.colonies[0].holds_percent for day in result.days]
    assert None in verdicts


@pytest.mark.slow
def test_the_calibration_counts_on_every_day(typed_hunt: Path) -> None:
    hunt = second_day(typed_hunt)
    without = hunt.locate().days[1].colonies[0].colony
    with (typed_hunt / "review.csv").open("a", encoding="utf-8") as file:
        file.write("2026-07-14 12:00:00,station,,2\n")
        for trip in range(8):
            file.write(f"2026-07-14 12:{3 * trip:02d}:10,away,red,\n")
            file.write(f"2026-07-14 12:{3 * trip + 2:02d}:20,back,red,\n")
    text = (typed_hunt / "hunt.toml").read_text("utf-8")
    known = '\n[calibration]\nstation = "2"\nhive = "52.304100, -3.613300"\n'
    (typed_hunt / "hunt.toml").write_text(text + known, "utf-8")

    taught = Hunt(typed_hunt).locate().days[1].colonies[0].colony

    low, _, high = taught.distance_m["1"]
    old_low, _, old_high = without.distance_m["1"]
    assert high - low < old_high - old_low


@pytest.mark.slow
def test_the_commands_tell_of_days(typed_hunt: Path) -> None:
    second_day(typed_hunt)

    def run(*arguments: str) -> str:
        return subprocess.run(
            [sys.executable, "-W", "error", "-m", "treeward", *arguments],
            capture_output=True,
            cwd=typed_hunt,
            encoding="utf-8",
            check=True,
            timeout=300,
        ).stdout

    trips = run("trips")
    days = json.loads(run("trips", "--json"))["days"]
    located = run("locate")
    kept = json.loads((typed_hunt / "results" / "result.json").read_text("utf-8"))

    assert "14 Jul 2026  1        2     6 of 6" in trips
    assert "15 Jul 2026  1        2     6 of 6" in trips
    assert [day["day"] for day in days] == ["2026-07-14", "2026-07-15"]
    assert "Each day alone:" in located
    assert "14 Jul 2026 and 15 Jul 2026 agree" in located
    assert all(day["colonies"][0]["agrees"] for day in kept["days"])


def test_inside_of_a_ring_is_outside() -> None:
    def ring(half_deg: float, middle_deg: float) -> np.ndarray:
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]], float)
        return corners * half_deg + [middle_deg, 52.0]

    area = survey.SearchArea(
        probability=0.9,
        area_m2=1.0,
        polygons=(survey.Polygon(outer=ring(0.2, 180.0), holes=(ring(0.1, 180.0),)),),
    )

    assert not holds(area, np.array([[180.0, 52.0]]))
    assert holds(area, np.array([[-179.85, 52.0]]))  # across the 180th meridian
    assert not holds(area, np.array([[-179.75, 52.0]]))
