"""The embedded engine: PocketSphinx and a mixed model of talk and notes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from importlib import metadata
from typing import TYPE_CHECKING, Any

import numpy as np

from treeward.audio.records import SAMPLE_RATE_HZ
from treeward.resources import feature_map_path
from treeward.speech.cepstra import (
    CepstralMean,
    cepstra_of,
    levelled_log_mels,
    smoothed,
)
from treeward.speech.evidence import TWIN_CONFIDENCE, Evidence, probability, twins
from treeward.speech.feature_map import FeatureMap
from treeward.speech.records import Alternative, Utterance
from treeward.speech.spans import PADDING_S, worth_a_look
from treeward.speech.spans import stretches as stretches_of
from treeward.speech.sphinx_model import open_decoder, prepare_model
from treeward.speech.strict_pass import FRAME_S, note_grammar, run_decoder
from treeward.speech.token_words import note_words, notes_of, sayings, talk_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.audio.records import Block
    from treeward.speech.cepstra import Cepstra
    from treeward.speech.mixed_model import MixedModel
    from treeward.speech.phrasebook import PhraseBook
    from treeward.speech.records import Word
    from treeward.speech.spans import Stretch
    from treeward.speech.strict_pass import Decode
    from treeward.speech.token_words import HeardNote

HOPELESS = -3.0  # nats a frame: the margin of what no way to a note explains
SHORTEST_S = 0.1  # nothing can be said in less
SILENCE_SHARE = 0.1  # in the grammar of notes; PocketSphinx's 0.005 is for prose
FILLER_SHARE = 0.02  # likewise of noise and unclear speech, 1e-8 for prose
# Beams of the second try, likelihoods beside the best; PocketSphinx's own are 1e-48,
# 1e-48 and 7e-29.
WIDE = {"beam": 1e-90, "pbeam": 1e-90, "wbeam": 1e-70}
LEAST_CONFIDENCE = 0.5  # what is less sure is taken for talk


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedNote:
    """A note that may have been said, and what speaks for it."""

    note: HeardNote
    evidence: Evidence
    confidence: float
    alternatives: tuple[Alternative, ...]
    start_s: float = 0.0  # of the window in the recording


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sound:
    """What is decoded, and how much of it suppression left if it was at work."""

    cepstra: Cepstra  # with the mean in
    left: NDArray[np.float64] | None  # mean log power after less before, nats

    def left_of(self, note: HeardNote) -> float | None:
        """Give what was left of a note: a quarter of its frames kept more."""
        if self.left is None:
            return None
        low, high = int(note.start_s / FRAME_S), int(note.end_s / FRAME_S)
        part = self.left[min(low, len(self.left) - 1) : high + 1]
        return float(np.quantile(part, 0.75))


class SphinxRecognizer:
    """PocketSphinx behind the protocol `Recognizer`.

    A first decode with the mixed model finds stretches of speech and what is said;
    each stretch that may be a note is decoded again as notes only and as talk only.

    Parameters
    ----------
    book
        What can be said.
    cache_dir
        Where the made model is kept; the user's cache folder when None.

    Raises
    ------
    SpeechError
        The model cannot be read or made.
    PhraseBookError
        A word of the phrase book has no pronunciation.
    """

    name = "pocketsphinx"

    def __init__(self, book: PhraseBook, *, cache_dir: Path | None = None) -> None:
        self.model = f"en-us {metadata.version('pocketsphinx')}"
        made = prepare_model(book, cache_dir=cache_dir)
        self._tokens = made.tokens
        self._mean = CepstralMean()
        self._map: FeatureMap | None = None  # read when the first noise is met
        self._mixed = open_decoder(made, lm=str(made.language_model), bestpath=True)
        talk = {"lm": str(made.talk_only), "maxhmmpf": 2000}
        self._talk = open_decoder(made, compallsen=True, bestpath=False, **talk)
        self._notes = _open_strict(made)
        # Where a word is far from what is expected the way to the note is given up, and
        # none is found; this one goes on, at twice the cost.
        self._notes_wide = _open_strict(made, **WIDE)
        # Told of each note that was weighed; for measuring.
        self.on_note: Callable[[WeighedNote], None] | None = None

    def get_used_to(self, stretches: Iterable[Block]) -> None:
        """Take voice and microphone in; see `Recognizer.get_used_to`."""
        for stretch in stretches:
            self._mean.take(self._sound(stretch).cepstra)

    def decode(self, stretch: Block) -> Utterance | None:
        """Recognise one stretch of cleaned sound; see `Recognizer.decode`."""
        if len(stretch.samples) < SHORTEST_S * SAMPLE_RATE_HZ:
            return None
        sound = self._sound(stretch)
        cepstra = self._mean.off(sound.cepstra)
        first = run_decoder(self._mixed, cepstra)
        if first is None:
            return None
        words: list[Word] = []
        for part in stretches_of(first.heard):
            self._mean.take(sound.cepstra[_padded(part)])
            words += self._words_of(part, sound, cepstra, stretch.start_s)
        if not words:
            return None
        words.sort(key=lambda word: word.start_s)
        return Utterance(
            words=tuple(words), start_s=words[0].start_s, end_s=words[-1].end_s
        )

    def _words_of(
        self, part: Stretch, sound: _Sound, cepstra: Cepstra, start_s: float
    ) -> list[Word]:
        """Give the notes of a part of a block where it holds any, else its talk."""
        words = talk_words(part.heard, self._tokens, start_s)
        for piece in worth_a_look(part, self._tokens):
            for weighed in self._weigh(piece, sound, cepstra):
                if self.on_note is not None:
                    self.on_note(replace(weighed, start_s=start_s))
                if weighed.confidence < LEAST_CONFIDENCE:
                    continue
                found = note_words(
                    weighed.note, start_s, weighed.confidence, weighed.alternatives
                )
                low, high = found[0].start_s, found[-1].end_s
                words = [w for w in words if w.end_s <= low or w.start_s >= high]
                words += found
        return words

    def _weigh(
        self, part: Stretch, sound: _Sound, cepstra: Cepstra
    ) -> Iterator[WeighedNote]:
        piece = cepstra[_padded(part)]
        low_s = _padded(part).start * FRAME_S
        notes = run_decoder(self._notes, piece) or run_decoder(self._notes_wide, piece)
        if notes is None:
            return
        rivals = notes_of(part.heard, self._tokens)
        found = notes_of(notes.heard, self._tokens)
        groups = sayings(found)
        margins = self._margins(notes, groups, piece)
        talk = self._talk_share(part)
        for note, margin in zip(found, margins, strict=True):
            placed = note.shifted(low_s)
            beside = [rival for rival in rivals if rival.overlaps(placed)]
            same = [rival for rival in beside if rival.text == placed.text]
            others = [rival for rival in beside if rival.text != placed.text]
            evidence = Evidence(
                margin=margin,
                poorest=min(margins),
                agreed=bool(same),
                alone=part.alone,
                pause_s=part.pause_s,
                left=sound.left_of(placed),
                words=len(placed.text.split()),
                talk=talk,
                sayings=len(groups),
            )
            sure = probability(evidence)
            doubles = self._twins(placed)
            if doubles:
                sure = min(sure, TWIN_CONFIDENCE)
            yield WeighedNote(
                note=placed,
                evidence=evidence,
                confidence=sure,
                alternatives=tuple(
                    Alternative(text=text, confidence=(1 - TWIN_CONFIDENCE) * sure)
                    for text in doubles
                )
                + tuple(
                    Alternative(text=o.text, confidence=(1 - sure) * o.posterior)
                    for o in others
                ),
            )

    def _margins(
        self, notes: Decode, groups: list[list[HeardNote]], piece: Cepstra
    ) -> list[float]:
        """Say of each note how much better its saying is explained by notes."""
        if len(groups) == 1:
            return [self._margin(notes, piece)] * len(groups[0])
        margins = []
        for number, group in enumerate(groups):
            # Each saying of a breath by itself: what was said beside it may be talk.
            own = piece[_between(groups, number)]
            heard = run_decoder(self._notes, own)
            margin = self._margin(heard, own) if heard else HOPELESS
            margins += [margin] * len(group)
        return margins

    def _margin(self, notes: Decode, piece: Cepstra) -> float:
        talk = run_decoder(self._talk, piece)
        return (notes.score - (talk.score if talk else 0.0)) / len(piece)

    def _talk_share(self, part: Stretch) -> float:
        """Say in how much of a stretch the first pass heard words of talk."""
        talk = talk_words(part.heard, self._tokens, 0.0)
        return sum(word.end_s - word.start_s for word in talk) / part.duration_s

    def _twins(self, note: HeardNote) -> list[str]:
        """Give the other readings of a number that has a teen or a ten in it."""
        graph = self._tokens.graphs.get(note.tokens[0].chain)
        if graph is None:
            return []
        anchor, *words = (token.text for token in note.tokens)
        return [
            " ".join((anchor, *other)) for other in twins(words) if graph.holds(other)
        ]

    def _sound(self, stretch: Block) -> _Sound:
        """Give the spectra of a levelled stretch, mended where there was noise."""
        # The same stretch is heard the same, whatever was heard before it.
        random = np.random.default_rng(int(stretch.start_s * SAMPLE_RATE_HZ))
        if stretch.plain is None:
            (quiet,) = levelled_log_mels([stretch.samples], random)
            return _Sound(cepstra=cepstra_of(smoothed(quiet)), left=None)
        if self._map is None:
            self._map = FeatureMap(feature_map_path())
        cleaned, plain = levelled_log_mels([stretch.samples, stretch.plain], random)
        return _Sound(
            cepstra=cepstra_of(smoothed(self._map(cleaned, plain))),
            left=(cleaned - plain).mean(axis=1),
        )


def _open_strict(made: MixedModel, **beams: float) -> Any:  # noqa: ANN401
    """Open a decoder that knows notes only."""
    # Noise and voices beside the note go to the fillers, not into its words.
    fillers = {"silprob": SILENCE_SHARE, "fillprob": FILLER_SHARE}
    settings: dict[str, Any] = {"lm": None, "bestpath": False, "compallsen": True}
    decoder = open_decoder(made, **settings, **fillers, **beams)
    decoder.add_fsg("notes", note_grammar(decoder, made.tokens))
    decoder.activate_search("notes")
    return decoder


def _between(groups: list[list[HeardNote]], number: int) -> slice:
    """Give the frames of one saying, not reaching into those beside it."""
    own = groups[number]
    frames = _frames(own[0].start_s, own[-1].end_s)
    low, high = frames.start, frames.stop
    if number > 0:
        low = max(low, int(groups[number - 1][-1].end_s / FRAME_S))
    if number + 1 < len(groups):
        high = min(high, int(groups[number + 1][0].start_s / FRAME_S))
    return slice(low, high)


def _padded(stretch: Stretch) -> slice:
    return _frames(stretch.start_s, stretch.end_s)


def _frames(start_s: float, end_s: float) -> slice:
    """Give the frames from one second to another and a little around them."""
    low = max(int((start_s - PADDING_S) / FRAME_S), 0)
    return slice(low, int((end_s + PADDING_S) / FRAME_S))
