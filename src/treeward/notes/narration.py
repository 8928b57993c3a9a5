"""Events out of free speech, as people narrate what marked bees do.

"White's just left, about two ten ... there she goes ... what's the time? Ten past
two." Talk that is no observation makes no event; what looks like one and made none is
listed beside the events. See `narrator` for how sentences are read.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from itertools import groupby, takewhile
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, UNMARKED, EventKind, Need
from treeward.speech.utterances import Alternative, Utterance, WordSource, spread

from .bee_names import BeeNames
from .events import flag_scratched
from .flags import Flag, FlagCode
from .narrator import Narrator
from .sayings import TIME_ASKED
from .sentences import speech_of
from .trained.reading import weigh
from .unread import TimeTold, Unread, times_told, unread_lines

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treeward.language.phrasebook import PhraseBook
    from treeward.speech.utterances import Word

    from .events import Event
    from .sentences import Speech, StreamWord
    from .trained.network import Network

A_NOTE = 3.0  # nats: what a note in it makes a text of talk likelier by; measured
MOST_NOTES = 2  # in one breath that count so
LONE_WORDS = 3  # of "five to nine"; with "it's" before it, it is a time; guess
LINE_WORDS = 4  # heard in one go before the network adds to them; guess, by lone words
ASKED = 60  # characters before such a time in which it was asked for; guess
_SAME_WORD_S = 1e-6  # between the end of a word and itself
_UNNAMED = frozenset({FlagCode.WIND_UNNAMED, FlagCode.SOUNDS_LIKE_TOO})
# "White's in too", which engines write as a number.
_END_TOO = re.compile(
    r"(\b(?:in|back|off|away|out|gone|down|left|landed|here)) (?:two|to)(?=[.,!]|$)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Narration:
    """What free speech came to: events, lines that made none, and times in general."""

    events: tuple[Event, ...] = ()
    unread: tuple[Unread, ...] = ()
    times: tuple[TimeTold, ...] = ()


def parse_narration(
    utterances: Iterable[Utterance], book: PhraseBook, *, recording: str = ""
) -> list[Event]:
    """Make events of free speech; `read_narration` without what made none."""
    return list(read_narration(utterances, book, recording=recording).events)


def read_narration(
    utterances: Iterable[Utterance],
    book: PhraseBook,
    *,
    recording: str = "",
    network: Network | None = None,
) -> Narration:
    """Make events of free speech.

    Parameters
    ----------
    utterances
        A timed transcript, seconds from the start of the recording.
    book
        The phrase book: its colours and its ways of saying, those under `narrate`
        among them.
    recording
        Name of the recording, copied into each event.
    network
        Weighs what the rules make of it, and adds what they miss; None for the rules
        alone.

    Returns
    -------
    Narration
        Events in order of time, without clock times. Doubt in words, pronouns and
        rough values are said in the flags, and so is a mark that hunt.toml does not
        list where it lists any.
    """
    said = list(utterances)
    speech, pieces = speech_of(said, book.colour_words)
    if not pieces:
        return Narration()
    narrator = Narrator(speech, pieces, book)
    found = sorted(narrator.read(), key=lambda event: event.start_s or 0.0)
    if network is not None:
        names = BeeNames(book, speech.text, speech.proper)
        found = weigh(said, found, names, book, network)
    events = flag_scratched(
        [
            _painted(replace(event, recording=recording), book.marks_in_use)
            for event in found
        ]
    )
    unread = unread_lines(speech, pieces, events, narrator.names, recording=recording)
    return Narration(
        events=tuple(events),
        unread=tuple(unread),
        times=tuple(times_told(speech, pieces)),
    )


def read_talk(
    utterances: Iterable[Utterance],
    events: Sequence[Event],
    book: PhraseBook,
    *,
    recording: str = "",
    network: Network | None = None,
) -> Narration:
    """Make events of what was said between the notes of a recording.

    Parameters
    ----------
    utterances
        What an engine heard: its words between the notes are those of talk.
    events
        The notes themselves, which are surer: they tell who is here and who is out.
    book
        The phrase book.
    recording
        Its name, copied into each event.
    network
        As for `read_narration`.

    Returns
    -------
    Narration
        All events, in order of time. Those out of talk say that they were told freely;
        "there it goes" is none where nobody knows which bee. A note that talk corrects
        is changed and says so.
    """
    talk = [
        replace(one, words=_likely_said(one.words, book))
        for one in _between_notes(utterances)
    ]
    speech, pieces = speech_of(talk, book.colour_words)
    if not pieces:
        return Narration(events=tuple(events))
    timed = sorted(events, key=lambda event: event.start_s or 0.0)
    narrator = Narrator(speech, pieces, book, timed)
    read = narrator.read()
    sure = [event for n, event in enumerate(read) if n in narrator.found.given]
    free = [
        event
        for n, event in enumerate(read)
        if n not in narrator.found.given and _may_be_told(event, speech, pieces)
    ]
    if network is not None:
        names = BeeNames(book, speech.text, speech.proper)
        every = [*sure, *free]
        given = range(len(sure))
        weighed = weigh(
            talk,
            every,
            names,
            book,
            network,
            given=given,
            least_words=LINE_WORDS,
        )
        free = [event for event in weighed if not any(event is one for one in sure)]
    found = [*sure, *(_told_freely(event, book, recording) for event in free)]
    found.sort(key=lambda event: event.start_s or 0.0)
    unread = unread_lines(speech, pieces, found, narrator.names, recording=recording)
    return Narration(
        events=tuple(found),
        unread=tuple(unread),
        times=tuple(times_told(speech, pieces)),
    )


def _told_freely(event: Event, book: PhraseBook, recording: str) -> Event:
    flags = dict.fromkeys((*event.flags, Flag(FlagCode.TOLD_FREELY)))
    freely = replace(event, recording=recording, flags=tuple(flags))
    return _painted(freely, book.marks_in_use)


def _may_be_told(event: Event, speech: Speech, pieces: Sequence[StreamWord]) -> bool:
    """Tell whether words of talk are a note: its bee is known, and what it is of.

    "Still" and "five to nine" alone are more often no wind, and no time, unless
    somebody asked for the time.
    """
    lone = len(event.heard.split()) <= LONE_WORDS
    if lone and any(flag.code in _UNNAMED for flag in event.flags):
        begun_s = event.start_s or 0.0
        starts_s = (pieces[piece].start_s for piece in speech.owner)
        before = takewhile(lambda start_s: start_s < begun_s, starts_s)
        first = sum(1 for _ in before)
        return bool(TIME_ASKED.search(speech.text[max(0, first - ASKED) : first]))
    return bool(event.mark) or KINDS[event.kind].mark is not Need.MUST


def _likely_said(words: Sequence[Word], book: PhraseBook) -> tuple[Word, ...]:
    """Put, of all that may have been said, what is likeliest here.

    "He is red, settling down" is hardly less likely by its sound than "he is read",
    and makes a note. The first word of what was said in one go holds all of that.
    """
    found: list[Word] = []
    at = 0
    while at < len(words):
        texts = words[at].alternatives
        count = len(texts[0].text.split()) if texts else 1
        run, at = words[at : at + count], at + count
        if texts:
            text = max(texts, key=lambda one: _worth(one, book)).text
            said = spread(
                _END_TOO.sub(r"\1 too", text).split(), run[0].start_s, run[-1].end_s
            )
            run = [replace(word, confidence=run[0].confidence) for word in said]
        found += run
    return tuple(found)


def _worth(text: Alternative, book: PhraseBook) -> float:
    """Weigh what may have been said by its sound, and by whether it makes notes."""
    words = tuple(spread(text.text.split(), 0.0, 1.0))
    alone = Utterance(words=words, start_s=0.0, end_s=1.0)
    notes = sum(event.confidence for event in parse_narration([alone], book))
    return math.log(max(text.confidence, 1e-9)) + A_NOTE * min(notes, MOST_NOTES)


def _painted(event: Event, marks: frozenset[str]) -> Event:
    """Doubt a mark that hunt.toml does not list, where it lists any."""
    if not marks or event.mark in {"", UNMARKED, *marks}:
        return event
    flag = Flag.of(FlagCode.UNPAINTED, event.mark)
    said = set(event.mark.replace("-", " ").split())
    like = sorted(mark for mark in marks if said <= set(mark.replace("-", " ").split()))
    others = tuple(
        Alternative(
            text=" ".join(filter(None, (event.kind, mark, event.value))),
            confidence=0.5 / len(like),
        )
        for mark in like
    )
    return replace(
        event,
        flags=(*event.flags, flag),
        alternatives=(*others, *event.alternatives),
    )


def told_in_talk(
    utterances: Sequence[Utterance],
    events: Sequence[Event],
    book: PhraseBook,
    *,
    recording: str,
) -> tuple[Unread, ...]:
    """Return what was said between the notes that free speech would tell of bees.

    Of a recording in which only phrases are read: sentences of which reading free
    speech makes a note, and those that name a mark. "One more, here" is enough for a
    line of a transcript, and too common in people's talk for one of a recording.
    """
    talk = _between_notes(utterances)
    speech, pieces = speech_of(talk, book.colour_words)
    names = BeeNames(book, speech.text, speech.proper)
    lines = unread_lines(speech, pieces, events, names, recording=recording)
    before = {(event.end_s, event.kind) for event in events}
    freely = [
        event
        for event in read_talk(utterances, events, book, recording=recording).events
        if (event.end_s, event.kind) not in before and event.end_s is not None
    ]
    # Nobody may know yet which bee it was.
    moves = [
        event
        for event in read_narration(talk, book, recording=recording).events
        if event.kind in {EventKind.AWAY, EventKind.BACK}
    ]
    found = [
        line
        for line in lines
        if line.marks or any(_tells(line, event) for event in (*freely, *moves))
    ]
    for event in freely:
        if not any(_tells(line, event) for line in found):
            found.append(
                Unread(
                    recording=recording,
                    text=event.heard,
                    start_s=event.start_s,
                    end_s=event.end_s,
                )
            )
    return tuple(sorted(found, key=lambda line: line.start_s or 0.0))


def _between_notes(utterances: Iterable[Utterance]) -> list[Utterance]:
    """Give the words between the notes as utterances of their own."""
    return [
        Utterance.of([replace(word, source=WordSource.TEXT) for word in run])
        for utterance in utterances
        for between, run in groupby(
            utterance.words, key=lambda word: word.source is WordSource.TALK
        )
        if between
    ]


def _tells(line: Unread, event: Event) -> bool:
    """Tell whether a note was told in a line: its last word is there."""
    start_s, end_s = line.start_s or 0.0, line.end_s or 0.0
    return start_s < (event.end_s or 0.0) <= end_s + _SAME_WORD_S
