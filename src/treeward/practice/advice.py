"""What practice advises: words to avoid, how the sound is, which sensitivity."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING

from treeward.hunt_tables import DOUBT_BELOW
from treeward.language.kinds import UNMARKED
from treeward.language.number_forms import DIGIT_WORDS

from .prompts import ways_of_saying

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treeward.language.phrasebook import PhraseBook

    from .scoring import Attempt, Loudness, PartTally

AVOID_BELOW = 0.75  # share heard under which a word is to be avoided; choice
LEAST_MISSES = 2  # one miss says nothing about a word; choice
# Heard better than others of their meaning, or as well, in 36 pairs by nine synthetic
# speakers at 12 dB: "landed" 34, "back" 34, "bearing" 31, "heading" 23, "time" 32,
# "clock" 27 (own measurements). Offered first if untried.
HEARD_BEST = frozenset({"landed", "bearing", "time"})
CAUGHT_SHARE = 0.9  # of the wrong readings that shall be flagged, by default; choice
ENOUGH_WRONG = 10  # wrong readings from which a lower sensitivity may be concluded: of
# n readings, the next is beyond all of them in 1 of n + 1 cases.
TOO_QUIET_DBFS = -50.0  # of speech; a synthetic voice lost notes at -72, none at -52
NOISY_BELOW_DB = 15.0  # speech over background; below it notes are lost (own benchmark)


@dataclass(frozen=True, slots=True, kw_only=True)
class Avoid:
    """Words that are not heard well, and what to say for them."""

    words: str
    tries: int
    hits: int
    instead: tuple[str, ...]  # empty: there is no other word
    role: str
    heard_as: tuple[str, ...]

    @property
    def advice(self) -> str:
        """What to do, as an instruction."""
        others = " or ".join(f"'{word}'" for word in self.instead)
        if self.role == "mark":
            if self.instead:
                return f"paint another colour: {others}"
            return "paint another colour"
        if others:
            return f"say {others} instead"
        if self.role in {"digit", "value"}:
            return "say it slowly, with a little pause around it"
        return "there is no other word: say it slowly"


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundAdvice:
    """How loud speech and background were, and what is wrong with it."""

    speech_dbfs: float | None  # None: no speech was found
    background_dbfs: float
    clipped_phrases: int
    faults: tuple[str, ...]

    @property
    def over_background_db(self) -> float | None:
        """Speech over background."""
        if self.speech_dbfs is None:
            return None
        return self.speech_dbfs - self.background_dbfs


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensitivity:
    """The confidence below which rows should be flagged, and what that does.

    `wrong` and `right` count the notes heard, `wrong_flagged` and `right_flagged`
    those of them with less confidence than `flag_below`.
    """

    flag_below: float
    now: float
    share: float
    wrong: int
    wrong_flagged: int
    right: int
    right_flagged: int
    why: str


def words_to_avoid(tallies: Sequence[PartTally], book: PhraseBook) -> list[Avoid]:
    """Name the words that were missed again and again, worst first."""
    found = []
    for tally in tallies:
        if tally.tries - tally.hits < LEAST_MISSES or tally.rate >= AVOID_BELOW:
            continue
        found.append(
            Avoid(
                words=tally.words,
                tries=tally.tries,
                hits=tally.hits,
                instead=tuple(_better(tally, tallies, book))[:2],
                role=tally.role,
                heard_as=tuple(word for word, _ in tally.instead.most_common(3)),
            )
        )
    return found


def _better(
    tally: PartTally, tallies: Sequence[PartTally], book: PhraseBook
) -> Iterable[str]:
    """List other words for the same that are heard better, the best first."""
    tried = {(other.role, other.words): other for other in tallies}

    def worth(words: str) -> float:
        other = tried.get((tally.role, words))
        if other is None:
            return 0.8 if words in HEARD_BEST else 0.7  # below whatever was heard well
        return 1.0 + other.rate if other.rate >= AVOID_BELOW else other.rate

    others = [
        words
        for words in _same_meaning(tally, tallies, book)
        if f" {tally.words} " not in f" {words} " and worth(words) > tally.rate
    ]
    return sorted(others, key=worth, reverse=True)


def _same_meaning(
    tally: PartTally, tallies: Sequence[PartTally], book: PhraseBook
) -> list[str]:
    match tally.role:
        case "say":
            return ways_of_saying(book, tally.meaning)
        case "digit":
            return list(DIGIT_WORDS[int(tally.meaning)])
        case "mark":
            heard = [t for t in tallies if t.role == "mark" and t.meaning != UNMARKED]
            return [t.words for t in heard if t.rate >= AVOID_BELOW]
        case _:
            return list(book.wind.get(tally.meaning, ()))


def judge_sound(loud: Sequence[Loudness], background_dbfs: float) -> SoundAdvice:
    """Say whether speech is too quiet, clipped, or lost in noise."""
    faults: list[str] = []
    if not loud:
        return SoundAdvice(
            speech_dbfs=None,
            background_dbfs=background_dbfs,
            clipped_phrases=0,
            faults=("no speech was found: the microphone is off or the wrong one",),
        )
    speech_dbfs = statistics.median(each.speech_dbfs for each in loud)
    clipped = sum(each.clipped for each in loud)
    if clipped:
        faults.append(
            f"clipping in {clipped} of {len(loud)} phrases: "
            "turn the microphone down or move it away"
        )
    if speech_dbfs < TOO_QUIET_DBFS:
        faults.append("too quiet: turn the microphone up or move it nearer")
    if speech_dbfs - background_dbfs < NOISY_BELOW_DB:
        faults.append(
            "noisy: move the microphone nearer to the mouth, and out of the wind"
        )
    return SoundAdvice(
        speech_dbfs=speech_dbfs,
        background_dbfs=background_dbfs,
        clipped_phrases=clipped,
        faults=tuple(faults),
    )


def loudness_of(attempts: Iterable[Attempt]) -> list[Loudness]:
    """List how loud the phrases were."""
    return [
        phrase.loudness
        for attempt in attempts
        for phrase in attempt.phrases
        if phrase.loudness is not None
    ]


def readings_without(
    attempts: Iterable[Attempt], avoid: Sequence[Avoid]
) -> list[tuple[float, bool]]:
    """Give confidence and rightness of the notes, as if bad words were given up.

    Prompts are left out that hold a word to avoid for which there is another.
    """
    given_up = {(each.role, each.words) for each in avoid if each.instead}
    return [
        reading
        for attempt in attempts
        if not given_up & {(part.role, part.words) for part in attempt.prompt.parts}
        for reading in attempt.readings()
    ]


def suggest_sensitivity(
    readings: Sequence[tuple[float, bool]],
    *,
    now: float = DOUBT_BELOW,
    share: float = CAUGHT_SHARE,
) -> Sensitivity:
    """Find the confidence below which rows should be flagged.

    The least hundredth that leaves at least `share` of the wrong readings below it.
    It is never put below `now` on the evidence of few mistakes, and stays as it is
    where there were none: what was not heard wrongly tells nothing.

    Parameters
    ----------
    readings
        Confidence of each note heard, 0 to 1, and whether it was right.
    now
        What the hunt has at present.
    share
        Share of the wrong readings to be flagged, above 0 and at most 1.

    Raises
    ------
    ValueError
        `share` is not above 0 and at most 1.
    """
    if not 0 < share <= 1:
        raise ValueError(f"share must be above 0 and at most 1, not {share}")
    wrong = sorted(confidence for confidence, right in readings if not right)
    right = [confidence for confidence, is_right in readings if is_right]
    if not wrong:
        least, why = now, "nothing was heard wrongly, so nothing speaks for a change"
    else:
        last = wrong[ceil(share * len(wrong) - 1e-9) - 1]
        least = min(1.0, (floor(last * 100 + 1e-9) + 1) / 100)
        why = f"flags at least {share:.0%} of the wrong readings"
        if least < now and len(wrong) < ENOUGH_WRONG:
            least, why = now, f"{len(wrong)} wrong readings are too few to go lower"
        elif last >= least:
            why = "some wrong readings were heard with full confidence: none is enough"
    return Sensitivity(
        flag_below=least,
        now=now,
        share=share,
        wrong=len(wrong),
        wrong_flagged=sum(confidence < least for confidence in wrong),
        right=len(right),
        right_flagged=sum(confidence < least for confidence in right),
        why=why,
    )
