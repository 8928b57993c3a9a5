"""Commands killed at random moments: is every file the old or the new one?

    PYTHONPATH=tests python -m benchmarks.faults.kills [SCENARIO ...] [--times 200]

Each time a hunt is laid out, a command is started in a process of its own and ended:
two times in five by SIGKILL at a random moment, two in five by SIGKILL just before a
random one of the changes it makes to files, and one in five by Ctrl-C at a random
moment. Then every file at stake must be byte for byte what it was before or what the
whole command makes of it; the same command must work again and come to the same end;
and what was left half made must be gone once it is an hour old. To save time the
children are forked with everything imported, what is spoken comes from transcripts or
from a stand-in engine, and the survey's answer is worked out once. POSIX only.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path

from benchmarks.faults import record
from benchmarks.faults.kill_scenarios import SCENARIOS, Scenario, preload
from treeward.files import LEFT_AFTER_S, PREFIX, clear_leftovers
from treeward.hunt.hunt import Hunt

_CHANGES = {
    "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "os.truncate",
}  # fmt: skip
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT
Contents = dict[str, bytes]


@dataclass(slots=True)
class Tally:
    """What became of one scenario."""

    runs: int = 0
    by: dict[str, int] = field(default_factory=dict)
    old: int = 0
    new: int = 0
    between: int = 0  # several files, some of them old still and some new
    left: int = 0  # kills that left something half made
    breaches: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Ended:
    """How a child ended, what it said, and what changes it made to files."""

    status: int
    said: str
    seconds: float
    changes: int


class Changes:
    """Counts a process's changes to files below a folder; kills it before one."""

    def __init__(self, folder: Path, kill_before: int | None) -> None:
        self.made = 0
        self._folder = str(folder)
        self._kill_before = kill_before
        sys.addaudithook(self._hook)

    def _hook(self, event: str, arguments: tuple[object, ...]) -> None:
        if event == "open":
            flags = arguments[2]
            if not isinstance(flags, int) or not flags & _WRITING:
                return
        elif event not in _CHANGES:
            return
        if self._folder not in os.path.abspath(str(arguments[0])):  # noqa: PTH100
            return
        self.made += 1
        if self.made == self._kill_before:
            os.kill(os.getpid(), signal.SIGKILL)


def run_child(
    scenario: Scenario,
    ground: Path,
    *,
    after_s: float | None = None,
    by: signal.Signals = signal.SIGKILL,
    before_change: int | None = None,
) -> Ended:
    """Fork a child that does the command in ground/home; end it as asked."""
    said, count = ground / "said", ground / "count"
    count.unlink(missing_ok=True)
    began = time.monotonic()
    # Ctrl-C waits until what the child says goes to the file that is looked into.
    usual = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    child = os.fork()
    if child == 0:
        status = 70
        try:
            out = os.open(said, os.O_CREAT | os.O_WRONLY | os.O_TRUNC)
            os.dup2(out, 1)
            os.dup2(out, 2)
            signal.pthread_sigmask(signal.SIG_SETMASK, usual)
            os.chdir(ground / "home")
            changes = Changes(ground / "home", before_change)
            status = scenario.run()
            sys.stdout.flush()
            sys.stderr.flush()
            count.write_text(str(changes.made))
        except KeyboardInterrupt:  # before the program had begun, or after it
            os.write(2, b"Stopped beside the program")
            status = 130
        finally:
            os._exit(status)
    signal.pthread_sigmask(signal.SIG_SETMASK, usual)
    if after_s is not None:
        time.sleep(after_s)
        os.kill(child, by)
    _, status = os.waitpid(child, 0)
    return Ended(
        status=os.waitstatus_to_exitcode(status),
        said=said.read_text("utf-8", "replace") if said.exists() else "",
        seconds=time.monotonic() - began,
        changes=int(count.read_text()) if count.exists() else 0,
    )


def contents(scenario: Scenario, home: Path) -> Contents:
    """Return every file at stake, by its name below home."""
    return {
        path.relative_to(home).as_posix(): path.read_bytes()
        for path in sorted(home.rglob("*"))
        if path.is_file() and scenario.at_stake(path.relative_to(home))
    }


def leftovers(home: Path) -> list[Path]:
    """Return what was being written beside."""
    return sorted(home.rglob(f"{PREFIX}*"))


class Round:
    """One scenario, prepared once, and then killed as often as asked."""

    def __init__(self, scenario: Scenario, ground: Path) -> None:
        self._scenario = scenario
        self._ground = ground
        self._home = ground / "home"
        self._template = ground / "template"
        self._template.mkdir(parents=True)
        scenario.prepare(self._template)
        self._lay_out()
        self._old = contents(scenario, self._home)
        ended = run_child(scenario, ground)
        if ended.status not in scenario.good:
            sys.exit(f"{scenario.name} does not work: {ended}")
        self._new = contents(scenario, self._home)
        self._lay_out()
        ended = run_child(scenario, ground)
        if contents(scenario, self._home) != self._new:
            sys.exit(f"{scenario.name} is not the same twice")
        self._whole = ended

    def _lay_out(self) -> None:
        shutil.rmtree(self._home, ignore_errors=True)
        shutil.copytree(self._template, self._home, symlinks=True)

    def kill(
        self, number: int, rng: random.Random, tally: Tally, *, interrupt: bool
    ) -> None:
        """End the command once and look at what it left."""
        self._lay_out()
        after_s = rng.uniform(0.0, self._whole.seconds * 1.05)
        match 4 if interrupt else number % 5:
            case 0 | 1:
                how = "SIGKILL at a moment"
                ended = run_child(self._scenario, self._ground, after_s=after_s)
            case 2 | 3:
                how = "SIGKILL before a change"
                at = rng.randint(1, max(self._whole.changes, 1))
                ended = run_child(self._scenario, self._ground, before_change=at)
            case _:
                how = "SIGINT"
                ended = run_child(
                    self._scenario, self._ground, after_s=after_s, by=signal.SIGINT
                )
        tally.runs += 1
        tally.by[how] = tally.by.get(how, 0) + 1
        name = f"{self._scenario.name} {number} ({how}, {ended.status})"
        if how == "SIGINT":
            self._check_said(ended, name, tally)
        self._check_files(name, tally, stopped=how == "SIGINT")
        again = run_child(self._scenario, self._ground)
        if again.status not in self._scenario.good_again:
            tally.breaches.append(f"{name}: then failed: {again.said[-300:]!r}")
        elif contents(self._scenario, self._home) != self._new:
            tally.breaches.append(f"{name}: then came to another end")
        self._check_leftovers(name, tally)

    def _check_said(self, ended: Ended, name: str, tally: Tally) -> None:
        stopped = {1, 130, -signal.SIGINT} | self._scenario.good
        last = ended.said.strip().rpartition("\n")[2]
        told = ended.status in self._scenario.good or "Stopped" in last
        if "Traceback" in ended.said or ended.status not in stopped or not told:
            tally.breaches.append(f"{name}: said {ended.said[-300:]!r}")

    def _check_files(self, name: str, tally: Tally, *, stopped: bool) -> None:
        now = contents(self._scenario, self._home)
        if now == self._old:
            tally.old += 1
        elif now == self._new:
            tally.new += 1
        else:
            tally.between += 1
        if stopped and self._scenario.keeps_part_when_stopped:
            Hunt(self._home / "hunt").rows()  # it must be there and be whole
            return
        for file in {*now, *self._old, *self._new}:
            if now.get(file) not in (self._old.get(file), self._new.get(file)):
                tally.breaches.append(f"{name}: {file} is neither old nor new")

    def _check_leftovers(self, name: str, tally: Tally) -> None:
        found = leftovers(self._home)
        tally.left += bool(found)
        for path in found:
            stamp = path.lstat().st_mtime - LEFT_AFTER_S - 60
            os.utime(path, (stamp, stamp))
        clear_leftovers(self._home)
        if remaining := leftovers(self._home):
            tally.breaches.append(f"{name}: left for good: {remaining}")
        if contents(self._scenario, self._home) != self._new:
            tally.breaches.append(f"{name}: clearing up changed the files")


def table(tallies: dict[str, Tally]) -> list[str]:
    """Lay out the tallies."""
    head = (
        "what was at stake", "killed", ("by SIGKILL at a moment / before a change, "
        "by Ctrl-C"), "all old", "all new", "some old, some new", ("left something "
        "half made"), "breaches",
    )  # fmt: skip
    lines = [f"| {' | '.join(head)} |", "|---" * len(head) + "|"]
    for name, tally in tallies.items():
        by = [tally.by.get(how, 0) for how in
              ("SIGKILL at a moment", "SIGKILL before a change", "SIGINT")]  # fmt: skip
        lines.append(
            f"| {name} | {tally.runs} | {by[0]} / {by[1]} / {by[2]} | {tally.old} | "
            f"{tally.new} | {tally.between} | {tally.left} | {len(tally.breaches)} |"
        )
    return lines


def main() -> None:
    """Kill every scenario so many times; what is done is kept in --state."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenarios", nargs="*", metavar="SCENARIO")
    parser.add_argument("--times", type=int, default=200, help="of each in all")
    parser.add_argument("--minutes", type=float, default=1e6)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--interrupt", action="store_true", help="Ctrl-C alone")
    default = Path(tempfile.gettempdir()) / "treeward-kills"
    parser.add_argument("--state", type=Path, default=default)
    options = parser.parse_args()
    until = time.monotonic() + 60 * options.minutes
    options.state.mkdir(parents=True, exist_ok=True)
    kept = options.state / "kills.json"
    said = json.loads(kept.read_text()) if kept.exists() else {}
    tallies = {name: Tally(**tally) for name, tally in said.items()}
    preload()
    # Whoever starts this in the background has Ctrl-C ignored, by us and our children.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    for scenario in SCENARIOS:
        if options.scenarios and scenario.short not in options.scenarios:
            continue
        tally = tallies.setdefault(scenario.name, Tally())
        if tally.runs >= options.times or time.monotonic() > until:
            continue
        with tempfile.TemporaryDirectory(prefix="treeward-kills-") as folder:
            killed = Round(scenario, Path(folder).resolve())
            while tally.runs < options.times and time.monotonic() < until:
                rng = random.Random(f"{options.seed} {tally.runs}")  # noqa: S311
                killed.kill(tally.runs, rng, tally, interrupt=options.interrupt)
        print(scenario.name, tally, flush=True)
        kept.write_text(json.dumps({name: asdict(t) for name, t in tallies.items()}))
        record.write("kills", table(tallies))


if __name__ == "__main__":
    main()
