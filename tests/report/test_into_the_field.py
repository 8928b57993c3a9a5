"""What goes into the field: cautions, numbered strips, lines at 180 degrees."""

from __future__ import annotations

import io
import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import TYPE_CHECKING

import gpxpy
import numpy as np
import pytest

from treeward.hunt_file import parse_hunt_table
from treeward.report.advice_wording import CAUTIONS, LOOK_FIRST
from treeward.report.figures.map import LETTERING, map_figure
from treeward.report.figures.map_layers import _notes
from treeward.report.figures.sheets import FIELD_CAUTIONS
from treeward.report.map_files import geojson_dict, gpx_text, kml_bytes
from treeward.report.page import page_text
from treeward.report.sketch import Walk, line_pieces, sketch
from treeward.report.wording import basis_sentence, next_sentences

from .conftest import CREATED

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from treeward.report.model import HuntResult

KML = "{http://www.opengis.net/kml/2.2}"


def test_kml_and_gpx_carry_the_cautions(result: HuntResult) -> None:
    drawing = sketch(result)
    root = ET.fromstring(kml_bytes(drawing))  # noqa: S314  (our own)
    said = root.findtext(f"{KML}Document/{KML}description") or ""
    gpx = gpxpy.parse(gpx_text(drawing, created=CREATED, software_version="1"))
    for title, text in CAUTIONS:
        assert f"{title}: {text}" in said
        assert f"{title}: {text}" in (gpx.description or "")
    to_go_to = {
        mark.findtext(f"{KML}name"): mark.findtext(f"{KML}description") or ""
        for mark in root.iter(f"{KML}Placemark")
    }
    assert to_go_to["Next station"].endswith(LOOK_FIRST)
    assert to_go_to["Best place, colony"].endswith(LOOK_FIRST)
    noted = {point.name: point.description or "" for point in gpx.waypoints}
    assert noted["Next station"].endswith(LOOK_FIRST)
    assert noted["Best place, colony"].endswith(LOOK_FIRST)


def test_beside_where_to_sit_next_stands_to_look_first(result: HuntResult) -> None:
    assert LOOK_FIRST in next_sentences(result)


def test_the_cue_card_has_a_word_of_every_caution() -> None:
    for word in ("Stings", "emergency", "Ask the landowner", "cliff", "protected",
                 "climb", "syrup"):  # fmt: skip
        assert word in FIELD_CAUTIONS


def numbers_of_strips(figure: Figure) -> set[str]:
    texts = (text for text in figure.axes[0].texts if text.get_zorder() == 10)
    return {t.get_text() for t in texts if re.fullmatch(r"\d+", t.get_text())}


def test_strips_are_numbered_on_the_map_and_in_the_key(result: HuntResult) -> None:
    figure = map_figure(result, "page")
    assert figure is not None
    assert {"1", "2"} <= numbers_of_strips(figure)
    assert "in the order of their numbers" in page_text(result, drawings={"map": "x",
        "map-phone": "x"})  # fmt: skip


@pytest.mark.parametrize("off_deg", [0.0, 1e-5])
def test_the_strip_to_begin_with_is_numbered_beside_what_stands_there(
    result: HuntResult, off_deg: float
) -> None:
    assert result.fix is not None
    (colony,) = result.fix.colonies
    begin = colony.search_plan[0]
    there = replace(
        colony,
        best_latitude_deg=begin.start_latitude_deg + off_deg,
        best_longitude_deg=begin.start_longitude_deg,
    )
    figure = map_figure(replace(result, fix=replace(result.fix, colonies=(there,))),
                        "page")  # fmt: skip
    assert figure is not None
    assert "1" in numbers_of_strips(figure)


def test_on_paper_signs_are_explained_before_the_answer_is_told_again(
    result: HuntResult, two_colonies: HuntResult
) -> None:
    for one in (result, two_colonies):
        notes = _notes(one, "30U")
        told = notes.index(basis_sentence(one))
        signs = ("Grey fans", "Arrows", "Ochre", "Dotted grey")
        places = [i for i, note in enumerate(notes) if note.startswith(signs)]
        assert places
        assert max(places) < told
        answers = [i for i, note in enumerate(notes) if note.startswith("Colony ")]
        assert all(max(places) < place for place in answers)
    assert any(note.startswith("Arrows") for note in _notes(result, "30U"))


@pytest.mark.slow
@pytest.mark.parametrize("form", LETTERING)
def test_the_scale_covers_nothing(
    result: HuntResult, two_colonies: HuntResult, form: str
) -> None:
    for one in (result, two_colonies):
        figure = map_figure(one, form)  # type: ignore[arg-type]
        assert figure is not None
        axes = figure.axes[0]
        figure.canvas.draw()
        box = next(p for p in axes.patches if p.get_zorder() == 20).get_window_extent()
        for patch in axes.patches:
            if patch.get_zorder() in {3, 4, 5}:
                corners = patch.get_transform().transform(patch.get_path().vertices)
                inside = (
                    (corners[:, 0] > box.x0)
                    & (corners[:, 0] < box.x1)
                    & (corners[:, 1] > box.y0)
                    & (corners[:, 1] < box.y1)
                )
                assert not inside.any()
        for line in axes.lines:
            if 6 <= line.get_zorder() < 20:
                xy = line.get_transform().transform(line.get_xydata())
                along = np.linspace(xy[:-1], xy[1:], 50).reshape(-1, 2)
                along = np.vstack([along, xy])
                assert not np.any(
                    (along[:, 0] > box.x0)
                    & (along[:, 0] < box.x1)
                    & (along[:, 1] > box.y0)
                    & (along[:, 1] < box.y1)
                )


def test_a_line_is_cut_at_180_degrees() -> None:
    # RFC 7946, section 3.1.9: the example of a line from 170 E to 170 W at 45 N.
    assert line_pieces([(170.0, 45.0), (-170.0, 45.0)]) == [
        [[170.0, 45.0], [180.0, 45.0]],
        [[-180.0, 45.0], [-170.0, 45.0]],
    ]
    assert line_pieces([(10.0, 1.0), (11.0, 2.0)]) == [[[10.0, 1.0], [11.0, 2.0]]]
    there_and_back = [(179.9, 0.0), (-179.9, 1.0), (179.9, 2.0)]
    pieces = line_pieces(there_and_back)
    assert [[p[0] for p in piece] for piece in pieces] == [
        [179.9, 180.0],
        [-180.0, -179.9, -180.0],
        [180.0, 179.9],
    ]
    assert pieces[0][-1][1] == pytest.approx(0.5)


def test_map_files_have_no_line_round_the_globe(result: HuntResult) -> None:
    drawing = sketch(result)
    path = replace(
        drawing.paths[0], start_lonlat=(179.999, 0.0), end_lonlat=(-179.999, 0.01)
    )
    walk = Walk(colony="A", name="w", lonlat=((179.999, 0.0), (-179.999, 0.0)))
    drawing = replace(drawing, paths=(path,), walks=(walk,))

    plain = json.loads(json.dumps(geojson_dict(drawing)))
    lines = [
        f["geometry"] for f in plain["features"] if "Line" in f["geometry"]["type"]
    ]
    assert [one["type"] for one in lines] == ["MultiLineString"] * 2
    root = ET.parse(io.BytesIO(kml_bytes(drawing))).getroot()  # noqa: S314  (our own)
    for line in root.iter(f"{KML}LineString"):
        text = line.findtext(f"{KML}coordinates") or ""
        longitudes = [float(point.split(",")[0]) for point in text.split()]
        assert max(longitudes) - min(longitudes) < 1
    gpx = gpxpy.parse(gpx_text(drawing, created=CREATED, software_version="1"))
    (track,) = gpx.tracks
    assert len(track.segments) == 2
    for segment in track.segments:
        longitudes = [point.longitude for point in segment.points]
        assert max(longitudes) - min(longitudes) < 1
        assert max(longitudes) < 180


def test_only_stations_that_count_are_counted(result: HuntResult) -> None:
    assert basis_sentence(result).endswith("from 2 stations.")
    placed = replace(result, stations=result.stations[:1])
    assert basis_sentence(placed).endswith("from 1 station.")
    table = {
        "hunt": {"name": "x", "timezone": "Europe/London"},
        "station": [{"id": "1"}, {"id": "2"}],
        "calibration": {"station": "2", "hive": "52.3, -3.61"},
    }
    hunt_file = parse_hunt_table(table, where="hunt.toml")
    calibrated = replace(result, hunt_file=hunt_file)
    assert basis_sentence(calibrated).endswith("from 1 station.")


def test_estimators_are_told_in_plain_words_with_their_source(
    result: HuntResult,
) -> None:
    page = page_text(result, drawings={})
    assert "where all bearings most likely meet" in page
    assert "Lenth 1981" in page
    assert "Lenth MLE" not in page
    assert "Read (magnetic)" in page
