"""Values and marks that people type into the rows of other notes."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from treeward.language.phrasebook import PhraseBook
from treeward.review.file import read_review, write_review
from treeward.review.store import Status, status_of
from treeward.review.table import ReviewFaultsError

if TYPE_CHECKING:
    from pathlib import Path

    from treeward.review.row import ReviewRow

ZONE = ZoneInfo("Europe/London")
BOOK = PhraseBook.load()


def typed(path: Path, *lines: str, columns: str = "clock,event,mark,value") -> None:
    path.write_text("\n".join((columns, *lines)) + "\n", "utf-8")


def said(rows: list[ReviewRow]) -> list[tuple[str, str, str]]:
    return [(row.event.kind.value, row.event.mark, row.event.value) for row in rows]


@pytest.mark.parametrize(
    ("line", "notes"),
    [
        ("gone,yellow,47", [("away", ""), ("bearing", "47")]),
        ("away,yellow,48 deg", [("away", ""), ("bearing", "48 deg")]),
        ("away,yellow,ne", [("away", ""), ("bearing", "ne")]),
        ("away,yellow,6:45", [("away", ""), ("duration", "away 405")]),
        ("back,yellow,6:45", [("back", ""), ("duration", "away 405")]),
        ("landed,yellow,round 9 min", [("back", ""), ("duration", "round 540")]),
        ("back,yellow,395 s", [("back", ""), ("duration", "away 395")]),
    ],
)
def test_a_value_of_another_kind_is_a_note_of_its_own(
    line: str, notes: list[tuple[str, str]], tmp_path: Path
) -> None:
    path = tmp_path / "review.csv"
    typed(path, f"2026-07-14 9:05,{line}", "9:30,back,white,")

    rows = read_review(path, ZONE)

    assert said(rows[:-1]) == [(kind, "yellow", value) for kind, value in notes]
    assert rows[0].event.clock == rows[1].event.clock
    assert [row.name for row in rows] == ["h0001", "h0003", "h0002"]
    write_review(path, rows)
    assert [(r.name, r.event) for r in read_review(path, ZONE)] == [
        (r.name, r.event) for r in rows
    ]


def test_a_bearing_that_stands_below_is_not_said_twice(tmp_path: Path) -> None:
    path = tmp_path / "review.csv"
    typed(path, "2026-07-14 9:05,away,yellow,47", "9:05,bearing,yellow,047")
    assert said(read_review(path, ZONE)) == [
        ("away", "yellow", ""),
        ("bearing", "yellow", "047"),
    ]

    typed(path, "2026-07-14 9:05,away,yellow,47", "9:05,bearing,yellow,50")
    rows = read_review(path, ZONE)
    assert said(rows)[1] == ("bearing", "yellow", "47")
    assert rows[1].event.flags[0].sentence == (
        "typed beside another that stands there: 50"
    )


@pytest.mark.parametrize(
    "cell", ["back,yellow,47", "mark,yellow,47", "away,yellow,fast"]
)
def test_a_value_that_says_nothing_there_is_flagged_until_it_goes(
    cell: str, tmp_path: Path
) -> None:
    path = tmp_path / "review.csv"
    typed(path, f"2026-07-14 9:05,{cell}")

    (row,) = read_review(path, ZONE)
    value, kind = row.event.value, row.event.kind.value

    assert value in {"47", "fast"}
    assert [flag.sentence for flag in row.event.flags] == [
        f"value: '{value}' is not read, {kind} has none of its own"
    ]
    assert status_of(row, None) is Status.LOOK
    write_review(path, [row])
    assert len(read_review(path, ZONE)[0].event.flags) == 1
    path.write_text(path.read_text("utf-8").replace(f"yellow,{value}", "yellow,"))
    assert read_review(path, ZONE)[0].event.flags == ()


def marks(
    path: Path, *written: str, book: PhraseBook = BOOK
) -> list[tuple[str, list[str]]]:
    typed(path, *(f"2026-07-14 9:{10 + n},back,{m}," for n, m in enumerate(written)))
    rows = read_review(path, ZONE, book=book)
    return [(r.event.mark, [f.sentence for f in r.event.flags]) for r in rows]


def test_short_marks_mean_what_they_can_only_mean(tmp_path: Path) -> None:
    path = tmp_path / "review.csv"
    assert [mark for mark, _ in marks(path, "w", "Y", "b/w", "yel", "Y abd")] == [
        "white",
        "yellow",
        "blue-white",
        "yellow",
        "yellow abdomen",
    ]
    # pink, purple: the one of the hunt, else nobody knows.
    few = BOOK.only(["pink", "white"])
    assert marks(path, "p", book=few) == [("pink", [])]
    assert marks(path, "p", "purple") == [("purple", []), ("purple", [])]
    assert marks(path, "p", "purple", "pink")[0] == (
        "p",
        ["mark: 'p' is none of the hunt's, did you mean pink or purple?"],
    )
    assert [(mark, bool(flags)) for mark, flags in marks(path, "p", "w")] == [
        ("p", True),
        ("white", False),
    ]
    # Letters that name bees, and mean no colours.
    assert marks(path, "a", "b", "c", "w") == [(m, []) for m in "abcw"]


def test_a_slip_in_a_colour_is_asked_about(tmp_path: Path) -> None:
    path = tmp_path / "review.csv"
    asked = ["mark: 'yelow' is none of the hunt's, did you mean yellow?"]
    assert marks(path, "yelow", "yellow", "yelow") == [
        ("yelow", asked),
        ("yellow", []),
        ("yelow", asked),
    ]
    assert marks(path, "yelow")[0] == ("yelow", asked)
    assert marks(path, "bleu")[0][1] == [
        "mark: 'bleu' is none of the hunt's, did you mean blue?"
    ]
    assert marks(path, "tag seven", "silver") == [("tag-seven", []), ("silver", [])]


def test_a_mark_of_the_machines_row_that_was_mistyped_is_to_be_looked_at(
    tmp_path: Path,
) -> None:
    path = tmp_path / "review.csv"
    typed(path, "r0001,2026-07-14 9:05,back,yellow", columns="row,clock,event,mark")
    machine = read_review(path, ZONE)
    typed(path, "r0001,2026-07-14 9:05,back,yelow", columns="row,clock,event,mark")

    (row,) = read_review(path, ZONE, machine=machine, book=BOOK)

    assert status_of(row, machine[0]) is Status.LOOK
    typed(path, "r0001,2026-07-14 9:05,back,w", columns="row,clock,event,mark")
    (row,) = read_review(path, ZONE, machine=machine, book=BOOK)
    assert (row.event.mark, status_of(row, machine[0])) == ("white", Status.CHANGED)


def test_a_word_that_is_no_event_is_refused_with_those_that_are(
    tmp_path: Path,
) -> None:
    path = tmp_path / "review.csv"
    typed(path, "2026-07-14 9:05,home,yellow,")

    with pytest.raises(ReviewFaultsError) as refused:
        read_review(path, ZONE)

    assert refused.value.lines[0].startswith(
        "review.csv row 2: event: 'home' is no event. Write one of: back (or in, "
        "landed, returned, arrived), away (or off, out, gone, left), mark (or marked, "
        "painted), bearing, time, "
    )
