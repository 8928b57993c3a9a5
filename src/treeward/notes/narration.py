"""Events out of free speech, as people narrate what marked bees do.

"White's just left, about two ten ... there she goes ... what's the time? Ten past
two." Sentences in the phrase book's own words are read by `told_plainly`, all else by
the trained network. Talk that is no observation makes no event; what looks like one and
made none is listed beside the events.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING

from treeward.language.kinds import KINDS, UNMARKED, EventKind, Need
from treeward.language.number_words import cardinal_run
from treeward.speech.utterances import Alternative, Utterance, WordSource, spread

from .bee_names import BeeNames
from .events import flag_scratched
from .flags import Flag, FlagCode
from .sentences import speech_of
from .told_plainly import PlainNotes
from .trained.findings import IN_TALK, NEW
from .trained.network import load_network
from .trained.reading import notes_alone, read_lines
from .unread import TimeTold, Unread, times_told, unread_lines

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from treeward.language.phrasebook import PhraseBook
    from treeward.speech.utterances import Word

    from .events import Event
    from .trained.network import Network

A_NOTE = 3.0  # nats: what a note in it makes a text of talk likelier by; measured
MOST_NOTES = 2  # in one breath that count so
TYPED = 0.75  # share of a note that a person is asked about at once; guess
LINE_WORDS = 2  # heard in one go before the network makes notes of it; guess
PLAIN_WORDS = 4  # and before a note without a bee is one
SCRATCH_S = 15.0  # from a note to the "scratch that" that takes it back; guess
_SAME_WORD_S = 1e-6  # between the end of a word and itself
CUE_APART_S = 0.5  # between cues of a transcript that may part a number; guess
_AFTER_A_NUMBER = frozenset({"degrees", "minutes", "minute", "seconds", "past"})
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
        Reads what is said in other words; None for the one that ships with Treeward.

    Returns
    -------
    Narration
        Events in order of time, without clock times. What is in doubt says so in its
        flags, and so does a mark that hunt.toml does not list where it lists any.
    """
    return _narrated(list(utterances), (), book, network=network, recording=recording)


def read_beside(
    utterances: Sequence[Utterance], events: Sequence[Event], book: PhraseBook
) -> list[Event]:
    """Make events of sentences said after others: "she landed", of the bee noted last.

    `events` tell who is here and who is out, and are not given back.
    """
    told = _narrated(utterances, events, book, network=None, recording="", least=TYPED)
    return list(told.events)


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
        All events, in order of time. Those out of talk say that they were told freely.
    """
    network = network or load_network()
    whole = [_as_text(one, book, network) for one in utterances]
    between = [
        Utterance.of(run)
        for one, words in whole
        for is_talk, run in _runs(one, words)
        if is_talk
    ]
    told = _narrated(
        [Utterance.of(words) for _, words in whole if words],
        (),
        book,
        network=network,
        recording=recording,
        given=events,
    )
    return replace(told, unread=tuple(_unread(between, told.events, book, recording)))


def _narrated(
    said: Sequence[Utterance],
    heard: Sequence[Event],
    book: PhraseBook,
    *,
    network: Network | None,
    recording: str,
    given: Sequence[Event] | None = None,
    least: float = NEW,
) -> Narration:
    """Read what was said.

    `heard` are notes before it, which are not given back; `given` are those among it,
    which are: what is read beside them says that it was told freely.
    """
    said = numbers_whole(said)
    speech, pieces = speech_of(said, book.colour_words)
    if not pieces:
        return Narration(events=tuple(given or ()))
    names = BeeNames(book, speech.text, speech.proper)
    plain = PlainNotes(speech, pieces, book, names).read()
    if given is not None:
        plain = [*given, *(one for one in plain if _beside(one, given))]
        plain.sort(key=lambda event: event.start_s or 0.0)
    read = read_lines(
        said,
        names,
        book,
        network or load_network(),
        plain=_scratching(plain),
        heard=heard,
        given=given or (),
        least_words=1 if given is None else LINE_WORDS,
        least=least if given is None else IN_TALK,
    )
    sure = {_place_of(event) for event in given or ()}
    events = [
        event
        if given is not None and _place_of(event) in sure
        else _made(event, book, recording, freely=given is not None)
        for event in read
    ]
    if given is not None:
        events = [one for one in events if _place_of(one) in sure or _bee_known(one)]
    events = flag_scratched(events) if given is None else events
    unread = (
        unread_lines(speech, pieces, events, names, recording=recording)
        if given is None
        else []  # the talk alone is looked through, by who asks
    )
    times = times_told(speech, pieces)
    return Narration(events=tuple(events), unread=tuple(unread), times=tuple(times))


def numbers_whole(said: Sequence[Utterance]) -> list[Utterance]:
    """Put a number that two cues part into the later one: "away, two / forty".

    Captioners part what is said by its length, in the midst of sentences.
    """
    found: list[Utterance] = []
    for one in said:
        before = found[-1] if found else None
        if before and before.words and one.words:
            first = one.words[0].text.lower().rstrip(".,!?")
            at_once = one.start_s - before.end_s < CUE_APART_S
            kept = _before_a_number(before.words)
            if at_once and kept < len(before.words) and _goes_on(first):
                found.pop()
                if kept:
                    found.append(Utterance.of(before.words[:kept]))
                one = Utterance.of([*before.words[kept:], *one.words])  # noqa: PLW2901
        found.append(one)
    return found


def _before_a_number(words: Sequence[Word]) -> int:
    """Count the words before the number at their end; "two hundred and" is one."""
    at = len(words)
    while at and (_is_number(words[at - 1].text) or words[at - 1].text == "and"):
        at -= 1
    while at < len(words) and words[at].text == "and":
        at += 1
    return at


def _goes_on(word: str) -> bool:
    return _is_number(word) or word in _AFTER_A_NUMBER


def _is_number(word: str) -> bool:
    plain = word.lower()
    if plain in {"for", "to", "too"} or not plain[-1:].isalnum():
        return False
    return plain.isdigit() or plain == "hundred" or cardinal_run([plain]) is not None


def _place_of(event: Event) -> tuple[EventKind, float | None, float | None]:
    return event.kind, event.start_s, event.end_s


def _made(event: Event, book: PhraseBook, recording: str, *, freely: bool) -> Event:
    event = replace(event, recording=recording)
    if freely and not event.has(FlagCode.TOLD_FREELY):
        event = event.flagged(Flag(FlagCode.TOLD_FREELY))
    return _painted(event, book.marks_in_use)


def _beside(plain: Event, given: Sequence[Event]) -> bool:
    """Tell whether a note in the phrase book's words was not heard surely as well.

    A word or two without a bee are more often none: "still", "five to nine".
    """
    start_s, end_s = plain.start_s or 0.0, plain.end_s or 0.0
    again = any(
        (one.start_s or 0.0) < end_s and start_s < (one.end_s or 0.0) for one in given
    )
    return not again and (bool(plain.mark) or len(plain.heard.split()) >= PLAIN_WORDS)


def _unread(
    talk: Sequence[Utterance], events: Sequence[Event], book: PhraseBook, recording: str
) -> list[Unread]:
    """List the lines of talk between notes that name a bee and made no note."""
    speech, pieces = speech_of(talk, book.colour_words)
    if not pieces:
        return []
    names = BeeNames(book, speech.text, speech.proper)
    return unread_lines(speech, pieces, events, names, recording=recording)


def _bee_known(event: Event) -> bool:
    """Tell whether it is known which bee a note is of, if it has to be of one."""
    return bool(event.mark) or KINDS[event.kind].mark is not Need.MUST


def _scratching(plain: Sequence[Event]) -> list[Event]:
    """Doubt a "scratch that" with no note in the phrase book's words before it.

    What else it takes back makes no note, for the network sees the words that follow;
    a scratch in doubt takes no other note back.
    """
    found: list[Event] = []
    for event in plain:
        last = found[-1] if found else None
        late_s = (event.start_s or 0.0) - (last.end_s or 0.0) if last else math.inf
        if event.kind is EventKind.SCRATCH and late_s > SCRATCH_S:
            found.append(event.flagged(Flag(FlagCode.TAKES_NOTHING_BACK)))
        else:
            found.append(event)
    return found


def _as_text(
    utterance: Utterance, book: PhraseBook, network: Network
) -> tuple[list[bool], list[Word]]:
    """Give an utterance's words as text, and of each whether it is talk.

    Of what talk may have been it is what is likeliest here: "he is red, settling down"
    is hardly less likely by its sound than "he is read", and makes a note. The first
    word of what was said in one go holds all of that.
    """
    talk: list[bool] = []
    found: list[Word] = []
    words, at = utterance.words, 0
    while at < len(words):
        is_talk = words[at].source is WordSource.TALK
        texts = words[at].alternatives if is_talk else ()
        count = len(texts[0].text.split()) if texts else 1
        run, at = words[at : at + count], at + count
        if texts:
            text = _END_TOO.sub(r"\1 too", _likeliest(texts, book, network))
            said = spread(text.split(), run[0].start_s, run[-1].end_s)
            run = tuple(replace(word, confidence=run[0].confidence) for word in said)
        found += [replace(one, source=WordSource.TEXT, alternatives=()) for one in run]
        talk += [is_talk] * len(run)
    return talk, found


def _runs(
    talk: Sequence[bool], words: Sequence[Word]
) -> Iterator[tuple[bool, list[Word]]]:
    """Part words where talk begins or ends."""
    for is_talk, run in groupby(
        zip(talk, words, strict=True), key=lambda pair: pair[0]
    ):
        yield is_talk, [word for _, word in run]


def _likeliest(texts: Sequence[Alternative], book: PhraseBook, network: Network) -> str:
    """Weigh what may have been said by its sound, and by whether it makes notes."""
    notes = notes_alone([one.text for one in texts], book, network)

    def worth(place: int) -> float:
        told = A_NOTE * min(notes[place], MOST_NOTES)
        return math.log(max(texts[place].confidence, 1e-9)) + told

    return texts[max(range(len(texts)), key=worth)].text


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
    freely = [event for event in read_beside(talk, events, book) if _bee_known(event)]
    lines = _unread(talk, events, book, recording)
    found = [
        line
        for line in lines
        if line.marks or any(_tells(line, event) for event in freely)
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
