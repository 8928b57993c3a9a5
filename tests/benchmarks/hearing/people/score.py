"""Measure how well notes are heard that people said, by condition and speaker.

    PYTHONPATH=tests python -m benchmarks.hearing.people.score CORPUS [--write]

CORPUS is what build.py made, or any folder of NAME.flac (.ogg, .wav), NAME.truth.json
and NAME.phrasebook.toml; NAME is SPEAKER_CONDITION. An event is right when kind, mark
and value are right and it starts within half a second of where it was said. `--write`
puts the tables into RESULTS.md beside this file, above what was written there by hand;
`--faults FILE` lists all that went wrong, and `--keep FOLDER` keeps what was measured
of each recording, so that a run that was stopped goes on. With some twenty notes of
each speaker a difference of .1 between two of them is chance.
"""

from __future__ import annotations

import argparse
import json
import platform
import sys
import time
from collections import defaultdict
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.files import phrasebook_path
from treeward.language.phrasebook import PhraseBook
from treeward.notes.flags import sentences_of

from ..scoring import (  # noqa: TID252  (pytest knows the folder above by it alone)
    Tally,
    compare,
    reliability,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from treeward.notes.events import Event

WITHIN_S = 0.5
NEAR_S = 2.0  # what was said so near a fault is told with it
SOUND = (".flac", ".ogg", ".wav")
BY_HAND = "## Beside the tables"  # from here on RESULTS.md is kept as it is
NOTE_COLUMNS = (
    "condition",
    "voices",
    "notes",
    "recall",
    "precision",
    "unflagged rows",
    "of these wrong",
    "false notes an hour, unflagged / all",
    "start off by s, median / 95 %",
    "end off by s, median / 95 %",
    "processor time, of real time",
)
SPEAKER_COLUMNS = (
    "speaker",
    "condition",
    "notes",
    "recall",
    "precision",
    "unflagged rows that are wrong",
)
QUIET_COLUMNS = (
    "condition",
    "what",
    "minutes",
    "of them distinct",
    "false notes, unflagged / all",
    "an hour, unflagged / all",
    "processor time, of real time",
)


@dataclass(slots=True)
class Measured:
    """What came of one recording."""

    name: str
    speaker: str
    condition: str
    acted: bool
    distinct_s: float | None  # of talk or noise; None where that is not known
    has_notes: bool
    tally: Tally
    faults: list[str] = field(default_factory=list)


def hear(path: Path, book: PhraseBook, model: str | None) -> list[Event]:
    """Return the notes of a recording, as `treeward transcribe` would hear them."""
    from treeward.audio.reader import read_blocks
    from treeward.hunt_tables import DOUBT_BELOW
    from treeward.notes.parser import parse_notes
    from treeward.notes.second_look import read_again
    from treeward.speech.recognizer import open_recognizer, transcribe

    engine = open_recognizer(book, model=model)
    utterances = list(transcribe(read_blocks(path), engine))
    return read_again(parse_notes(utterances, book), flag_below=DOUBT_BELOW)


def measure(
    truth_file: Path, listen: Callable[[Path, PhraseBook], Sequence[Event]]
) -> Measured:
    """Hear one recording and compare it with its truth."""
    name = truth_file.name.removesuffix(".truth.json")
    truth = json.loads(truth_file.read_text(encoding="utf-8"))
    speaker, _, condition = name.rpartition("_")
    book_file = truth_file.with_name(f"{name}.phrasebook.toml")
    books = [phrasebook_path(), *([book_file] if book_file.is_file() else [])]
    book = PhraseBook.load(*books)
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    events = listen(_sound(truth_file, name), book)
    said = [as_said(each) for each in truth["events"]]
    tally = compare(events, said, within_s=WITHIN_S)
    tally.wall_s = time.perf_counter() - wall_s
    tally.cpu_s = time.process_time() - cpu_s
    tally.duration_s = truth["seconds"]
    tally.talk_s = truth.get("talk_s", 0.0)
    return Measured(
        name,
        speaker,
        truth.get("condition", condition),
        truth.get("acted", False),
        truth.get("distinct_s"),
        bool(said),
        tally,
        faults(name, events, truth["events"]),
    )


def as_said(event: dict[str, Any]) -> dict[str, Any]:
    """Return an event of a truth.json in the form that scoring.py compares."""
    return {**event, "kind": event["event"], "optional": False}


def _sound(truth_file: Path, name: str) -> Path:
    for suffix in SOUND:
        path = truth_file.with_name(name + suffix)
        if path.is_file():
            return path
    raise FileNotFoundError(f"no sound beside {truth_file}")


def faults(
    name: str, events: Sequence[Event], truth: Sequence[dict[str, Any]]
) -> list[str]:
    """Describe what was heard wrong, invented and missed, for looking into."""
    out = []
    left = [as_said(each) for each in truth]
    for event in events:
        right = [
            each
            for each in left
            if compare([event], [each], within_s=WITHIN_S).right == 1
        ]
        if right:
            left.remove(right[0])
            continue
        near = [
            each["said"]
            for each in truth
            if abs(each["start_s"] - (event.start_s or 0.0)) < NEAR_S
        ]
        flag = (
            f"flagged: {'; '.join(sentences_of(event.flags))}"
            if event.flags
            else "no flag"
        )
        out.append(
            f"{name} {event.start_s or 0:.1f} s: {event.kind} {event.mark} "
            f'{event.value} "{event.heard}" (confidence {event.confidence:.2f}, '
            f"{flag}), said: {near}"
        )
    out += [
        f'{name} {each["start_s"]:.1f} s: not heard: "{each["said"]}"' for each in left
    ]
    return out


def table(found: Sequence[Measured]) -> str:
    """Lay all figures out as Markdown."""
    out = ["## Notes amid talk, by condition", "", *_head(NOTE_COLUMNS)]
    with_notes = [each for each in found if each.has_notes]
    for (condition, voices), tally in _summed(with_notes, _by_condition).items():
        out.append(_note_row(condition, voices, tally))
    out += ["", "## By speaker", "", *_head(SPEAKER_COLUMNS)]
    for (speaker, condition), tally in _summed(with_notes, _by_speaker).items():
        out.append(
            f"| {speaker} | {condition} | {tally.said} | {tally.recall:.2f} "
            f"| {tally.precision:.2f} | {tally.unflagged_wrong} |"
        )
    out += ["", "## No notes at all", "", *_head(QUIET_COLUMNS)]
    without = [each for each in found if not each.has_notes]
    distinct = defaultdict(list)
    for each in without:
        distinct[_by_content(each)].append(each.distinct_s)
    for group, tally in _summed(without, _by_content).items():
        hours = max(tally.duration_s, 1e-9) / 3600
        # Parts of the same talk repeat the same pool: it counts once.
        known = [one / 60 for one in distinct[group] if one]
        out.append(
            f"| {group[0]} | {group[1]} | {tally.duration_s / 60:.0f} "
            f"| {f'{max(known):.1f}' if known else '?'} "
            f"| {tally.heard_unflagged} / {tally.heard} "
            f"| {tally.heard_unflagged / hours:.1f} / {tally.heard / hours:.1f} "
            f"| {_share(tally)} |"
        )
    out += ["", "## Stated confidence against share right", ""]
    out += _head(("stated", "rows", "share right"))
    # Talk and noise count too: a false note there states a confidence as well.
    total = Tally()
    for each in found:
        total += each.tally
    for label, count, right in reliability(total.stated):
        out.append(f"| {label} | {count} | {right:.3f} |")
    return "\n".join(out) + "\n"


def _head(columns: Sequence[str]) -> list[str]:
    return [f"| {' | '.join(columns)} |", "|---" * len(columns) + "|"]


def _by_condition(each: Measured) -> tuple[str, str]:
    return each.condition, "acted" if each.acted else "people"


def _by_speaker(each: Measured) -> tuple[str, str]:
    return f"{each.speaker}{' (acted)' if each.acted else ''}", each.condition


def _by_content(each: Measured) -> tuple[str, str]:
    return each.condition, each.speaker.rstrip("0123456789")


def _summed(
    found: Iterable[Measured], group: Callable[[Measured], tuple[str, str]]
) -> dict[tuple[str, str], Tally]:
    out: dict[tuple[str, str], Tally] = defaultdict(Tally)
    for each in found:
        out[group(each)] += each.tally
    return dict(sorted(out.items()))


def _note_row(condition: str, voices: str, tally: Tally) -> str:
    hours = max(tally.duration_s, 1e-9) / 3600
    return (
        f"| {condition} | {voices} | {tally.said} | {tally.recall:.3f} "
        f"| {tally.precision:.3f} | {tally.heard_unflagged} | {tally.unflagged_wrong} "
        f"| {tally.stray_unflagged / hours:.1f} / {tally.stray / hours:.1f} "
        f"| {_spread(tally.late_s)} | {_spread(tally.end_late_s)} | {_share(tally)} |"
    )


def _spread(errors_s: Sequence[float]) -> str:
    if not errors_s:
        return "-"
    return f"{np.median(errors_s):.2f} / {np.percentile(errors_s, 95):.2f}"


def _share(tally: Tally) -> str:
    return f"{tally.cpu_s / max(tally.duration_s, 1e-9):.3f}"


def measure_all(
    corpus: Path, only: str, model: str | None, keep: Path | None
) -> list[Measured]:
    """Measure each recording whose name holds `only`, telling of each."""
    out = []
    for truth_file in sorted(corpus.glob("*.truth.json")):
        if only not in truth_file.name:
            continue
        kept = (
            keep / f"{truth_file.name.removesuffix('.truth.json')}.json"
            if keep
            else None
        )
        if kept and kept.is_file():
            out.append(_from_json(kept.read_text(encoding="utf-8")))
            continue
        one = measure(truth_file, lambda path, book: hear(path, book, model))
        if kept:
            kept.parent.mkdir(parents=True, exist_ok=True)
            kept.write_text(json.dumps(asdict(one)), encoding="utf-8")
        out.append(one)
        tally = one.tally
        print(
            f"{one.name}: {tally.right} of {tally.said} right, {tally.heard} heard, "
            f"{tally.unflagged_wrong} wrong without a flag, "
            f"{_share(tally)} of real time",
            file=sys.stderr,
        )
    return out


def _from_json(text: str) -> Measured:
    each = json.loads(text)
    return Measured(**{**each, "tally": Tally(**each["tally"])})


def main() -> None:
    """Measure what the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("corpus", type=Path)
    parser.add_argument("--only", default="", help="part of speaker_condition")
    parser.add_argument("--model", help="as in `treeward transcribe --model`")
    parser.add_argument("--faults", type=Path, help="file for all that went wrong")
    parser.add_argument("--keep", type=Path, help="folder; see above")
    parser.add_argument("--write", action="store_true", help="update RESULTS.md")
    args = parser.parse_args()
    found = measure_all(args.corpus, args.only, args.model, args.keep)
    text = table(found)
    print(text)
    if args.faults:
        lines = [line for each in found for line in each.faults]
        args.faults.write_text("\n".join(lines) + "\n", encoding="utf-8")
    if args.write:
        write_results(text, Path(__file__).with_name("RESULTS.md"))


def write_results(text: str, path: Path) -> None:
    """Write the tables, keeping what stands below them by hand."""
    head = (
        "# How well notes are heard that people said\n\nMade by `python -m "
        "benchmarks.hearing.people.score CORPUS --write`; see score.py, build.py and "
        f"SOURCES.md.\nPython {platform.python_version()}, {platform.machine()}.\n\n"
    )
    written = path.read_text(encoding="utf-8") if path.exists() else ""
    _, mark, by_hand = written.partition(BY_HAND)
    tail = f"\n{mark}{by_hand}" if mark else ""
    path.write_text(head + text + tail, encoding="utf-8")


if __name__ == "__main__":
    main()
