"""No cell that we write is run by a spreadsheet, and every text comes back."""

from __future__ import annotations

import csv
import io
import re
import tempfile
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treeward.hunt.hunt import Hunt
from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import read_flags
from treeward.review.file import ReviewRow, read_review, write_review
from treeward.review.table import guard, unguard
from treeward.speech.utterances import Alternative

LONDON = ZoneInfo("Europe/London")
RUN = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
# OWASP, "CSV Injection": what begins such a cell, and the separators and quotation
# marks with which one is begun inside another.
PARTS = st.sampled_from(
    [*RUN, "'", '"', ";", ",", "|", " ", "a", "1", "=1+1", "@SUM(A1)", "'=", ";-1"]
)
TEXTS = st.lists(PARTS, max_size=8).map("".join)


def row(text: str, extra: str) -> ReviewRow:
    return ReviewRow(
        event=Event(
            kind=EventKind.REMARK,
            value=text,
            recording=text,
            start_s=1.0,
            heard=text,
            mark="",
            flags=read_flags([text]) if text.strip() else (),
            alternatives=(Alternative(text=text.strip() or "x", confidence=0.5),),
            row="r0001",
        ),
        remark=text,
        extra=(("weather", extra),) if extra else (),
    )


@given(TEXTS)
def test_what_is_guarded_comes_back(text: str) -> None:
    assert unguard(guard(text)) == text
    assert not guard(text).startswith(RUN)


@settings(deadline=None)
@given(text=TEXTS, extra=TEXTS)
def test_whatever_ends_a_cell_no_formula_begins_the_next(text: str, extra: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "review.csv"
        write_review(path, [row(text, extra)])
        written = path.read_bytes().decode("utf-8-sig")
        (back,) = read_review(path, LONDON)

    for line in csv.reader(io.StringIO(written, newline="")):
        assert not any(cell.startswith(RUN) for cell in line)
    for separator in ";\t|\n\r":  # of a program with other settings
        for piece in written.split(separator)[1:]:
            assert not re.match(r'[\s"]*[=+\-@\uff1d\uff0b\uff0d\uff20]', piece), piece
    assert back.remark == re.sub("\r\n?", "\n", text).strip()
    assert back.event.heard == back.remark
    assert dict(back.extra).get("weather", "") == re.sub("\r\n?", "\n", extra)


@pytest.mark.parametrize("name", ["=weather", "-1", "@x", "a;=b"])
def test_a_column_of_the_person_s_keeps_its_name(tmp_path: Path, name: str) -> None:
    path = tmp_path / "review.csv"
    path.write_text(f'clock,event,"{name}"\n2026-07-14 10:00,away,x\n', "utf-8")
    for _ in range(2):
        rows = read_review(path, LONDON)
        assert rows[0].extra == ((name, "x"),)
        write_review(path, rows)

    heading = path.read_text("utf-8").splitlines()[0]
    assert not re.search(r'[,;]"?[=+\-@]', heading)


@pytest.mark.parametrize("mark", ["=1+1", "+yellow", "-blue", "@white", "\uff1dred"])
def test_tables_of_results_are_as_harmless(typed_hunt: Path, mark: str) -> None:
    review = typed_hunt / "review.csv"
    text = review.read_text("utf-8").replace(",yellow,", f",{mark},")
    review.write_text(text, "utf-8")
    hunt = Hunt(typed_hunt)
    result = hunt.paired()

    from treeward.report.writing import bees_text, trips_text

    for text in (trips_text(result), bees_text(result)):
        for line in csv.reader(io.StringIO(text, newline="")):
            for cell in line:
                number = re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", cell)
                assert number or not cell.startswith(RUN)
    assert any(trip.mark.startswith(RUN) for trip in result.table.trips)
