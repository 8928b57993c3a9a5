"""What a practice came to, in words and as a dictionary.

What practice advises: words to avoid, how the sound is, which sensitivity.
"""

from __future__ import annotations

import statistics
from dataclasses import asdict, dataclass
from math import ceil, floor
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from treeward.hunt_tables import DOUBT_BELOW
from treeward.language.kinds import UNMARKED
from treeward.language.number_words import DIGIT_WORDS

from .prompts import ways_of_saying
from .scoring import tally_parts, tally_shapes

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from treeward.language.phrasebook import PhraseBook

    from .scoring import Aligned, Attempt, Loudness, PartTally


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
    where there were none: what was not heard wrongly tells nothing. `readings` are the
    confidence of each note heard, 0 to 1, and whether it was right.

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


_WIDTH = 80  # columns of a terminal
_RIGHT, _FLAGGED, _WRONG, _MISSED = "right", "flagged", "WRONG", "missed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Everything that is told at the end."""

    attempts: tuple[Attempt, ...]
    unreached: int
    strays: int
    invented: int  # notes made of what answers no prompt
    shapes: tuple[PartTally, ...]
    parts: tuple[PartTally, ...]
    avoid: tuple[Avoid, ...]
    sound: SoundAdvice
    sensitivity: Sensitivity
    sensitivity_avoiding: Sensitivity | None  # once words to avoid are given up
    engine: str

    @property
    def right(self) -> int:
        """How many prompts were read right."""
        return sum(attempt.right for attempt in self.attempts)


def outcome_of(
    aligned: Aligned,
    book: PhraseBook,
    *,
    background_dbfs: float,
    flag_below: float,
    engine: str,
    share: float = CAUGHT_SHARE,
) -> Outcome:
    """Draw the conclusions.

    The `book` tells words of the same meaning; the hunt flags below `flag_below` at
    present, and `share` of the wrong readings shall be flagged.
    """
    attempts = aligned.attempts
    parts = tally_parts(attempts)
    avoid = words_to_avoid(parts, book)
    invented = [(event.confidence, False) for event in aligned.invented]
    every = [each for attempt in attempts for each in attempt.readings()] + invented
    kept = readings_without(attempts, avoid) + invented
    return Outcome(
        attempts=attempts,
        unreached=aligned.unreached,
        strays=aligned.strays,
        invented=len(invented),
        shapes=tuple(tally_shapes(attempts)),
        parts=tuple(parts),
        avoid=tuple(avoid),
        sound=judge_sound(loudness_of(attempts), background_dbfs),
        sensitivity=suggest_sensitivity(every, now=flag_below, share=share),
        sensitivity_avoiding=(
            suggest_sensitivity(kept, now=flag_below, share=share)
            if len(kept) < len(every)
            else None
        ),
        engine=engine,
    )


def state_of(attempt: Attempt) -> str:
    """Say in a word how an attempt went."""
    if not attempt.events:
        return _MISSED
    if not attempt.right:
        return _WRONG
    return _FLAGGED if any(event.flags for event in attempt.events) else _RIGHT


def attempt_line(attempt: Attempt) -> str:
    """Say how an attempt went: what was asked, and what was heard instead."""
    state, rest = state_of(attempt), _result(attempt)
    return f"{state:<8}{attempt.prompt.text:<30} {rest}".rstrip()


def answer_line(attempt: Attempt) -> str:
    """Say how an attempt went to who has just read the prompt."""
    return f"{state_of(attempt):<8}{_result(attempt)}".rstrip()


def _result(attempt: Attempt) -> str:
    parts = []
    if attempt.events:
        least = min(event.confidence for event in attempt.events)
        parts.append(f"confidence {least:.2f}")
    if not attempt.right:
        parts.append(f"heard {attempt.heard}")
    return ", ".join(parts)


def outcome_lines(outcome: Outcome) -> list[str]:
    """Tell everything but the single attempts, for the terminal."""
    return [
        *_count_lines(outcome),
        "",
        "Hit rate by phrase",
        *_tally_lines(outcome.shapes),
        "Hit rate by word",
        *_tally_lines([p for p in outcome.parts if p.role != "value"]),
        "",
        *_avoid_lines(outcome.avoid),
        *_sound_lines(outcome.sound),
        *_sensitivity_lines(outcome.sensitivity, outcome.sensitivity_avoiding),
    ]


def _count_lines(outcome: Outcome) -> list[str]:
    states = [state_of(attempt) for attempt in outcome.attempts]
    total, right = len(states), outcome.right
    lines = [f"{right} of {total} prompts were read right ({_percent(right, total)})."]
    if flagged := states.count(_FLAGGED):
        lines.append(f"{flagged} of those would be flagged for a look.")
    wrong = [a for a in outcome.attempts if state_of(a) == _WRONG]
    if wrong:
        unseen = sum(not any(e.flags for e in a.events) for a in wrong)
        lines.append(f"{len(wrong)} read wrong, {unseen} of them unflagged.")
    if missed := states.count(_MISSED):
        lines.append(f"{missed} gave no note.")
    if outcome.unreached:
        lines.append(f"{outcome.unreached} at the end were not reached.")
    if outcome.strays:
        lines.append(
            f"Other sounds or words, answering no prompt: {outcome.strays}; "
            f"notes invented from them: {outcome.invented}."
        )
    return lines


def _percent(part: int, whole: int) -> str:
    return f"{part / whole:.0%}" if whole else "none tried"


def _tally_lines(tallies: Sequence[PartTally]) -> list[str]:
    """One line each; words that were always heard share one."""
    lines = []
    for tally in (t for t in tallies if t.hits < t.tries):
        instead = ", ".join(
            f"{words} ({count})" if count > 1 else words
            for words, count in tally.instead.most_common(3)
        )
        rate = f"{tally.hits} of {tally.tries}"
        lines.append(f"  {tally.words:<22}{rate:<10}instead: {instead}")
    always = [f"{t.words} ({t.tries})" for t in tallies if t.hits == t.tries]
    if always:
        text = f"always heard: {', '.join(always)}"
        lines += wrap(
            text, _WIDTH, initial_indent="  ", subsequent_indent="    ",
            break_on_hyphens=False,
        )  # fmt: skip
    return lines


def _avoid_lines(avoid: Sequence[Avoid]) -> list[str]:
    if not avoid:
        return ["Words to avoid: none that was missed twice.", ""]
    lines = ["Words to avoid"]
    lines += [
        f"  '{each.words}', heard {each.hits} of {each.tries} times: {each.advice}"
        for each in avoid
    ]
    return [*lines, ""]


def _sound_lines(sound: SoundAdvice) -> list[str]:
    if sound.speech_dbfs is None:
        return ["Sound", *(f"  {fault}" for fault in sound.faults), ""]
    return [
        f"Sound: speech {sound.speech_dbfs:.0f} dBFS, "
        f"background {sound.background_dbfs:.0f} dBFS, "
        f"{sound.speech_dbfs - sound.background_dbfs:.0f} dB apart"
        + ("" if sound.faults else ": good"),
        *(f"  {fault}" for fault in sound.faults),
        "",
    ]


def _sensitivity_lines(every: Sensitivity, avoiding: Sensitivity | None) -> list[str]:
    lines = [f"Sensitivity: rows are flagged below a confidence of {every.now:.2f}"]
    if avoiding is None:
        lines += _advised(every)
    else:
        lines += ["  with the words to avoid given up:", *_advised(avoiding)]
        lines += ["  with all the words that were tried:", *_advised(every)]
    return lines


def _advised(found: Sensitivity) -> list[str]:
    advised = (
        f"keep {found.now:.2f}"
        if found.flag_below == found.now
        else f"hunt.toml [speech] flag_below = {found.flag_below:.2f}"
    )
    counts = (
        f"flags {found.wrong_flagged} of {found.wrong} wrong readings "
        f"and {found.right_flagged} of {found.right} right ones"
    )
    lines = [f"  {advised}: {found.why}", f"    {counts}"]
    if found.flag_below > found.now and found.right_flagged > found.right / 2:
        lines.append(
            "    most rows would be flagged: other words or less noise help more"
        )
    return lines


def outcome_dict(outcome: Outcome) -> dict[str, Any]:
    """Return everything for JSON, with units in the names."""
    sound, sensitivity = outcome.sound, outcome.sensitivity
    return {
        "engine": outcome.engine,
        "prompts": len(outcome.attempts),
        "right": outcome.right,
        "unreached": outcome.unreached,
        "strays": outcome.strays,
        "invented": outcome.invented,
        "attempts": [_attempt_dict(attempt) for attempt in outcome.attempts],
        "phrases": [_tally_dict(tally) for tally in outcome.shapes],
        "words": [_tally_dict(tally) for tally in outcome.parts],
        "avoid": [
            {
                "words": each.words,
                "tries": each.tries,
                "hits": each.hits,
                "heard_as": list(each.heard_as),
                "instead": list(each.instead),
                "advice": each.advice,
            }
            for each in outcome.avoid
        ],
        "sound": {
            "speech_dbfs": _round(sound.speech_dbfs),
            "background_dbfs": _round(sound.background_dbfs),
            "clipped_phrases": sound.clipped_phrases,
            "faults": list(sound.faults),
        },
        "sensitivity": asdict(sensitivity),
        "sensitivity_avoiding": (
            asdict(outcome.sensitivity_avoiding)
            if outcome.sensitivity_avoiding is not None
            else None
        ),
    }


def _attempt_dict(attempt: Attempt) -> dict[str, Any]:
    return {
        "prompt": attempt.prompt.text,
        "state": state_of(attempt).lower(),
        "heard": attempt.heard,
        "start_s": _round(attempt.phrases[0].start_s) if attempt.phrases else None,
        "confidence": min((e.confidence for e in attempt.events), default=None),
        "flags": [f.sentence for event in attempt.events for f in event.flags],
    }


def _tally_dict(tally: PartTally) -> dict[str, Any]:
    return {
        "words": tally.words,
        "role": tally.role,
        "tries": tally.tries,
        "hits": tally.hits,
        "instead": dict(tally.instead),
    }


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
