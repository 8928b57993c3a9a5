"""results/: every file written beside, then moved in, all of them or none.

trips.csv and bees.csv, for a spreadsheet: metric, units in the column names. Beside a
recording its notes: WebVTT for players, a label track for sound editors.
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from treeward.errors import ReportError
from treeward.files import meant, replacing_set, write_text
from treeward.review.table import guard
from treeward.speech.transcripts import SHORTEST_S, escaped, stamp
from treeward.within import file_within

from .figures import PAGE_IN, PHONE_IN, drawing, pdf_bytes, png_bytes, svg_text
from .figures.distance import away_figure, distance_figure
from .figures.map import ON_PAGES, map_figure
from .figures.timeline import timeline_figure
from .map_files import geojson_text, gpx_file, kml_file, online_page
from .model import WrittenFiles
from .page import page_text
from .result_json import result_dict, result_text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    from matplotlib.figure import Figure

    from .model import HuntResult, NoteRow


_TRIP_COLUMNS = (
    "mark",
    "bee",
    "station",
    "away_clock",
    "back_clock",
    "away_s",
    "timing",
    "stated",
    "rounding_s",
    "cycles",
    "used",
    "doubts",
    "away_row",
    "back_row",
    "recording",
    "away_start_s",
    "back_start_s",
)
_BEE_COLUMNS = (
    "mark",
    "station",
    "trips_used",
    "shortest_away_s",
    "distance_median_m",
    "distance_low50_m",
    "distance_high50_m",
    "distance_low90_m",
    "distance_high90_m",
    "hand_rule_low_m",
    "hand_rule_high_m",
)


def _table(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> str:
    out = io.StringIO(newline="")
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(columns)
    for row in rows:  # text that looks like a formula is guarded, as in review.csv
        cells = [row.get(name) for name in columns]
        table.writerow([guard(x) if isinstance(x, str) else x for x in cells])
    return out.getvalue()


def trips_text(result: HuntResult) -> str:
    """Return trips.csv: one line for each trip, used or not, with its doubts."""
    rows = []
    for trip in result_dict(result)["trips"]:
        away, back = trip["away_note"] or {}, trip["back_note"] or {}
        rows.append(
            trip
            | {
                "doubts": "; ".join(trip["doubts"]),
                "away_row": away.get("row"),
                "back_row": back.get("row"),
                "recording": away.get("recording") or back.get("recording"),
                "away_start_s": away.get("start_s"),
                "back_start_s": back.get("start_s"),
            }
        )
    return _table(rows, _TRIP_COLUMNS)


def bees_text(result: HuntResult) -> str:
    """Return bees.csv: one line for each bee at each station, with its distance."""
    rows = []
    for bee in result_dict(result)["bees"]:
        rule = bee["hand_rule_m"] or {}
        distances = {
            f"distance_{name}_m": value for name, value in bee["distance_m"].items()
        }
        rows.append(
            bee
            | distances
            | {
                "hand_rule_low_m": rule.get("low"),
                "hand_rule_high_m": rule.get("high"),
            }
        )
    return _table(rows, _BEE_COLUMNS)


def _timed(
    rows: Iterable[NoteRow], recording: str
) -> list[tuple[float, float, str, str]]:
    """Return the notes of a recording: from when to when, the row, and what it says."""
    found = []
    for note in rows:
        if note.recording != recording or note.start_s is None:
            continue
        start = max(note.start_s, 0.0)
        end = note.end_s if note.end_s is not None else start
        said = _one_line(note.said or note.heard) or "note"
        found.append((start, max(end, start + SHORTEST_S), _one_line(note.row), said))
    return sorted(found)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def webvtt_text(rows: Iterable[NoteRow], recording: str) -> str:
    """Write the notes of one recording as WebVTT cues (W3C WebVTT 1).

    Each cue is named after its row of review.csv.
    """
    parts = ["WEBVTT"]
    for start, end, row, said in _timed(rows, recording):
        head = f"row {row}\n".replace("-->", "->") if row else ""
        parts.append(f"{head}{stamp(start)} --> {stamp(end)}\n{escaped(said)}")
    return "\n\n".join(parts) + "\n"


def label_track_text(rows: Iterable[NoteRow], recording: str) -> str:
    """Write start, end and text, tab-separated, seconds: a sound editor's labels."""
    return "".join(
        f"{start:.6f}\t{end:.6f}\t{said}{f' (row {row})' if row else ''}\n"
        for start, end, row, said in _timed(rows, recording)
    )


_MAP_WORDS = "Map of stations, flight lines, search areas and best place"
# What draws a chart, for a width in inches, and what who cannot see it is told.
_CHARTS: dict[str, tuple[Callable[[HuntResult, float], Figure | None], str]] = {
    "timeline": (timeline_figure, "Timeline of the visits of every bee"),
    "away": (away_figure, "Away times of every bee, one dot for each trip"),
    "distance": (
        distance_figure,
        "Distance of the colony by each bee and by all together",
    ),
}
# Every export: its name in results/, and what makes its text or bytes.
EXPORTS: tuple[tuple[str, Callable[[HuntResult], str | bytes]], ...] = (
    ("result.json", result_text),
    ("map.geojson", geojson_text),
    ("map.kml", kml_file),
    ("stations.gpx", gpx_file),
    ("trips.csv", trips_text),
    ("bees.csv", bees_text),
)
# Everything that may be written; what is not written this time is taken away, so
# that no old picture stands beside new figures.
MANAGED = (
    *(name for name, _ in EXPORTS),
    *("map.png", "map.pdf", *(f"{chart}.png" for chart in _CHARTS)),
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
                    (beside / "online-map.html").write_bytes(page.encode())
            names = sorted(path.name for path in beside.iterdir())
    except OSError as error:
        raise ReportError(
            f"the results cannot be written ({error.strerror or error})",
            where=meant(str(error.filename or directory)),
            mend="Close other programs that have them open, or check that you may "
            "write there.",
        ) from error
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


def _write_all(
    result: HuntResult, folder: Path, with_sound: Mapping[str, bytes]
) -> dict[str, str]:
    for name, content in EXPORTS:
        made = content(result)
        (folder / name).write_bytes(made if isinstance(made, bytes) else made.encode())
    drawings = _pictures(result, folder)
    page = page_text(result, drawings=drawings, clips=with_sound)
    (folder / "report.html").write_bytes(page.encode())
    return drawings


def _pictures(result: HuntResult, folder: Path) -> dict[str, str]:
    """Write the pictures that have something to show; return them for the page."""
    drawings = _maps(result)
    with drawing():
        sheet = map_figure(result, "sheet")
        if sheet is not None:
            (folder / "map.png").write_bytes(png_bytes(sheet))
            (folder / "map.pdf").write_bytes(pdf_bytes(sheet))
        for name, (drawn, description) in _CHARTS.items():
            if (figure := drawn(result, PAGE_IN)) is not None:
                (folder / f"{name}.png").write_bytes(png_bytes(figure))
                drawings[name] = svg_text(figure, name, description)
            if (narrow := drawn(result, PHONE_IN)) is not None:
                drawings[f"{name}-phone"] = svg_text(
                    narrow, f"{name}-phone", description
                )
    return drawings


def _maps(result: HuntResult) -> dict[str, str]:
    """Draw the maps of a page."""
    with drawing():
        return {
            name: svg_text(figure, name, _MAP_WORDS)
            for name, form in ON_PAGES.items()
            if (figure := map_figure(result, form)) is not None
        }
