"""What is compared: Treeward's recognizer, and two plain baselines.

"marks named" is Treeward where hunt.toml names the marks that are painted, as README
advises: here those that the recording's notes speak of.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import pocketsphinx

from treeward.audio.reader import read_blocks
from treeward.notes.context import read_again
from treeward.notes.parser import DOUBT_BELOW, parse_notes
from treeward.resources import phrasebook_path
from treeward.simulate.wording import digit_words, number_words
from treeward.speech.engines import open_recognizer
from treeward.speech.phrasebook import PhraseBook
from treeward.speech.recognizer import transcribe
from treeward.speech.records import Utterance, Word, WordSource
from treeward.speech.windows import cut_windows

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.notes.events import Event

SYSTEMS = ("treeward", "marks named", "grammar", "general")


class System(Protocol):
    """A way from sound to events."""

    def get_ready(self, path: Path) -> None:
        """Do what is done before a recording is heard, and not timed."""

    def hear(self, path: Path) -> list[Event]:
        """Return the events of one recording."""


class Treeward:
    """The recognizer and parser as they are used by `treeward transcribe`."""

    def __init__(self) -> None:
        self.book = PhraseBook.load(phrasebook_path())
        self.engine = open_recognizer(self.book)

    def get_ready(self, path: Path) -> None:
        """Open the recognizer anew, as each recording is by another speaker."""
        del path
        self.engine = open_recognizer(self.book)

    def hear(self, path: Path) -> list[Event]:
        """Return the events of one recording."""
        utterances = list(transcribe(read_blocks(path), self.engine))
        events = parse_notes(utterances, self.book)
        return read_again(events, flag_below=DOUBT_BELOW)


class MarksNamed(Treeward):
    """The same in a hunt whose hunt.toml names its marks."""

    def get_ready(self, path: Path) -> None:
        """Listen for the marks of this recording only."""
        truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        marks = {each["mark"] for each in truth["events"]} - {""}
        self.book = PhraseBook.load(phrasebook_path()).only(sorted(marks))
        self.engine = open_recognizer(self.book)


class Plain:
    """PocketSphinx as it comes, on the same windows, with the same parser."""

    def __init__(self, source: WordSource, **model: Any) -> None:
        self.book = PhraseBook.load(phrasebook_path())
        self.source = source
        self.decoder = pocketsphinx.Decoder(
            hmm=pocketsphinx.get_model_path("en-us/en-us"),
            # As fast as Treeward's own decoder, so that only the models differ.
            fwdflat=False,
            maxhmmpf=3000,
            maxwpf=30,
            loglevel="FATAL",
            **model,
        )

    def get_ready(self, path: Path) -> None:
        """Nothing needs to be done."""

    def hear(self, path: Path) -> list[Event]:
        """Return the events of one recording."""
        return parse_notes(list(self._utterances(path)), self.book)

    def _utterances(self, path: Path) -> Iterator[Utterance]:
        rng = np.random.default_rng(0)
        for window in cut_windows(read_blocks(path)):
            words = self._words(window.samples, window.start_s, rng)
            if words:
                yield Utterance(
                    words=words, start_s=words[0].start_s, end_s=words[-1].end_s
                )

    def _words(
        self, samples: NDArray[np.float32], start_s: float, rng: np.random.Generator
    ) -> tuple[Word, ...]:
        dithered = samples + 1e-4 * rng.standard_normal(len(samples))
        sound = (np.clip(dithered, -1, 1) * 32767).astype("<i2").tobytes()
        self.decoder.start_utt()
        self.decoder.process_raw(sound, full_utt=True)
        self.decoder.end_utt()
        return tuple(
            Word(
                text=segment.word.split("(")[0],
                start_s=start_s + segment.start_frame / 100,
                end_s=start_s + (segment.end_frame + 1) / 100,
                confidence=min(max(segment.prob, 0.0), 1.0),
                source=self.source,
            )
            for segment in self.decoder.seg() or ()
            if not segment.word.startswith(("<", "[", "+"))
        )


def strict_grammar(book: PhraseBook) -> str:
    """Write the notes of the benchmark as a grammar that knows nothing else."""
    colours = " | ".join(sorted(book.colours))
    forms = {digit_words(f"{deg:03d}") for deg in range(360)}
    tens = {number_words(n).replace("-", " ") for n in range(10, 100)}
    two = " | ".join(sorted(tens))
    hours = " | ".join(number_words(n).replace("-", " ") for n in range(1, 24))
    digits = " | ".join(number_words(n) for n in range(10))
    threes = " | ".join(sorted(forms))
    return f"""#JSGF V1.0;
grammar notes;
<colour> = {colours};
<mark> = <colour> [<colour>];
<digit> = {digits};
<bee> = <mark> ( back | landed | away | gone ) | mark <mark>;
<bearing> = ( bearing | heading ) ( {threes} | <hundreds> );
<hundreds> = ( one | two | three ) ( {two} | oh <digit>
  | hundred [and] [ {two} | <digit> ] );
<time> = ( time | clock ) ( {hours} ) ( {two} | oh <digit> | o'clock );
<other> = station <digit> | wind ( calm | light | strong ) | scratch that
  | pause | resume;
public <notes> = ( <bee> | <bearing> | <time> | <other> )*;
"""


def open_system(name: str, room: Path) -> System:
    """Open one of SYSTEMS; `room` is a folder for files it needs."""
    if name == "treeward":
        return Treeward()
    if name == "marks named":
        return MarksNamed()
    words = pocketsphinx.get_model_path("en-us/cmudict-en-us.dict")
    if name == "grammar":
        grammar = room / "notes.gram"
        grammar.write_text(
            strict_grammar(PhraseBook.load(phrasebook_path())), encoding="utf-8"
        )
        return Plain(WordSource.PHRASE, jsgf=str(grammar), dict=words)
    model = pocketsphinx.get_model_path("en-us/en-us.lm.bin")
    return Plain(WordSource.GENERAL, lm=model, dict=words)
