"""README.md says what the program does: its commands are run here, its words heard.

Commands that fetch packages are only looked at; the rest runs as it stands there, in
an empty folder, by the program that is installed beside this Python.
"""

from __future__ import annotations

import os
import re
import shlex
import signal
import subprocess
import sys
import sysconfig
import tomllib
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click
import numpy as np
import pytest
import soundfile

from treeward.cli import COMMANDS, group
from treeward.files import example_hunt_dir
from treeward.language.phrasebook import PhraseBook
from treeward.notes.parser import parse_notes
from treeward.speech.utterances import Utterance, Word, WordSource

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
PAGES = [README, ROOT / "DEVELOPERS.md", ROOT / "models" / "README.md"]
PROGRAM = Path(sysconfig.get_path("scripts")) / "treeward"
MEMO_S = 40.0  # of the example hunt's third recording
# What the person writes in, as the README tells them to.
POSITIONS = ["52.299000, -3.606000", "52.297000, -3.607000"]
TYPED = [
    ("10:01:00", "station", "", "1"),
    ("10:02:00", "away", "yellow", ""),
    ("10:02:05", "bearing", "yellow", "231"),
    ("10:07:10", "back", "yellow", ""),
    ("10:08:30", "away", "yellow", ""),
    ("10:08:35", "bearing", "yellow", "226"),
    ("10:13:20", "back", "yellow", ""),
    ("10:14:40", "away", "yellow", ""),
    ("10:19:45", "back", "yellow", ""),
]


def code_blocks(page: Path) -> list[str]:
    """Return the commands of each indented block, in the order of the page."""
    blocks: list[str] = []
    fenced = False
    before = ""
    for line in page.read_text("utf-8").splitlines():
        fenced ^= line.startswith("```")
        indented = line.startswith("    ") and not fenced
        if indented and before.startswith("    "):
            blocks[-1] += "\n" + line[4:]
        elif indented and not before.strip():
            blocks.append(line[4:])
        before = line
    return blocks


class Command(NamedTuple):
    page: str
    words: tuple[str, ...]  # after `treeward`


def commands_named(page: Path) -> Iterator[Command]:
    """Yield every command of ours that a page names, in blocks and in the text."""
    text = page.read_text("utf-8")
    lines = [line for block in code_blocks(page) for line in block.splitlines()]
    # In the text a command may be broken over two lines.
    lines += [" ".join(span.split()) for span in re.findall(r"`([^`]+)`", text)]
    for line in lines:
        for part in line.split("&&") if "treeward" in line else ():
            words = shlex.split(part, comments=True)
            if words and Path(words[0]).name == "treeward" and len(words) > 1:
                yield Command(page.name, tuple(words[1:]))


@pytest.mark.parametrize("page", PAGES, ids=["README", "DEVELOPERS", "models"])
def test_every_command_and_option_that_a_page_names_is_there(page: Path) -> None:
    wrong = []
    for command in commands_named(page):
        name, *rest = command.words
        if name.startswith("-"):
            continue
        if name not in COMMANDS:
            wrong.append(command.words)
            continue
        known = group.get_command(click.Context(group), name)
        assert known is not None
        options = {o for p in known.params for o in (*p.opts, *p.secondary_opts)}
        given = {w.split("=")[0] for w in rest if w.startswith("-") and w != "-"}
        if given - options - {"--help"}:
            wrong.append(command.words)

    assert wrong == []


def test_every_command_is_in_the_readme() -> None:
    text = README.read_text("utf-8")

    assert [n for n in COMMANDS if not re.search(rf"\btreeward {n}\b", text)] == [
        "simulate"  # for contributors and the curious: --help lists it
    ]


@pytest.mark.parametrize("page", PAGES, ids=["README", "DEVELOPERS", "models"])
def test_every_link_of_a_page_leads_somewhere(page: Path) -> None:
    targets = re.findall(r"\]\(([^)#]+)", page.read_text("utf-8"))

    local = [t for t in targets if "://" not in t]
    assert [t for t in local if not (page.parent / t).exists()] == []


def test_every_extra_that_a_page_installs_is_declared() -> None:
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"][
        "optional-dependencies"
    ]
    named: set[str] = set()
    for page in PAGES:
        for inside in re.findall(
            r"pip install [^\n`]*\[([\w,-]+)\]", page.read_text("utf-8")
        ):
            named |= set(inside.split(","))

    assert "test" in named
    assert named - set(extras) == set()


def test_packages_that_a_page_names_are_those_that_are_declared() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    declared = " ".join(" ".join(x) for x in project["optional-dependencies"].values())
    named = {
        name
        for page in PAGES
        for name in re.findall(r"pip install ([a-z][\w-]+)", page.read_text("utf-8"))
    }

    assert {"sounddevice"} <= named
    assert {name for name in named if f"{name}>=" not in declared} == set()


# --- the tour ------------------------------------------------------------------


def memo(path: Path) -> None:
    """Write the beginning of a recording of the example hunt as a phone's memo."""
    import av

    (source,) = (example_hunt_dir() / "recordings").glob("*station-3.ogg")
    with av.open(str(source)) as read, av.open(str(path), "w") as write:
        stream = write.add_stream("aac", rate=16_000)
        stream.layout = "mono"
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=16_000)
        for frame in read.decode(audio=0):
            if frame.time is not None and frame.time > MEMO_S:
                break
            for part in resampler.resample(frame):
                write.mux(stream.encode(part))
        write.mux(stream.encode(None))


def run(command: str, folder: Path) -> str:
    words = shlex.split(command, comments=True)
    done = subprocess.run(
        [str(PROGRAM), *words[1:]],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, f"{command}: {done.stderr}"
    return done.stdout


def tour() -> list[str]:
    """Return the lines of the tour, from `new` to `locate`."""
    text = README.read_text("utf-8")
    start = text.index("## A hunt from memo to map")
    section = text[start : text.index("\n## ", start + 1)]
    lines = [
        line
        for block in code_blocks(README)
        if block.splitlines()[0] in section
        for line in block.splitlines()
    ]
    return [line.split("#")[0].strip() for line in lines]


@pytest.fixture(scope="module")
def toured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Walk the tour once; return the hunt's folder."""
    folder = tmp_path_factory.mktemp("tour")
    steps = tour()
    assert [step.split()[0] for step in steps] == ["treeward", "cd", *["treeward"] * 5]
    run(steps[0], folder)
    folder /= steps[1].split()[1]
    toml = folder / "hunt.toml"
    text = toml.read_text("utf-8")
    for number, position in enumerate(POSITIONS, start=2):
        text += f'\n[[station]]\nid = "{number}"\nposition = "{position}"\n'
    text = text.replace('# position = "52.301200, -3.610400"', _first_position(), 1)
    toml.write_text(text, "utf-8", newline="\n")
    memo(folder / "memo.m4a")
    run(steps[2], folder)
    _add_rows(folder / "review.csv")
    assert run(steps[3], folder)
    _visit_page(steps[4], folder)
    assert "yellow" in run(steps[5], folder)
    (folder / "answer.txt").write_text(run(steps[6], folder), "utf-8", newline="\n")
    return folder


def _first_position() -> str:
    return 'position = "52.301200, -3.610400"'


def _add_rows(review: Path) -> None:
    """Add rows, as the README says one may; the day is the one that was heard."""
    text = review.read_text("utf-8-sig")
    header, first = text.splitlines()[:2]
    day = first.split(",")[header.split(",").index("clock")][:10]
    columns = header.split(",")
    for time, *cells in TYPED:
        given = dict(zip(("event", "mark", "value"), cells, strict=True))
        given["clock"] = f"{day} {time}"
        text += ",".join(given.get(column, "") for column in columns) + "\r\n"
    review.write_text(text, "utf-8", newline="")


def _visit_page(command: str, folder: Path) -> None:
    """Open the review page that a command serves, then end the command."""
    words = shlex.split(command)
    assert words[1:] == ["review", "--browser"]
    with subprocess.Popen(
        [str(PROGRAM), *words[1:], "--no-open"],
        cwd=folder,
        stdout=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    ) as served:
        try:
            assert served.stdout is not None
            address = served.stdout.readline().split()[-1]
            assert address.startswith("http://127.0.0.1:")
            browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
            with browser.open(address, timeout=20) as page:
                assert "<title>" in page.read().decode("utf-8")
        finally:
            served.terminate()


@pytest.mark.slow
def test_the_tour_hears_the_memo(toured: Path) -> None:
    review = (toured / "review.csv").read_text("utf-8-sig")

    assert (toured / "recordings" / "memo.m4a").is_file()
    assert "station three" in review
    assert "blue" in review


@pytest.mark.slow
def test_the_tour_ends_with_the_files_that_the_readme_names(toured: Path) -> None:
    text = " ".join(README.read_text("utf-8").split())
    (sentence,) = re.findall(r"`locate` prints the answer and writes (.+?)\. E", text)
    named = set(re.findall(r"`([\w.]+\.\w+)`", sentence))

    assert len(named) >= 8
    assert named <= {path.name for path in (toured / "results").iterdir()}
    assert "ha" in (toured / "answer.txt").read_text("utf-8")


@pytest.mark.slow
def test_the_tour_in_python_does_the_same(toured: Path) -> None:
    (code,) = re.findall(r"```python\n(.*?)```", README.read_text("utf-8"), re.DOTALL)

    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=toured.parent,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )

    assert done.returncode == 0, done.stderr
    assert float(done.stdout) > 0


@pytest.mark.slow
def test_the_card_is_made_as_the_readme_says(tmp_path: Path) -> None:
    (command,) = re.findall(r"`(treeward phrases --card [^`]+)`", README.read_text())
    run(command, tmp_path)

    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF")


# --- every other command ---------------------------------------------------------

# What the README shows with a stand-in for the person's own file or number.
START = '--start "2026-07-14 10:20"'
WITH_OPTIONS = {
    START: f"treeward transcribe memo.m4a {START}",
    "--jobs N": "treeward transcribe --jobs 2",
    "--json": "treeward trips --json",
    "locate --with-sound": "treeward locate --with-sound",
}
ENDLESS = {"listen", "practice"}  # they go on until Ctrl-C, or want a microphone
BY_CI = {"demo"}  # of the line that .ci/run runs
OF_TWO = {"merge"}  # wants two hunts; tests/hunt/test_merging.py gives it such


def others() -> list[str]:
    """Return the commands of ours that the README names beside the tour."""
    toured_ones = {tuple(shlex.split(step)[1:]) for step in tour()}
    return sorted(
        {
            shlex.join(("treeward", *command.words))
            for command in commands_named(README)
            if command.words not in toured_ones
        }
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    "command",
    [c for c in others() if c.split()[1] not in ENDLESS | BY_CI | OF_TWO],
)
def test_every_other_command_runs_as_it_stands(toured: Path, command: str) -> None:
    assert run(command, toured)


@pytest.mark.slow
@pytest.mark.parametrize("shown", WITH_OPTIONS)
def test_options_that_the_text_shows_run(toured: Path, shown: str) -> None:
    assert " ".join(shown.split()) in " ".join(README.read_text("utf-8").split())

    assert run(WITH_OPTIONS[shown], toured)


@pytest.mark.slow
@pytest.mark.parametrize("command", [c for c in others() if c.split()[1] in ENDLESS])
def test_a_command_that_listens_works_or_says_what_it_lacks(
    toured: Path, command: str
) -> None:
    with subprocess.Popen(
        [str(PROGRAM), *shlex.split(command)[1:]],
        cwd=toured,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    ) as listening:
        try:
            _, said = listening.communicate(timeout=30)
        except subprocess.TimeoutExpired:
            listening.send_signal(signal.SIGINT)  # a microphone is here, and is heard
            _, said = listening.communicate(timeout=60)
            assert listening.returncode in {0, 1}
    assert "Traceback" not in said
    assert "fault of Treeward's own" not in said
    if listening.returncode:
        (line,) = [x for x in said.splitlines() if x.startswith("treeward: ")]
        assert re.search("microphone|sound|terminal", line), line


@pytest.mark.slow
def test_a_stream_and_a_recording_are_listened_to_as_the_readme_says(
    toured: Path,
) -> None:
    text = README.read_text("utf-8")
    assert "`--input -` takes a stream" in " ".join(text.split())
    assert "`--input FILE --pace real`" in text
    short = toured / "short.wav"
    noise = np.random.default_rng(1).normal(0, 0.01, 32_000)
    soundfile.write(short, noise, 16_000)

    run("treeward listen --input short.wav --pace real", toured)
    with short.open("rb") as stream:
        done = subprocess.run(
            [str(PROGRAM), "listen", "--input", "-"],
            cwd=toured,
            stdin=stream,
            capture_output=True,
            timeout=120,
            check=False,
        )

    assert done.returncode == 0, done.stderr


def test_the_lines_that_set_everything_up_are_run_by_ci() -> None:
    block, *_ = (b for b in code_blocks(README) if "venv" in b)
    script = (ROOT / ".ci" / "readme_lines").read_text("utf-8")
    first, second = block.splitlines()

    assert f'readme_line "{first.partition("&&")[0]}&&"' in script
    assert f'readme_line "{second.removeprefix(".venv/bin/")}"' in script
    assert "readme_lines" in (ROOT / ".ci" / "run").read_text("utf-8")


def test_windows_has_the_first_line_in_words_that_powershell_knows() -> None:
    block, windows = (b for b in code_blocks(README) if "venv" in b)
    first, _ = block.splitlines()

    # Windows' own PowerShell 5 has no "&&", and Python's installer there no "python3".
    assert "&&" not in windows
    assert "python3" not in windows
    same = first.replace("python3", "py -3").replace(".venv/bin/", ".venv\\Scripts\\")
    assert windows == same.replace(" &&", ";")


def powershell_commands(text: str) -> list[str]:
    """Read text by the grammar of PowerShell that editors use (tree-sitter's)."""
    tree_sitter = pytest.importorskip("tree_sitter")
    grammar = pytest.importorskip("tree_sitter_powershell")
    parser = tree_sitter.Parser(tree_sitter.Language(grammar.language()))
    root = parser.parse(text.encode()).root_node
    assert not root.has_error, text
    left, found = [root], []
    while left:
        node = left.pop()
        if node.type == "command":
            found.append(node.text.decode())
        left += reversed(node.children)
    return found


@pytest.mark.model
def test_powershell_reads_the_first_line_as_three_commands() -> None:
    _, windows = (b for b in code_blocks(README) if "venv" in b)

    assert powershell_commands(windows.strip()) == windows.strip().split("; ")


@pytest.mark.model
def test_powershell_reads_the_other_commands_as_they_stand() -> None:
    said = re.findall(r"`(treeward [^`]+|\.venv\\[^`]+|Set-[^`]+)`", README.read_text())
    blocks = [line for block in code_blocks(README) for line in block.splitlines()]
    said += [line for line in blocks if line.startswith("treeward ")]

    assert len(said) > 20
    for line in said:
        command, _, _ = line.partition("  #")
        assert powershell_commands(command) == [command.strip()], line


# --- what to say ---------------------------------------------------------------


def sayings() -> set[str]:
    """Return what the README's table says; ", or" parts ways of saying the same.

    Ways with an ellipsis, which begin like another, are left out.
    """
    rows = re.findall(r"^\| ([^|]+) \| [^|]+ \|$", README.read_text(), re.MULTILINE)
    ways = {way for row in rows[1:] for way in row.split(", or ")}
    return {way for way in ways if not way.endswith("...")}


def uttered(text: str, book: PhraseBook) -> Utterance:
    """Return words as an engine gives them that knows the phrase book."""
    phrases = sorted((p.text for p in book.fixed_phrases()), key=len, reverse=True)
    words, at_s = [], 1.0
    left = text
    while left:
        phrase = next(
            (p for p in phrases if left == p or left.startswith(f"{p} ")),
            left.split()[0],
        )
        words.append(
            Word(
                text=phrase,
                start_s=at_s,
                end_s=at_s + 0.5,
                confidence=0.97,
                source=WordSource.PHRASE,
            )
        )
        at_s += 0.52
        left = left[len(phrase) :].strip()
    return Utterance(words=tuple(words), start_s=1.0, end_s=at_s)


EXPECTED = {
    "station one": ["station::1"],
    "time ten twenty-two": ["time::10:22"],
    "yellow back": ["back:yellow:"],
    "yellow landed": ["back:yellow:"],
    "yellow away": ["away:yellow:"],
    "blue white back": ["back:blue-white:"],
    "bearing two one zero": ["bearing::210"],
    "yellow away, bearing two-ten": ["away:yellow:", "bearing:yellow:210"],
    "mark yellow": ["mark:yellow:"],
    "wind calm, light, moderate, strong": ["wind::calm"],  # the others below
    "scratch that": ["scratch::"],
    "searched here nothing": ["searched::"],
    "tree checked nothing": ["searched::"],
    "bees overhead heading two ten": ["overhead::210"],
    "colony found": ["found::"],
    "date fourteenth of July": ["date::14 July"],
    "pause, resume": ["pause::", "resume::"],
}


def test_every_row_of_the_table_is_looked_at() -> None:
    assert sayings() == set(EXPECTED)


@pytest.mark.parametrize("say", EXPECTED)
def test_what_the_readme_tells_to_say_is_understood(say: str) -> None:
    book = PhraseBook.load()
    words = say.replace(",", "").replace("-", " ")

    events = parse_notes([uttered(words, book)], book)

    assert [f"{e.kind}:{e.mark}:{e.value}" for e in events] == EXPECTED[say]


@pytest.mark.parametrize("strength", ["light", "moderate", "strong"])
def test_the_other_winds_are_understood(strength: str) -> None:
    book = PhraseBook.load()

    (event,) = parse_notes([uttered(f"wind {strength}", book)], book)

    assert event.value == strength
