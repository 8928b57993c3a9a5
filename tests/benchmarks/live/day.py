"""A day of listening, as fast as it goes: memory and clocks.

    python tests/benchmarks/live/day.py --hours 8 --out day.md --picture day.png

Notes by synthetic voices, one about every two minutes, over a heath's sound, go
through a whole session with the real recognizer. The sound card of this rehearsal
runs `--ppm` parts per million fast, and chunks arrive late by chance, as they do.
Drawn: memory of the process, and how far the clock of a note is from the true moment,
with the seconds of the sound card taken as they are, and with the clock that follows
the arrivals. After `--minutes` of real time the day ends early, and what is told is of
the hours up to then.
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
import soundfile

TESTS = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TESTS))

from benchmarks.live.dictation import schedule, sound_of  # noqa: E402
from treeward.audio import SAMPLE_RATE_HZ  # noqa: E402
from treeward.hunt.journal import Journal, join_pieces  # noqa: E402
from treeward.live.board import Office  # noqa: E402
from treeward.live.ears import open_ears  # noqa: E402
from treeward.live.messages import Chunk  # noqa: E402
from treeward.live.session import Session, Setting  # noqa: E402
from treeward.live.streams import RehearsalTime, WatchClock  # noqa: E402
from treeward.trips.table import TripTable  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from treeward.live.messages import HeardNotes

LATE_S = 0.02  # mean lateness of a chunk; guess


class Card:
    """A sound card whose crystal is off, and a system that is late now and then."""

    name = "rehearsed day"
    live = False  # waits for the recognizer: nothing may be left out here

    def __init__(
        self,
        sound: Iterator[NDArray[np.float32]],
        ppm: float,
        clock: RehearsalTime,
        longest_s: float,
    ) -> None:
        self.sound = sound
        self.rate = SAMPLE_RATE_HZ * (1 + ppm * 1e-6)
        self.clock = clock
        self.rng = np.random.default_rng(11)
        self.stopped = False
        self.given_s = 0  # of sound
        self._until = time.monotonic() + longest_s

    def stop(self) -> None:
        self.stopped = True

    def chunks(self) -> Iterator[Chunk]:
        samples = 0
        for second in self.sound:
            if time.monotonic() > self._until:
                return
            self.given_s += 1
            for part in np.split(second, 4):
                if self.stopped:
                    return
                samples += len(part)
                true_s = samples / self.rate
                self.clock.seconds = true_s
                late = float(self.rng.exponential(LATE_S))
                yield Chunk(samples=part, arrival_s=true_s + late)


def day_long(
    placed: dict[int, NDArray[np.float32]], length_s: float
) -> Iterator[NDArray[np.float32]]:
    """Notes over two minutes of a heath's sound, again and again."""
    heath = list(sound_of({}, 120.0, kind="buzz", snr_db=30.0))
    notes = sorted(placed.items())
    for second in range(int(length_s)):
        block = heath[second % len(heath)].copy()
        low = second * SAMPLE_RATE_HZ
        while notes and notes[0][0] + len(notes[0][1]) <= low:
            notes.pop(0)
        for first, sound in notes:
            if first >= low + len(block):
                break
            start, end = max(first, low), min(first + len(sound), low + len(block))
            block[start - low : end - low] += sound[start - first : end - first]
        yield block


def resident_mb() -> float:
    """Memory of this process now (Linux)."""
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def rehearse(
    hours: float, ppm: float, folder: Path, longest_s: float
) -> tuple[list[tuple[float, float]], list[tuple[float, float, float]], str]:
    """Memory by hour; (hour, raw error, error) of each note; and a line of facts."""
    length_s = hours * 3600
    said, placed = schedule(int(length_s / 121), 120.0)
    said = [s for s in said if s.end_s < length_s - 5]
    clock = RehearsalTime()
    zone = ZoneInfo("Europe/London")
    watch = WatchClock(zone, start=WatchClock(zone).start, elapsed=clock, wall=clock)
    sound = day_long(placed, length_s)
    memory: list[tuple[float, float]] = []
    errors: list[tuple[float, float, float]] = []
    wrong = 0

    def on_heard(heard: HeardNotes) -> None:
        nonlocal wrong
        for event in heard.events:
            start_s = event.start_s or 0.0
            # The recognizer's own uncertainty of where a word begins is part of this.
            near = min(said, key=lambda s: abs(s.start_s * scale - start_s))
            if abs(near.start_s * scale - start_s) > 1.5:
                wrong += 1
                continue
            wrong += (near.mark, near.kind) != (event.mark, event.kind.value)
            true_s = near.start_s * scale
            raw_s = start_s - session.intake._clock.offset_s
            errors.append((true_s / 3600, raw_s - true_s, start_s - true_s))

    scale = 1 / (1 + ppm * 1e-6)  # true seconds of a second of this card's sound
    ears = open_ears(folder)
    table = TripTable(visits=(), trips=(), lines=(), winds=())
    card = Card(sound, ppm, clock, longest_s)
    session = Session(
        pieces_dir=folder / "pieces",
        journal=Journal(folder / "day.jsonl"),
        source=card,
        ears=ears,
        watch=watch,
        setting=Setting(hunt_name="day", recording="day.flac", paced=False),
        office=Office(lambda _: table, lambda _: None),
        sky_on=lambda _: None,
        on_heard=on_heard,
        on_said=print,
    )
    last = -1.0

    def each_tick(_: object) -> None:
        nonlocal last
        if clock.seconds - last > 120:
            last = clock.seconds
            memory.append((clock.seconds / 3600, resident_mb()))
            print(f"{memory[-1][0]:.2f} h {memory[-1][1]:.0f} MB", flush=True)

    begun, begun_cpu = time.monotonic(), time.process_time()
    session.run(each_tick)
    took_s, cpu_s = time.monotonic() - begun, time.process_time() - begun_cpu
    joined = join_pieces(folder / "pieces", folder / "day.flac")
    file_s = soundfile.info(folder / "day.flac").duration
    assert joined is not None
    length_s, hours = card.given_s, card.given_s / 3600
    said = [one for one in said if one.end_s < length_s - 5]
    settled = [mb for hour, mb in memory if hour > min(0.5, hours / 4)]
    settled = settled or [resident_mb()]
    apart = np.array([e[2] for e in errors])
    raw = np.array([e[1] for e in errors])
    facts = (
        f"{hours:.3g} h of sound in {took_s / 60:.0f} min (processor {cpu_s:.0f} s, "
        f"{100 * cpu_s / length_s:.1f} % of a core at real speed, the making of the "
        f"sound included). {len(said)} notes said, {len(errors)} heard, {wrong} of "
        f"them wrong. Memory {min(settled):.0f} to {max(settled):.0f} MB after the "
        "first half hour. Clock of a note against the truth, sound card "
        f"{ppm:+g} ppm: median {np.median(apart):+.3f} s, "
        f"worst {np.abs(apart).max():.3f} s; with the card's seconds as they are "
        f"worst {np.abs(raw).max():.3f} s. Joined recording {file_s:.1f} s for "
        f"{length_s * scale:.1f} s of the clock."
    )
    return memory, errors, facts


def draw(
    memory: list[tuple[float, float]],
    errors: list[tuple[float, float, float]],
    path: Path,
) -> None:
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    figure, (top, low) = plt.subplots(2, 1, figsize=(8, 5), sharex=True)
    top.plot(*zip(*memory, strict=True), color="black")
    top.set_ylabel("memory (MB)")
    top.set_ylim(0, 1.1 * max(mb for _, mb in memory))
    hours, raw, followed = zip(*errors, strict=True)
    low.plot(hours, raw, ".", color="tab:orange", label="sound card's seconds")
    low.plot(hours, followed, ".", color="black", label="clock that follows arrivals")
    low.axhspan(-0.5, 0.5, color="0.92")
    low.set_ylabel("note's clock - truth (s)")
    low.set_xlabel("hours of listening")
    low.legend(loc="lower left")
    figure.tight_layout()
    figure.savefig(path, dpi=100)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=8.0)
    parser.add_argument("--ppm", type=float, default=50.0)
    parser.add_argument("--minutes", type=float, default=1e6, help="of real time")
    parser.add_argument("--out", type=Path)
    parser.add_argument("--picture", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        memory, errors, facts = rehearse(
            options.hours,
            options.ppm,
            Path(folder),
            60 * options.minutes,
        )
    print(facts)
    if options.picture:
        draw(memory, errors, options.picture)
    if options.out:
        options.out.write_text(facts + "\n", "utf-8")


if __name__ == "__main__":
    main()
