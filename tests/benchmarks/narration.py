"""How many observations in free speech are found, and how much is invented.

    python tests/benchmarks/narration.py             # the part not used for the rules
    python tests/benchmarks/narration.py --part rules --failures

An event counts as right when kind, mark and value are. A doubtful sentence counts
only when its events carry a flag.
"""

from __future__ import annotations

import argparse
import tomllib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from treeward.language.phrasebook import PhraseBook
from treeward.notes.narration import read_narration
from treeward.speech.utterances import Utterance, spread

if TYPE_CHECKING:
    from collections.abc import Iterable

    from treeward.notes.events import Event

SENTENCES = Path(__file__).parents[2] / "fixtures" / "narration" / "sentences.toml"
SAID_AT_S = 100.0
EARLIER_S = 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one sentence."""

    say: str
    label: str  # clear, doubtful, none
    expected: tuple[str, ...]
    found: tuple[str, ...]
    flagged: bool  # every event of it carries a flag

    @property
    def right(self) -> bool:
        flag_ok = self.label != "doubtful" or self.flagged
        return self.expected == self.found and flag_ok


def sentences(part: str) -> list[dict[str, Any]]:
    """Read the labelled sentences of one part, "held" or "rules"."""
    with SENTENCES.open("rb") as file:
        found: list[dict[str, Any]] = tomllib.load(file)[part]
    return found


def utterance(text: str, start_s: float) -> Utterance:
    words = spread(text.split(), start_s, start_s + 0.08 * len(text))
    return Utterance(words=tuple(words), start_s=start_s, end_s=words[-1].end_s)


def brief(event: Event) -> str:
    return f"{event.kind}:{event.mark}:{event.value}"


def full(text: str) -> str:
    """Fill up a label to kind:mark:value."""
    return text + ":" * (2 - text.count(":")) if text.count(":") < 2 else text


def outcome(sentence: dict[str, Any], book: PhraseBook) -> Outcome:
    heard = [utterance(sentence["say"], SAID_AT_S)]
    if "at" in sentence:
        mark, where = sentence["at"].split()
        did = "back" if where == "here" else "away"
        heard.insert(0, utterance(f"{mark} {did}.", EARLIER_S))
    events = [
        event
        for event in read_narration(heard, book).events
        if event.start_s is not None and event.start_s >= SAID_AT_S
    ]
    expected = tuple(full(text) for text in sentence["events"])
    label = "none" if not expected else "clear"
    if sentence.get("doubtful"):
        label = "doubtful"
    return Outcome(
        say=sentence["say"],
        label=label,
        expected=expected,
        found=tuple(brief(event) for event in events),
        flagged=all(event.flags for event in events),
    )


def precision_and_recall(outcomes: Iterable[Outcome]) -> tuple[float, float, int, int]:
    """Count events over sentences: precision, recall, events said, events found."""
    said = found = right = 0
    for result in outcomes:
        said += len(result.expected)
        found += len(result.found)
        if result.label != "doubtful" or result.flagged:
            right += (Counter(result.expected) & Counter(result.found)).total()
    return right / max(1, found), right / max(1, said), said, found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--part", choices=("held", "rules"), action="append")
    parser.add_argument("--failures", action="store_true")
    arguments = parser.parse_args()
    book = PhraseBook.load()
    print(
        "part   sentences  events  precision  recall"
        "  doubts unflagged  talk taken for notes"
    )
    for part in arguments.part or ("rules", "held"):
        outcomes = [outcome(sentence, book) for sentence in sentences(part)]
        precision, recall, said, _ = precision_and_recall(outcomes)
        doubts = [o for o in outcomes if o.label == "doubtful"]
        talk = [o for o in outcomes if o.label == "none"]
        print(
            f"{part:6} {len(outcomes):9}  {said:6}  {precision:9.3f}  {recall:6.3f}"
            f"  {sum(not o.flagged for o in doubts):8} of {len(doubts):3}"
            f"  {sum(bool(o.found) for o in talk):3} of {len(talk):3}"
        )
        for result in outcomes if arguments.failures else ():
            if not result.right:
                print(f"  {result.say!r}: {result.expected} found {result.found}")


if __name__ == "__main__":
    main()
