"""What is killed in `kills`: a hunt laid out, a command, and the files at stake."""

from __future__ import annotations

import importlib
import shutil
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

from faults import beside, contract
from treeward.files import PREFIX

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from treeward.audio import Block
    from treeward.report.model import HuntResult
    from treeward.speech.utterances import Utterance

HUNTS = Path(__file__).resolve().parents[3] / "fixtures" / "hunts"
MODULES = (
    "scipy.stats", "pandas", "matplotlib.pyplot", "treeward.cli.transcribe",
    "treeward.cli.locate", "treeward.cli.new", "treeward.cli.new",
    "treeward.cli.new", "treeward.cli.doctor", "treeward.report.writing",
    "treeward.hunt.locating", "treeward.cli.season", "treeward.cli.transcribe",
    "treeward.cli.season", "treeward.hunt.merging", "treeward.hunt.season",
    "treeward.notes.narration", "treeward.desk.desk", "treeward.hunt.hearing",
    "treeward.simulate.write", "webvtt", "srt", "soundfile", "av", "filelock",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One command on one hunt.

    `run` does it in a child, standing in the folder, and returns its exit status;
    `good` are the statuses of a run that is not stopped, `good_again` those after one
    that was.
    """

    short: str
    name: str
    prepare: Callable[[Path], object]
    run: Callable[[], int]
    at_stake: Callable[[PurePath], bool]
    good: frozenset[int] = frozenset({0})
    good_again: frozenset[int] = frozenset({0})
    keeps_part_when_stopped: bool = False  # Ctrl-C writes what was done up to then


def preload() -> None:
    """Import what the commands import, so that children need not."""
    for module in MODULES:
        importlib.import_module(module)


def program(*arguments: str) -> int:
    """Run the program as its console script does; return the exit status."""
    from treeward.__main__ import run

    sys.argv = ["treeward", *arguments]
    try:
        run()
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 1
    return 0


def _transcripts(home: Path) -> None:
    """Lay out a hunt whose review the person has corrected, and a new transcript."""
    from treeward.hunt.hunt import Hunt

    hunt = Hunt.create(home / "hunt", name="Fault Moor", timezone="Europe/London")
    said = "[0:01] station one\n"
    marks = ("red", "yellow", "blue", "white")
    for n in range(120):
        kind = "away" if n // 4 % 2 == 0 else "back"
        said += f"[{n // 2}:{n % 2 * 30 + 5:02}] {marks[n % 4]} {kind}\n"
    first = hunt.recordings_dir / "2026-07-14_1000.txt"
    first.write_text(said, "utf-8")
    hunt.transcribe()
    text = hunt.review_path.read_text("utf-8")
    lines = text.splitlines(keepends=True)
    lines[5] = lines[5].replace("yellow", "white", 1).rstrip("\n") + "I saw it\n"
    lines[9] = lines[9].rstrip("\n")[:-1] + "drop,no bee\n"
    hunt.review_path.write_text("".join(lines), "utf-8")
    later = hunt.recordings_dir / "later.txt"
    later.write_text(said.replace("yellow", "blue white"), "utf-8")


def _transcribe() -> int:
    return program(
        *("transcribe", "hunt/recordings/later.txt", "--start", "2026-07-15 09:00"),
        *("--hunt", "hunt"),
    )


def _rows_gone(home: Path) -> None:
    """Lay out a hunt whose review a spreadsheet saved without its newest rows.

    A recording that is none lies among the others.
    """
    _transcripts(home)
    hunt = home / "hunt"
    review = hunt / "review.csv"
    lines = review.read_text("utf-8").splitlines(keepends=True)
    review.write_text("".join(lines[:-5]), "utf-8")
    (hunt / "recordings" / "broken.wav").write_bytes(b"RIFF, and no more")


def _left_by_a_kill(home: Path) -> None:
    """Lay out a hunt with a listening that was killed: a journal, and four pieces."""
    import numpy as np
    import soundfile

    from treeward.hunt.hunt import Hunt
    from treeward.hunt.journal import Journal, event_record
    from treeward.hunt.recovery import journals_dir
    from treeward.language.kinds import EventKind
    from treeward.notes.events import Event

    hunt = Hunt.create(home / "hunt", name="Fault Moor", timezone="Europe/London")
    name = "live-20260714-102000"
    folder = journals_dir(hunt.path)
    journal = Journal(folder / f"{name}.jsonl")
    for n in range(40):
        event = Event(
            kind=EventKind.AWAY if n // 4 % 2 == 0 else EventKind.BACK,
            mark=("red", "yellow", "blue", "white")[n % 4],
            recording=f"{name}.flac",
            start_s=n + 0.5,
            end_s=n + 0.9,
            clock=datetime(2026, 7, 14, 9, 20, n, tzinfo=UTC),
        )
        journal.write(event_record(event, n))
    journal.close()
    (folder / name).mkdir()
    rng = np.random.default_rng(4)
    for at_ms in (0, 10_000, 20_000, 32_000):
        pcm = rng.integers(-9000, 9000, 160_000).astype(np.int16)
        ending = "wav" if at_ms == 32_000 else "flac"
        soundfile.write(folder / name / f"{at_ms:010d}.{ending}", pcm, 16_000)


def _typed_notes(home: Path) -> None:
    """Lay out a hunt with a page of notes with clock times, and rows of a person."""
    from treeward.hunt.hunt import Hunt

    hunt = Hunt.create(home / "hunt", name="Fault Moor", timezone="Europe/London")
    hunt.review_path.write_text(contract.REVIEW, "utf-8")
    lines = ["2026-07-15", "station 1"]
    lines += [
        f"{9 + n // 60}:{n % 60:02} {('yellow', 'white')[n % 2]} "
        f"{('away, 220', 'back')[n // 2 % 2]}"
        for n in range(120)
    ]
    page = hunt.recordings_dir / "notes.txt"
    page.write_text("\n".join(lines) + "\n", "utf-8")


def _found_before(home: Path) -> None:
    """Lay out two hunts with a find, the first with words of the person's own."""
    from treeward.hunt.hunt import Hunt

    for name, mark in (("hunt", "yellow"), ("other", "white")):
        hunt = Hunt.create(home / name, name=name, timezone="Europe/London")
        hunt.review_path.write_text(contract.REVIEW.replace("yellow", mark), "utf-8")
        text = beside.TEXTS["found"][0]
        (hunt.path / "found.toml").write_text(text, "utf-8")
        memo = hunt.recordings_dir / f"2026-07-14_1{len(name)}00.vtt"
        memo.write_text(contract.MEMO, "utf-8")
    Hunt(home / "other").transcribe()


def _unlocated() -> None:
    """Leave out the survey, which only reads."""
    from treeward.errors import HuntError
    from treeward.hunt.hunt import Hunt

    def refused(_: Hunt) -> HuntResult:
        raise HuntError("is not located here")

    setattr(Hunt, "locate", refused)  # noqa: B010 (a stand-in)


def _found() -> int:
    """Keep a find as a person would, who looks first whether it is kept by now."""
    _unlocated()
    if "2027-05-20" in Path("hunt/found.toml").read_text("utf-8"):
        return 0
    return program(
        *("found", "--hunt", "hunt", "--position", "52.31, -3.62"),
        *("--remark", "seen 2027-05-20", "--date", "2026-07-20"),
    )


def _season_kept(home: Path) -> None:
    _found_before(home)
    (home / "season.json").write_text(beside.TEXTS["season"][0], "utf-8")


def _season() -> int:
    """Keep a season of finds that are worked out already."""
    from treeward.hunt import season
    from treeward.hunt_file import SeasonFile

    def gathered(directory: Path, **_: object) -> season.Season:
        colonies, unfound, faults = season.found_colonies(directory)
        return season.Season(
            colonies=tuple(colonies), judged=(), unfound=tuple(unfound),
            file=SeasonFile.model_validate_json(beside.TEXTS["season"][1]),
            left_out=tuple(faults),
        )  # fmt: skip

    setattr(season, "gather_season", gathered)  # noqa: B010 (a stand-in)
    return program("season", ".")


def _correct() -> int:
    """Make a correction, as the review page and the terminal do."""
    from treeward.desk.desk import Desk
    from treeward.desk.edits import CellEdit
    from treeward.errors import TreewardError
    from treeward.hunt.hunt import Hunt
    from treeward.review.file import cells_of

    try:
        desk = Desk(Hunt("hunt"))
        row = desk.ledger.read().rows[20]
        was = cells_of(row)["remark"]
        edit = CellEdit(row=row.name, column="remark", value="seen twice", was=was)
        desk.apply([edit])
    except KeyboardInterrupt:
        print("Stopped.")
        return 1
    except TreewardError as error:
        print(error.line())
        return 1
    return 0


class Buzz:
    """Stands in for an engine: a note in every stretch of sound."""

    name = "buzz"
    model = "1"

    def decode(self, stretch: Block) -> Utterance | None:
        """Hear a bee come back."""
        from treeward.speech.utterances import Utterance, Word, WordSource

        start_s = stretch.start_s
        word = Word(
            text="yellow back",
            start_s=start_s + 0.1,
            end_s=start_s + 0.9,
            confidence=0.9,
            source=WordSource.PHRASE,
        )
        return Utterance(words=(word,), start_s=word.start_s, end_s=word.end_s)


def _recordings(home: Path) -> None:
    """Lay out a hunt with four short recordings that nobody has heard yet."""
    import numpy as np
    import soundfile

    from treeward.hunt.hunt import Hunt

    hunt = Hunt.create(home / "hunt", name="Fault Moor", timezone="Europe/London")
    hunt.review_path.write_text(contract.REVIEW, "utf-8")
    rng = np.random.default_rng(5)
    time_s = np.arange(8 * 16_000) / 16_000
    voice = sum(np.sin(2 * np.pi * 140 * k * time_s) / k for k in range(1, 20))
    burst = 0.5 * (1 + np.sign(np.sin(2 * np.pi * 0.35 * time_s)))
    sound = 0.1 * voice * burst + 0.002 * rng.standard_normal(len(time_s))
    for number in range(4):
        path = hunt.recordings_dir / f"2026-07-14_10{number}000.wav"
        soundfile.write(path, sound.astype("float32"), 16_000)


def _hear() -> int:
    from treeward.speech import recognizer

    recognizer.open_recognizer = lambda *_a, **_k: Buzz()
    return program("transcribe", "--jobs", "1", "--hunt", "hunt")


@dataclass(slots=True)
class Answer:
    """What was worked out and drawn once, for the children to write."""

    result: HuntResult | None = None
    drawn: Path | None = None


_ANSWER = Answer()


def _located(home: Path) -> None:
    """Lay out a hunt with results, whose review was corrected since."""
    from treeward.hunt.hunt import Hunt

    moment = datetime(2026, 7, 20, 12, 0, tzinfo=UTC)  # or no two results are alike
    Hunt._now = lambda self: moment.astimezone(self.zone)  # type: ignore[method-assign]
    shutil.copytree(HUNTS / "slate_fold", home / "hunt")
    hunt = Hunt(home / "hunt")
    hunt.write_results(hunt.locate())
    (home / "hunt" / "results" / "my notes.txt").write_text("mine", "utf-8")
    rows = hunt.review_path.read_text("utf-8").splitlines(keepends=True)
    hunt.review_path.write_text("".join(rows[:-4]), "utf-8")
    _ANSWER.drawn = home.parent / "drawn"
    shutil.copytree(home / "hunt", _ANSWER.drawn)
    again = Hunt(_ANSWER.drawn)
    _ANSWER.result = again.locate()
    again.write_results(_ANSWER.result)
    _ANSWER.result = hunt.locate()


def _write_answer() -> int:
    """Write the results; they were worked out and drawn before."""
    from treeward.report import writing

    def copied(
        result: HuntResult, folder: Path, with_sound: Mapping[str, bytes]
    ) -> dict[str, str]:
        del result, with_sound
        assert _ANSWER.drawn is not None
        for path in (_ANSWER.drawn / "results").iterdir():
            if path.name in writing.MANAGED:
                shutil.copyfile(path, folder / path.name)
        return {}

    writing._write_all = copied
    return _draw_answer()


def _draw_answer() -> int:
    """Draw and write the results; they were worked out before."""
    from treeward.hunt.hunt import Hunt

    result = _ANSWER.result
    assert result is not None
    Hunt.locate = lambda self: result  # type: ignore[method-assign]  # noqa: ARG005
    return program("locate", "--hunt", "hunt")


def _demo() -> int:
    """Run the demo on a hunt of transcripts, with results that are drawn quickly."""
    from treeward import files
    from treeward.report import writing

    def written(
        result: HuntResult, folder: Path, with_sound: Mapping[str, bytes]
    ) -> dict[str, str]:
        del result, with_sound
        for name in writing.MANAGED:
            (folder / name).write_text(name, "utf-8")
        return {}

    writing._write_all = written
    files.example_hunt_dir = lambda: Path("example").resolve()
    return program("demo")


def _example(home: Path) -> None:
    _transcripts(home)
    hunt = home / "hunt"
    (home / "example").mkdir()
    shutil.copy(hunt / "hunt.toml", home / "example")
    shutil.copytree(hunt / "recordings", home / "example" / "recordings")
    (home / "example" / "recordings" / "later.txt").unlink()
    shutil.rmtree(hunt)


def _named(*names: str) -> Callable[[PurePath], bool]:
    """Return whether a file bears one of these names, or lies in such a folder."""
    return lambda path: (
        bool({*path.parts} & {*names})
        and not any(part == "ready" or PREFIX in part for part in path.parts)
    )


# Written beside and renamed, each of them; a command writes one after the other.
_COPIES = (
    "review.csv", "review_machine.csv", "review_last.csv", "starts.json",
    "recordings.json", "left_out.json",
)  # fmt: skip
_DONE_BEFORE = frozenset({0, 1})  # 1: "is there already"
SCENARIOS = (
    Scenario(
        short="transcribe",
        name="review.csv, its copies, starts, facts of recordings: `transcribe`",
        prepare=_transcripts,
        run=_transcribe,
        at_stake=_named(*_COPIES, "recordings"),
    ),
    Scenario(
        short="again",
        name="the same where rows had gone and a recording is none: `transcribe`",
        prepare=_rows_gone,
        run=lambda: program("transcribe", "--jobs", "1", "--hunt", "hunt"),
        at_stake=_named(*_COPIES, "recordings"),
        good=frozenset({0, 1}),
        good_again=frozenset({0, 1}),
    ),
    Scenario(
        short="recover",
        name="a killed listening's sound and notes: `trips`, which recovers them",
        prepare=_left_by_a_kill,
        run=lambda: program("trips", "--hunt", "hunt"),
        at_stake=lambda path: (
            path.parts[1:2] in {("recordings",), ("review.csv",)}
            and not path.name.startswith(".")
        ),
    ),
    Scenario(
        short="review",
        name="review.csv: a correction, as on the page and in the terminal",
        prepare=_transcripts,
        run=_correct,
        # review_last.csv may lie ready still, and counts there (ReviewStore).
        at_stake=_named("review.csv", "review_machine.csv", "recordings"),
    ),
    Scenario(
        short="typed",
        name="review.csv and its copies: `transcribe` of typed notes",
        prepare=_typed_notes,
        run=lambda: program("transcribe", "--hunt", "hunt"),
        at_stake=_named(*_COPIES, "recordings"),
    ),
    Scenario(
        short="found",
        name="found.toml: `found`",
        prepare=_found_before,
        run=_found,
        at_stake=_named("hunt.toml", "review.csv", "recordings", "found.toml"),
    ),
    Scenario(
        short="merge",
        name="a merged hunt, and the two it is made of: `merge`",
        prepare=_found_before,
        run=lambda: program("merge", "hunt", "other", "--into", "both"),
        at_stake=_named("both", "hunt", "other"),
        good_again=_DONE_BEFORE,
    ),
    Scenario(
        short="season",
        name="season.json of before: `season`",
        prepare=_season_kept,
        run=_season,
        at_stake=_named("season.json", "found.toml", "hunt.toml"),
    ),
    Scenario(
        short="hear",
        name="what was heard, and review.csv: `transcribe` of four recordings",
        prepare=_recordings,
        run=_hear,
        at_stake=_named("review.csv", "review_machine.csv", "recordings"),
        keeps_part_when_stopped=True,
    ),
    Scenario(
        short="locate",
        name="results/: `locate`, drawn before",
        prepare=_located,
        run=_write_answer,
        at_stake=_named("review.csv", "results"),
    ),
    Scenario(
        short="draw",
        name="results/: `locate`, drawn anew",
        prepare=_located,
        run=_draw_answer,
        at_stake=_named("review.csv", "results"),
    ),
    Scenario(
        short="trips",
        name="nothing, it only reads: `trips`",
        prepare=_transcripts,
        run=lambda: program("trips", "--hunt", "hunt"),
        at_stake=_named("hunt"),
    ),
    Scenario(
        short="new",
        name="hunt.toml: `new`",
        prepare=lambda _: None,
        run=lambda: program("new", "hunt", "--timezone", "Europe/London"),
        at_stake=_named("hunt"),
        good_again=_DONE_BEFORE,
    ),
    Scenario(
        short="simulate",
        name="an invented hunt and its truth: `simulate`",
        prepare=lambda _: None,
        run=lambda: program("simulate", "hunt", "--seed", "3"),
        at_stake=_named("hunt", "hunt.truth.toml"),
        good_again=_DONE_BEFORE,
    ),
    Scenario(
        short="card",
        name="a card made before: `phrases --card`",
        prepare=lambda home: (home / "card.pdf").write_text("of last year", "utf-8"),
        run=lambda: program("phrases", "--card", "card.pdf"),
        at_stake=_named("card.pdf"),
    ),
    Scenario(
        short="demo",
        name="the example hunt with review and results: `demo`",
        prepare=_example,
        run=_demo,
        at_stake=_named("hunt.toml", "review.csv", "recordings", "results"),
        good_again=_DONE_BEFORE,
    ),
)
