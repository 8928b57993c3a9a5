"""Why a note needs a look: a code, and the words that belong to it.

    flag = Flag.of(FlagCode.ROUGH, "about")
    flag.sentence                                  # "said to be rough: 'about'"
    read_flag("said to be rough: 'about'") == flag  # True

Here alone are the sentences that stand in the column "flag" of review.csv. A sentence
that a person wrote there, or that an older Treeward did, stays as it was told.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


class FlagCode(StrEnum):
    """Why a note needs a look. Codes are for code; people read the sentences."""

    # As it was heard.
    HARDLY_HEARD = "hardly_heard"
    ORDINARY_WORDS = "ordinary_words"
    AMID_TALK = "amid_talk"
    NO_VALUE = "no_value"
    UNPAINTED = "unpainted"
    TAKEN_BACK = "taken_back"
    TAKES_NOTHING_BACK = "takes_nothing_back"
    # Values in words.
    ROUGH = "rough"
    SOUND_ALIKE = "sound_alike"
    SOUNDS_LIKE_TOO = "sounds_like_too"
    MORE_NUMBERS = "more_numbers"
    OVER_FULL_CIRCLE = "over_full_circle"
    UNREADABLE = "unreadable"
    NO_HUNDREDS = "no_hundreds"
    NOT_WHOLE = "not_whole"
    NO_DATE = "no_date"
    # Free speech.
    AMID_WORDS = "amid_words"
    DOUBT_IN_WORDS = "doubt_in_words"
    ONLY_NAMED = "only_named"
    MORE_SAID = "more_said"
    BEE_IN_VIEW = "bee_in_view"
    BEE_UNSAID = "bee_unsaid"
    CORRECTED = "corrected"
    TOLD_FREELY = "told_freely"
    LIKELY_MEANT = "likely_meant"
    TOLD_LATE = "told_late"
    TOLD_LATER = "told_later"
    HERE_ALREADY = "here_already"
    LEAVING_MISSED = "leaving_missed"
    NEW_BEE = "new_bee"
    MAY_COME = "may_come"
    SAME_WAY = "same_way"
    BEARING_AFTER = "bearing_after"
    TWO_LEFT = "two_left"
    TAKEN_AS = "taken_as"
    EARLIER_TIME = "earlier_time"
    TIME_UNSAID = "time_unsaid"
    HALF_OF_DAY = "half_of_day"
    # Read again in the light of the others.
    TAKEN_AS_OTHERS = "taken_as_others"
    TAKEN_AS_BEES_GO = "taken_as_bees_go"
    DEPARTURES_IN_A_ROW = "departures_in_a_row"
    STATION_UNSAID = "station_unsaid"
    STATION_UNLISTED = "station_unlisted"
    # The clock.
    NO_TIME_OF_DAY = "no_time_of_day"
    UNFIT_TIME = "unfit_time"
    NO_DAY = "no_day"
    RECORDER_PAUSED = "recorder_paused"
    HOUR_TWICE = "hour_twice"
    # While listening.
    ASKED_AGAIN = "asked_again"
    SAID_AGAIN = "said_again"
    AFTER_DARK = "after_dark"
    OTHER_CLOCK = "other_clock"
    NOT_LISTENING = "not_listening"
    # Heard more than once.
    HEARD_ONLY_LIVE = "heard_only_live"
    HEARD_LIVE_AS = "heard_live_as"
    HEARD_ANEW = "heard_anew"
    NO_LONGER_HEARD = "no_longer_heard"
    PUT_BACK = "put_back"
    # Typed into review.csv.
    VALUE_UNREAD = "value_unread"
    STANDS_BESIDE = "stands_beside"
    MARK_UNKNOWN = "mark_unknown"
    # Anything else that stands in review.csv.
    TOLD = "told"


_SENTENCES: Mapping[FlagCode, str] = {
    FlagCode.HARDLY_HEARD: "heard with little confidence ({})",
    FlagCode.ORDINARY_WORDS: "heard as ordinary words",
    FlagCode.AMID_TALK: "in the middle of talk",
    FlagCode.NO_VALUE: "no {} heard after '{}'",
    FlagCode.UNPAINTED: "{} is not among the marks in hunt.toml",
    FlagCode.TAKEN_BACK: "taken back by '{}'",
    FlagCode.TAKES_NOTHING_BACK: "what it takes back made no note",
    FlagCode.ROUGH: "said to be rough: '{}'",
    FlagCode.SOUND_ALIKE: "'{}' taken as a number",
    FlagCode.SOUNDS_LIKE_TOO: "sounds like {} too",
    FlagCode.MORE_NUMBERS: "more number words than a {} has: '{}'",
    FlagCode.OVER_FULL_CIRCLE: "{} is more than 360 degrees",
    FlagCode.UNREADABLE: "no {} can be read from '{}'",
    FlagCode.NO_HUNDREDS: "'{}' has no hundreds: {}?",
    FlagCode.NOT_WHOLE: "'{}' is not a whole {}",
    FlagCode.NO_DATE: "'{}' is no date",
    FlagCode.AMID_WORDS: "in the middle of other words",
    FlagCode.DOUBT_IN_WORDS: "doubt in words: '{}'",
    FlagCode.ONLY_NAMED: "a bee was named, not what it did",
    FlagCode.MORE_SAID: "more was said: '{}'",
    FlagCode.BEE_IN_VIEW: "'{}' taken as the bee in view, {}",
    FlagCode.BEE_UNSAID: "which bee it is was not said",
    FlagCode.CORRECTED: "corrected by '{}'",
    FlagCode.TOLD_FREELY: "told freely",
    FlagCode.LIKELY_MEANT: "read from the whole line, likely meant ({} %)",
    FlagCode.TOLD_LATE: "taken {} s before it was said: '{}'",
    FlagCode.TOLD_LATER: "said to be earlier: '{}'",
    FlagCode.NEW_BEE: "no coming of {} and no painting was noted before",
    FlagCode.HERE_ALREADY: "{} was here already, as far as the notes tell",
    FlagCode.LEAVING_MISSED: "{} was painted here, her leaving was not noted",
    FlagCode.MAY_COME: "she may still come",
    FlagCode.SAME_WAY: "the same way as before, taken as {}",
    FlagCode.BEARING_AFTER: "another bearing was said right after: {}",
    FlagCode.TWO_LEFT: "two bees left, whose it is was not said",
    FlagCode.TAKEN_AS_OTHERS: "heard as {}, taken for {} as that suits the others",
    FlagCode.TAKEN_AS_BEES_GO: "heard as '{}', taken for '{}' as the bees go",
    FlagCode.DEPARTURES_IN_A_ROW: (
        "order: {} of two departures of {} in a row, {} min apart: was it a landing, "
        "or was one missed?"
    ),
    FlagCode.STATION_UNSAID: (
        "station: none was said in this recording, add a row that says it"
    ),
    FlagCode.STATION_UNLISTED: "station: {} is not in hunt.toml, which has {}",
    FlagCode.NO_TIME_OF_DAY: "clock: {} is not a time of day",
    FlagCode.UNFIT_TIME: "clock: does not fit the other times, misheard?",
    FlagCode.NO_DAY: "clock: nothing tells the day of this time",
    FlagCode.RECORDER_PAUSED: (
        "clock: the recorder seems to have been paused between {} and {}, so this "
        "time may be {} min off"
    ),
    FlagCode.HOUR_TWICE: (
        "this hour came twice that day, write the clock with its offset"
    ),
    FlagCode.ASKED_AGAIN: "asked to say it again",
    FlagCode.SAID_AGAIN: "said again",
    FlagCode.AFTER_DARK: "said after dark",
    FlagCode.OTHER_CLOCK: "the computer's clock says {}",
    FlagCode.NOT_LISTENING: "not listening for {} s: {}",
    FlagCode.HEARD_ONLY_LIVE: "noted while listening, not heard in the recording",
    FlagCode.HEARD_LIVE_AS: "heard as {} while listening",
    FlagCode.HEARD_ANEW: "heard anew as: {}",
    FlagCode.NO_LONGER_HEARD: "no longer heard, kept because you changed it",
    FlagCode.PUT_BACK: (
        "had gone from review.csv, put back: write drop to leave it out"
    ),
    FlagCode.VALUE_UNREAD: "value: '{}' is not read, {} has none of its own",
    FlagCode.STANDS_BESIDE: "typed beside another that stands there: {}",
    FlagCode.MARK_UNKNOWN: "mark: '{}' is none of the hunt's, did you mean {}?",
    FlagCode.EARLIER_TIME: "'{}' is earlier than what the line says before it",
    FlagCode.TIME_UNSAID: "no time stands with '{}', taken as {}",
    FlagCode.HALF_OF_DAY: "'{}' taken as {}, in the morning: was it in the evening?",
    # Last but one, as others say more of what something was taken for.
    FlagCode.TAKEN_AS: "'{}' taken as {}",
    FlagCode.TOLD: "{}",
}
# What the clock says anew of every time, and a second look of every note.
OF_THE_CLOCK = frozenset(
    {
        FlagCode.NO_TIME_OF_DAY,
        FlagCode.UNFIT_TIME,
        FlagCode.NO_DAY,
        FlagCode.RECORDER_PAUSED,
    }
)
OF_SECOND_LOOK = frozenset(
    {
        FlagCode.DEPARTURES_IN_A_ROW,
        FlagCode.STATION_UNSAID,
        FlagCode.STATION_UNLISTED,
    }
)
# What is told anew of the cells that a person typed, at every reading.
OF_CELLS = frozenset({FlagCode.VALUE_UNREAD, FlagCode.MARK_UNKNOWN})
# Settled elsewhere, or not about what was heard: they put no note in doubt.
SETTLED = OF_THE_CLOCK | OF_SECOND_LOOK | {FlagCode.TAKEN_BACK, FlagCode.VALUE_UNREAD}


@dataclass(frozen=True, slots=True)
class Flag:
    """Why a note needs a look.

    `words` are what the sentence of the code needs, in its order.
    """

    code: FlagCode
    words: tuple[str, ...] = ()

    @classmethod
    def of(cls, code: FlagCode, *words: object) -> Flag:
        """Make a flag of its code and what its sentence needs."""
        return cls(code, tuple(str(word) for word in words))

    @property
    def sentence(self) -> str:
        """As it stands in review.csv."""
        return _SENTENCES[self.code].format(*self.words)

    @property
    def settled(self) -> bool:
        """Whether it leaves the note itself beyond doubt."""
        return self.code in SETTLED


def _pattern(sentence: str) -> re.Pattern[str]:
    parts = (re.escape(part) for part in sentence.split("{}"))
    return re.compile("(.*)".join(parts), re.DOTALL)


_PATTERNS = {code: _pattern(sentence) for code, sentence in _SENTENCES.items()}


# As version 1 wrote it; the semicolon wanted a backslash among other sentences.
_FORMERLY = {
    "station: none was said in this recording; add a row that says it": (
        FlagCode.STATION_UNSAID
    )
}


@lru_cache(maxsize=4096)
def read_flag(sentence: str) -> Flag:
    """Read a sentence of review.csv; one that is not known is kept as it was told."""
    if (former := _FORMERLY.get(sentence)) is not None:
        return Flag(former)
    for code, pattern in _PATTERNS.items():
        if match := pattern.fullmatch(sentence):
            return Flag(code, match.groups())
    raise AssertionError(sentence)  # the last pattern fits all


def read_flags(sentences: Iterable[str]) -> tuple[Flag, ...]:
    """Read the sentences of a row."""
    return tuple(read_flag(sentence) for sentence in sentences)


def sentences_of(flags: Iterable[Flag]) -> tuple[str, ...]:
    """Give the sentences of flags."""
    return tuple(flag.sentence for flag in flags)
