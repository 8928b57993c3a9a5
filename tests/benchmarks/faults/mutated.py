"""Ten thousand faulty files of every kind: is each read, or refused in one line?

    PYTHONPATH=tests python -m benchmarks.faults.mutated [--kind sound] [--minutes 8]

The files are those of tests/faults (made by hypothesis, from a seed for each piece of
work), and so is what must hold of each: see tests/faults/contract.py. One in 25 also
goes through the program itself. A file that was drawn before in the same piece counts
and is not tried again. Kinds take turns, a piece each. A child does each piece, with
limits on memory and time; one that crashes is told with the file that crashed it. What
is done is kept in --state, so that a stopped run goes on; the table in RESULTS.md is
written anew after each piece. A file that breaks the contract is kept in --state too,
to be tried again with --again FILE. POSIX only (limits and peak memory are the
operating system's).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import subprocess
import sys
import tempfile
import time
import warnings
from collections import Counter
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from benchmarks.faults import record
from faults.inputs import KINDS

if TYPE_CHECKING:
    from collections.abc import Iterator

TESTS = Path(__file__).resolve().parents[2]
LONGEST_S = 5  # of processor, for one file; the clock's would tell of other programs
LONGEST_WAIT_S = 600  # by the clock, beside other programs
MOST_MEMORY_MB = 1024
TO_PROGRAM = 25  # every so many files go through the program as well


@dataclass(slots=True, kw_only=True)
class Piece:
    """What one child found in its files."""

    kind: str
    seed: int
    inputs: int = 0
    read: int = 0
    programs: int = 0
    breaches: list[str] = field(default_factory=list)
    slowest_s: float = 0.0
    peak_mb: float = 0.0
    digests: list[str] = field(default_factory=list)


class TooLongError(BaseException):
    """Took longer than LONGEST_S; no reader's except clause may swallow it."""


@contextmanager
def in_time() -> Iterator[None]:
    """Stop what takes too long."""
    import signal

    def stop(*_: object) -> None:
        raise TooLongError

    signal.signal(signal.SIGPROF, stop)
    signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    signal.alarm(LONGEST_WAIT_S)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.setitimer(signal.ITIMER_PROF, 0)


def work(kind: str, seed_number: int, count: int, state: Path) -> Piece:
    """Try `count` files; the one in hand lies in `state` should this process die."""
    import resource

    from hypothesis import HealthCheck, Phase, given, seed, settings

    from benchmarks.faults.program import check_program
    from faults import contract
    from faults.inputs import strategy

    warnings.simplefilter("error")
    contract.quiet()
    _read_packaged_book_once()
    limit = 4 * MOST_MEMORY_MB * 2**20  # of addresses, most of them never touched
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    piece = Piece(kind=kind, seed=seed_number)
    in_hand = state / f"{kind}-{seed_number}.in_hand"
    tried: dict[tuple[str, bytes], bool] = {}  # and whether it was read
    with tempfile.TemporaryDirectory() as folder:
        ground = contract.Ground(Path(folder).resolve())

        @seed(seed_number)
        @settings(
            max_examples=count,
            database=None,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            phases=[Phase.generate],
        )
        @given(strategy(kind))
        def attempt(made: tuple[str, bytes]) -> None:
            ending, data = made
            piece.inputs += 1
            to_program = piece.inputs % TO_PROGRAM == 0
            if made in tried and not to_program:
                piece.read += tried[made]
                return
            in_hand.write_bytes(ending.encode() + b"\n" + data)
            piece.digests.append(hashlib.sha256(data).hexdigest()[:16])
            began = time.process_time()
            try:
                with in_time():
                    tried[made] = contract.walk(kind, ending, data, ground)
                    piece.read += tried[made]
                    if to_program:
                        check_program(kind, ending, data, ground)
                        piece.programs += 1
            except BaseException as error:
                if isinstance(error, KeyboardInterrupt):
                    raise
                name = f"{kind}-{seed_number}-{piece.inputs}"
                (state / f"{name}.found").write_bytes(in_hand.read_bytes())
                said = f"{type(error).__name__}: {error}"[:300]
                piece.breaches.append(f"{name}: {said!r}")
            finally:
                spent_s = time.process_time() - began
                piece.slowest_s = max(piece.slowest_s, spent_s)

        attempt()
    in_hand.unlink(missing_ok=True)
    piece.peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if piece.peak_mb > MOST_MEMORY_MB:
        piece.breaches.append(f"{kind}-{seed_number}: {piece.peak_mb:.0f} MB of memory")
    return piece


def _read_packaged_book_once() -> None:
    """Keep the packaged phrase book, which no file that is tried can change."""
    from functools import cache

    from treeward.language.phrasebook import PhraseBook

    load = PhraseBook.load
    once = cache(load)
    setattr(  # noqa: B010 (a stand-in)
        PhraseBook, "load", lambda *paths: (load if len(paths) > 1 else once)(*paths)
    )


def in_child(kind: str, seed_number: int, count: int, state: Path) -> Piece:
    """Do one piece in a process of its own."""
    run = subprocess.run(
        [
            *(sys.executable, "-m", "benchmarks.faults.mutated", "--piece", str(count)),
            *("--kind", kind, "--seed", str(seed_number), "--state", str(state)),
        ],
        cwd=TESTS,
        capture_output=True,
        check=False,
        timeout=3600,
    )
    try:
        return Piece(**json.loads(run.stdout.decode().splitlines()[-1]))
    except (IndexError, ValueError, TypeError):
        in_hand = state / f"{kind}-{seed_number}.in_hand"
        kept = state / f"{kind}-{seed_number}-crash.found"
        if in_hand.exists():
            in_hand.replace(kept)
        last = run.stderr.decode(errors="replace")[-300:]
        return Piece(
            kind=kind,
            seed=seed_number,
            breaches=[f"{kept.name}: ended with {run.returncode}: {last!r}"],
        )


def table(pieces: list[Piece]) -> list[str]:
    """Lay out what was found, a line for each kind."""
    lines = [
        (
            "| kind | files | different ones | read | refused in a line | breaches | "
            "also through the program | slowest (s) | peak memory (MB) |"
        ),
        "|---" * 9 + "|",
    ]
    for kind in KINDS:
        mine = [piece for piece in pieces if piece.kind == kind]
        if not mine:
            continue
        inputs = sum(piece.inputs for piece in mine)
        read = sum(piece.read for piece in mine)
        breaches = sum(len(piece.breaches) for piece in mine)
        different = len({digest for piece in mine for digest in piece.digests})
        refused = inputs - read - breaches
        lines.append(
            f"| {kind} | {inputs} | {different} | {read} | {refused} | {breaches} | "
            f"{sum(piece.programs for piece in mine)} | "
            f"{max(piece.slowest_s for piece in mine):.2f} | "
            f"{max(piece.peak_mb for piece in mine):.0f} |"
        )
    return lines


def again(path: Path) -> None:
    """Walk one kept file, and let whatever comes out of it out."""
    from benchmarks.faults.program import check_program
    from faults import contract

    kind = path.name.partition("-")[0]
    ending, _, data = path.read_bytes().partition(b"\n")
    with tempfile.TemporaryDirectory() as folder:
        ground = contract.Ground(Path(folder).resolve())
        began = time.perf_counter()
        print(
            "read" if contract.walk(kind, ending.decode(), data, ground) else "refused"
        )
        check_program(kind, ending.decode(), data, ground)
        print(f"{time.perf_counter() - began:.2f} s")


def _in_turn(kinds: list[str], count: int, pieces: list[Piece]) -> Iterator[str]:
    """Give the kinds that lack files, one after the other, until none does."""
    while True:
        done = Counter[str]()
        for piece in pieces:
            done[piece.kind] += piece.inputs
        wanting = [kind for kind in kinds if done[kind] < count]
        if not wanting:
            return
        yield from wanting


def main() -> None:
    """Do pieces until every kind has its count, or the minutes are over."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kind", choices=list(KINDS), action="append")
    parser.add_argument("--count", type=int, default=10_000, help="files")
    parser.add_argument("--minutes", type=float, default=1e6)
    default = Path(tempfile.gettempdir()) / "treeward-faults"
    parser.add_argument("--state", type=Path, default=default)
    parser.add_argument("--again", type=Path, help="a kept file to try again")
    parser.add_argument("--piece", type=int, help="do one piece here (for children)")
    parser.add_argument(
        "--seed", type=int, default=1, help="of each kind's first piece"
    )
    parser.add_argument("--table", default="mutated", help="its mark in RESULTS.md")
    options = parser.parse_args()
    if options.again:
        again(options.again)
        return
    options.state.mkdir(parents=True, exist_ok=True)
    if options.piece:
        done = work(options.kind[0], options.seed, options.piece, options.state)
        print(json.dumps(asdict(done)))
        return
    until = time.monotonic() + 60 * options.minutes
    kept = options.state / "mutated.jsonl"
    pieces = []
    if kept.exists():
        pieces = [Piece(**json.loads(line)) for line in kept.read_text().splitlines()]
    for kind in _in_turn(options.kind or list(KINDS), options.count, pieces):
        if time.monotonic() > until:
            break
        number = options.seed + sum(piece.kind == kind for piece in pieces)
        piece = in_child(kind, number, 1000, options.state)
        pieces.append(piece)
        with kept.open("a") as file:
            file.write(json.dumps(asdict(piece)) + "\n")
        print(kind, number, *piece.breaches, sep="\n  ", flush=True)
        record.write(options.table, table(pieces))
    print("\n".join(table(pieces)))


if __name__ == "__main__":
    main()
