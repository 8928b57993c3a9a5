"""From the end of a phrase to the answer, and the processor's work while nobody speaks.

    python tests/benchmarks/live/latency.py --notes 60 --out latency.md

Notes by synthetic voices over wind, water and buzzing are played at their own speed
through a whole session: cleaning, cutting, recognising, journal with its flush to
disk, answer. The end of a phrase is where its sound ends, known exactly; the answer is
when its sound would start. `work` is the processor time that recognising took, which
does not depend on what else runs here; `waiting` is from the end of the phrase until
the cutter lets go of it. Run it on an idle machine: the load is printed.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

TESTS = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TESTS))

from benchmarks.live.dictation import Said, schedule, sound_of  # noqa: E402
from treeward.audio import Block  # noqa: E402
from treeward.hunt.journal import Journal  # noqa: E402
from treeward.live.board import Office  # noqa: E402
from treeward.live.ears import PAUSE_S, Ears, NoteReader, open_ears  # noqa: E402
from treeward.live.session import Session, Setting  # noqa: E402
from treeward.live.streams import BlocksSource, WatchClock  # noqa: E402
from treeward.speech.recognizer import Segmenter  # noqa: E402
from treeward.trips.table import TripTable  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from treeward.live.messages import HeardNotes

SETTINGS = (("buzz", 30.0), ("wind", 20.0), ("water", 20.0), ("mixed", 15.0))


def offline(ears: Ears, said: list[Said], sound: list[NDArray[np.float32]]) -> str:
    """Waiting for the cutter and work of the recognizer, without any pacing."""
    cutter, reader = Segmenter(pause_s=PAUSE_S), NoteReader(ears)
    waiting, work, at_s, found = [], [], 0.0, 0
    busy = 0.0
    for second in sound:
        for part in np.split(second, 10):
            at_s += 0.1
            begun = time.process_time()
            blocks = cutter.push(part)
            busy += time.process_time() - begun
            for block in blocks:
                begun = time.process_time()
                notes = reader.read(block, "bench")
                spent = time.process_time() - begun
                for note in notes:
                    match = nearest(said, note.start_s or 0.0)
                    if match is None:
                        continue
                    found += (match.mark, match.kind) == (note.mark, note.kind.value)
                    waiting.append(at_s - match.end_s)
                    work.append(spent)
    total = [a + b for a, b in zip(waiting, work, strict=True)]
    return (
        f"{found}/{len(said)} | {quantiles(waiting)} | {quantiles(work)} | "
        f"{quantiles(total)} | {100 * busy / at_s:.1f} %"
    )


def nearest(said: list[Said], start_s: float) -> Said | None:
    close = [s for s in said if abs(s.start_s - start_s) < 1.0]
    return min(close, key=lambda s: abs(s.start_s - start_s)) if close else None


def quantiles(values: list[float]) -> str:
    if not values:
        return "-"
    ordered = sorted(values)
    at95 = ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]
    return f"{ordered[len(ordered) // 2]:.2f} / {at95:.2f}"


def paced(ears: Ears, said: list[Said], sound: list[NDArray[np.float32]]) -> str:
    """The whole session at real speed."""
    answered: list[tuple[float, float]] = []
    watch = WatchClock(ZoneInfo("Europe/London"))
    table = TripTable(visits=(), trips=(), lines=(), winds=())

    def on_heard(heard: HeardNotes) -> None:
        answered.append((heard.events[0].start_s or 0.0, watch.now_s()))

    with tempfile.TemporaryDirectory() as folder:
        blocks = (Block(start_s=float(i), samples=s) for i, s in enumerate(sound))
        session = Session(
            pieces_dir=Path(folder) / "pieces",
            journal=Journal(Path(folder) / "bench.jsonl"),
            source=BlocksSource(blocks, watch.now_s, name="bench"),
            ears=ears,
            watch=watch,
            setting=Setting(hunt_name="bench", recording="bench.flac"),
            office=Office(lambda _: table, lambda _: None),
            sky_on=lambda _: None,
            on_heard=on_heard,
            on_said=print,
        )
        begun = watch.now_s()
        session.run(lambda _: None)
    latencies = []
    for start_s, answer_s in answered:
        match = nearest(said, start_s - begun)
        if match is not None:
            latencies.append(answer_s - begun - match.end_s)
    return f"{len(latencies)}/{len(said)} | {quantiles(latencies)}"


def idle_share(ears: Ears) -> float:
    """Processor time of a session while nobody speaks, as a share of one core."""
    quiet = list(sound_of({}, 30.0, kind="wind", snr_db=20.0))
    begun_cpu, begun = time.process_time(), time.monotonic()
    paced(ears, [], quiet)
    return (time.process_time() - begun_cpu) / (time.monotonic() - begun)


def table_head(names: Sequence[str]) -> list[str]:
    return [f"| {' | '.join(names)} |", "|---" * len(names) + "|"]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--notes", type=int, default=60)
    parser.add_argument("--paced-notes", type=int, default=30)
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    ears = open_ears(Path(tempfile.gettempdir()))
    said, placed = schedule(options.notes, 5.0)
    length_s = said[-1].end_s + 3.0
    head = ("background, dB below speech", "notes right", "waiting", "work",
            "waiting + work", "cutting, share of a core")  # fmt: skip
    lines = [
        f"{ears.recognizer.name}, {os.cpu_count()} cores. Seconds, median / 95 %.",
        "",
    ]
    lines += table_head(head)
    for kind, snr_db in SETTINGS:
        sound = list(sound_of(placed, length_s, kind=kind, snr_db=snr_db))
        lines.append(f"| {kind}, {snr_db:g} | {offline(ears, said, sound)} |")
        print(lines[-1], flush=True)
    few = said[: options.paced_notes]
    sound = list(sound_of(placed, few[-1].end_s + 3.0, kind="wind", snr_db=20.0))
    before = os.getloadavg()[0]
    whole = paced(ears, few, sound)
    session_head = ("load of the machine", "answered", "phrase to answer, real speed",
            "processor while nobody speaks")  # fmt: skip
    idle = 100 * idle_share(ears)
    lines += [
        "",
        *table_head(session_head),
        f"| {before:.1f} | {whole} | {idle:.0f} % |",
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    if options.out:
        options.out.write_text(text, "utf-8")


if __name__ == "__main__":
    main()
