"""What can be said, as sections of "say this" and "it means", for list and card."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from .kinds import KINDS, EventKind

if TYPE_CHECKING:
    from .phrasebook import PhraseBook


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
                means=KINDS[EventKind.STATION].means,
                also=tuple(f"{other} {first}" for other in others),
            )
        )
    if anchors := _heard_best(book, "time"):
        found.append(
            Saying(
                say=f"{anchors[0]} ten twenty-two",
                means=KINDS[EventKind.TIME].means,
                also=tuple(f"{other} ten twenty-two" for other in anchors[1:]),
            )
        )
    if anchors := book.anchor_words.get("date", ()):
        found.append(
            Saying(
                say=f"{anchors[0]} fourteenth of july",
                means=KINDS[EventKind.DATE].means,
            )
        )
    if anchors := book.anchor_words.get("wind", ()):
        strengths = ", ".join(ways[0] for ways in book.wind.values())
        means = f"{KINDS[EventKind.WIND].means}: {strengths}"
        found.append(Saying(say=f"{anchors[0]} light", means=means))
    return found


def _bees(book: PhraseBook) -> list[Saying]:
    found = []
    for kind, action in book.actions.items():
        others = [way for way in action.say if way != action.card]
        found.append(
            Saying(
                say=action.card.format(mark="yellow"),
                means=KINDS[EventKind(kind)].means,
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
    found = [
        Saying(say=ways[0], means=KINDS[EventKind(kind)].means, also=ways[1:])
        for kind, ways in book.commands.items()
    ]
    for anchor in book.anchor_words.get(EventKind.OVERHEAD, ())[:1]:
        means = "bees pass in the air, flying that way"
        found.append(Saying(say=f"{anchor} two one zero", means=means))
    for anchor in book.anchor_words.get(EventKind.SEARCHED, ())[:1]:
        means = "you looked there, and there was nothing"
        found.append(Saying(say=f"{anchor} the wall", means=means))
    if anchors := book.anchor_words.get("remark", ()):
        found.append(
            Saying(
                say=f"{anchors[0]} the dish was filled up",
                means=KINDS[EventKind.REMARK].means,
            )
        )
    return found


def _heard_best(book: PhraseBook, kind: str) -> tuple[str, ...]:
    anchors = book.anchor_words.get(kind, ())
    # In noise at 12 dB "bearing" was heard better than "heading" (of 36 pairs 11 to 2
    # where just one was), "time" at least as well as "clock" (7 to 3): the word that a
    # kind is called by (tests/benchmarks/hearing).
    return tuple(sorted(anchors, key=lambda word: word != kind))
