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
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

from benchmarks.faults import record
from faults import kept, seeds
from faults.inputs import KINDS as ALL_KINDS
from faults.sounds import SOUND_SEEDS

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.language.phrasebook import PhraseBook

# Of what Treeward keeps itself, what has a reader of some size; `mutated` tries all.
OWN = ("last", "machine", "facts", "heard", "journal", "phrases")
KINDS = {n: k for n, k in ALL_KINDS.items() if n not in kept.PLACES or n in OWN}
TEXTS, TOKENS = seeds.TEXTS | kept.TEXTS, seeds.TOKENS | kept.TOKENS
TESTS = Path(__file__).resolve().parents[2]
LONGEST_S = 5
MOST_MEMORY_MB = 1024
INSTRUMENTED = ["treeward", "gpxpy", "webvtt", "srt", "tomllib"]

READERS = (
    "treeward.review.table", "treeward.review.file",
    "treeward.review.file", "treeward.review.row",
    "treeward.review.row", "treeward.hunt_file", "treeward.measures",
    "treeward.speech.transcripts", "treeward.speech.transcripts",
    "treeward.hunt.tracks", "treeward.audio.reader", "treeward.audio.reader",
    "treeward.audio", "gpxpy", "webvtt", "srt",
    "treeward.review.store", "treeward.review.merge", "treeward.hunt.recordings",
    "treeward.hunt.heard", "treeward.hunt.journal", "treeward.hunt.recovery",
    "treeward.language.phrasebook", "treeward.language.phrasebook_file",
    "treeward.notes.parser",
)  # fmt: skip


def reader_of(kind: str) -> Callable[[Path], object]:
    """Return what reads a file of this kind; imported here to be instrumented."""
    from faults import contract
    from treeward.files import phrasebook_path
    from treeward.hunt.recovery import for_review, read_session
    from treeward.hunt.tracks import read_gpx
    from treeward.hunt_file import read_hunt_file
    from treeward.language.phrasebook import PhraseBook
    from treeward.review.file import read_review
    from treeward.speech.transcripts import read_transcript

    readers: dict[str, Callable[[Path], object]] = {
        "review": lambda path: read_review(path, contract.ZONE),
        "hunt": read_hunt_file,
        "gpx": read_gpx,
        "sound": contract.check_samples,
        "last": _read_copies,
        "machine": _read_copies,
        "facts": _read_facts,
        "heard": _read_heard,
        "journal": lambda path: for_review(read_session(path)),
        "phrases": lambda path: PhraseBook.load(phrasebook_path(), path),
    }
    return readers.get(kind, read_transcript)


def _read_copies(path: Path) -> object:
    """Read the machine's copies of a review, and what has gone since."""
    from faults import contract
    from treeward.review.store import ReviewStore

    store = ReviewStore(path.parent / "review.csv", path.parent, contract.ZONE)
    return store.machine_rows(), store.gone([])


def _read_facts(path: Path) -> object:
    """Read the facts of recordings, and keep them anew."""
    from treeward.hunt.recordings import as_first_seen, days_told, keep_facts
    from treeward.notes.clock_evidence import RecordingFacts

    folder, size_bytes = path.parent, 1644
    seen = as_first_seen(folder, RecordingFacts(name=kept.SOUND), size_bytes)
    keep_facts(folder, [(seen, size_bytes)], [])
    return days_told(folder)


def _read_heard(path: Path) -> object:
    """Read a hearing, and the notes in it."""
    from treeward.hunt.heard import HeardFile
    from treeward.language.phrasebook import PhraseBook
    from treeward.notes.parser import parse_notes

    if not _BOOK:
        _BOOK.append(PhraseBook.load())
    heard = HeardFile(path).resume()
    return parse_notes(heard.utterances, _BOOK[0], recording=kept.SOUND)


_BOOK: list[PhraseBook] = []


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
    ending = KINDS[kind].endings[0]
    path = folder / (PurePath(ending).name if kind in OWN else f"file{ending}")
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
    texts = [text.encode() for text in TEXTS.get(kind, ())]
    for number, data in enumerate(texts or SOUND_SEEDS()):
        (corpus / f"good-{number}").write_bytes(data[:4096])
    tokens = [token.encode() for token in TOKENS.get(kind, ())]
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
