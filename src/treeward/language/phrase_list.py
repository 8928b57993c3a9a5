"""What can be said, as sections of "say this" and "it means", for list and card."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .phrasebook import PhraseBook

_MEANS = {
    "back": "a marked bee landed at the station",
    "away": "she left; her away time begins",
    "mark": "a bee was painted now",
    "missed": "she did not come when expected",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Saying:
    """One thing to say: the recommended words, other ways, and what it means."""

    say: str
    means: str
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Sayings that belong together."""

    heading: str
    sayings: tuple[Saying, ...]


def sections(book: PhraseBook) -> tuple[Section, ...]:
    """List everything the phrase book lets one say, in the order of a watch."""
    return (
        Section(heading="When you sit down", sayings=tuple(_sitting_down(book))),
        Section(heading="Bees", sayings=tuple(_bees(book))),
        Section(heading="Which way", sayings=tuple(_bearings(book))),
        Section(heading="Else", sayings=tuple(_else(book))),
    )


def colour_names(book: PhraseBook) -> tuple[str, ...]:
    """Name the paint colours that are listened for, or the marks where few are."""
    return tuple(sorted(book.marks_in_use)) or tuple(book.colours)


def _sitting_down(book: PhraseBook) -> list[Saying]:
    found = []
    if book.anchor_words.get("station") and book.stations:
        first = next(iter(book.stations.values()))[0]
        anchor, *others = book.anchor_words["station"]
        found.append(
            Saying(
                say=f"{anchor} {first}",
                means="you watch at that station from now on",
                also=tuple(f"{other} {first}" for other in others),
            )
        )
    if anchors := _heard_best(book, "time"):
        found.append(
            Saying(
                say=f"{anchors[0]} ten twenty-two",
                means="the time by your watch; say it now and then",
                also=tuple(f"{other} ten twenty-two" for other in anchors[1:]),
            )
        )
    if anchors := book.anchor_words.get("date", ()):
        found.append(
            Saying(
                say=f"{anchors[0]} fourteenth of july",
                means="the day; once at its beginning is enough",
            )
        )
    if anchors := book.anchor_words.get("wind", ()):
        strengths = ", ".join(ways[0] for ways in book.wind.values())
        found.append(Saying(say=f"{anchors[0]} light", means=f"the wind: {strengths}"))
    return found


def _bees(book: PhraseBook) -> list[Saying]:
    found = []
    for kind, action in book.actions.items():
        others = [way for way in action.say if way != action.card]
        found.append(
            Saying(
                say=action.card.format(mark="yellow"),
                means=_MEANS.get(kind, kind),
                also=tuple(way.format(mark="yellow") for way in others),
            )
        )
    found.append(
        Saying(
            say=book.actions["back"].card.format(mark="blue white")
            if "back" in book.actions
            else "blue white",
            means="a bee with two colours, always named in the same order",
        )
    )
    if book.unmarked and "away" in book.actions:
        found.append(
            Saying(
                say=book.actions["away"].card.format(mark=book.unmarked[0]),
                means="a bee without paint",
            )
        )
    return found


def _bearings(book: PhraseBook) -> list[Saying]:
    anchors = _heard_best(book, "bearing")
    if not anchors:
        return []
    best = anchors[0]
    away = book.actions["away"].card.format(mark="yellow") if book.actions else ""
    return [
        Saying(
            say=f"{best} two one zero",
            means="210 degrees off the compass: three digits, one by one",
            also=(
                *(f"{other} two one zero" for other in anchors[1:]),
                f"{best} two ten",
                f"{best} two hundred and ten",
            ),
        ),
        Saying(
            say=f"{away}, {best} zero three nine",
            means="the direction in which that bee vanished",
        ),
    ]


def _else(book: PhraseBook) -> list[Saying]:
    means = {
        "scratch": "take back the last note",
        "pause": "nobody is watching from now on",
        "resume": "watching again",
    }
    found = [
        Saying(say=ways[0], means=means.get(kind, kind), also=ways[1:])
        for kind, ways in book.commands.items()
    ]
    if anchors := book.anchor_words.get("remark", ()):
        found.append(
            Saying(
                say=f"{anchors[0]} the dish was filled up",
                means="a remark in your own words, up to the next silence",
            )
        )
    return found


def _heard_best(book: PhraseBook, kind: str) -> tuple[str, ...]:
    anchors = book.anchor_words.get(kind, ())
    # In noise at 12 dB "bearing" was heard better than "heading" (of 36 pairs 11 to 2
    # where just one was), "time" at least as well as "clock" (7 to 3): the word that a
    # kind is called by (tests/benchmarks/hearing).
    return tuple(sorted(anchors, key=lambda word: word != kind))
