"""Dictated notes: what an engine heard, made into events.

A note stands on phrase evidence: words the engine listened for. The same words from
its general vocabulary make a note only when nothing else was said around them, and
then carry a flag. Talk makes none.

Words that were written as an utterance, to be read as dictated notes are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, assert_never

from treeward.hunt_tables import DOUBT_BELOW
from treeward.language.kinds import KINDS, NUMBERS, UNMARKED, EventKind, Holds
from treeward.speech.utterances import Alternative, Utterance, Word, WordSource

from . import sentences as st
from . import values
from .events import Event, flag_scratched
from .flags import Flag, FlagCode
from .values import Lexicon, longest

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treeward.language.phrasebook import PhraseBook

    from .sentences import StreamWord


WITHIN_PHRASE_S = 2.5  # a pause inside a note, "red ... back"
WITHIN_MARK_S = 0.8  # between two colours of one bee; guess
WITHIN_NUMBER_S = 1.2  # between the words of one number; guess
ONE_BREATH_S = 2.5  # from "yellow away" to its bearing
TALK_S = 0.35  # words closer than this belong to the same talk; guess
REMARK_GAP_S = 1.2  # a remark ends at a silence this long; guess
# Numbers say so a little above DOUBT_BELOW too: a wrong digit is seen by nobody
# afterwards. Of numbers by tuning speakers stated between 0.9 and 0.95 one in ten was
# wrong, of other notes one in twenty.
NUMBERS_MORE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A note found among the pieces `first` to `last` (not included)."""

    kind: EventKind
    first: int
    last: int
    mark: str = ""
    value: str = ""
    flags: tuple[Flag, ...] = ()
    options: tuple[str, ...] = ()  # other values


class _Finder:
    """Find the notes in a stream of pieces, from left to right."""

    def __init__(self, pieces: Sequence[StreamWord], lexicon: Lexicon) -> None:
        self.pieces = pieces
        self.lexicon = lexicon

    def spans(self) -> list[Span]:
        found: list[Span] = []
        place = 0
        while place < len(self.pieces):
            span = self._at(place)
            if span is None:
                place += 1
                continue
            found.append(span)
            place = span.last
        return found

    def _at(self, place: int) -> Span | None:
        return (
            self._command(place)
            or self._after_mark(place)
            or self._before_mark(place)
            or self._anchored(place)
        )

    def _texts(self, place: int, within_s: float = WITHIN_PHRASE_S) -> list[str]:
        texts = st.texts_from(self.pieces, place, within_s=within_s)
        return [self._meant(place + index, text) for index, text in enumerate(texts)]

    def _meant(self, place: int, text: str) -> str:
        """Undo a usual mishearing of a word the engine did not listen for."""
        if self.pieces[place].source is WordSource.GENERAL:
            return self.lexicon.misheard.get(text, text)
        return text

    def _command(self, place: int) -> Span | None:
        texts = self._texts(place, WITHIN_MARK_S)
        found = longest(self.lexicon.commands, texts)
        if found is None:
            return None
        kind, length = found
        announced = longest(self.lexicon.anchors, texts)
        if announced and announced[1] > length:
            return None  # "bees overhead heading ..." after all
        return Span(kind=kind, first=place, last=place + length)

    def _mark(self, place: int) -> tuple[str, int] | None:
        """Find the bee named at `place`, and the place after its name."""
        found = longest(self.lexicon.marks, self._texts(place, WITHIN_MARK_S))
        return (found[0], place + found[1]) if found else None

    def _close(self, place: int, within_s: float = WITHIN_PHRASE_S) -> bool:
        return (
            place < len(self.pieces) and st.gap_before_s(self.pieces, place) <= within_s
        )

    def _after_mark(self, place: int) -> Span | None:
        named = self._mark(place)
        if named is None:
            return None
        mark, next_place = named
        if not self._close(next_place):
            return None
        texts = self._texts(next_place)
        action = longest(self.lexicon.after, texts)
        if action:
            kind, length = action
            return Span(kind=kind, mark=mark, first=place, last=next_place + length)
        anchor = longest(self.lexicon.anchors, texts)
        if anchor and anchor[0] is EventKind.BEARING:
            span = self._anchored(next_place)
            return replace(span, first=place, mark=mark) if span else None
        return None

    def _before_mark(self, place: int) -> Span | None:
        action = longest(self.lexicon.before, self._texts(place))
        if action is None:
            return None
        kind, length = action
        if not self._close(place + length):
            return None
        named = self._mark(place + length)
        if named is None:
            return None
        return Span(kind=kind, mark=named[0], first=place, last=named[1])

    def _anchored(self, place: int) -> Span | None:
        anchor = longest(self.lexicon.anchors, self._texts(place))
        if anchor is None:
            return None
        kind, length = anchor
        after = place + length
        if KINDS[kind].holds is Holds.WORDS:
            return self._own_words(kind, place, after)
        texts = self._texts(after, WITHIN_NUMBER_S) if self._close(after) else []
        skipped, flags = values.skip_links(texts)
        value = self._value(kind, texts[skipped:])
        if value is None and skipped:
            skipped, flags = 0, ()
            value = self._value(kind, texts)
        if value is None:
            return self._without_value(kind, place, after)
        return Span(
            kind=kind,
            first=place,
            last=after + skipped + value.used,
            value=value.text,
            flags=flags + value.flags,
            options=value.options,
        )

    def _value(self, kind: EventKind, texts: Sequence[str]) -> values.Value | None:
        holds = KINDS[kind].holds
        match holds:
            case Holds.DEGREES:
                return values.bearing_value(texts)
            case Holds.TIME:
                return values.time_value(texts)
            case Holds.DATE:
                return values.date_value(texts)
            case Holds.STATION:
                return values.station_value(self.lexicon, texts)
            case Holds.WIND:
                return values.wind_value(self.lexicon, texts)
            case Holds.NOTHING | Holds.DURATION | Holds.WORDS:
                return None  # announced by nothing, or read by itself
            case _:
                assert_never(holds)

    def _without_value(self, kind: EventKind, first: int, last: int) -> Span | None:
        """Keep a bearing or a time whose value was lost, to be filled in by hand."""
        if KINDS[kind].holds not in NUMBERS:
            return None
        if not all(piece.strong for piece in self.pieces[first:last]):
            return None
        what = EventKind.TIME if KINDS[kind].holds is Holds.TIME else EventKind.BEARING
        said = st.heard(self.pieces[first:last])
        flags = (Flag.of(FlagCode.NO_VALUE, what, said),)
        return Span(kind=kind, first=first, last=last, flags=flags)

    def _own_words(self, kind: EventKind, place: int, after: int) -> Span | None:
        """Take the words up to the end of the utterance."""
        starts = place == 0 or st.gap_before_s(self.pieces, place) > TALK_S
        new = place > 0 and (
            self.pieces[place - 1].utterance != self.pieces[place].utterance
        )
        if not (starts or new):
            return None
        last = after
        while (
            last < len(self.pieces)
            and self.pieces[last].utterance == self.pieces[place].utterance
            and st.gap_before_s(self.pieces, last) <= REMARK_GAP_S
            and not self._new_note(last)
        ):
            last += 1
        if last == after and self._close(after):  # a pause after "note"
            utterance = self.pieces[after].utterance
            while last < len(self.pieces) and self.pieces[last].utterance == utterance:
                last += 1
        if last == after:
            return None
        words = st.heard(self.pieces[after:last])
        return Span(kind=kind, first=place, last=last, value=words)

    def _new_note(self, place: int) -> bool:
        """Say whether a note that the engine listened for begins after a pause."""
        return (
            self.pieces[place].strong and st.gap_before_s(self.pieces, place) > TALK_S
        )


def _talk_around(
    pieces: Sequence[StreamWord], spans: Sequence[Span], number: int
) -> int:
    """Count the sides, 0 to 2, on which a note runs straight into talk."""
    span = spans[number]
    sides = 0
    place = span.first - 1
    floor = spans[number - 1].last if number else 0
    while place >= floor and st.gap_before_s(pieces, place + 1) <= TALK_S:
        if pieces[place].text not in st.FILLERS:
            sides += 1
            break
        place -= 1
    place = span.last
    ceiling = spans[number + 1].first if number + 1 < len(spans) else len(pieces)
    while place < ceiling and st.gap_before_s(pieces, place) <= TALK_S:
        if pieces[place].text not in st.FILLERS:
            sides += 1
            break
        place += 1
    return sides


def _in_own_words(span: Span) -> bool:
    return KINDS[span.kind].holds is Holds.WORDS and bool(span.value)


def _alone(span: Span) -> bool:
    """Tell whether a note is fixed words and no more, as talk may be."""
    return "command" in KINDS[span.kind].said_as and not span.value


def _judge(
    pieces: Sequence[StreamWord], spans: Sequence[Span], number: int
) -> Span | None:
    """Keep a note, keep it with a flag, or take it for talk."""
    span = spans[number]
    said = pieces[span.first : span.last]
    if _in_own_words(span):
        return span
    sides = _talk_around(pieces, spans, number)
    strong = any(piece.strong for piece in said)
    text = all(piece.source is WordSource.TEXT for piece in said)
    if not strong and sides:
        return None
    if sides and KINDS[span.kind].holds in NUMBERS and not span.value:
        return None
    if sides == 2 and _alone(span):
        return None
    flags = span.flags
    if not strong and not text:
        flags = (*flags, Flag(FlagCode.ORDINARY_WORDS))
    limit = 1 if _alone(span) else 2
    if sides >= limit:
        flags = (*flags, Flag(FlagCode.AMID_TALK))
    return replace(span, flags=flags)


def _painted(span: Span, marks: frozenset[str]) -> Span:
    """Doubt a mark that hunt.toml does not list, where it lists any."""
    if not marks or span.mark in {"", UNMARKED, *marks}:
        return span
    flag = Flag.of(FlagCode.UNPAINTED, span.mark)
    return replace(span, flags=(*span.flags, flag))


def _spelt(span: Span, value: str) -> str:
    return " ".join(filter(None, (span.kind.value, span.mark, value)))


def flagged_above(kind: EventKind) -> float:
    """Say how much above the limit of doubt notes of a kind are still flagged."""
    return NUMBERS_MORE if KINDS[kind].holds in NUMBERS else 0.0


def _event(
    pieces: Sequence[StreamWord], span: Span, recording: str, flag_below: float
) -> Event:
    said = pieces[span.first : span.last]
    if _in_own_words(span):
        confidence = said[0].confidence
        alternatives: tuple[Alternative, ...] = ()
    else:
        confidence = st.confidence_of(said)
        share = 0.5 / max(1, len(span.options))
        alternatives = st.alternatives_of(said) + tuple(
            Alternative(text=_spelt(span, option), confidence=share)
            for option in span.options
        )
    flags = span.flags
    # 0.9 + 0.05 is over 0.95
    if confidence < round(flag_below + flagged_above(span.kind), 6):
        flags = (*flags, Flag.of(FlagCode.HARDLY_HEARD, f"{confidence:.2f}"))
    return Event(
        kind=span.kind,
        mark=span.mark,
        value=span.value,
        recording=recording,
        start_s=said[0].start_s,
        end_s=said[-1].end_s,
        confidence=confidence,
        heard=st.heard(said),
        alternatives=alternatives,
        flags=tuple(dict.fromkeys(flags)),
    )


def marks_of_bearings(events: Sequence[Event]) -> list[Event]:
    """Give a bearing said in one breath with a bee's leaving that bee's mark."""
    found: list[Event] = []
    for event in events:
        before = found[-1] if found else None
        if (
            before is not None
            and event.kind is EventKind.BEARING
            and not event.mark
            and before.kind is EventKind.AWAY
            and event.start_s is not None
            and before.end_s is not None
            and event.start_s - before.end_s <= ONE_BREATH_S
        ):
            found.append(replace(event, mark=before.mark))
        else:
            found.append(event)
    return found


def parse_notes(
    utterances: Iterable[Utterance],
    book: PhraseBook,
    *,
    recording: str = "",
    flag_below: float = DOUBT_BELOW,
) -> list[Event]:
    """Make events of dictated notes.

    Parameters
    ----------
    utterances
        What an engine heard, in seconds from the start of the recording.
    book
        The phrase book the engine listened with.
    recording
        Name of the recording, copied into each event.
    flag_below
        Confidence, 0 to 1, below which an event says that it was hardly heard, a
        bearing or a time NUMBERS_MORE above; the hunt's own is `speech.flag_below` of
        hunt.toml.

    Returns
    -------
    list of Event
        In order of time, without clock times. A "scratch that" is an event, and the
        note before it says that it was taken back.
    """
    pieces = st.stream(utterances)
    every = replace(book, marks_in_use=frozenset())
    spans = _Finder(pieces, Lexicon.of(every)).spans()
    judged = [_judge(pieces, spans, number) for number in range(len(spans))]
    events = [
        _event(pieces, _painted(span, book.marks_in_use), recording, flag_below)
        for span in judged
        if span
    ]
    return flag_scratched(marks_of_bearings(events))


def notes_of(pieces: Sequence[StreamWord], lexicon: Lexicon) -> list[Event] | None:
    """Make events of words that are notes from the first to the last; else None."""
    spans = _Finder(pieces, lexicon).spans()
    if not spans or sum(span.last - span.first for span in spans) < len(pieces):
        return None
    events = [_event(pieces, span, "", 0.0) for span in spans]
    return marks_of_bearings(events)


_WORD_S = 0.3  # a pace at which written words count as one breath


def parse_typed(text: str, book: PhraseBook) -> list[Event]:
    """Return the notes in written words: "yellow away bearing two one zero".

    Parameters
    ----------
    text
        Words with spaces between, in lower case, without punctuation.
    book
        The phrase book they are read by.
    """
    words = tuple(
        Word(
            text=word,
            start_s=index * _WORD_S,
            end_s=(index + 1) * _WORD_S,
            source=WordSource.TEXT,
        )
        for index, word in enumerate(text.split())
    )
    if not words:
        return []
    said = Utterance(words=words, start_s=0.0, end_s=words[-1].end_s)
    return parse_notes([said], book)
