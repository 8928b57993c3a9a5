"""Two people at one file: whatever they do, no change of either is lost unseen."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drawing import examples
from treeward.desk.edits import CellEdit, ReviewEdits
from treeward.hunt.hunt import Hunt
from treeward.review.file import cells_of

HUNT_TOML = """\
[hunt]
name = "Marl Hollow"
timezone = "Europe/London"
"""
ROWS = ("h1", "h2", "h3")
VALUES = {
    "mark": ("yellow", "blue", "white", ""),
    "remark": ("seen", "perhaps; unsure", 'said "no"', "Äther, weiß", ""),
    "decision": ("", "keep", "drop"),
}
Cells = dict[tuple[str, str], str]

cell = st.sampled_from(sorted(VALUES)).flatmap(
    lambda column: st.tuples(
        st.sampled_from(ROWS), st.just(column), st.sampled_from(VALUES[column])
    )
)
deed = st.tuples(st.sampled_from(["desk", "hand", "look"]), cell)


def begin(folder: Path) -> Hunt:
    (folder / "hunt.toml").write_text(HUNT_TOML, "utf-8")
    lines = ["row,clock,event,mark,value,decision,remark"]
    lines += [f"{name},2026-07-14 10:0{n}:00,away,,,,\n" for n, name in enumerate(ROWS)]
    (folder / "review.csv").write_text("\n".join(lines), "utf-8")
    return Hunt(folder)


def in_file(ledger: ReviewEdits) -> Cells:
    return {
        (row.name, column): cells_of(row)[column]
        for row in ledger.read().rows
        for column in VALUES
    }


@pytest.mark.slow
@settings(
    max_examples=examples(40),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(deeds=st.lists(deed, max_size=12))
def test_the_file_holds_every_change_that_was_not_refused(
    deeds: list[tuple[str, tuple[str, str, str]]],
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        hunt = begin(Path(folder))
        desk, spreadsheet = ReviewEdits(hunt), ReviewEdits(hunt)
        truth = in_file(desk)
        seen = dict(truth)  # what the page shows, which may be old
        for who, (row, column, value) in deeds:
            place = (row, column)
            if who == "look":
                seen = dict(truth)
            elif who == "hand":
                was = truth[place]
                spreadsheet.apply(
                    [CellEdit(row=row, column=column, value=value, was=was)]
                )
                truth[place] = value
            else:
                told = desk.apply(
                    [CellEdit(row=row, column=column, value=value, was=seen[place])]
                )
                refused = truth[place] not in {seen[place], value}
                assert bool(told.conflicts) == refused
                if refused:
                    assert told.conflicts[0].theirs == truth[place]
                else:
                    truth[place] = seen[place] = value
            assert in_file(desk) == truth
