"""results/: every file written beside, then moved in, all of them or none."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from treeward.errors import ReportError
from treeward.files import meant, replacing_set, write_text
from treeward.within import file_within

from .figures import PHONE_IN, drawing, pdf_bytes, png_bytes, svg_text
from .figures.distance import away_figure, distance_figure
from .figures.map import map_figure
from .figures.timeline import timeline_figure
from .map_files import geojson_text, gpx_file, kml_file, online_page
from .model import WrittenFiles
from .page import page_text
from .result_json import result_text
from .tables import bees_text, label_track_text, trips_text, webvtt_text

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from .figures.map import Form
    from .model import HuntResult


_MAP_WORDS = "Map of stations, flight lines, search areas and best place"
_TIMELINE_WORDS = "Timeline of the visits of every bee"
_AWAY_WORDS = "Away times of every bee, one dot for each trip"
_DISTANCE_WORDS = "Distance of the colony by each bee and by all together"
# Every export: its name in results/, and what makes its text or bytes.
EXPORTS: tuple[tuple[str, Callable[[HuntResult], str | bytes]], ...] = (
    ("result.json", result_text),
    ("map.geojson", geojson_text),
    ("map.kml", kml_file),
    ("stations.gpx", gpx_file),
    ("trips.csv", trips_text),
    ("bees.csv", bees_text),
)
_PICTURES = ("map.png", "map.pdf", "timeline.png", "away.png", "distance.png")
# Everything that may be written; what is not written this time is taken away, so
# that no old picture stands beside new figures.
MANAGED = (
    *(name for name, _ in EXPORTS),
    *_PICTURES,
    "report.html",
    "online-map.html",
)


def write_results(
    result: HuntResult,
    directory: Path,
    *,
    with_sound: Mapping[str, bytes] | None = None,
    online_map: bool = False,
) -> WrittenFiles:
    """Write the tables, the map files, the pictures and the report of a hunt.

    Parameters
    ----------
    result
        What was found.
    directory
        The hunt's results folder; made if it is not there. Files in it that are not
        Treeward's stay as they are.
    with_sound
        Short sound clips to put into the report, by row: a whole WAV, FLAC, Ogg or
        MP3 file each. The report grows by a third more than their size.
    online_map
        Write online-map.html too, which asks a map server for its pictures; the only
        file that asks the network for anything.

    Raises
    ------
    ReportError
        When a file cannot be written or replaced. The old files are then still there.
    """
    try:
        with replacing_set(directory, MANAGED, within=directory.parent) as beside:
            drawings = _write_all(result, beside, with_sound or {})
            if online_map:
                bare = replace(result, ground=None)
                if result.ground is not None:  # it would hide the server's pictures
                    drawings = _maps(bare)
                if (page := online_page(bare, drawings)) is not None:
                    _text(beside / "online-map.html", page)
            names = sorted(path.name for path in beside.iterdir())
    except OSError as error:
        raise _cannot(directory, error) from error
    return WrittenFiles(
        directory=directory, files=tuple(directory / name for name in names)
    )


def write_labels(result: HuntResult, recordings: Path) -> tuple[Path, ...]:
    """Write NAME.events.vtt and NAME.events.txt beside each recording of a hunt.

    Raises
    ------
    TreewardError
        When one cannot be replaced.
    """
    written = []
    names = sorted({note.recording for note in result.rows.values()} - {""})
    for name in names:
        sound = file_within(recordings, name)
        if sound is None:
            continue
        for ending, text in (
            (".events.vtt", webvtt_text(result.rows.values(), name)),
            (".events.txt", label_track_text(result.rows.values(), name)),
        ):
            path = sound.with_name(sound.stem + ending)
            write_text(path, text, within=recordings.parent)
            written.append(path)
    return tuple(written)


def _cannot(path: Path, error: OSError) -> ReportError:
    return ReportError(
        f"the results cannot be written ({error.strerror or error})",
        where=meant(str(error.filename or path)),
        mend="Close other programs that have them open, or check that you may write "
        "there.",
    )


def _write_all(
    result: HuntResult, folder: Path, with_sound: Mapping[str, bytes]
) -> dict[str, str]:
    for name, content in EXPORTS:
        made = content(result)
        (folder / name).write_bytes(made if isinstance(made, bytes) else made.encode())
    drawings = _pictures(result, folder)
    _text(
        folder / "report.html", page_text(result, drawings=drawings, clips=with_sound)
    )
    return drawings


def _pictures(result: HuntResult, folder: Path) -> dict[str, str]:
    """Write the pictures that have something to show; return them for the page."""
    drawings = {}
    with drawing():
        sheet = map_figure(result, "sheet")
        if sheet is not None:
            (folder / "map.png").write_bytes(png_bytes(sheet))
            (folder / "map.pdf").write_bytes(pdf_bytes(sheet))
        for name, figure, description in (
            ("map", map_figure(result, "page"), _MAP_WORDS),
            ("map-phone", map_figure(result, "phone"), _MAP_WORDS),
            ("timeline", timeline_figure(result), _TIMELINE_WORDS),
            ("away", away_figure(result), _AWAY_WORDS),
            ("distance", distance_figure(result), _DISTANCE_WORDS),
            ("timeline-phone", timeline_figure(result, PHONE_IN), _TIMELINE_WORDS),
            ("away-phone", away_figure(result, PHONE_IN), _AWAY_WORDS),
            ("distance-phone", distance_figure(result, PHONE_IN), _DISTANCE_WORDS),
        ):
            if figure is None:
                continue
            if name != "map" and not name.endswith("-phone"):
                (folder / f"{name}.png").write_bytes(png_bytes(figure))
            drawings[name] = svg_text(figure, name, description)
    return drawings


def _maps(result: HuntResult) -> dict[str, str]:
    """Draw the maps of a page anew."""
    drawings = {}
    forms: tuple[tuple[str, Form], ...] = (("map", "page"), ("map-phone", "phone"))
    with drawing():
        for name, form in forms:
            if (figure := map_figure(result, form)) is not None:
                drawings[name] = svg_text(figure, name, _MAP_WORDS)
    return drawings


def _text(path: Path, text: str) -> None:
    path.write_text(text, "utf-8", newline="\n")
