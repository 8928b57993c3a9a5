"""The program itself on a faulty file: exit status, what it prints, what it writes."""

from __future__ import annotations

import contextlib
import io
import os
import shutil
from typing import TYPE_CHECKING

from faults.beside import GROUND
from faults.contract import HUNT_TOML, MEMO, REVIEW, Breach, DeafEngine, Ground
from faults.kept import PLACES

if TYPE_CHECKING:
    from pathlib import Path

_COMMANDS = {
    "review": (["trips"], ["review", "--json"]),
    "hunt": (["trips"],),
    "webvtt": (["transcribe"],),
    "subrip": (["transcribe"],),
    "text": (["transcribe"],),
    "json": (["transcribe"],),
    "gpx": (["locate", "--json"],),
    "sound": (["transcribe"],),
    **{kind: (["transcribe"], ["trips"]) for kind in PLACES},
    "found": (
        ["found", "--json"],
        ["found", "--position", "52.304500, -3.613300"],
        ["found", "--share", "{hunt}/shared.geojson"],
        ["season", "{hunt}", "--list"],
    ),
    "season": (["locate", "--json"],),
    **{kind: (["locate", "--json"], ["locate"]) for kind in GROUND},
    "typed": (["transcribe"], ["review", "--json"]),
    "merged": (
        ["merge", "{hunt}", "{other}", "--into", "{hunt}-both-1"],
        ["merge", "{other}", "{hunt}", "--into", "{hunt}-both-2"],
    ),
}


def check_program(kind: str, ending: str, data: bytes, ground: Ground) -> None:
    """Run the commands that read such a file, in this process.

    Raises
    ------
    Breach
        If one ends with another status than 0 or 1, says nothing though it failed, or
        prints a traceback.
    """
    hunt_dir = ground.lay_out()
    _put(kind, ending, data, hunt_dir)
    _other(ground)
    for form in _COMMANDS[kind]:
        arguments = [
            one.format(hunt=hunt_dir, other=ground.root / "good") for one in form
        ]
        if not arguments[0].startswith(("merge", "season")):
            arguments += ["--hunt", str(hunt_dir)]
        status, out, err = run(arguments)
        if status not in {0, 1}:
            raise Breach(f"{arguments} ended with {status}")
        if "Traceback" in out + err or "a fault of Treeward's own" in err:
            raise Breach(f"{arguments} printed {err[-300:]!r}")
        if status and not (out + err).strip():
            raise Breach(f"{arguments} failed without a word")
        if any(not line.isprintable() for line in err.splitlines()):
            raise Breach(f"{arguments} sent a terminal {err!r}")
    ground.check()


def _other(ground: Ground) -> None:
    """Lay out a good hunt to merge with, and nothing where it is merged into."""
    for name in ("hunt-both-1", "hunt-both-2"):
        shutil.rmtree(ground.root / name, ignore_errors=True)
    (ground.root / "good").mkdir(exist_ok=True)
    (ground.root / "good" / "hunt.toml").write_text(HUNT_TOML, "utf-8")


def run(arguments: list[str]) -> tuple[int, str, str]:
    """Run the program's own `main` here; return status, output and errors."""
    from treeward.cli import main
    from treeward.speech import recognizer

    out, err = io.StringIO(), io.StringIO()
    opened = recognizer.open_recognizer
    recognizer.open_recognizer = lambda *_a, **_k: DeafEngine()
    status: object = 0
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main(arguments)
    except SystemExit as end:
        status = end.code or 0
    finally:
        recognizer.open_recognizer = opened
    return (
        status if isinstance(status, int) else 1,
        out.getvalue(),
        err.getvalue(),
    )


def _put(kind: str, ending: str, data: bytes, hunt_dir: Path) -> None:
    review = hunt_dir / "review.csv"
    if kind == "review":
        review.write_bytes(data)
        return
    # Without trips `locate` has no seconds of work, but reads what is there.
    placed = kind in {"gpx", "found", *GROUND}
    shown = REVIEW.splitlines(keepends=True)[:2] if placed else [REVIEW]
    review.write_text("".join(shown), "utf-8")
    if kind in PLACES:
        (hunt_dir / "recordings" / "2026-07-14_1000.vtt").write_text(MEMO, "utf-8")
        path = hunt_dir / ending
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        return
    match kind:
        case "hunt" | "merged":
            (hunt_dir / "hunt.toml").write_bytes(data)
        case "gpx":
            (hunt_dir / f"walk{ending}").write_bytes(data)
        case "found" | "season":
            (hunt_dir / ending).write_bytes(data)
            if kind == "season":
                told = f'learned_from = "{ending}"\n{HUNT_TOML}'
                (hunt_dir / "hunt.toml").write_text(told, "utf-8")
        case "mbtiles" | "geojson" | "gpx ground":
            (hunt_dir / f"ground{ending}").write_bytes(data)
            told = f'{HUNT_TOML}[map]\nground = ["ground{ending}"]\n'
            (hunt_dir / "hunt.toml").write_text(told, "utf-8")
        case _:
            path = hunt_dir / "recordings" / f"2026-07-14_1000{ending}"
            path.write_bytes(data)
            os.utime(path, (1_784_000_000, 1_784_000_000))
