"""What bringing events into review.csv adds to them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from treeward.hunt.hunt import Hunt
from treeward.language.kinds import EventKind
from treeward.notes.flags import FlagCode
from treeward.report.wording import missing_sentences

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(("hour", "dark"), [(22, True), (3, True), (12, False)])
@pytest.mark.parametrize("placed", [True, False])
def test_notes_of_bees_flying_in_the_dark_are_flagged(
    tmp_path: Path, hour: int, dark: bool, placed: bool
) -> None:
    hunt = Hunt.create(tmp_path / "hunt", name="Marl Hollow", timezone="Europe/London")
    if placed:
        toml = (hunt.path / "hunt.toml").read_text("utf-8")
        toml = toml.replace('# position = "52.30', 'position = "52.30', 1)
        (hunt.path / "hunt.toml").write_text(toml, "utf-8")
    notes = tmp_path / "notes.txt"
    notes.write_text(
        f"14 July 2026, station 1\n{hour:02}:50 yellow away, 210\n"
        f"{hour:02}:57 yellow back\n{hour:02}:58 note a big oak\n",
        "utf-8",
    )
    hunt = Hunt(hunt.path)

    done = hunt.transcribe([notes])

    flying = {EventKind.AWAY, EventKind.BACK, EventKind.BEARING}
    flagged = {e.kind for e in hunt.events() if e.has(FlagCode.AFTER_DARK)}
    assert flagged == (flying if dark and placed else set())
    assert done.left.notes == (3 if dark and placed else 0)


def test_notes_of_no_known_day_are_told_with_how_they_get_one(tmp_path: Path) -> None:
    hunt = Hunt.create(tmp_path / "hunt", name="Marl Hollow", timezone="Europe/London")
    toml = (hunt.path / "hunt.toml").read_text("utf-8")
    toml = toml.replace('# position = "52.30', 'position = "52.30', 1)
    (hunt.path / "hunt.toml").write_text(toml, "utf-8")
    cues = [
        f"00:{minute:02}:00.000 --> 00:{minute:02}:02.000\n{words}"
        for minute, words in (
            (0, "station one"),
            (1, "yellow away bearing two one zero"),
            (8, "yellow back"),
        )
    ]
    path = tmp_path / "memo.vtt"
    path.write_text("WEBVTT\n\n" + "\n\n".join(cues) + "\n", "utf-8")
    hunt = Hunt(hunt.path)

    hunt.transcribe([path])

    (said,) = missing_sentences(hunt.locate())
    assert said.startswith("4 notes have no day or no time, so they do not count")
    assert "“date fourteenth of July”" in said
    assert "--start" in said
    # And with one they count.
    hunt.transcribe([path], start="2026-07-14 10:05")
    assert not any("no day" in line for line in missing_sentences(hunt.locate()))
    assert hunt.locate().table.trips[0].away_s == 420
