"""Sound of a practice to phrases: from a file, or prompt by prompt as one speaks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from treeward.audio.blocks import SAMPLE_RATE_HZ
from treeward.errors import SoundError
from treeward.live.answer import CLIP_AT, CLIPPED_SHARE, FLOOR_DBFS
from treeward.speech.utterances import Utterance

from .scoring import Attempt, Loudness, Phrase, judge

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from treeward.audio.blocks import Block
    from treeward.live.ears import Ears
    from treeward.live.messages import Chunk
    from treeward.notes.events import Event

    from .prompts import Prompt

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
        self._cutter = ears.make_segmenter()
        self._rest: NDArray[np.float32] = np.zeros(0, np.float32)
        self._power: list[NDArray[np.float64]] = []  # mean square of each frame
        self._clipped: list[NDArray[np.int64]] = []  # samples at full scale
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
        power = self._all_power()
        quiet = np.ones(len(power), bool)
        for start_s, end_s in self._spoken:
            quiet[int(start_s * 100) : int(end_s * 100) + 1] = False
        return _db(float(np.median(power[quiet]))) if quiet.any() else FLOOR_DBFS

    def _measure(self, samples: NDArray[np.float32]) -> None:
        self._samples += len(samples)
        sound = np.concatenate([self._rest, samples])
        count = len(sound) // FRAME
        self._rest = sound[count * FRAME :]
        frames = sound[: count * FRAME].reshape(count, FRAME)
        self._power.append(np.square(frames, dtype=np.float64).mean(axis=1))
        self._clipped.append(np.count_nonzero(np.abs(frames) >= CLIP_AT, axis=1))

    def _all_power(self) -> NDArray[np.float64]:
        self._power = [np.concatenate([np.zeros(0), *self._power])]
        return self._power[0]

    def _phrases(self, block: Block) -> list[Phrase]:
        start_s = block.start_s + block.spoken[0][0]
        end_s = block.start_s + block.spoken[-1][1]
        self._spoken.append((start_s, end_s))
        heard = self._ears.recognizer.decode(block)
        if heard is None or not heard.words:
            return [
                Phrase(
                    start_s=start_s,
                    end_s=end_s,
                    utterance=None,
                    loudness=self._loudness(start_s, end_s),
                )
            ]
        return [
            Phrase(
                start_s=part.start_s,
                end_s=part.end_s,
                utterance=part,
                loudness=self._loudness(part.start_s, part.end_s),
            )
            for part in part_at_notes(heard, self._ears.parse([heard], ""))
        ]

    def _loudness(self, start_s: float, end_s: float) -> Loudness | None:
        first, last = int(start_s * 100), int(end_s * 100) + 1
        power = self._all_power()[first:last]
        if not len(power):
            return None
        self._clipped = [np.concatenate(self._clipped)]
        clipped = int(self._clipped[0][first:last].sum())
        # The louder half: the pauses around the words do not count.
        loud = power[power >= np.median(power)]
        return Loudness(
            speech_dbfs=_db(float(loud.mean())),
            clipped=clipped > CLIPPED_SHARE * len(power) * FRAME,
        )


def _db(power: float) -> float:
    return max(FLOOR_DBFS, 10.0 * float(np.log10(max(power, 1e-12))))


def part_at_notes(utterance: Utterance, events: Sequence[Event]) -> list[Utterance]:
    """Part what was said without a pause where one note ends and the next begins."""
    starts = [event.start_s for event in events if event.start_s is not None]
    parts: list[Utterance] = []
    held: list = []  # type: ignore[type-arg]
    later = starts[1:]
    for word in utterance.words:
        if later and held and word.start_s >= later[0] - 1e-6:
            parts.append(_joined(held))
            held = []
            while later and word.start_s >= later[0] - 1e-6:
                later.pop(0)
        held.append(word)
    return [*parts, _joined(held)]


def _joined(words: list) -> Utterance:  # type: ignore[type-arg]
    return Utterance(
        words=tuple(words), start_s=words[0].start_s, end_s=words[-1].end_s
    )


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
