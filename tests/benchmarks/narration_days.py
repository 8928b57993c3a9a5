"""How well whole days of free speech are read, each by a narrator of another manner.

    python tests/benchmarks/narration_days.py                 # the three that judge
    python tests/benchmarks/narration_days.py bronwen --failures

A note said is found when a note of the same kind, mark and value stands within
`NEAR_S` of where it happened. A wrong note without a flag is silently wrong; one that
misses what was said only in the mark or the value is counted there as well. See
fixtures/narration/days/README.md.
"""

from __future__ import annotations

import argparse
import math
import re
from collections import Counter
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from treeward.language.dates import MONTHS
from treeward.language.phrasebook import PhraseBook
from treeward.notes.flags import FlagCode, sentences_of
from treeward.notes.narration import read_narration
from treeward.notes.second_look import look_twice
from treeward.speech.utterances import Utterance, spread

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.notes.events import Event
    from treeward.notes.trained.network import Network

DAYS = Path(__file__).parents[2] / "fixtures" / "narration" / "days"
STRANGERS = DAYS.parent / "strangers"  # days by whom no rule was made
TAUGHT = DAYS.parent / "taught"  # days the network was trained on
READ, JUDGE = ("bronwen", "kit", "sisters"), ("emrys", "philippa", "jonah")


def _names(text: str) -> tuple[str, ...]:
    return tuple(text.split())


# And those of which only figures were looked at; see the README of the days.
UNREAD = _names(
    "fergus dez okonkwo ivor wanjiru amos folake granny mirek tanvi torquil ardal "
    "boetie corbin2 dazza hephzibah jassi mairwen oyinkan peregrina rongomai "
    "thaddy vasudha abiodun ambrosine birdiemae cuthwin dashiel fintanjoe "
    "hemirangi indraneel mireille ottilie pelagia quinlan saffronell torbjorn "
    "wendelynne zbigniewko "
)
NEAR_S = 14.0
SHARES = (0.0, 0.35, 0.5, 0.6, 0.7, 0.8, 0.9, 1.01)  # said of notes, told apart
S_A_LETTER = 0.06
COMMANDS = {"scratch"}
LINE = re.compile(r"(\d+):(\d\d)  (.*?)(?:\s*=> (.*))?$")
NO_NOTE = re.compile(r"[~?]*duration:[^:]*:here ")  # how long she drank: none here


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """One note that was said, at `at_s` into the day."""

    brief: str
    at_s: float
    told_s: float = 0.0
    free: bool = False  # may be found or not
    doubtful: bool = False  # counts only with a flag


@dataclass(slots=True, kw_only=True)
class Tally:
    """What became of one day's notes."""

    said: int = 0
    found: int = 0
    right: int = 0
    silent: int = 0
    talk: int = 0  # notes out of lines that hold none
    missed: list[Truth] = field(default_factory=list)
    wrong: list[Event] = field(default_factory=list)
    likely: list[tuple[float, bool]] = field(default_factory=list)  # said, and right

    @property
    def recall(self) -> float:
        return self.right / max(1, self.said)

    @property
    def precision(self) -> float:
        return self.right / max(1, self.found)

    @property
    def silently_wrong(self) -> float:
        return self.silent / max(1, self.said)


# Labels hold the narrator's word for the wind where the phrase book has none for it.
STRENGTHS = {
    word: strength
    for strength, words in {
        "light": "soft gentle breeze feeble slight faint weak whisper mild",
        "moderate": "brisk fresh medium steady",
        "strong": "gusty stiff hard",
    }.items()
    for word in words.split()
}


def at_point(deg: str) -> str:
    """Take 203 and 202 alike for the 202.5 degrees of south-south-west."""
    half = deg.isdecimal() and int(deg) * 2 % 45 == 1
    return str(int(deg) - 1) if half else deg


def plain(brief: str) -> str:
    """Take 14:05 for 2:05, and fill up to kind:mark:value."""
    kind, mark, value = (*brief.split(":", 2), "", "")[:3]
    mark = re.sub(r" (?!abdomen|thorax)", "-", mark)
    value = value.lower() if kind == "station" else value
    if kind == "time" and value:
        hour, minute = value.split(":")[:2]
        value = f"{int(hour) % 12}:{minute}"
    if kind == "date":  # 2026-07-14, 07-14, 14 July, July 14: the day of the year
        day, _, month = value.partition(" ")
        if day.lower() in MONTHS:  # "August 8"
            day, month = month, day
        of_year = MONTHS.index(month.lower()) + 1 if month.lower() in MONTHS else 0
        value = f"{of_year:02}-{int(day):02}" if of_year else value[-5:]
    if kind == "bearing":
        value = at_point(value.split()[0]) if value else ""
    if kind == "wind":
        strength, *origin = value.split()[:2]
        value = " ".join([STRENGTHS.get(strength, strength), *origin])
    return f"{kind}:{mark}:{value}"


def brief(event: Event) -> str:
    return plain(f"{event.kind}:{event.mark}:{event.value}")


def read_day(name: str) -> tuple[list[Utterance], list[Truth], set[float]]:
    """Read a day: its utterances, its notes, and the starts of lines without any."""
    folders = (DAYS, STRANGERS, TAUGHT)
    path = next(one for one in (f / f"{name}.txt" for f in folders) if one.exists())
    return read_text(path.read_text(encoding="utf-8"))


def recordings_of(text: str) -> list[str]:
    """Part the lines of short recordings: each begins where the time goes back."""
    found: list[list[str]] = []
    last_s = math.inf
    for line in text.splitlines():
        match = LINE.match(line)
        if match is None:
            continue
        start_s = 60 * int(match[1]) + int(match[2])
        if start_s < last_s:
            found.append([])
        found[-1].append(line)
        last_s = start_s
    return ["\n".join(lines) for lines in found]


def read_text(text: str) -> tuple[list[Utterance], list[Truth], set[float]]:
    """Read the lines of a day; see `read_day`."""
    said: list[Utterance] = []
    truths: list[Truth] = []
    talk: set[float] = set()
    for line in text.splitlines():
        match = LINE.match(line)
        if match is None:
            continue
        start_s = 60.0 * int(match[1]) + int(match[2])
        end_s = start_s + S_A_LETTER * len(match[3])
        words = tuple(spread(match[3].split(), start_s, end_s))
        said.append(Utterance(words=words, start_s=start_s, end_s=end_s))
        if not match[4]:
            talk.add(start_s)
        for told in (match[4] or "").split("; ") if match[4] else ():
            text, _, late = told.partition("@")
            if NO_NOTE.match(text):
                continue
            truths.append(
                Truth(
                    brief=plain(text.strip(" ~?")),
                    at_s=start_s + float(late or 0),
                    told_s=start_s,
                    free="~" in text,
                    doubtful="?" in text,
                )
            )
    return said, truths, talk


def for_day(truths: Sequence[Truth], book: PhraseBook) -> PhraseBook:
    """Give the phrase book the day's own colours and stations, as a hunt would."""
    notes = [truth.brief.split(":") for truth in truths]
    marks = {note[1].partition(" ")[0] for note in notes}  # without its spot
    colours = {word for mark in marks for word in mark.split("-") if word}
    colours -= {"unmarked"}
    places = {note[2] for note in notes if note[0] == "station"}
    places = {place for place in places if not place.isdigit()}
    return replace(
        book,
        colours={**{word: (word,) for word in sorted(colours)}, **book.colours},
        stations={**book.stations, **{place: (place,) for place in sorted(places)}},
    )


def judge(name: str, book: PhraseBook, network: Network | None = None) -> Tally:
    """Read a day from its words and compare what was found with its notes."""
    said, truths, talk = read_day(name)
    book = for_day(truths, book)
    lines = [one.start_s for one in said]
    found = read_narration(said, book, network=network).events
    return compare(found, truths, lines, talk)


def lone_colours(truths: Sequence[Truth]) -> set[str]:
    """Give the colours that only one bee of the day wears."""
    marks = {truth.brief.split(":")[1] for truth in truths}
    colours = Counter(mark.partition(" ")[0] for mark in marks if mark)
    return {colour for colour, bees in colours.items() if bees == 1}


def bare(brief: str, lone: set[str]) -> str:
    """Leave out where a bee is painted, if no other wears her colour."""
    kind, mark, value = brief.split(":", 2)
    colour = mark.partition(" ")[0]
    return f"{kind}:{colour if colour in lone else mark}:{value}"


def compare(
    found: Sequence[Event],
    truths: Sequence[Truth],
    lines: Sequence[float],
    talk: set[float],
) -> Tally:
    """Compare events with what was said; `lines` start at these seconds."""
    events = [
        event
        for event in look_twice(found)
        if event.kind not in COMMANDS and not event.has(FlagCode.TAKEN_BACK)
    ]
    tally = Tally(said=sum(not t.free for t in truths))
    left = list(events)
    lone = lone_colours(truths)
    for truth in sorted(truths, key=lambda one: one.free):
        near = [
            event
            for event in left
            if bare(brief(event), lone) == bare(truth.brief, lone)
            and abs((event.start_s or 0.0) - truth.at_s) <= NEAR_S
            and (event.doubtful or not truth.doubtful)
        ]
        if near:
            one = min(near, key=lambda e: abs((e.start_s or 0.0) - truth.at_s))
            left.remove(one)
            if not truth.free:
                tally.likely += _likely(one, right=True)
            tally.right += not truth.free
            tally.found += not truth.free
        elif not truth.free:
            tally.missed.append(truth)
    tally.found += len(left)
    tally.wrong = left
    tally.likely += [pair for event in left for pair in _likely(event, right=False)]
    tally.silent = sum(not event.flags for event in left)
    for event in left:
        line = max((s for s in lines if s <= (event.end_s or 0.0)), default=0.0)
        tally.talk += line in talk
    return tally


def _likely(event: Event, *, right: bool) -> list[tuple[float, bool]]:
    """Give how likely a note says that it is meant, if it does, and if it is right."""
    codes = (flag for flag in event.flags if flag.code is FlagCode.LIKELY_MEANT)
    return [(float(flag.words[0]) / 100, right) for flag in codes]


def whole(tallies: list[Tally]) -> Tally:
    total = Tally()
    for one in tallies:
        for key in ("said", "found", "right", "silent", "talk"):
            setattr(total, key, getattr(total, key) + getattr(one, key))
        total.likely += one.likely
    return total


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("day", nargs="*", default=JUDGE)
    parser.add_argument("--failures", action="store_true")
    parser.add_argument("--likely", action="store_true", help="as likely as they say?")
    arguments = parser.parse_args()
    book = PhraseBook.load()
    tallies = {name: judge(name, book) for name in arguments.day}
    head = "day        said  found  right  recall  precision  silently wrong  from talk"
    print(head)
    for name, tally in (*tallies.items(), ("all", whole([*tallies.values()]))):
        print(
            f"{name:9} {tally.said:5}  {tally.found:5}  {tally.right:5}"
            f"  {tally.recall:6.3f}  {tally.precision:9.3f}"
            f"  {tally.silent:5} ({tally.silently_wrong:5.1%})  {tally.talk:9}"
        )
    if arguments.likely:
        _tell_likely(whole([*tallies.values()]).likely)
    if arguments.failures:
        for tally in tallies.values():
            for truth in tally.missed:
                print(f"missed  {_clock(truth.at_s)} {truth.brief}")
            for event in tally.wrong:
                flags = "; ".join(sentences_of(event.flags)) or "SILENT"
                at = _clock(event.start_s or 0.0)
                print(f"wrong   {at} {brief(event)}  <{event.heard}> {flags}")
        kinds = Counter(
            t.brief.split(":")[0] for o in tallies.values() for t in o.missed
        )
        print("missed by kind:", dict(kinds))


def _tell_likely(told: Sequence[tuple[float, bool]]) -> None:
    """Tell whether notes are right as often as they say that they are likely meant."""
    print("\nsaid  notes  in the mean  right")
    for low, high in pairwise(SHARES):
        some = [one for one in told if low <= one[0] < high]
        if some:
            mean = sum(share for share, _ in some) / len(some)
            right = sum(was_right for _, was_right in some) / len(some)
            print(f"{low:.2f}  {len(some):5}  {mean:11.2f}  {right:5.2f}")


def _clock(at_s: float) -> str:
    return f"{int(at_s) // 60:02}:{int(at_s) % 60:02}"


if __name__ == "__main__":
    main()
