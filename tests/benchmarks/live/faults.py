"""Kill the listener at random moments, and fill its disk: what is lost?

    python tests/benchmarks/live/faults.py --kills 200 --out faults.md

Sound is fed to `treeward listen --input -` at its own speed, with a note about every
second. At a random moment the process gets SIGKILL (every fifth time first Ctrl-C, so
that it dies while closing). Then an ordinary start recovers, and two things are
counted: notes that were answered but are not in review.csv, and seconds of sound that
were fed but are not in the recording. Ears are the beeps of tests/live/stand_in.py:
what is tested comes before and after the recognizer.

`--load` has two programs compute and one write and flush to the same disk all the
while; `--folder` says where (a tmpfs, another disk).

With root rights a small loopback file system is filled too (Linux).
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import os
import platform
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING

import numpy as np
import soundfile

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

TESTS = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TESTS))

from live import stand_in  # noqa: E402
from treeward.hunt.hunt import Hunt  # noqa: E402
from treeward.hunt.recovery import recover  # noqa: E402
from treeward.live.opening import merge_into_review  # noqa: E402

HUNT_TOML = """
[hunt]
name = "Fault Moor"
timezone = "Europe/London"
[[station]]
id = "1"
position = "52.301200, -3.610400"
"""
RATE = 32_000  # bytes a second of 16-bit mono at 16 kHz
CHUNK = 3200
MARKS = ["red", "yellow", "blue", "white"]


@dataclass(frozen=True)
class Outcome:
    """What one run lost."""

    answered: int
    lost_notes: int
    fed_s: float
    lost_s: float
    sound_matches: bool


def prepared(seconds: float) -> tuple[np.ndarray, bytes]:
    """Sound with a note about every second."""
    notes = []
    for index, second in enumerate(np.arange(0.4, seconds - 1.0, 1.1)):
        kind = "away" if (index // 4) % 2 == 0 else "back"
        notes.append((float(second), MARKS[index % 4], kind))
    sound = stand_in.spoken_at(notes, seconds)
    pcm = np.rint(sound * 32767).astype("<i2")
    return pcm, pcm.tobytes()


class Feeder:
    """Feeds a pipe at a speed, and knows how much it has fed."""

    def __init__(self, pipe: IO[bytes], data: bytes, speed: float = 1.0) -> None:
        self.fed = 0
        self._pipe = pipe
        self._data = data
        self._speed = speed
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        begun = time.monotonic()
        try:
            while self.fed < len(self._data):
                due = begun + (self.fed + CHUNK) / RATE / self._speed
                time.sleep(max(0.0, due - time.monotonic()))
                self._pipe.write(self._data[self.fed : self.fed + CHUNK])
                self._pipe.flush()
                self.fed += CHUNK
        except (BrokenPipeError, ValueError, OSError):
            return


def new_hunt(folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "hunt.toml").write_text(HUNT_TOML, "utf-8")
    return folder


def start(hunt_dir: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, str(TESTS / "live" / "stand_in.py"), "--hunt", str(hunt_dir),
         "--plain", "--no-sounds", "--input", "-"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip


def until_listening(process: subprocess.Popen[bytes]) -> None:
    assert process.stdout is not None
    for line in process.stdout:
        if line.startswith(b"Listening"):
            return
    msg = "the listener did not start"
    raise RuntimeError(msg)


def notes_in(output: bytes) -> list[tuple[str, str, str]]:
    """(clock, mark, kind) of every whole line of the answered notes."""
    whole = output[: output.rfind(b"\n") + 1].decode()
    found = []
    for line in whole.splitlines():
        parts = line.split()
        if len(parts) == 3 and len(parts[0]) == 8 and parts[0][2] == ":":
            found.append((parts[0], parts[1], parts[2]))
    return found


def in_review(hunt_dir: Path) -> list[tuple[str, str, str]]:
    path = hunt_dir / "review.csv"
    if not path.exists():
        return []
    with path.open(encoding="utf-8-sig", newline="") as file:
        return [
            (row["clock"][11:19], row["mark"], row["event"])
            for row in csv.DictReader(file)
        ]


def kill_once(root: Path, number: int, rng: random.Random, data: bytes) -> Outcome:
    hunt_dir = new_hunt(root / f"kill{number:03}")
    process = start(hunt_dir)
    assert process.stdin is not None
    assert process.stdout is not None
    until_listening(process)
    feeder = Feeder(process.stdin, data)
    time.sleep(rng.uniform(0.0, 7.0))
    if number % 5 == 0:
        process.send_signal(signal.SIGINT)
        fed = feeder.fed
        time.sleep(rng.uniform(0.0, 0.6))
        process.kill()
    else:
        process.kill()
        fed = feeder.fed
    output = process.stdout.read()
    process.wait()
    with contextlib.suppress(BrokenPipeError):
        process.stdin.close()
    process.stdout.close()
    recover(hunt_dir, merge_into_review(Hunt(hunt_dir)))
    answered = notes_in(output)
    kept = in_review(hunt_dir)
    lost = [note for note in answered if not take(kept, note)]
    recordings = list((hunt_dir / "recordings").glob("live-*.flac"))
    sound = np.zeros(0, np.int16)
    if recordings:
        sound, _ = soundfile.read(recordings[0], dtype="int16")
    first = int(np.argmax(sound != 0)) if sound.any() else 0
    sound = sound[first:]
    wanted = np.frombuffer(data, "<i2")
    start_at = int(np.argmax(wanted != 0))
    wanted = wanted[start_at:]
    length = min(len(sound), len(wanted))
    matches = bool(
        np.abs(sound[:length].astype(int) - wanted[:length]).max(initial=0) <= 1
    )
    fed_s = fed / RATE
    lost_s = max(0.0, fed_s - (len(sound) + start_at) / 16_000)
    if matches and not lost:
        shutil.rmtree(hunt_dir)
    return Outcome(len(answered), len(lost), fed_s, lost_s, matches)


_BUSY = "while True: sum(n * n for n in range(10**5))"
_WRITES = """
import os, sys
while True:
    with open(sys.argv[1], "wb") as file:
        for _ in range(64):
            file.write(os.urandom(1 << 20))
            file.flush()
            os.fsync(file.fileno())
"""


@contextlib.contextmanager
def load_on(folder: Path) -> Iterator[None]:
    """Keep two programs computing and one writing to the disk."""
    started = [
        subprocess.Popen([sys.executable, "-c", text, str(folder / "load.bin")])
        for text in (_BUSY, _BUSY, _WRITES)
    ]
    try:
        yield
    finally:
        for process in started:
            process.kill()
            process.wait()


def take(kept: list[tuple[str, str, str]], note: tuple[str, str, str]) -> bool:
    if note in kept:
        kept.remove(note)
        return True
    return False


@dataclass(frozen=True)
class FullDisk:
    """What a full disk lost."""

    answered: int
    told_unsaved: int
    lost_notes: int
    sound_kept_s: float
    fed_s: float


def fill_disk(root: Path, data: bytes, *, kill: bool) -> FullDisk | str:
    """Run on a 4 MB ext4 loopback; fill the rest meanwhile; make room again."""
    image, mount = root / "disk.img", root / "disk"
    mount.mkdir(exist_ok=True)
    try:
        with image.open("wb") as file:
            file.truncate(4 << 20)
        subprocess.run(["mkfs.ext4", "-q", "-F", image], check=True)
        subprocess.run(["mount", "-o", "loop", image, mount], check=True)
    except (OSError, subprocess.CalledProcessError) as error:
        return f"not run: no loopback file system can be mounted here ({error})"
    try:
        return _on_full_disk(mount, data, kill=kill)
    finally:
        subprocess.run(["umount", mount], check=False)
        image.unlink()


def _on_full_disk(mount: Path, data: bytes, *, kill: bool) -> FullDisk:
    hunt_dir = new_hunt(mount / "hunt")
    process = start(hunt_dir)
    assert process.stdin is not None
    assert process.stdout is not None
    lines: list[bytes] = []
    until_listening(process)
    reader = threading.Thread(target=lambda: lines.extend(process.stdout or []))
    reader.start()
    feeder = Feeder(process.stdin, data, speed=4.0)
    filler = mount / "filler.bin"
    time.sleep(12.0)
    with filler.open("wb", buffering=0) as file:  # every last byte, all the time
        until = time.monotonic() + 12.0
        while time.monotonic() < until:
            try:
                file.write(os.urandom(4096))
            except OSError:
                time.sleep(0.05)
    if kill:
        process.kill()
    else:
        filler.unlink()
        time.sleep(8.0)
        process.send_signal(signal.SIGINT)
    process.wait(timeout=300)
    reader.join()
    with contextlib.suppress(BrokenPipeError):
        process.stdin.close()
    process.stdout.close()
    filler.unlink(missing_ok=True)
    recover(hunt_dir, merge_into_review(Hunt(hunt_dir)))
    text = [line.decode().rstrip() for line in lines]
    confirmed, unsaved = [], 0
    for index, line in enumerate(text):
        note = notes_in(line.encode() + b"\n")
        if not note:
            continue
        if index + 1 < len(text) and "NOT ON DISK" in text[index + 1]:
            unsaved += 1
            if kill:
                continue  # the person was told that it is not safe
        confirmed += note
    kept = in_review(hunt_dir)
    lost = [note for note in confirmed if not take(kept, note)]
    # The joined recording does not fit beside the pieces; those are kept then.
    recordings = [p for end in ("flac", "wav") for p in hunt_dir.rglob(f"*.{end}")]
    kept_s = sum(soundfile.info(path).duration for path in recordings)
    return FullDisk(len(confirmed), unsaved, len(lost), kept_s, feeder.fed / RATE)


def table_head(names: Sequence[str]) -> list[str]:
    return [f"| {' | '.join(names)} |", "|---" * len(names) + "|"]


def kill_table(outcomes: Sequence[Outcome]) -> list[str]:
    lost = sorted(o.lost_s for o in outcomes)
    machine = f"{platform.system()} {platform.release()}, {os.cpu_count()} cores"
    columns = {
        "kills": str(len(outcomes)),
        "notes answered": str(sum(o.answered for o in outcomes)),
        "answered but lost": str(sum(o.lost_notes for o in outcomes)),
        "sound fed (s)": f"{sum(o.fed_s for o in outcomes):.0f}",
        "most lost in one kill (s)": f"{lost[-1]:.2f}",
        "median lost (s)": f"{lost[len(lost) // 2]:.2f}",
        "kills that lost over 1 s": str(sum(s > 1.0 for s in lost)),
        "recordings unlike what was fed": str(
            sum(not o.sound_matches for o in outcomes)
        ),
    }
    return [
        f"{machine}, load {os.getloadavg()[0]:.1f} at the end.",
        "",
        *table_head(list(columns)),
        f"| {' | '.join(columns.values())} |",
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--folder", type=Path, help="where the hunts are made")
    parser.add_argument("--load", action="store_true")
    parser.add_argument("--no-disk", action="store_true", help="fill no disk")
    options = parser.parse_args()
    rng = random.Random(options.seed)  # noqa: S311 (moments, no secrets)
    _, data = prepared(12.0)
    lines: list[str] = []
    with (
        tempfile.TemporaryDirectory(dir=options.folder) as folder,
        load_on(Path(folder)) if options.load else contextlib.nullcontext(),
    ):
        root = Path(folder)
        outcomes = []
        for number in range(options.kills):
            outcome = kill_once(root, number, rng, data)
            outcomes.append(outcome)
            print(number, outcome, flush=True)
        if outcomes:
            lines += kill_table(outcomes)
        _, long = prepared(1.0 if options.no_disk else 400.0)
        head = ("full disk (4 MB ext4)", "notes confirmed", 'told "not on disk"',
                "confirmed but lost", "sound kept / fed (s)")  # fmt: skip
        lines += [] if options.no_disk else ["", *table_head(head)]
        for kill in () if options.no_disk else (False, True):
            name = "then killed" if kill else "then room made again"
            full = fill_disk(root, long, kill=kill)
            print(name, full, flush=True)
            if isinstance(full, str):
                lines.append(f"| {name} | {full} | | | |")
                continue
            lines.append(
                f"| {name} | {full.answered} | {full.told_unsaved} | "
                f"{full.lost_notes} | {full.sound_kept_s:.0f} / {full.fed_s:.0f} |"
            )
    text = "\n".join(lines) + "\n"
    print(text)
    if options.out:
        options.out.write_text(text, "utf-8")


if __name__ == "__main__":
    main()
