"""The speakers of speakers.toml: what each can say, and the phrase book that fits."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from treeward.files import phrasebook_path
from treeward.simulate.observer import digit_words

if TYPE_CHECKING:
    import numpy as np

FILE = Path(__file__).with_name("speakers.toml")
TENS = ("ten", "twenty", "thirty", "forty", "fifty")
DIGITS = (
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
)


@dataclass(frozen=True, slots=True)
class Said:
    """One note: the recorded words it is joined of, and what it means."""

    words: tuple[str, ...]
    event: str
    mark: str = ""
    value: str = ""


@dataclass(frozen=True, slots=True)
class Speaker:
    """A person (or acted voice) who recorded words one by one."""

    name: str
    package: str
    folder: str
    suffix: str
    words: dict[str, str]  # text -> file below the folder, without the suffix
    marks: tuple[str, ...]
    templates: dict[str, tuple[str, ...]]  # action -> ways of saying it
    anchors: dict[str, str] = field(default_factory=dict)
    stations: tuple[str, ...] = ()
    pause: str = ""
    acted: bool = False

    def notes(self, count: int, rng: np.random.Generator) -> list[Said]:
        """Make notes, each of what this speaker can say in equal shares but marks."""
        kinds = [kind for kind in self.templates for _ in range(2)]
        kinds += [kind for kind in self.anchors for _ in range(2)]
        kinds += ["pause"] if self.pause else []
        return [self._note(str(rng.choice(kinds)), rng) for _ in range(count)]

    def _note(self, kind: str, rng: np.random.Generator) -> Said:
        if kind == "pause":
            return Said((self.pause,), "pause")
        if kind in self.templates:
            mark = str(rng.choice(self.marks))
            template = str(rng.choice(self.templates[kind]))
            before, _, after = template.partition("{mark}")
            words = tuple(filter(None, (before.strip(), mark, after.strip())))
            return Said(words, kind, mark=key(mark))
        anchor = self.anchors[kind]
        if kind == "station":
            if self.stations:
                name = str(rng.choice(self.stations))
                return Said((anchor, name), kind, value=name)
            number = int(rng.integers(1, 10))
            return Said((anchor, DIGITS[number]), kind, value=str(number))
        if kind == "bearing":
            degrees = int(rng.integers(360))
            words = tuple(digit_words(f"{degrees:03d}").split())
            return Said((anchor, *words), kind, value=str(degrees))
        hour, minute = int(rng.integers(1, 13)), int(rng.integers(60))
        while not self._can_say(minute):
            minute = int(rng.integers(60))
        names = (*DIGITS, "ten", "eleven", "twelve")
        words = (anchor, names[hour], *_minute(minute))
        return Said(words, kind, value=f"{hour:02d}:{minute:02d}")

    def _can_say(self, minute: int) -> bool:
        return minute > 0 and all(word in self.words for word in _minute(minute))

    def phrasebook(self) -> str:
        """Return the phrasebook.toml of a hunt in which this speaker dictates."""
        packaged = tomllib.loads(phrasebook_path().read_text(encoding="utf-8"))
        lines = [
            "# Maps words that a real speaker recorded to Treeward's notes.",
            "schema = 1",
        ]
        if self.marks:
            gone = [name for name in packaged["colours"] if name not in self.marks]
            lines += ["[colours]", *(f"{name} = []" for name in gone)]
            lines += [f"{key(mark)} = [{json.dumps(mark)}]" for mark in self.marks]
        if self.anchors or self.pause:
            lines += ["[anchors]"]
            lines += [f"{kind} = [{json.dumps(w)}]" for kind, w in self.anchors.items()]
        if self.stations:
            lines += ["[stations]"]
            lines += [f"{number} = []" for number in packaged["stations"]]
            lines += [f"{name} = [{json.dumps(name)}]" for name in self.stations]
        if self.pause:
            lines += ["[commands]", f"pause = [{json.dumps(self.pause)}]"]
        for kind, ways in self.templates.items():
            lines += [f"[actions.{kind}]", f"card = {json.dumps(ways[0])}"]
            lines += [f"say = {json.dumps(ways)}"]
        return "\n".join(lines) + "\n"


def key(mark: str) -> str:
    """Return the name of a mark, a single word, as the phrase book wants it."""
    return "".join(filter(str.isalpha, mark))


def _minute(minute: int) -> tuple[str, ...]:
    tens, ones = divmod(minute, 10)
    if not tens:
        return ("oh", DIGITS[ones])
    if minute in (11, 12, 15):
        return ({11: "eleven", 12: "twelve", 15: "fifteen"}[minute],)
    if tens == 1:
        return ("ten",) if not ones else ("?",)  # no thirteen and so on at hand
    return (TENS[tens - 1], DIGITS[ones]) if ones else (TENS[tens - 1],)


def load(path: Path = FILE) -> list[Speaker]:
    """Read the speakers.

    Raises
    ------
    ValueError
        A note would need a word that the speaker did not record.
    """
    out = []
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    for name, each in table.items():
        speaker = _speaker(name, each)
        _refuse_missing(speaker)
        out.append(speaker)
    return out


def _speaker(name: str, each: dict[str, Any]) -> Speaker:
    return Speaker(
        name=name,
        package=each["package"],
        folder=each["folder"],
        suffix=each["suffix"],
        words=each["words"],
        marks=tuple(each["marks"]),
        templates={
            kind: tuple(each[kind])
            for kind in ("back", "away", "mark", "missed")
            if kind in each
        },
        anchors={k: each[k] for k in ("bearing", "time", "station") if k in each},
        stations=tuple(each.get("stations", ())),
        pause=each.get("pause", ""),
        acted=each.get("acted", False),
    )


def _refuse_missing(speaker: Speaker) -> None:
    needed = {*speaker.marks, *speaker.anchors.values(), *speaker.stations}
    if "bearing" in speaker.anchors or (
        "station" in speaker.anchors and not speaker.stations
    ):
        needed |= set(DIGITS)
    if speaker.pause:
        needed.add(speaker.pause)
    for ways in speaker.templates.values():
        needed |= {way.replace("{mark}", "").strip() for way in ways}
    missing = sorted(needed - set(speaker.words))
    if missing:
        raise ValueError(f"{speaker.name} recorded no {', '.join(missing)}")
