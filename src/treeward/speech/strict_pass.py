"""A second look at a stretch of speech: notes only, against talk only.

Both decodes see the same features and all senones, so that the difference of their
scores says how much better the sound is explained as notes than as talk.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from treeward.speech.token_words import Heard

if TYPE_CHECKING:
    from treeward.speech.cepstra import Cepstra
    from treeward.speech.phrase_tokens import TokenTable

FRAME_S = 0.01  # of PocketSphinx's features
ANOTHER_NOTE = 0.01  # share of notes followed by any other without a pause; guess
THEN_BEARING = 0.2  # share of departures followed by their bearing; guess
_SCORE_SCALE = 1024  # hypothesis scores are shifted by 10 bits (src/hmm.h)


@dataclass(frozen=True, slots=True, kw_only=True)
class Decode:
    """One decode of a stretch: total log score in nats, and its segments."""

    score: float
    heard: tuple[Heard, ...]


def run_decoder(decoder: Any, cepstra: Cepstra) -> Decode | None:  # noqa: ANN401
    """Decode cepstra whose mean was taken off; times count from their first frame."""
    decoder.start_utt()
    decoder.process_cep(cepstra.astype("<f4").tobytes(), full_utt=True)
    decoder.end_utt()
    hypothesis = decoder.hyp()
    if hypothesis is None:
        return None
    segments = decoder.seg()
    heard = tuple(
        Heard(
            token=segment.word,
            start_s=segment.start_frame * FRAME_S,
            end_s=(segment.end_frame + 1) * FRAME_S,
            posterior=min(max(segment.prob, 0.0), 1.0),
        )
        for segment in segments or ()
    )
    # A score so low that it underflows is as good as none.
    score = _SCORE_SCALE * math.log(hypothesis.score) if hypothesis.score > 0 else -1e9
    return Decode(score=score, heard=heard)


def note_grammar(decoder: Any, table: TokenTable) -> Any:  # noqa: ANN401
    """Make the grammar of one or more notes, with pauses allowed between words."""
    import pocketsphinx

    names = [name for name, token in table.tokens.items() if token.kind != "remark"]
    state = {name: number + 2 for number, name in enumerate(names)}
    log = decoder.get_logmath().log
    grammar = pocketsphinx.FsgModel(
        "notes", decoder.get_logmath(), decoder.config["lw"], len(names) + 2
    )
    start, final = 0, 1
    anchors = {
        name: share
        for name, share in table.starts.items()
        if table.tokens[name].kind == "bearing"
    }
    of_bearings = sum(anchors.values())
    word = {name: grammar.word_add(name) for name in names}
    for name, share in table.starts.items():
        if name in state:
            grammar.trans_add(start, state[name], log(share), word[name])
    for name in names:
        for after, share in table.follow[name].items():
            grammar.trans_add(state[name], state[after], log(share), word[after])
        ends = table.ends[name]
        if ends > 0:
            grammar.null_trans_add(state[name], final, log(ends * (1 - ANOTHER_NOTE)))
            for after, share in anchors.items() if table.departs(name) else ():
                likely = log(ends * THEN_BEARING * share / of_bearings)
                grammar.trans_add(state[name], state[after], likely, word[after])
            grammar.null_trans_add(state[name], start, log(ends * ANOTHER_NOTE))
    grammar.set_start_state(start)
    grammar.set_final_state(final)
    return grammar
