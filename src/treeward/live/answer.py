"""Answers by ear, one after the other, with the gate shut while they sound."""

from __future__ import annotations

import queue
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

from . import tones

if TYPE_CHECKING:
    from collections.abc import Callable

    from .gate import Gate
    from .players import Player
    from .synthesiser import Synthesiser

MOST_WAITING = 3  # older words are left out, so that answers never lag behind


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One thing to sound."""

    tones: tuple[str, ...]
    words: str = ""  # read aloud too, where a synthesiser is used
    shown: str = ""  # all of it, where a screen has room for more than words
    asked_s: float | None = None  # elapsed second at which the phrase ended


class Answerer:
    """Sounds answers in a thread of its own.

    Parameters
    ----------
    player, synthesiser
        What plays, and what reads aloud (None: tones only).
    gate
        Shut while anything sounds.
    now_s
        Elapsed second of listening.
    on_span
        Called with the elapsed span of each answer, and whether it held words.
    """

    def __init__(
        self,
        player: Player,
        synthesiser: Synthesiser | None,
        gate: Gate,
        now_s: Callable[[], float],
        *,
        on_span: Callable[[float, float, str], None] | None = None,
        on_latency: Callable[[float], None] | None = None,
    ) -> None:
        self._player = player
        self._synthesiser = synthesiser
        self._gate = gate
        self._now_s = now_s
        self._on_span = on_span
        self._on_latency = on_latency
        self._queue: queue.Queue[Answer | None] = queue.Queue()
        self._thread = threading.Thread(target=self._run, name="answer", daemon=True)
        self._thread.start()

    def say(self, answer: Answer) -> None:
        """Sound an answer as soon as those before it are over; returns at once."""
        self._queue.put(answer)

    def close(self) -> None:
        """Sound what is waiting, then end."""
        self._queue.put(None)
        self._thread.join(timeout=30.0)

    def _run(self) -> None:
        while (answer := self._queue.get()) is not None:
            self._sound(answer)

    def _sound(self, answer: Answer) -> None:
        began = self._now_s()
        self._gate.shut(began)
        if answer.asked_s is not None and self._on_latency is not None:
            self._on_latency(began - answer.asked_s)
        words = ""
        try:
            for name in answer.tones:
                self._player.play(tones.tone(name), tones.RATE_HZ)
            if answer.words and self._queue.qsize() < MOST_WAITING:
                words = self._read(answer.words)
        finally:
            start, end = self._gate.reopen(self._now_s())
            if self._on_span is not None:
                self._on_span(start, end, words)

    def _read(self, words: str) -> str:
        if self._synthesiser is None:
            return ""
        spoken = self._synthesiser.say(words)
        if spoken is None:
            return ""
        self._player.play(*spoken)
        return words
