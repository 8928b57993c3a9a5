"""A find on `locate`'s screen, and kept back from what it writes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pyproj import Geod

from treeward.cli.locate import answer_lines
from treeward.hunt.finds import FindTable, add_find, noted_place, with_finds
from treeward.hunt.found_told import KEPT_BACK_M, without_finds
from treeward.hunt.hunt import Hunt

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.report.model import HuntResult

GLOBE = Geod(ellps="WGS84")
STATION = (52.3012, -3.6104)
NOON = datetime(2026, 7, 14, 11, 0, tzinfo=UTC)
TREE_M, BEARING_DEG = 700.0, 210.0


def off(metres: float) -> tuple[float, float]:
    lon, lat, _ = GLOBE.fwd(STATION[1], STATION[0], BEARING_DEG, metres)
    return lat, lon


@pytest.fixture
def walked_hunt(typed_hunt: Path) -> Path:
    """Give a hunt with a walk of 1200 m from the station, over the tree at 700 m."""
    points = []
    for n, metres in enumerate(np.linspace(0, 1200, 61)):
        lat, lon = off(float(metres))
        clock = NOON + timedelta(minutes=n)
        points.append(
            f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}">'
            f"<time>{clock:%Y-%m-%dT%H:%M:%SZ}</time></trkpt>"
        )
    (typed_hunt / "walk.gpx").write_text(
        '<gpx version="1.1" creator="a phone" '
        'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
        + "".join(points)
        + "</trkseg></trk></gpx>",
        "utf-8",
    )
    note(typed_hunt, "12:30:00,searched,,", "12:35:00,found,,in a hollow ash")
    note(typed_hunt, "13:00:00,searched,,")
    return typed_hunt


def note(hunt: Path, *rows: str) -> None:
    with (hunt / "review.csv").open("a", encoding="utf-8") as file:
        file.writelines(f"2026-07-14 {row}\n" for row in rows)


def keep(hunt: Path, metres: float = TREE_M, **more: Any) -> None:
    lat, lon = off(metres)
    find = {"id": "1", "position": f"{lat:.6f}, {lon:.6f}", "found": "2026-07-14"}
    add_find(Hunt(hunt), FindTable.model_validate(find | more))


def drawn(result: HuntResult) -> list[tuple[float, float]]:
    """Return the places of all ways that are drawn."""
    assert result.search is not None
    ways = [(t.latitude_deg, t.longitude_deg) for t in result.tracks]
    told = result.search.searching
    ways += [(tuple(w.latitude_deg), tuple(w.longitude_deg)) for w in told.walked]
    places = [place for lat, lon in ways for place in zip(lat, lon, strict=True)]
    return places + [(s.latitude_deg, s.longitude_deg) for s in told.spots]


def nearest_m(result: HuntResult) -> float:
    tree = off(TREE_M)
    return min(
        float(GLOBE.inv(tree[1], tree[0], lon, lat)[2]) for lat, lon in drawn(result)
    )


def test_a_note_that_says_found_is_the_next_step(walked_hunt: Path) -> None:
    lines = answer_lines(Hunt(walked_hunt).locate())

    assert lines[0].startswith("Your note of 14 Jul 12:35 says found")
    assert "treeward found --from-note" in lines[0]
    said = " ".join(lines)
    assert "Sit next" not in said
    assert "not there" not in said
    assert "watch once more" not in said
    assert "hardly pay" not in said


def test_a_note_taken_back_or_in_doubt_is_no_find(typed_hunt: Path) -> None:
    note(typed_hunt, "12:35:00,found,,", "12:35:05,scratch,,")
    lines = answer_lines(Hunt(typed_hunt).locate())
    assert not any("says found" in line for line in lines)
    assert any(line.startswith("Sit next") for line in lines)


def test_a_find_that_is_kept_is_told_and_ends_the_looking(walked_hunt: Path) -> None:
    keep(walked_hunt)
    lines = answer_lines(Hunt(walked_hunt).locate())
    assert lines[0].startswith("Find 1 is kept: treeward found")
    assert "Sit next" not in " ".join(lines)
    assert "--from-note" not in " ".join(lines)


def test_a_find_far_off_leaves_the_answers_colony_to_be_found(
    typed_hunt: Path,
) -> None:
    keep(typed_hunt, 4000.0)
    lines = answer_lines(Hunt(typed_hunt).locate())
    assert "may be another colony" in lines[0]
    assert any(line.startswith("Sit next") for line in lines)


def test_a_place_typed_into_the_note_is_taken(typed_hunt: Path) -> None:
    note(typed_hunt, '15:00:00,found,,"52.297000, -3.615000"')
    hunt = Hunt(typed_hunt)
    events = hunt.events()
    undated = [replace(e, clock=None) for e in events]

    for said, told in ((events, "2026-07-14"), (undated, "None")):
        place, day, words = noted_place(hunt, said)
        assert (place.latitude_deg, place.longitude_deg) == (52.297, -3.615)
        assert str(day) == told
        assert words == ""
    # No report holds the place.
    assert {row.said for row in hunt.locate().rows.values() if "found" in row.said} == {
        "found"
    }


@pytest.mark.parametrize("kept", [True, False])
def test_no_way_is_drawn_that_leads_to_a_find(
    walked_hunt: Path, monkeypatch: pytest.MonkeyPatch, kept: bool
) -> None:
    if kept:
        keep(walked_hunt)
    hunt = Hunt(walked_hunt)
    result = hunt.locate()
    assert nearest_m(result) < 1.0
    written: list[HuntResult] = []
    monkeypatch.setattr(
        "treeward.report.writing.write_results",
        lambda result, *_, **__: written.append(result),
    )

    hunt.write_results(result)

    (apart,) = written
    assert nearest_m(apart) >= KEPT_BACK_M
    assert len(apart.tracks) == 2
    assert drawn(apart)  # both ends are
    # The middle of what is left out is not the find.
    (disc,) = result.found.hidden[:1]
    tree = off(TREE_M)
    *_, away_m = GLOBE.inv(tree[1], tree[0], disc.longitude_deg, disc.latitude_deg)
    assert away_m > 10.0
    assert away_m + KEPT_BACK_M <= disc.radius_m + 1.0


def test_the_whole_way_is_drawn_where_finds_were_asked_for(
    walked_hunt: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(walked_hunt)
    hunt = Hunt(walked_hunt)
    written: list[HuntResult] = []
    monkeypatch.setattr(
        "treeward.report.writing.write_results",
        lambda result, *_, **__: written.append(result),
    )
    hunt.write_results(with_finds(hunt.locate(), hunt.path))
    assert nearest_m(written[0]) < 1.0


def test_no_walk_is_laid_out_from_a_find(walked_hunt: Path) -> None:
    # Where one was last lies 300 m or so from the tree, and then at it.
    result = Hunt(walked_hunt).locate()
    assert result.search is not None
    assert result.search.searching.start is not None
    text = (walked_hunt / "walk.gpx").read_text("utf-8")
    whole = text.split("<trkpt")
    short = "<trkpt".join(whole[:37]) + "</trkseg></trk></gpx>"
    (walked_hunt / "walk.gpx").write_text(short, "utf-8")
    again = Hunt(walked_hunt).locate()
    assert again.search is not None
    assert again.search.searching.start is None


def test_without_finds_nothing_is_left_out(typed_hunt: Path) -> None:
    result = Hunt(typed_hunt).locate()
    assert without_finds(result) is result
