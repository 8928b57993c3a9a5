"""Practice, scored: which prompt each spoken phrase answers, and what was read right.

    attempts = align(prompts, phrases, parse).attempts
    tally = tally_parts(attempts)

What was heard comes in as words, so tests can script it; sound is made phrases here
too, from a file, or prompt by prompt as one speaks. The advice is in
`treeward.practice.outcome`.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio import SAMPLE_RATE_HZ
from treeward.errors import SoundError
from treeward.live.answer import CLIP_AT, CLIPPED_SHARE, FLOOR_DBFS, dbfs
from treeward.live.ears import PAUSE_S
from treeward.notes.parser import flagged_above
from treeward.speech.recognizer import Segmenter
from treeward.speech.utterances import Utterance, Word

from .prompts import reading_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from treeward.audio import Block
    from treeward.live.ears import Ears
    from treeward.live.messages import Chunk
    from treeward.notes.events import Event

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
    prompts; the cheapest reading of it all is taken (dynamic programming). The sound
    ends at `end_s`: prompts that do not fit in before it were not reached. Without it
    every prompt counts.
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
    found = _counted(
        (part.role, part.meaning, part.words, _heard_for(part, attempt))
        for attempt in attempts
        for part in attempt.prompt.parts
    )
    return sorted(found, key=lambda t: (t.rate, -t.tries))


def _counted(tries: Iterable[tuple[str, str, str, str | None]]) -> list[PartTally]:
    """Count tries of a role, meaning and words; each with what was heard instead."""
    found: dict[tuple[str, str, str], PartTally] = {}
    for role, meaning, words, instead in tries:
        tally = found.setdefault(
            (role, meaning, words), PartTally(words=words, role=role, meaning=meaning)
        )
        tally.tries += 1
        if instead is None:
            tally.hits += 1
        else:
            tally.instead[instead] += 1
    return list(found.values())


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
    shapes = [(_shape(attempt.prompt), attempt) for attempt in attempts]
    return _counted(
        ("shape", shape, shape, None if attempt.right else attempt.heard)
        for shape, attempt in shapes
    )


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


FRAME = 160  # samples, 10 ms
BEGIN_QUIET_S = 1.0  # to learn the background from, before the first prompt; choice
GIVE_UP_S = 8.0  # nobody speaks for so long after a prompt: it was missed; choice
GOES_ON_S = 0.8  # after a phrase that is not right yet, it may go on; choice
ECHO_S = 0.25  # a prompt read aloud still sounds in the room; guess
SILENT_TURNS = 3  # so many prompts without a sound: something is wrong; choice


class PhraseCatcher:
    """Cuts and recognises running sound, and keeps how loud it was."""

    def __init__(self, ears: Ears) -> None:
        self._ears = ears
        self._cutter = Segmenter(pause_s=PAUSE_S)
        self._rest: NDArray[np.float32] = np.zeros(0, np.float32)
        # Of each frame: mean square, and samples at full scale.
        self._measured: list[NDArray[np.float64]] = [np.zeros((0, 2))]
        self._spoken: list[tuple[float, float]] = []
        self._samples = 0

    @property
    def seconds(self) -> float:
        """How much sound was taken in."""
        return self._samples / SAMPLE_RATE_HZ

    @property
    def in_speech(self) -> bool:
        """Whether somebody is speaking now."""
        return self._cutter.in_speech

    def push(self, samples: NDArray[np.float32]) -> list[Phrase]:
        """Take sound that follows on; return the phrases that ended with it."""
        self._measure(samples)
        return [p for block in self._cutter.push(samples) for p in self._phrases(block)]

    def flush(self) -> list[Phrase]:
        """Return the phrase that is open at the end of the sound."""
        return [p for block in self._cutter.flush() for p in self._phrases(block)]

    def background_dbfs(self) -> float:
        """Return the middle level of all that was no phrase, in dB of full scale."""
        power = self._frames()[:, 0]
        quiet = np.ones(len(power), bool)
        for start_s, end_s in self._spoken:
            quiet[int(start_s * 100) : int(end_s * 100) + 1] = False
        if not quiet.any():
            return FLOOR_DBFS
        return dbfs(np.sqrt(np.median(power[quiet])))

    def _measure(self, samples: NDArray[np.float32]) -> None:
        self._samples += len(samples)
        sound = np.concatenate([self._rest, samples])
        count = len(sound) // FRAME
        self._rest = sound[count * FRAME :]
        frames = sound[: count * FRAME].reshape(count, FRAME)
        power = np.square(frames, dtype=np.float64).mean(axis=1)
        clipped = np.count_nonzero(np.abs(frames) >= CLIP_AT, axis=1)
        self._measured.append(np.column_stack([power, clipped]))

    def _frames(self) -> NDArray[np.float64]:
        self._measured = [np.concatenate(self._measured)]
        return self._measured[0]

    def _phrases(self, block: Block) -> list[Phrase]:
        start_s = block.start_s + block.spoken[0][0]
        end_s = block.start_s + block.spoken[-1][1]
        self._spoken.append((start_s, end_s))
        heard = self._ears.recognizer.decode(block)
        if heard is None or not heard.words:
            return [self._phrase(start_s, end_s, None)]
        return [
            self._phrase(part.start_s, part.end_s, part)
            for part in part_at_notes(heard, self._ears.parse([heard], ""))
        ]

    def _phrase(self, start_s: float, end_s: float, said: Utterance | None) -> Phrase:
        return Phrase(
            start_s=start_s,
            end_s=end_s,
            utterance=said,
            loudness=self._loudness(start_s, end_s),
        )

    def _loudness(self, start_s: float, end_s: float) -> Loudness | None:
        first, last = int(start_s * 100), int(end_s * 100) + 1
        power, clipped = self._frames()[first:last].T
        if not len(power):
            return None
        # The louder half: the pauses around the words do not count.
        loud = power[power >= np.median(power)]
        return Loudness(
            speech_dbfs=dbfs(np.sqrt(loud.mean())),
            clipped=bool(clipped.sum() > CLIPPED_SHARE * len(power) * FRAME),
        )


def part_at_notes(utterance: Utterance, events: Sequence[Event]) -> list[Utterance]:
    """Part what was said without a pause where one note ends and the next begins."""
    starts = [event.start_s for event in events if event.start_s is not None]
    parts: list[Utterance] = []
    held: list[Word] = []
    later = starts[1:]
    for word in utterance.words:
        if later and held and word.start_s >= later[0] - 1e-6:
            parts.append(Utterance.of(held))
            held = []
            while later and word.start_s >= later[0] - 1e-6:
                later.pop(0)
        held.append(word)
    return [*parts, Utterance.of(held)]


def phrases_in(blocks: Iterable[Block], catcher: PhraseCatcher) -> list[Phrase]:
    """Return the phrases of a whole recording."""
    found: list[Phrase] = []
    for block in blocks:
        found += catcher.push(block.samples)
    return [*found, *catcher.flush()]


@dataclass(slots=True, kw_only=True)
class Turns:
    """Asks for prompts one after the other and listens for each.

    `show` is told of a prompt, with its number from 1, before it is listened for, and
    `told` of what came of it. `read_aloud` says a prompt and returns when that is
    over, on the clock of the chunks' arrival.
    """

    catcher: PhraseCatcher
    ears: Ears
    show: Callable[[int, Prompt], None]
    told: Callable[[Attempt], None]
    read_aloud: Callable[[str], float] | None = None
    gave_up: bool = False  # nothing was heard SILENT_TURNS times in a row

    def run(self, chunks: Iterator[Chunk], prompts: Sequence[Prompt]) -> list[Attempt]:
        """Go through the prompts until they, or the sound, end.

        Raises
        ------
        SoundError
            Nobody was heard at all.
        """
        done: list[Attempt] = []
        silent = 0
        self._learn_background(chunks)
        for number, prompt in enumerate(prompts, start=1):
            self.show(number, prompt)
            deaf_until_s = self.read_aloud(prompt.text) if self.read_aloud else None
            attempt = self._turn(chunks, prompt, deaf_until_s)
            if attempt is None:
                break
            silent = 0 if attempt.phrases else silent + 1
            done.append(attempt)
            self.told(attempt)
            if silent == SILENT_TURNS:
                done, self.gave_up = done[:-SILENT_TURNS], True
                break
        if not done:
            raise SoundError(
                "nobody was heard",
                mend="Speak nearer to the microphone, or choose another by --device.",
            )
        return done

    def _learn_background(self, chunks: Iterator[Chunk]) -> None:
        while self.catcher.seconds < BEGIN_QUIET_S:
            chunk = next(chunks, None)
            if chunk is None:
                return
            self.catcher.push(chunk.samples)

    def _turn(
        self, chunks: Iterator[Chunk], prompt: Prompt, deaf_until_s: float | None
    ) -> Attempt | None:
        """Listen for one prompt; None where the sound ended before anything came."""
        start_s = self.catcher.seconds
        found: list[Phrase] = []
        attempt = judge(prompt, found, self._parse)
        while True:
            chunk = next(chunks, None)
            if chunk is None:
                found += self.catcher.flush()
                return judge(prompt, found, self._parse) if found else None
            if deaf_until_s is not None and chunk.arrival_s < deaf_until_s + ECHO_S:
                continue  # it would hear the prompt itself
            new = self.catcher.push(chunk.samples)
            if new:
                found += new
                attempt = judge(prompt, found, self._parse)
                if attempt.right:
                    return attempt
            quiet_from_s = found[-1].end_s + GOES_ON_S if found else start_s + GIVE_UP_S
            if self.catcher.seconds > quiet_from_s and not self.catcher.in_speech:
                return attempt

    def _parse(self, spoken: Sequence[Utterance]) -> Sequence[Event]:
        return self.ears.parse(spoken, "")
