"""A hunt as it is after transcribe, with some notes heard wrongly.

Invented: four bees are timed at two stations, eight minutes at each; the colony lies
some 500 m away. The sound is a buzz wherever something was said.
"""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import soundfile

from treeward.desk.desk import Desk
from treeward.desk.weighing import Weighing
from treeward.hunt.hunt import Hunt
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import Flag, FlagCode
from treeward.review.file import ReviewRow
from treeward.speech.utterances import Alternative

from .pages import browser, open_page

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["browser", "open_page"]  # fixtures for every test of the desk

LITTLE = "heard with little confidence ({:.2f})"
LENGTH_S = 900.0
RATE_HZ = 8000
DAY = datetime(2026, 7, 14, tzinfo=ZoneInfo("Europe/London"))
# Recording: its start, its station, and the bearing to the colony there.
WATCHES = {
    "station-1.flac": (DAY.replace(hour=10, minute=12), "1", 185),
    "station-2.flac": (DAY.replace(hour=10, minute=40), "2", 205),
}
BEES = ("yellow", "blue", "white", "yellow-blue")
HUNT_TOML = """\
[hunt]
name = "Marl Hollow"
timezone = "Europe/London"

[[station]]
id = "1"
position = "52.301200, -3.610400"

[[station]]
id = "2"
position = "52.299536, -3.608786"
"""


def said_at(recording: str) -> list[tuple[float, str, str, str]]:
    """Return what is said in a recording: second, kind, mark, value."""
    start, station, bearing = WATCHES[recording]
    notes = [
        (2.0, "station", "", station),
        (6.0, "time", "", f"{start:%H:%M}"),
        (301.0, "remark", "", "a cloud came over"),
    ]
    for number, bee in enumerate(BEES):
        away_s = 14.0 + 23.0 * number
        for turn in range(9):
            if away_s > LENGTH_S - 20:
                break
            notes.append((away_s, "away", bee, ""))
            if turn % 2 == 0:
                value = bearing + 5 * ((number + turn) % 3 - 1)
                notes.append((away_s + 2.5, "bearing", bee, str(value)))
            back_s = away_s + 205.0 + 11.0 * ((3 * number + turn) % 5)
            if back_s > LENGTH_S - 20:
                break
            notes.append((back_s, "back", bee, ""))
            away_s = back_s + 62.0 + 7.0 * ((number + turn) % 4)
    return sorted(notes)


def true_rows(recordings: list[str]) -> list[ReviewRow]:
    """Return the notes that were said, as rows without any doubt."""
    rows: list[ReviewRow] = []
    for recording in recordings:
        for second, kind, mark, value in said_at(recording):
            event = Event(
                kind=EventKind(kind),
                mark=mark,
                value=value,
                recording=recording,
                start_s=second,
                end_s=second + 1.0,
                clock=WATCHES[recording][0] + timedelta(seconds=second),
                confidence=0.95,
                heard=" ".join(part for part in (mark, kind, value) if part),
                row=f"r{len(rows) + 1:04d}",
            )
            rows.append(ReviewRow(event=event))
    return rows


@cache
def sound_of(recording: str) -> bytes:
    """Return a recording that buzzes where something is said, as a file."""
    sound = np.zeros(round(LENGTH_S * RATE_HZ), np.float32)
    swell = np.sin(np.linspace(0, np.pi, RATE_HZ)) * 0.4
    buzz = swell * np.sin(np.arange(RATE_HZ) * 2 * np.pi * 230 / RATE_HZ)
    for second, *_ in said_at(recording):
        first = round(second * RATE_HZ)
        sound[first : first + RATE_HZ] += buzz
    file = io.BytesIO()
    soundfile.write(file, sound, RATE_HZ, format="FLAC")
    return file.getvalue()


def index_of(rows: list[ReviewRow], number: int = 0, **wanted: Any) -> int:
    """Return the place of the `number`th row whose event has these values."""
    found = [
        index
        for index, row in enumerate(rows)
        if all(getattr(row.event, name) == value for name, value in wanted.items())
    ]
    return found[number]


def misheard(rows: list[ReviewRow]) -> dict[str, str]:
    """Spoil some rows as an engine would; return their names by what is wrong."""
    named = {}

    def spoil(what: str, index: int, **changes: Any) -> None:
        named[what] = rows[index].name
        rows[index] = replace(rows[index], event=replace(rows[index].event, **changes))

    away = index_of(rows, 1, kind=EventKind.AWAY, mark="yellow")
    spoil(
        "mark",
        away,
        mark="white",
        heard="white away",
        confidence=0.41,
        alternatives=(
            Alternative(text="yellow away", confidence=0.34),
            Alternative(text="white back", confidence=0.08),
        ),
        flags=(Flag.of(FlagCode.HARDLY_HEARD, "0.41"),),
    )
    lost = index_of(rows, 2, kind=EventKind.BEARING)
    spoil(
        "value",
        lost,
        value="",
        heard="bearing",
        confidence=0.55,
        flags=(Flag.of(FlagCode.NO_VALUE, "bearing", "bearing"),),
    )
    sure = index_of(rows, 1, kind=EventKind.BACK)
    mark = rows[sure].event.mark
    spoil(
        "right",
        sure,
        confidence=0.46,
        alternatives=(Alternative(text=f"{mark} away", confidence=0.2),),
        flags=(Flag.of(FlagCode.HARDLY_HEARD, "0.46"),),
    )
    talk = index_of(rows, 0, kind=EventKind.REMARK)
    spoil("talk", talk, confidence=0.6, flags=(Flag(FlagCode.AMID_TALK),))
    return named


class Prepared:
    """A hunt in a folder of its own, and the names of its doubtful rows."""

    def __init__(self, folder: Path, recordings: list[str]) -> None:
        (folder / "recordings").mkdir(parents=True)
        (folder / "hunt.toml").write_text(HUNT_TOML, "utf-8")
        for recording in recordings:
            (folder / "recordings" / recording).write_bytes(sound_of(recording))
        rows = true_rows(recordings)
        self.doubtful = misheard(rows)
        self.hunt = Hunt(folder)
        self.hunt.machine_dir.mkdir()
        self.hunt.review.write(rows, rows)
        self.desk = Desk(self.hunt)

    def row(self, name: str) -> ReviewRow:
        """Return a row as it is in the file now."""
        return next(row for row in self.desk.sheet().rows if row.name == name)

    def change_by_hand(self, name: str, **cells: str) -> None:
        """Change cells as a spreadsheet program would: semicolons, CRLF."""
        text = self.hunt.review_path.read_text("utf-8-sig")
        rows = list(csv.DictReader(text.splitlines()))
        for row in rows:
            if row["row"] == name:
                row.update(cells)
        with self.hunt.review_path.open("w", encoding="utf-8-sig", newline="") as file:
            writer = csv.DictWriter(
                file, rows[0].keys(), delimiter=";", lineterminator="\r\n"
            )
            writer.writeheader()
            writer.writerows(rows)


@pytest.fixture
def prepared(tmp_path: Path) -> Prepared:
    """One station's recording with its notes."""
    return Prepared(tmp_path / "hunt", ["station-1.flac"])


@pytest.fixture
def unweighed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out how far each row moves the place: rows come by their doubts."""
    monkeypatch.setattr(Weighing, "weigh_now", lambda _: None)


@pytest.fixture
def whole_hunt(tmp_path: Path) -> Prepared:
    """Both stations."""
    return Prepared(tmp_path / "hunt", list(WATCHES))
