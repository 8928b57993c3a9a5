"""Practice, scored: which prompt each spoken phrase answers, and what was read right.

    attempts = align(prompts, phrases, parse).attempts
    tally = tally_parts(attempts)

Pure: what was heard comes in as words, so tests can script it. The sound is cut and
recognised in `practice_sound`, the advice is in `practice_advice`.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from typing import TYPE_CHECKING

from treeward.notes.parser import flagged_above

from .prompts import reading_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from treeward.notes.events import Event
    from treeward.speech.utterances import Utterance

    from .prompts import Part, Prompt, PromptReading

    Parse = Callable[[Sequence[Utterance]], Sequence[Event]]

# Costs of fitting phrases to prompts; a right phrase costs 0, one that shares nothing
# with its prompt 1. Choices: a cough is dropped rather than shifting all that follows.
SKIP_PROMPT = 0.9
SKIP_PHRASE = 0.5
JOIN = 0.55  # more than dropping a piece, so that only what helps is joined
LONGEST_JOIN = 3  # pieces into which pauses may cut one prompt
UNREACHED_S = 1.5  # a prompt takes longer than this to say


@dataclass(frozen=True, slots=True, kw_only=True)
class Loudness:
    """How loud a phrase was. Levels in dB of full scale."""

    speech_dbfs: float
    clipped: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """A stretch of speech and the words heard in it, None where none were."""

    start_s: float
    end_s: float
    utterance: Utterance | None
    loudness: Loudness | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One prompt and what came of it."""

    prompt: Prompt
    phrases: tuple[Phrase, ...] = ()
    events: tuple[Event, ...] = ()
    matched: tuple[Event | None, ...] = ()  # for each wanted note, what was heard

    @property
    def right(self) -> bool:
        """Whether just the wanted notes were heard."""
        heard = tuple(reading_of(event) for event in self.events)
        return heard == self.prompt.wanted

    @property
    def heard(self) -> str:
        """What was heard, in words: notes, else bare words, else "nothing"."""
        if self.events:
            return ", ".join(reading_of(event).text for event in self.events)
        words = " ".join(p.utterance.text for p in self.phrases if p.utterance)
        return f"no note, only '{words}'" if words else "nothing"

    def readings(self) -> list[tuple[float, bool]]:
        """Give confidence, and whether it is right, for each note that was heard.

        Confidence as it counts against the limit of doubt: bearings and times are
        flagged a little above it too, so theirs is so much less.
        """
        right = {
            id(event)
            for event, wanted in zip(self.matched, self.prompt.wanted, strict=True)
            if event is not None and reading_of(event) == wanted
        }
        return [
            (round(e.confidence - flagged_above(e.kind), 12), id(e) in right)
            for e in self.events
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Aligned:
    """Prompts with the phrases that answer them, in order."""

    attempts: tuple[Attempt, ...]
    unreached: int = 0  # prompts after the end of the sound
    strays: int = 0  # phrases that answer no prompt
    invented: tuple[Event, ...] = ()  # notes made of them that nobody asked for


@dataclass(slots=True)
class PartTally:
    """How often words were tried and heard, and what was heard instead."""

    words: str
    role: str
    meaning: str
    tries: int = 0
    hits: int = 0
    instead: Counter[str] = field(default_factory=Counter)

    @property
    def rate(self) -> float:
        """Share of the tries that were heard."""
        return self.hits / self.tries if self.tries else 0.0


def judge(prompt: Prompt, phrases: Sequence[Phrase], parse: Parse) -> Attempt:
    """Say what came of one prompt."""
    return _attempt(prompt, phrases, _events(phrases, parse))


def _events(phrases: Sequence[Phrase], parse: Parse) -> tuple[Event, ...]:
    spoken = [p.utterance for p in phrases if p.utterance is not None]
    return tuple(parse(spoken)) if spoken else ()


def _attempt(
    prompt: Prompt, phrases: Sequence[Phrase], events: tuple[Event, ...]
) -> Attempt:
    return Attempt(
        prompt=prompt,
        phrases=tuple(phrases),
        events=events,
        matched=_matched(prompt.wanted, events),
    )


def _matched(
    wanted: Sequence[PromptReading], events: Sequence[Event]
) -> tuple[Event | None, ...]:
    """Find for each wanted note the event most like it, none of them twice."""
    left = list(events)
    found: list[Event | None] = []
    for reading in wanted:
        best = max(left, key=lambda e: _likeness(reading, reading_of(e)), default=None)
        if best is not None:
            left.remove(best)
        found.append(best)
    return tuple(found)


def _likeness(wanted: PromptReading, heard: PromptReading) -> float:
    """Share of a note's kind, mark and value that was heard."""
    same = (wanted.kind == heard.kind, wanted.mark == heard.mark)
    return (*same, wanted.value == heard.value).count(True) / 3


def align(
    prompts: Sequence[Prompt],
    phrases: Sequence[Phrase],
    parse: Parse,
    *,
    end_s: float | None = None,
) -> Aligned:
    """Fit the phrases of a recording to the prompts that were read in order.

    A phrase may be missing, cut in two by a pause, or be a cough or talk between the
    prompts; the cheapest reading of it all is taken (dynamic programming).

    Parameters
    ----------
    prompts, phrases
        Both in order.
    parse
        Makes notes of words.
    end_s
        Where the sound ends: prompts that do not fit in before it were not reached.
        Without it every prompt counts.
    """
    rows, columns = len(prompts), len(phrases)
    notes = {
        (end, size): _events(phrases[end - size : end], parse)
        for end in range(1, columns + 1)
        for size in range(1, min(LONGEST_JOIN, end) + 1)
    }
    best = [[float("inf")] * (columns + 1) for _ in range(rows + 1)]
    step: dict[tuple[int, int], tuple[int, int]] = {}
    tried: dict[tuple[int, int, int], Attempt] = {}
    best[0][0] = 0.0
    for i in range(rows + 1):
        for j in range(columns + 1):

            def offer(di: int, dj: int, cost: float, i: int = i, j: int = j) -> None:
                total = best[i - di][j - dj] + cost
                if total < best[i][j]:
                    best[i][j] = total
                    step[i, j] = (di, dj)

            if j:
                offer(0, 1, SKIP_PHRASE)
            if i:
                offer(1, 0, SKIP_PROMPT)
            for size in range(1, min(LONGEST_JOIN, j) + 1 if i else 1):
                attempt = _attempt(
                    prompts[i - 1], phrases[j - size : j], notes[j, size]
                )
                tried[i, j, size] = attempt
                offer(1, size, _cost(attempt) + JOIN * (size - 1))
    attempts: list[Attempt] = []
    strays = 0
    invented: list[Event] = []
    i, j = rows, columns
    while i or j:
        di, dj = step[i, j]
        if di and dj:
            attempts.append(tried[i, j, dj])
        elif di:
            attempts.append(_attempt(prompts[i - 1], (), ()))
        else:
            strays += 1
            # A prompt that is said a second time is no invention.
            near = {w for p in prompts[max(0, i - 1) : i + 1] for w in p.wanted}
            invented += [e for e in notes[j, 1] if reading_of(e) not in near]
        i, j = i - di, j - dj
    attempts.reverse()
    kept = _reached(attempts, phrases, end_s)
    return Aligned(
        attempts=tuple(kept),
        unreached=len(attempts) - len(kept),
        strays=strays,
        invented=tuple(reversed(invented)),
    )


def _cost(attempt: Attempt) -> float:
    """Say how unlike its prompt a phrase is, 0 to 1."""
    if attempt.right:
        return 0.0
    wanted = attempt.prompt.wanted
    like = sum(
        _likeness(reading, reading_of(event))
        for reading, event in zip(wanted, attempt.matched, strict=True)
        if event is not None
    ) / len(wanted)
    said = attempt.prompt.text.split()
    heard = " ".join(p.utterance.text for p in attempt.phrases if p.utterance).split()
    words = SequenceMatcher(None, said, heard).ratio()
    return 1.0 - 0.5 * like - 0.4 * words


def _reached(
    attempts: list[Attempt], phrases: Sequence[Phrase], end_s: float | None
) -> list[Attempt]:
    """Leave out prompts at the end that the recording has no time for."""
    if end_s is None:
        return attempts
    last = next((n for n in range(len(attempts), 0, -1) if attempts[n - 1].phrases), 0)
    left_s = end_s - (phrases[-1].end_s if phrases else 0.0)
    if left_s >= UNREACHED_S * (len(attempts) - last):
        return attempts
    return attempts[:last]


def tally_parts(attempts: Sequence[Attempt]) -> list[PartTally]:
    """Count, for each piece of the prompts, how often it was heard, worst first."""
    found: dict[tuple[str, str, str], PartTally] = {}
    for attempt in attempts:
        for part in attempt.prompt.parts:
            key = (part.role, part.meaning, part.words)
            tally = found.setdefault(
                key, PartTally(words=part.words, role=part.role, meaning=part.meaning)
            )
            tally.tries += 1
            instead = _heard_for(part, attempt)
            if instead is None:
                tally.hits += 1
            else:
                tally.instead[instead] += 1
    return sorted(found.values(), key=lambda t: (t.rate, -t.tries))


def _heard_for(part: Part, attempt: Attempt) -> str | None:
    """Return what was heard instead of a part, None where it was heard itself."""
    event = attempt.matched[part.note]
    if event is None:
        return "nothing"
    if part.role == "mark":
        return None if event.mark == part.meaning else event.mark or "no mark"
    wanted_kind = attempt.prompt.wanted[part.note].kind
    if part.role == "say" or event.kind.value != wanted_kind:
        return None if event.kind.value == wanted_kind else event.kind.value
    if event.value == attempt.prompt.wanted[part.note].value:
        return None
    if part.role == "digit" and event.value.isdigit():
        digit = f"{int(event.value):03d}"[part.place]
        return None if digit == part.meaning else digit
    return event.value or "no value"


def tally_shapes(attempts: Sequence[Attempt]) -> list[PartTally]:
    """Count how often prompts of one shape were read wholly right, in their order.

    A shape is a prompt with the mark and the number left out: "... landed".
    """
    found: dict[str, PartTally] = {}
    for attempt in attempts:
        shape = _shape(attempt.prompt)
        tally = found.setdefault(
            shape, PartTally(words=shape, role="shape", meaning=shape)
        )
        tally.tries += 1
        if attempt.right:
            tally.hits += 1
        else:
            tally.instead[attempt.heard] += 1
    return list(found.values())


def _shape(prompt: Prompt) -> str:
    text = f" {prompt.text} "
    for part in prompt.parts:
        if part.role in {"mark", "digit"} or any(c.isdigit() for c in part.meaning):
            text = text.replace(f" {part.words} ", " ... ", 1)
    words: list[str] = []
    for word in text.split():
        if word != "..." or not words or words[-1] != "...":
            words.append(word)
    return " ".join(words)
