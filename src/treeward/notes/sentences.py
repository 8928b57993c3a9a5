"""Free speech as plain sentences: one spelling for each word, borders marked.

    "White's just left, okay?"  ->  "white is left , okay ?"

"has" becomes "is", since "white's" may be either; words that add nothing ("just",
"already") are left out. A comma marks a border a phrase may cross, "." and "?" ones
it may not.

Before that stand the words of all utterances as one stream, each with its own time, so
that a phrase may cross the borders of utterances and of engine words; and words that a
dictation program set down for others that sound the same: "the read 1 is back" is "the
red one is back". A sound-alike is taken only where a bee must stand, after an article
or "there goes", or right before what a bee does; "I read two fifty", "the wind blew"
and "write that down" stay what they are.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.language.number_words import (
    DIGIT_WORDS,
    TEEN_WORDS,
    TENS_WORDS,
    cardinal_run,
    plain_words,
)
from treeward.speech.utterances import WordSource

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from treeward.speech.utterances import Alternative, Utterance, Word


# Said in passing; they neither make talk nor break a note.
FILLERS = frozenset(
    {
        *("um", "uh", "er", "erm", "ah", "oh", "mm", "hmm", "okay", "ok", "right"),
        *("and", "so", "now", "well", "yes", "yeah", "yep", "then", "the", "a"),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamWord:
    """One spoken word.

    `word` counts engine words and `utterance` utterances from the start. `raw` keeps
    the punctuation of a transcript, `capital` that it writes the word with one.
    """

    text: str
    start_s: float
    end_s: float
    confidence: float
    source: WordSource
    word: int
    utterance: int
    raw: str
    alternatives: tuple[Alternative, ...] = ()
    capital: bool = False

    @property
    def strong(self) -> bool:
        """Whether the engine listened for just this."""
        return self.source is WordSource.PHRASE


def _pieces_of(word: Word, count: int, utterance: int) -> list[StreamWord]:
    texts = plain_words(word.text)
    raws = word.text.split()
    total = sum(len(text) for text in texts) or 1
    duration_s = word.end_s - word.start_s
    pieces: list[StreamWord] = []
    said = 0
    for index, text in enumerate(texts):
        start_s = word.start_s + duration_s * said / total
        said += len(text)
        pieces.append(
            StreamWord(
                text=text,
                start_s=start_s,
                end_s=word.start_s + duration_s * said / total,
                confidence=word.confidence,
                source=word.source,
                word=count,
                utterance=utterance,
                raw=raws[index] if len(raws) == len(texts) else word.text,
                alternatives=word.alternatives,
                capital=word.capital and not index,
            )
        )
    return pieces


def stream(utterances: Iterable[Utterance]) -> list[StreamWord]:
    """Lay out all words in order of time."""
    pieces: list[StreamWord] = []
    count = 0
    ordered = sorted(utterances, key=lambda utterance: utterance.start_s)
    for number, utterance in enumerate(ordered):
        for word in utterance.words:
            if word.source is WordSource.TALK:
                continue
            pieces += _pieces_of(word, count, number)
            count += 1
    return pieces


def gap_before_s(pieces: Sequence[StreamWord], index: int) -> float:
    """Give the silence before a piece in seconds, endless before the first."""
    if index <= 0:
        return float("inf")
    if index >= len(pieces):
        return float("inf")
    return pieces[index].start_s - pieces[index - 1].end_s


def texts_from(
    pieces: Sequence[StreamWord], first: int, *, within_s: float, most: int = 12
) -> list[str]:
    """Give the words from `first` on until a gap longer than `within_s`."""
    found: list[str] = []
    for index in range(first, min(len(pieces), first + most)):
        if index > first and gap_before_s(pieces, index) > within_s:
            break
        found.append(pieces[index].text)
    return found


def confidence_of(pieces: Sequence[StreamWord]) -> float:
    """Give the confidence of the least sure word.

    The engine gives all words of one note the confidence of the whole note, so that
    multiplying them would count it several times.
    """
    return min(piece.confidence for piece in pieces)


def heard(pieces: Sequence[StreamWord]) -> str:
    """Give the words as the engine wrote them."""
    return " ".join(piece.text for piece in pieces)


def alternatives_of(pieces: Sequence[StreamWord]) -> tuple[Alternative, ...]:
    """Give other readings of a note, which stand on its first word that has any."""
    found = next((piece.alternatives for piece in pieces if piece.alternatives), ())
    return tuple(sorted(found, key=lambda other: -other.confidence))


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_SOUNDS_LIKE = {
    "blew": "blue",
    "read": "red",
    "write": "white",
    "wight": "white",
    "rite": "white",
    "grain": "green",
    "greene": "green",
}
# Right after these stands a thing or a bee, no verb.
_BEFORE_A_BEE = _words(
    "the a an that's there's here's this that goes comes with no my our poor little is"
    " it's another hello of and's still"
)
_NO_VERB = _words("the a an no with goes comes another my our there's here's that's")
_VERB_AFTER = _words(
    "is has was had isn't hasn't just back in away gone off left again leaving landed"
    " taken took returned came coming heading one 1 bee be's and"
)
_IS = _words("is has was isn't hasn't wasn't")
_SPEAKER = _words("i you we they who to could can't couldn't didn't wind it had have")
_ONE_AFTER = _words("the other another this that next last first") | _words(
    "second third fourth 3rd 2nd 4th done"
)
_TOO_AFTER = _words("in back off away gone here")
_PRONOUN = _words("she she's he it and so but")


def as_said(pieces: Sequence[StreamWord], colours: Collection[str]) -> list[StreamWord]:
    """Put the bees and numbers that were said in place of their sound-alikes."""
    found = [*pieces]
    for at, piece in enumerate(found):
        before = _text(found, at, -1)
        after = _text(found, at, 1)
        said = _heard(piece.text, before, after, colours)
        if said != piece.text:
            found[at] = replace(piece, text=said, raw=_spelled(piece, said))
    return found


def _text(pieces: Sequence[StreamWord], at: int, step: int) -> str:
    """Give the word next to a piece, "" where a border parts the two."""
    other = at + step
    if not 0 <= other < len(pieces):
        return ""
    first = pieces[min(at, other)]
    apart = pieces[other].utterance != pieces[at].utterance
    return "" if apart or first.raw[-1:] in {".", "?", "!"} else pieces[other].text


def _heard(word: str, before: str, after: str, colours: Collection[str]) -> str:
    """Give the word that was said, by the words beside it."""
    colour = _SOUNDS_LIKE.get(word, "")
    if colour in colours and before not in _SPEAKER:
        led = before in _NO_VERB or (before in _BEFORE_A_BEE and after in _VERB_AFTER)
        first = before in {"", "right", "so", "okay", "not"}
        starts = first and after in _VERB_AFTER - _TOO_AFTER  # "read back to me"
        also = after in {"2", "two", "too"} and before in _BEFORE_A_BEE
        is_hers = after in _IS  # no verb stands before "is"
        return colour if led or starts or also or is_hers else word
    if word == "be" and (before in _ONE_AFTER or before in {"a", *colours}):
        return "bee"
    digits = re.fullmatch(r"\d+", after) is not None
    named = before in {*_ONE_AFTER, *colours, *_SOUNDS_LIKE} or after in colours
    named = (named and not digits) or before in {"other", "another"}
    too = before in {*_TOO_AFTER, *colours, *_SOUNDS_LIKE}
    also = word == "2" and after in {"", *_PRONOUN} and too
    if word == "1":
        word = "one" if named else word
    elif word == "2" and after == "of":
        word = "two"
    return "too" if also else word


def _spelled(piece: StreamWord, said: str) -> str:
    """Keep the punctuation that a word of a transcript carries."""
    return piece.raw.replace(piece.text, said) if piece.text in piece.raw else said


# Dialect, and words as a phone's dictation writes them.
_SPELT = (
    "can't=can not|cannot=can not|won't=will not|let's=let us|has=is|gonna=going to"
    "|ok=okay|alright=okay|wi=with|faintest=faint|ain't=is not|aint=is not"
    "|innit=is it not|'em=them|em=them|another'n=another one|'tis=it is|tis=it is"
    "|'twas=it was|thegither=together|wan=one|yin=one|awa=away|oot=out|doon=down"
    "|aff=off|hame=home|frae=from|fae=from|tae=to|ower=over|gaun=going|roon=round"
    "|nae=no|hunner=hundred|hunder=hundred|hunnert=hundred"
    "|thats=that is|theres=there is|heres=here is|shes=she is|hes=he is"
    "|whats=what is|im=i am|ive=i have|weve=we have|theyre=they are|dont=do not"
    "|didnt=did not|isnt=is not|hasnt=is not|havent=have not|wasnt=was not"
    "|cant=can not|couldnt=could not|wont=will not"
)
_WHOLE = dict(one.split("=") for one in _SPELT.split("|"))
# "its" is "it is" before these, hers before anything else.
_IT_IS = _words(
    "a about an away back been calm coming eight eleven five four gone half just"
    " landed nearly nine not now number off one quarter seven six still ten the three"
    " twelve twenty two"
)
# "she'd" is "she had" before these, "she would" before anything else.
_HAD = _words(
    "already arrived been come flown gone had just landed left marked only painted"
    " returned taken"
)
_ENDINGS = (
    ("n't", " not"),
    ("'ll", " will"),
    ("'ve", " have"),
    ("'re", " are"),
    ("'m", " am"),
    ("'d", " would"),
    ("'s", " is"),
)
_ADDS_NOTHING = _words(
    "actually ah already also clearly definitely eh ehm er erm err euh finally hm hmm"
    " just mm noo now only quickly really uh uhm um umm"
)
_COMPASS_LIKE = re.compile(
    r"((?:north|south)?(?:east|west)|north|south)(erly|ish|wards?|er)"
)
_HALF_POINT = re.compile(r"(n|s)(?:or|ou)'-?(east|west)(?:erly)?")
_BORDER = {",": ",", ";": ",", ":": ",", "-": ",", "\u2013": ",", "\u2014": ","}
_HALT = "..."  # somebody halts, and may go on
_BORDERS = {".", "?", ",", _HALT}
_UNITS = frozenset(word for words in DIGIT_WORDS.values() for word in words)
_TEENS = frozenset(TEEN_WORDS.values())
_TENS = frozenset(TENS_WORDS.values())
_ENDS = re.compile(r"[\s\"')\]\u2019\u201d]*$")
LONG_PAUSE_S = 1.0  # without punctuation, a pause this long ends a sentence; guess
_SOFT_PAUSE_S = 2.5  # a phrase may go on after this pause at the end of an utterance


def plain_spelling(word: str, following: str = "") -> str:
    """Spell a word one way: "white's" as "white is", "" when it adds nothing."""
    if word in _ADDS_NOTHING:
        return ""
    if word == "its" and following in _IT_IS:
        word = "it's"
    if halved := _HALF_POINT.fullmatch(word):  # "sou'west"
        word = {"n": "north", "s": "south"}[halved[1]] + halved[2]
    if plain := _without_ending(word):
        return plain
    if word.endswith("'d") and following in _HAD:
        return word[:-2] + " had"
    if word in _WHOLE:
        return _WHOLE[word]
    if word.endswith("nae") and len(word) > 4:  # "isnae", as in Scotland
        word = word.removesuffix("nae") + "n't"
    for ending, long in _ENDINGS:
        if word.endswith(ending) and len(word) > len(ending):
            head = word.removesuffix(ending)
            return plain_spelling(head) + long
    return word


def _without_ending(word: str) -> str:
    """Spell "westerly" as "west", "165-ish" as "165 ish"; "" for another word."""
    if compass := _COMPASS_LIKE.fullmatch(word):
        return compass[1] + (" ish" if compass[2] == "ish" else "")
    head = word.removesuffix("ish").rstrip("-")
    if head != word and (head[-1:].isdigit() or cardinal_run([head])):
        return f"{head} ish"
    return ""


def plain_phrase(text: str) -> str:
    """Spell a phrase of the phrase book the way sentences are spelled."""
    words = [plain_spelling(word) for word in text.split()]
    return " ".join(word for word in words if word)


@dataclass(frozen=True, slots=True, kw_only=True)
class Speech:
    """All sentences in one text, and the piece each character came from.

    `text` begins and ends with a space, so that a word is " word ". `proper` are its
    words that a transcript writes with a capital within sentences, and never without.
    """

    text: str
    owner: tuple[int, ...]  # index of the piece, for each character
    proper: frozenset[str] = frozenset()

    def pieces_between(self, first: int, last: int) -> tuple[int, int]:
        """Give the pieces, first and one past the last, that text came from."""
        return self.owner[first], self.owner[max(first, last - 1)] + 1


def _border(pieces: Sequence[StreamWord], index: int) -> str:
    """Tell the border after a piece: ".", "?", "," or none."""
    piece = pieces[index]
    last = index + 1 == len(pieces)
    same_word = not last and pieces[index + 1].word == piece.word
    mark = "" if same_word else _ENDS.sub("", piece.raw)[-1:]
    if not last and _ENDS.sub("", piece.raw).endswith(("...", "\u2026", "-", "\u2013")):
        return _HALT
    if mark in {"?", "!", "."}:
        return "?" if mark == "?" else "."
    if last:
        return "."
    gap_s = gap_before_s(pieces, index + 1)
    if pieces[index + 1].utterance != piece.utterance:
        return "," if gap_s <= _SOFT_PAUSE_S else "."
    if gap_s >= LONG_PAUSE_S:
        return "."
    return _BORDER.get(mark, "")


def _stray_border(piece: StreamWord) -> str:
    """Take a dash that stands alone, as in "the time? - ten past two"."""
    return "," if piece.raw[:1] in _BORDER and len(piece.raw) > 1 else ""


def speech_of(
    utterances: Iterable[Utterance], colours: Collection[str] = ()
) -> tuple[Speech, list[StreamWord]]:
    """Lay out everything that was said as sentences.

    `colours` are words for marks; "pinks", as engines write "pink's", is "pink is".
    """
    pieces = as_said(stream(utterances), colours)
    said: list[tuple[str, int]] = []
    for index, piece in enumerate(pieces):
        following = pieces[index + 1].text if index + 1 < len(pieces) else ""
        spelled = plain_spelling(piece.text, following)
        if spelled.endswith("s") and spelled[:-1] in colours:
            spelled = f"{spelled[:-1]} is"
        border = _border(pieces, index)
        if spelled == "quarter" and said and said[-1][0] == "three":
            spelled = "quarters"
        spelled_out = spelled.split() if spelled else []
        parts_said = (_stray_border(piece), *spelled_out, border)
        said += [(part, index) for part in parts_said if part]
    parts: list[str] = [" "]
    owner: list[int] = [0]
    for part, index in _mended(said):
        parts.append(part + " ")
        owner += [index] * (len(part) + 1)
    text = "".join(parts)
    proper = _proper(text, owner, pieces)
    return Speech(text=text, owner=tuple(owner), proper=proper), pieces


_QUOTES = "\"'(\u201c\u2018\u00ab"


def _proper(
    text: str, owner: Sequence[int], pieces: Sequence[StreamWord]
) -> frozenset[str]:
    """Find the words that are written with a capital, not only as first words."""
    inner, small = set[str](), set[str]()
    ends = True
    for match in re.finditer(r"(?<= )[^ ]+(?= )", text):
        word, piece = match[0], pieces[owner[match.start()]]
        if word in _BORDERS:
            ends = ends or word != ","
            continue
        if not piece.text.startswith(word):
            continue  # "ophelia is": the second word of "Ophelia's"
        quoted = piece.raw[:1] in _QUOTES  # what another says begins with a capital
        if not ends and not quoted:
            (inner if piece.capital else small).add(word)
        ends = False
    return frozenset(inner - small) if len(inner) < len(small) else frozenset()


def _mended(said: list[tuple[str, int]]) -> list[tuple[str, int]]:
    """Take hesitation out of numbers: "two hundred ... sixty ... sixty-eight".

    What was broken off goes on ("two hundred and ... six"); what is begun anew stands
    as it is said the second time.
    """
    found: list[tuple[str, int]] = []
    place = 0
    while place < len(said):
        if said[place][0] not in _BORDERS:
            found.append(said[place])
            place += 1
            continue
        gap = place
        while place < len(said) and said[place][0] in _BORDERS:
            place += 1
        borders = {part for part, _ in said[gap:place]}
        after = [part for part, _ in said[place : place + 6]]
        halting = _HALT in borders or place - gap > 1
        if (halting or (found[-1:] and found[-1][0] == "and")) and _goes_on(
            found, after
        ):
            continue
        if halting or "?" in borders:
            again = _begun_anew(found, after)
            if again:
                del found[-again:]
                continue
        border = next((one for one in (".", "?", _HALT) if one in borders), ",")
        border = "." if border == _HALT else border
        found.append((border, said[gap][1]))
    return found


def _goes_on(found: list[tuple[str, int]], after: list[str]) -> bool:
    """Tell whether a number that was broken off goes on: "two hundred", "six"."""
    before = [part for part, _ in found[-3:]]
    following = (after[1:] or [""])[0]
    if not before or not after or not _counts(after[0]) or following == "hundred":
        return False
    if before[-1] == "and":
        return len(before) > 1 and (
            _counts(before[-2]) or before[-2] in {"hundred", "minutes", "hours"}
        )
    if before[-1] == "hundred":
        return True
    return (
        before[-1] in _TENS and after[0] in _UNITS and following not in _TENS | _TEENS
    )


def _begun_anew(found: list[tuple[str, int]], after: list[str]) -> int:
    """Give how many words were broken off, to be said anew: "ninety, ninety-six"."""
    run = 0
    while run < len(found) and (
        _counts(found[-1 - run][0]) or found[-1 - run][0] in {"hundred", "and"}
    ):
        run += 1
    words = [part for part, _ in found[len(found) - run :]] if run else []
    if words and words[: len(after)] == after[: len(words)]:
        return run
    alike = (_UNITS | _TEENS, _TENS)  # "ten ... eleven"
    small = words and after and any({words[-1], after[0]} <= kind for kind in alike)
    whole = after[1:2] and after[1] in {"hundred", "hours", "minutes"}
    return 1 if small and not whole and run < 3 else 0


def _counts(word: str) -> bool:
    return word in _TENS or word in _TEENS or word in _UNITS or word.isdigit()


MOST_WORDS = 10  # no value is longer


def words_from(text: str, place: int) -> list[str]:
    """Give the words from `place` to the next border."""
    border = re.compile(r"[.?,] |$").search(text, place)
    end = border.start() if border else len(text)
    return text[place:end].split()[:MOST_WORDS]


def place_after(text: str, place: int, words: int) -> int:
    """Give the place after so many words."""
    for _ in range(words):
        place = text.index(" ", place) + 1
    return place
