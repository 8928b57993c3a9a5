"""LibreOffice opens review.csv and saves it; every cell of the person's comes back.

The table goes through `soffice --headless`, in the language of three countries, with
commas and with semicolons: LibreOffice reads the cells as if they were typed there and
writes them as it shows them. Skipped where there is no LibreOffice (on Debian the
package libreoffice-calc).
"""

from __future__ import annotations

import csv
import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

from treeward import Hunt
from treeward.review.file import cells_of

if TYPE_CHECKING:
    from pathlib import Path

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")
pytestmark = [
    pytest.mark.model,
    pytest.mark.skipif(SOFFICE is None, reason="LibreOffice (soffice) is missing"),
]
# Language and its number in LibreOffice's filter options ("CSV Filter Parameters" in
# its help); decimal point, decimal comma, and a two-figure year.
LANGUAGES = {"en-US": 1033, "de-DE": 1031, "fr-FR": 1036}
TRANSCRIPT = """\
[0:02] it's ten oh one in the morning
[0:10] yellow away
[0:12] bearing two ten
[4:40] yellow back
[6:00] yellow away
[10:20] yellow back
"""
SETTINGS = """\
<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Setup/L10N">
<prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>{language}</value></prop>
</item>
</oor:items>
"""
# What a person writes into rows that are there: by row, then column.
CHANGES = {
    1: {"mark": "blue-white", "remark": 'seen, by me; "yes"'},
    2: {"value": "230", "decision": "keep", "Shade": "half; or more"},
    3: {"decision": "drop", "remark": "Müller's gate - über Nacht"},
    4: {"event": "mark", "Shade": "x", "right of it": "typed, right of the last"},
    5: {"remark": "two\nlines", "second Shade": "12,5 °C"},
}
# Rows typed in, as people do there; the day is the one of the recording.
TYPED = [
    {"clock": "2026-07-14 10:30:00", "event": "wind", "value": "calm", "remark": "own"},
    {"clock": "2026-07-14 10:31", "event": "bearing", "mark": "red", "value": "075"},
    # No seconds: in French LibreOffice shows none of such a date, and saves none.
    {"clock": "14/07/2026 10:32", "event": "back", "mark": "white", "Shade": "all"},
    {"clock": "2026-07-14 10:40:00", "event": "time", "value": "10:40"},
    {"clock": "2026-07-14 10:41:00", "event": "duration", "value": "away 330",
     "mark": "red"},
    {"clock": "2026-07-14 10:42:00", "event": "duration", "value": "6:45",
     "mark": "red"},
]  # fmt: skip
OWN = ("Shade", "right of it", "second Shade")  # headed "Shade", "" and "Shade"


@pytest.fixture(scope="module")
def programs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Give LibreOffice a user's folder for each language."""
    folders = {}
    for language in LANGUAGES:
        folder = tmp_path_factory.mktemp(f"office-{language}")
        (folder / "user").mkdir()
        (folder / "user" / "registrymodifications.xcu").write_text(
            SETTINGS.format(language=language), "utf-8"
        )
        folders[language] = folder
    return folders


def saved(path: Path, program: Path, language: str, delimiter: str) -> None:
    """Open a table as LibreOffice does when it is told what stands in it, and save."""
    first = path.read_text("utf-8-sig").partition("\n")[0]
    found = ";" if first.count(";") > first.count(",") else ","
    number = LANGUAGES[language]
    # Delimiter, quotation mark, UTF-8, first line, columns, language, not all cells
    # quoted, special numbers recognised, or saved as they are shown.
    reading = f"CSV:{ord(found)},34,76,1,,{number},false,true"
    writing = f"{ord(delimiter)},34,76,1,,{number},false,true"
    out = path.parent / "saved"
    done = subprocess.run(
        [
            str(SOFFICE),
            f"-env:UserInstallation={program.as_uri()}",
            "--headless",
            f"--infilter={reading}",
            "--convert-to",
            f"csv:Text - txt - csv (StarCalc):{writing}",
            "--outdir",
            str(out),
            str(path),
        ],
        capture_output=True,
        timeout=180,
        check=False,
    )
    assert (out / path.name).is_file(), done.stderr
    (out / path.name).replace(path)
    out.rmdir()


def edit(path: Path) -> None:
    """Change and add cells, columns and rows, as if they were typed."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        heading, *rows = list(csv.reader(file))
    place = {name: index for index, name in enumerate([*heading, *OWN])}
    rows = [[*row, *[""] * len(OWN)] for row in rows]
    for index, cells in CHANGES.items():
        for name, cell in cells.items():
            rows[index][place[name]] = cell
    for cells in TYPED:
        rows.append([cells.get(name, "") for name in place])
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([*heading, "Shade", "", "Shade"])
        writer.writerows(rows)


@pytest.mark.slow
@pytest.mark.parametrize("delimiter", [",", ";"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_every_cell_of_the_persons_comes_back(
    language: str, delimiter: str, programs: dict[str, Path], tmp_path: Path
) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    (hunt.recordings_dir / "2026-07-14_1000.txt").write_text(TRANSCRIPT, "utf-8")
    hunt.transcribe()
    edit(hunt.review_path)
    plain = Hunt(hunt.path)
    before = {row.name: cells_of(row) for row in plain.rows()}
    events = {row.name: row.event for row in plain.rows()}
    assert len(before) == 6 + len(TYPED)

    for turn in range(3):
        saved(hunt.review_path, programs[language], language, delimiter)
        now = {row.name: cells_of(row) for row in hunt.rows()}
        for name, cells in before.items():
            assert now[name] == cells | {"value": now[name]["value"]}, turn
            # "10:40" may be shown as "10:40:00 AM", "075" as "75": the same value.
            assert same_value(cells["value"], now[name]["value"]), (name, turn)
        assert set(now) == set(before)
        assert hunt.review.gone_line() == ""
        if turn:
            done = hunt.transcribe()  # brings the file into our own shape again
            assert done.rows == len(before)
            assert done.kept_changes == 5
    headings = hunt.review_path.read_text("utf-8-sig").partition("\n")[0]
    assert headings.endswith("remark,Shade,,Shade")
    assert {n: e.clock for n, e in events.items()} == {
        row.name: row.event.clock for row in hunt.rows()
    }
    assert hunt.trips().lines[0].bearing_read_deg in {75.0, 210.0, 230.0}


def same_value(one: str, other: str) -> bool:
    from treeward.language.kinds import parse_spoken_time

    if one.isdigit() and other.isdigit():
        return int(one) == int(other)
    if ":" in one:
        a, b = parse_spoken_time(one), parse_spoken_time(other)
        assert a is not None
        assert b is not None
        return a[:2] == b[:2] and (a[2] or 0) == (b[2] or 0)
    return one == other
