"""trips.csv and bees.csv, for a spreadsheet: metric, units in the column names.

Events beside a recording: WebVTT for players, a label track for sound editors.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from treeward.report.result_json import result_dict
from treeward.review.table import guard

if TYPE_CHECKING:
    from collections.abc import Iterable

    from treeward.report.model import HuntResult, NoteRow


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


def safe_cell(value: Any) -> Any:  # noqa: ANN401  (a table holds any plain value)
    """Keep a spreadsheet from taking text for a formula, as in review.csv.

    Numbers stay as they are.
    """
    return guard(value) if isinstance(value, str) else value


def _text(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> str:
    out = io.StringIO(newline="")
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(columns)
    table.writerows([safe_cell(row.get(name)) for name in columns] for row in rows)
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
    return _text(rows, _TRIP_COLUMNS)


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
    return _text(rows, _BEE_COLUMNS)


SHORTEST_S = 0.5  # a cue must last long enough to be seen; choice


def stamp(seconds: float) -> str:
    """Write seconds as a WebVTT time stamp."""
    thousandths = round(seconds * 1000)
    hours, rest = divmod(thousandths, 3_600_000)
    minutes, rest = divmod(rest, 60_000)
    return f"{hours:02d}:{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


def _timed(
    rows: Iterable[NoteRow], recording: str
) -> list[tuple[float, float, NoteRow]]:
    found = []
    for note in rows:
        if note.recording != recording or note.start_s is None:
            continue
        start = max(note.start_s, 0.0)
        end = note.end_s if note.end_s is not None else start
        found.append((start, max(end, start + SHORTEST_S), note))
    return sorted(found, key=lambda item: (item[0], item[1], item[2].row))


def _one_line(text: str) -> str:
    return " ".join(text.split())


def webvtt_text(rows: Iterable[NoteRow], recording: str) -> str:
    """Write the notes of one recording as WebVTT cues (W3C WebVTT 1).

    Each cue is named after its row of review.csv.
    """
    parts = ["WEBVTT"]
    for start, end, note in _timed(rows, recording):
        said = _one_line(note.said or note.heard) or "note"
        said = escaped(said)
        name = _one_line(note.row).replace("-->", "->")
        head = f"row {name}\n" if name else ""
        parts.append(f"{head}{stamp(start)} --> {stamp(end)}\n{said}")
    return "\n\n".join(parts) + "\n"


def escaped(text: str) -> str:
    """Write text so that WebVTT takes nothing in it for markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def label_track_text(rows: Iterable[NoteRow], recording: str) -> str:
    """Write start, end and text, tab-separated, seconds: a sound editor's labels."""
    lines = []
    for start, end, note in _timed(rows, recording):
        said = _one_line(note.said or note.heard) or "note"
        row = f" (row {_one_line(note.row)})" if note.row else ""
        lines.append(f"{start:.6f}\t{end:.6f}\t{said}{row}\n")
    return "".join(lines)
