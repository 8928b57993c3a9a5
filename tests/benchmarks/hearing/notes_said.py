"""The notes that are spoken in the benchmark, with what should be heard.

Each recording is a small hunt of its own: four marks that come and go in turn,
bearings around one direction, times that run with the recording.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from treeward.simulate.observer import (
    BEARING_FORMS,
    bearing_words,
    mark_words,
    time_words,
)

if TYPE_CHECKING:
    import numpy as np

COLOURS = ("red", "blue", "green", "yellow", "white", "pink", "orange", "purple")


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """An event that should come out, spoken in piece number `piece` of the note."""

    kind: str
    mark: str = ""
    value: str = ""
    piece: int = 0
    exact: bool = True  # whether its start is known to the sample
    optional: bool = False  # taken back by the next note: neither asked for nor wrong


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """Pieces said one after the other with `gap_s` between, and their events."""

    pieces: tuple[str, ...]
    events: tuple[Expected, ...]
    gap_s: float = 0.0


@dataclass(slots=True)
class Diary:
    """Makes the notes of one recording."""

    rng: np.random.Generator
    marks: list[str] = field(init=False)
    at_dish: dict[str, bool] = field(init=False)
    home_deg: float = field(init=False)
    start_min: int = field(init=False)

    def __post_init__(self) -> None:
        colours = [str(c) for c in self.rng.permutation(COLOURS)]
        self.marks = [*colours[:3], f"{colours[3]}-{colours[4]}"]
        self.at_dish = {mark: bool(self.rng.random() < 0.5) for mark in self.marks}
        self.home_deg = float(self.rng.uniform(0, 360))
        self.start_min = int(self.rng.integers(8 * 60, 18 * 60))

    def note(self, at_s: float) -> Note:
        """Return what is said next, `at_s` into the recording."""
        draw = self.rng.random()
        if draw < 0.60:
            return self._bee()
        if draw < 0.70:
            return self._bearing()
        if draw < 0.82:
            return self._time(at_s)
        return self._other()

    def _bee(self) -> Note:
        mark = str(self.rng.choice(self.marks))
        here = self.at_dish[mark]
        self.at_dish[mark] = not here
        kind = "away" if here else "back"
        words = ("away", "away", "away", "gone") if here else ("back", "back", "landed")
        word = str(self.rng.choice(words))
        said = mark_words(mark)
        if kind == "away" and self.rng.random() < 0.35:
            value = self._read_deg()
            number = self._bearing_said(value)
            events = (
                Expected(kind="away", mark=mark),
                Expected(kind="bearing", mark=mark, value=str(value), piece=1),
            )
            return Note(pieces=(f"{said} {word}", number), events=events, gap_s=0.25)
        if self.rng.random() < 0.08:
            event = Expected(kind=kind, mark=mark)
            return Note(pieces=(said, word), events=(event,), gap_s=0.35)
        return Note(
            pieces=(f"{said} {word}",), events=(Expected(kind=kind, mark=mark),)
        )

    def _read_deg(self) -> int:
        read = self.home_deg + self.rng.normal(0, 8)
        width = 5 if self.rng.random() < 0.6 else 1
        return int(round(read / width) * width) % 360

    def _bearing_said(self, value: int) -> str:
        anchor = str(self.rng.choice(["bearing", "bearing", "heading"]))
        form = BEARING_FORMS[int(self.rng.integers(len(BEARING_FORMS)))]
        return f"{anchor} {bearing_words(value, form)}"

    def _bearing(self) -> Note:
        value = self._read_deg()
        event = Expected(kind="bearing", value=str(value))
        return Note(pieces=(self._bearing_said(value),), events=(event,))

    def _time(self, at_s: float) -> Note:
        hour, minute = divmod(self.start_min + int(at_s // 60), 60)
        twelve = hour <= 12 or self.rng.random() < 0.7
        anchor = str(self.rng.choice(["time", "time", "clock"]))
        said = f"{anchor} {time_words(hour, minute, twelve=twelve)}"
        event = Expected(kind="time", value=f"{hour:02d}:{minute:02d}")
        return Note(pieces=(said,), events=(event,))

    def _other(self) -> Note:
        draw = int(self.rng.integers(8))
        mark = str(self.rng.choice(self.marks))
        if draw == 0:
            number = int(self.rng.integers(1, 6))
            said = ("one", "two", "three", "four", "five")[number - 1]
            event = Expected(kind="station", value=str(number))
            return Note(pieces=(f"station {said}",), events=(event,))
        if draw in (1, 2):
            strength = str(self.rng.choice(["calm", "light", "strong"]))
            event = Expected(kind="wind", value=strength)
            return Note(pieces=(f"wind {strength}",), events=(event,))
        if draw in (3, 4):
            event = Expected(kind="mark", mark=mark)
            return Note(pieces=(f"mark {mark_words(mark)}",), events=(event,))
        if draw == 5:
            here = self.at_dish[mark]
            kind = "away" if here else "back"
            events = (
                Expected(kind=kind, mark=mark, optional=True),
                Expected(kind="scratch", piece=1),
            )
            pieces = (f"{mark_words(mark)} {kind}", "scratch that")
            return Note(pieces=pieces, events=events, gap_s=1.2)
        word = "pause" if draw == 6 else "resume"
        return Note(pieces=(word,), events=(Expected(kind=word),))
