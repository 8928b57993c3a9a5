"""Readers fuzzed by coverage: inputs bent towards code that was not reached yet.

    PYTHONPATH=tests python -m benchmarks.faults.guided [KIND ...] [--seconds 60]

Wants `pip install '.[fuzz]'` (atheris, which has wheels for Linux). It starts from the
good files of tests/faults and, with --corpus DIR, from what earlier runs kept there.
Nothing but a TreewardError in one line may come out of a reader; whatever else does is
printed, kept in DIR/findings and counted in RESULTS.md.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import re
import subprocess
import sys
import tempfile
import traceback
from pathlib import Path
from typing import TYPE_CHECKING

from benchmarks.faults import record
from faults import seeds
from faults.inputs import KINDS as ALL_KINDS
from faults.kept import PLACES
from faults.sounds import SOUND_SEEDS

if TYPE_CHECKING:
    from collections.abc import Callable

# What Treeward keeps itself has no reader of its own; `mutated` tries it.
KINDS = {name: kind for name, kind in ALL_KINDS.items() if name not in PLACES}
TESTS = Path(__file__).resolve().parents[2]
LONGEST_S = 5
MOST_MEMORY_MB = 1024
INSTRUMENTED = ["treeward", "gpxpy", "webvtt", "srt", "tomllib"]

READERS = (
    "treeward.review.table", "treeward.review.reading",
    "treeward.review.file", "treeward.review.clock",
    "treeward.review.row", "treeward.hunt_file", "treeward.positions",
    "treeward.speech.transcripts", "treeward.speech.json_transcripts",
    "treeward.hunt.tracks", "treeward.audio.reader", "treeward.audio.containers",
    "treeward.audio.resample", "treeward.audio.reader", "gpxpy", "webvtt", "srt",
)  # fmt: skip


def reader_of(kind: str) -> Callable[[Path], object]:
    """Return what reads a file of this kind; imported here to be instrumented."""
    from faults import contract

    match kind:
        case "review":
            from treeward.review.file import read_review

            return lambda path: read_review(path, contract.ZONE)
        case "hunt":
            from treeward.hunt_file import read_hunt_file

            return read_hunt_file
        case "gpx":
            from treeward.hunt.tracks import read_gpx

            return read_gpx
        case "sound":
            return contract.check_samples
        case _:
            from treeward.speech.transcripts import read_transcript

            return read_transcript


def fuzz(kind: str, seconds: int, corpus: Path, findings: Path) -> None:
    """Fuzz one kind in this process, which atheris ends."""
    import atheris

    # What was imported with the inputs' makers would stay without its counters.
    for name in list(sys.modules):
        if name.partition(".")[0] in (*INSTRUMENTED, "faults"):
            del sys.modules[name]
    with atheris.instrument_imports(include=INSTRUMENTED):
        for module in READERS:  # also those that are imported when they are wanted
            importlib.import_module(module)
        from faults import contract
        from treeward.errors import TreewardError

        read = reader_of(kind)
    contract.quiet()
    folder = Path(tempfile.mkdtemp(prefix="treeward-guided-"))
    path = folder / f"file{KINDS[kind].endings[0]}"
    seen: set[tuple[str, int]] = set()

    def attempt(data: bytes) -> None:
        path.write_bytes(data)
        try:
            try:
                read(path)
            except TreewardError as error:
                contract.check_fault(error, path.name)
        except Exception as error:  # noqa: BLE001  (whatever comes is a finding)
            frame = traceback.extract_tb(error.__traceback__)[-1]
            if (frame.filename, frame.lineno or 0) in seen:
                return
            seen.add((frame.filename, frame.lineno or 0))
            name = f"{kind}-{len(list(findings.iterdir()))}.found"
            kept = f"{path.suffix}\n".encode() + data
            (findings / name).write_bytes(kept)
            said = {"found": name, "what": f"{type(error).__name__}: {error}"[:200]}
            print(json.dumps(said), flush=True)

    words = corpus.parent / f"{kind}.dict"
    atheris.Setup(
        [
            *(sys.argv[0], str(corpus), f"-max_total_time={seconds}"),
            *(f"-timeout={LONGEST_S}", f"-rss_limit_mb={MOST_MEMORY_MB}"),
            *("-max_len=4096", f"-dict={words}", f"-artifact_prefix={findings}/"),
        ],
        attempt,
    )
    atheris.Fuzz()


def prepare(kind: str, folder: Path) -> Path:
    """Lay out good files to start from, and a dictionary of this kind's parts."""
    corpus = folder / kind
    corpus.mkdir(parents=True, exist_ok=True)
    texts = [text.encode() for text in seeds.TEXTS.get(kind, ())]
    for number, data in enumerate(texts or SOUND_SEEDS()):
        (corpus / f"good-{number}").write_bytes(data[:4096])
    tokens = [token.encode() for token in seeds.TOKENS.get(kind, ())]
    tokens = [t for t in tokens if len(t) < 60] or [b"RIFF", b"data", b"fmt "]
    shown = ("".join(f"\\x{byte:02x}" for byte in token) for token in tokens)
    (folder / f"{kind}.dict").write_text("".join(f'"{text}"\n' for text in shown))
    return corpus


def in_child(kind: str, seconds: int, folder: Path) -> str:
    """Fuzz one kind in a process of its own; return its line of the table."""
    prepare(kind, folder)
    findings = folder / "findings"
    findings.mkdir(exist_ok=True)
    run = subprocess.run(
        [
            *(sys.executable, "-m", "benchmarks.faults.guided", kind),
            *("--seconds", str(seconds), "--corpus", str(folder), "--here"),
        ],
        cwd=TESTS,
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    found = [line for line in run.stdout.splitlines() if line.startswith('{"found"')]
    print(kind, *found, sep="\n  ")
    stats = re.findall(r"#(\d+)\s.*cov: (\d+) ft: \d+ corp: (\d+)", run.stderr)
    peak = re.findall(r"rss: (\d+)Mb", run.stderr)
    if run.returncode or not stats:
        print(run.stderr[-1500:])
    executed, reached, kept = stats[-1] if stats else ("0", "0", "0")
    first = stats[0][1] if stats else "0"
    ended = "" if run.returncode == 0 else f", ended with {run.returncode}"
    most = max((int(one) for one in peak), default=0)
    return (
        f"| {kind} | {seconds} | {executed} | {first} -> {reached} | {kept} | "
        f"{len(found)}{ended} | {most} |"
    )


def main() -> None:
    """Fuzz kind after kind and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kinds", nargs="*", metavar="KIND")
    parser.add_argument("--seconds", type=int, default=60, help="for each kind")
    default = Path(tempfile.gettempdir()) / "treeward-guided"
    parser.add_argument("--corpus", type=Path, default=default, metavar="DIR")
    parser.add_argument("--here", action="store_true", help="in this process")
    options = parser.parse_args()
    if options.here:
        (kind,) = options.kinds
        folder = options.corpus
        fuzz(kind, options.seconds, folder / kind, folder / "findings")
        return
    options.corpus.mkdir(parents=True, exist_ok=True)
    kept = options.corpus / "table.json"
    lines: dict[str, str] = json.loads(kept.read_text()) if kept.exists() else {}
    for kind in options.kinds or KINDS:
        lines[kind] = in_child(kind, options.seconds, options.corpus)
        kept.write_text(json.dumps(lines))
        record.write(
            "guided",
            [
                (
                    "| kind | seconds | inputs tried | branches, first -> last | "
                    "inputs kept | findings | peak memory (MB) |"
                ),
                "|---" * 7 + "|",
                *(lines[one] for one in KINDS if one in lines),
            ],
        )


if __name__ == "__main__":
    main()
