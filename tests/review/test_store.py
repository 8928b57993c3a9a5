"""review.csv beside programs that save what they hold, and copies that are spoilt.

What the person wrote is never lost, and what was heard does not go unsaid.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from drawing import mostly_slow
from treeward import Hunt
from treeward.cli import group
from treeward.notes.flags import Flag, FlagCode
from treeward.review import store as review_store
from treeward.review.file import cells_of, write_review
from treeward.within import Held

PUT_BACK = Flag(FlagCode.PUT_BACK).sentence
TRANSCRIPT = """\
[0:02] it's ten oh one in the morning
[0:10] yellow away
[0:12] bearing two ten
[4:40] yellow back
[6:00] yellow away
[10:20] yellow back
"""


@pytest.fixture(scope="module")
def read_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A hunt with one transcript read and a remark of the person's in its third row."""
    folder = tmp_path_factory.mktemp("read") / "t"
    made = Hunt.create(folder, name="Fern Bank", timezone="Europe/London")
    (made.recordings_dir / "2026-07-14_1000.txt").write_text(TRANSCRIPT, "utf-8")
    made.transcribe()
    lines = made.review_path.read_text("utf-8").splitlines()
    lines[3] += "seen by me"
    made.review_path.write_text("\n".join(lines) + "\n", "utf-8")
    made.transcribe()
    return folder


@pytest.fixture
def hunt(read_once: Path, tmp_path: Path) -> Hunt:
    """That hunt in a folder of the test's own."""
    return Hunt(Path(shutil.copytree(read_once, tmp_path / "t")))


def hear_more(hunt: Hunt, day: int = 15) -> tuple[str, ...]:
    (hunt.recordings_dir / f"2026-07-{day}_1000.txt").write_text(TRANSCRIPT, "utf-8")
    return hunt.transcribe().remarks


def cells(hunt: Hunt) -> dict[str, dict[str, str]]:
    return {row.name: cells_of(row) for row in hunt.rows()}


# --- rows that went -----------------------------------------------------------------


def test_the_old_view_of_a_spreadsheet_deletes_nothing_that_was_heard(
    hunt: Hunt,
) -> None:
    old_view = hunt.review_path.read_bytes()
    hear_more(hunt)
    everything = set(cells(hunt))
    hunt.review_path.write_bytes(old_view)  # saved by a program open all along

    told = hunt.review.gone_line()
    remarks = hunt.transcribe().remarks

    assert "6 rows" in told
    assert "write drop" in told
    assert any("6 rows" in line and "stand in it again" in line for line in remarks)
    assert set(cells(hunt)) == everything
    assert sum(PUT_BACK in c["flag"] for c in cells(hunt).values()) == 6
    assert hunt.review.gone_line() == ""


@pytest.mark.parametrize(
    "share", mostly_slow([0.2, 0.35, 0.5, 0.65, 0.8, 0.95], quick=[0.8])
)
def test_a_review_that_is_cut_off_loses_nothing(hunt: Hunt, share: float) -> None:
    whole = cells(hunt)
    raw = hunt.review_path.read_bytes()
    hunt.review_path.write_bytes(raw[: int(len(raw) * share)])

    shown = CliRunner().invoke(group, ["trips", "--hunt", str(hunt.path)])
    if shown.exit_code == 0:
        assert "gone from review.csv" in shown.stderr
    else:
        assert "row" in str(shown.exception)
        rows = hunt.review_path.read_bytes()
        hunt.review_path.write_bytes(rows[: rows.rindex(b"\n") + 1])
    hunt.transcribe()

    after = cells(hunt)
    assert set(after) == set(whole)
    for name, row in whole.items():
        assert {c: v for c, v in after[name].items() if c != "flag"} == {
            c: v for c, v in row.items() if c != "flag"
        }


def test_a_correction_that_an_old_view_takes_back_is_told(hunt: Hunt) -> None:
    old_view = hunt.review_path.read_text("utf-8")
    name, mark = next((n, c["mark"]) for n, c in cells(hunt).items() if c["mark"])
    line = next(one for one in old_view.splitlines() if one.startswith(name))
    other = "white" if mark != "white" else "red"
    corrected = line.replace(f",{mark},", f",{other},", 1)
    hunt.review_path.write_text(old_view.replace(line, corrected), "utf-8")
    assert hunt.review.reverted_line() == ""
    hunt.transcribe()
    assert hunt.review.reverted_line() == ""

    hunt.review_path.write_text(old_view, "utf-8")

    said = hunt.review.reverted_line()
    assert said.startswith("1 correction gone from review.csv since Treeward wrote it")
    assert f"({name} mark: was '{other}', is {mark} again)" in said
    shown = CliRunner().invoke(group, ["trips", "--hunt", str(hunt.path)])
    assert said in shown.stderr
    hunt.transcribe()
    assert hunt.review.reverted_line() == ""


def test_a_row_that_was_dropped_stays_out(hunt: Hunt) -> None:
    lines = hunt.review_path.read_text("utf-8").splitlines()
    hunt.review_path.write_text("\n".join([*lines[:2], *lines[3:]]) + "\n", "utf-8")
    hunt.transcribe()
    name = next(n for n, c in cells(hunt).items() if PUT_BACK in c["flag"])
    text = hunt.review_path.read_text("utf-8").splitlines()
    at = next(i for i, line in enumerate(text) if line.startswith(name))
    text[at] = text[at].removesuffix(",,") + ",drop,"
    hunt.review_path.write_text("\n".join(text) + "\n", "utf-8")

    hunt.transcribe()
    hunt.transcribe()

    assert cells(hunt)[name]["decision"] == "drop"
    assert len(hunt.trips().trips) <= 2


def test_a_row_typed_by_hand_that_went_comes_back_too(hunt: Hunt) -> None:
    old_view = hunt.review_path.read_bytes()
    with hunt.review_path.open("ab") as file:
        file.write(b",,,,2026-07-14 10:30:00,wind,,calm,,,,,,mine\n")
    hear_more(hunt)
    hunt.review_path.write_bytes(old_view)

    hunt.transcribe()

    assert [c["remark"] for c in cells(hunt).values()].count("mine") == 1


def test_a_dropped_name_column_is_no_loss_of_rows(hunt: Hunt) -> None:
    with hunt.review_path.open("ab") as file:
        file.write(b",,,,2026-07-14 10:30:00,wind,,calm,,,,,,mine\n")
    hunt.transcribe()
    before = cells(hunt)
    lines = hunt.review_path.read_text("utf-8").splitlines()
    without = "\n".join(line.partition(",")[2] for line in lines) + "\n"
    hunt.review_path.write_text(without, "utf-8")

    assert hunt.review.gone_line() == ""
    hunt.transcribe()

    assert len(cells(hunt)) == len(before)


@pytest.mark.parametrize("then", ["transcribe", "correct"])
def test_a_row_typed_in_an_old_view_takes_no_other_rows_place(
    hunt: Hunt, then: str
) -> None:
    from treeward.desk.desk import Desk
    from treeward.desk.edits import NewRow

    def added(minute: int, remark: str) -> NewRow:
        clock = f"2026-07-14 10:{minute}:00"
        return NewRow(cells={"clock": clock, "event": "pause", "remark": remark})

    old_view = hunt.review_path.read_bytes()
    first = Desk(hunt).apply([added(15, "made on the page")]).added[0]
    hunt.review_path.write_bytes(
        old_view + b",,,,2026-07-14 10:20:00,pause,,,,,,,,typed in the sheet\n"
    )

    told = hunt.review.gone_line()
    if then == "transcribe":
        hunt.transcribe()
    else:
        Desk(hunt).apply([added(30, "and another")])

    assert first in told
    remarks = [row["remark"] for row in cells(hunt).values()]
    assert {"made on the page", "typed in the sheet", "seen by me"} <= set(remarks)
    assert len(cells(hunt)) == len(old_view.splitlines()) + (then == "correct") + 1


# --- saved in the same moment -------------------------------------------------------


class Saves:
    """Another program that saves review.csv just before a step of ours."""

    def __init__(self, hunt: Hunt, *, by_renaming: bool) -> None:
        self._hunt = hunt
        self._by_renaming = by_renaming
        self.done = False

    def once(self, remark: str = "saved there") -> None:
        if self.done:
            return
        self.done = True
        path = self._hunt.review_path
        lines = path.read_text("utf-8").splitlines()
        lines[2] += remark
        text = "\n".join(lines) + "\n"
        if self._by_renaming:
            beside = path.with_name("from-the-spreadsheet.csv")
            beside.write_text(text, "utf-8")
            beside.replace(path)
        else:
            path.write_text(text, "utf-8")


@pytest.mark.parametrize("by_renaming", [True, False])
@pytest.mark.parametrize(
    "step",
    mostly_slow(
        ["merge", "trial", "machine", "link", "compare"], quick=["merge", "link"]
    ),
)
def test_a_save_while_transcribe_writes_is_merged_or_kept(
    hunt: Hunt,
    step: str,
    by_renaming: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    saves = Saves(hunt, by_renaming=by_renaming)
    plain_write = write_review
    plain_digest = review_store.ReviewStore.digest
    plain_name_twice = Held.name_twice

    def write(path: Path, rows: Any, **options: Any) -> None:
        if step == ("trial" if path.name == "review.csv" else "machine"):
            saves.once()
        plain_write(path, rows, **options)

    def name_twice(self: Held, name: str, new: str) -> bool:
        if step == "link":
            saves.once()
        return plain_name_twice(self, name, new)

    digests = []

    def digest(self: Any) -> str:
        digests.append(1)
        if step == "merge" and len(digests) == 4:
            saves.once()
        found = plain_digest(self)
        if step == "compare" and len(digests) >= 4:
            saves.once()  # after the last comparison, before the renaming
        return found

    monkeypatch.setattr("treeward.review.store.write_review", write)
    monkeypatch.setattr(review_store.ReviewStore, "digest", digest)
    monkeypatch.setattr(Held, "name_twice", name_twice)
    remarks = hear_more(hunt)
    monkeypatch.undo()

    assert saves.done
    kept = [row["remark"] for row in cells(hunt).values()]
    beside = list(hunt.path.glob("review-saved-*.csv"))
    assert "seen by me" in kept
    merged = "saved there" in kept
    copied = any("saved there" in path.read_text("utf-8") for path in beside)
    assert merged or copied
    assert copied == any("same moment" in line for line in remarks)
    assert len(kept) == 12


def test_a_correction_on_the_page_keeps_what_was_saved_in_that_moment(
    hunt: Hunt, monkeypatch: pytest.MonkeyPatch
) -> None:
    from treeward.desk.desk import Desk
    from treeward.desk.edits import CellEdit

    saves = Saves(hunt, by_renaming=True)
    plain = Held.name_twice

    def name_twice(self: Held, name: str, new: str) -> bool:
        saves.once()
        return plain(self, name, new)

    monkeypatch.setattr(Held, "name_twice", name_twice)
    name = next(iter(cells(hunt)))
    Desk(hunt).apply([CellEdit(row=name, column="remark", value="first", was="")])

    remarks = [row["remark"] for row in cells(hunt).values()]
    assert {"first", "saved there", "seen by me"} <= set(remarks)


# --- killed -------------------------------------------------------------------------


class Killed(BaseException):
    """Ends a writing where a kill would."""


def killed_behind(step: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the next writing end once a file of that name was put in its place."""
    plain = Held.replace

    def replace(self: Held, name: str, new: str, *into: Any, **options: Any) -> None:
        plain(self, name, new, *into, **options)
        if new == step and bool(into) == (step == "review.csv"):
            raise Killed

    monkeypatch.setattr(Held, "replace", replace)


@pytest.mark.parametrize("work", ["correct", "transcribe"])
def test_a_row_comes_back_as_corrected_right_before_a_kill(
    hunt: Hunt, work: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from treeward.desk.desk import Desk
    from treeward.desk.edits import CellEdit

    name = list(cells(hunt))[-1]
    edit = CellEdit(row=name, column="remark", value="seen twice", was="")
    if work == "transcribe":
        lines = hunt.review_path.read_text("utf-8").splitlines()
        text = "\n".join([*lines[:-1], f"{lines[-1]}seen twice"]) + "\n"
        hunt.review_path.write_text(text, "utf-8")
    killed_behind("review.csv", monkeypatch)
    with pytest.raises(Killed):
        _ = Desk(hunt).apply([edit]) if work == "correct" else hear_more(hunt)
    monkeypatch.undo()
    lines = hunt.review_path.read_text("utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith(name)]
    hunt.review_path.write_text("".join(kept), "utf-8")  # saved by a spreadsheet

    told = hunt.review.gone_line()
    hunt.transcribe()

    assert f"1 row ({name}) has gone" in told
    assert cells(hunt)[name]["remark"] == "seen twice"
    assert PUT_BACK in cells(hunt)[name]["flag"]


def test_what_was_laid_ready_and_never_written_does_not_count(
    hunt: Hunt, monkeypatch: pytest.MonkeyPatch
) -> None:
    from treeward.desk.desk import Desk
    from treeward.desk.edits import CellEdit

    before, name = cells(hunt), list(cells(hunt))[-1]
    edit = CellEdit(row=name, column="remark", value="never written", was="")
    killed_behind("review_last.csv", monkeypatch)
    with pytest.raises(Killed):
        Desk(hunt).apply([edit])
    monkeypatch.undo()
    lines = hunt.review_path.read_text("utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith(name)]
    hunt.review_path.write_text("".join(kept), "utf-8")

    hunt.transcribe()

    assert cells(hunt)[name]["remark"] == before[name]["remark"]


# --- spoilt copies ------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("copy", ["review_machine.csv", "review_last.csv"])
@pytest.mark.parametrize(
    "share",
    mostly_slow(
        [0.0, 0.1, 0.3, 0.5, 0.7, 0.9, "rows", "zeros"],
        quick=[0.5, "rows"],
    ),
)
def test_a_spoilt_copy_is_made_anew_and_loses_nothing(
    hunt: Hunt, copy: str, share: float | str
) -> None:
    before = cells(hunt)
    path = hunt.machine_dir / copy
    raw = path.read_bytes()
    if share == "rows":
        path.write_bytes(b"\n".join(raw.split(b"\n")[:4]) + b"\n")
    elif share == "zeros":
        path.write_bytes(bytes(500))
    else:
        assert isinstance(share, float)
        path.write_bytes(raw[: int(len(raw) * share)])

    hunt.transcribe()
    hear_more(hunt)

    after = cells(hunt)
    assert len(after) == 12
    for name, row in before.items():
        assert {k: v for k, v in after[name].items() if k != "flag"} == {
            k: v for k, v in row.items() if k != "flag"
        }
    assert path.read_bytes().startswith((b"row,", b"\xef\xbb\xbfrow,"))


def test_nothing_is_left_lying_beside(hunt: Hunt) -> None:
    hear_more(hunt)

    assert sorted(path.name for path in hunt.path.iterdir()) == [
        ".treeward",
        "hunt.toml",
        "recordings",
        "review.csv",
    ]
    assert list((hunt.machine_dir / "ready").iterdir()) == []
