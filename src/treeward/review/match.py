"""Which of the machine's new events are which of its old ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.notes.events import Event

NEAR_S = 1.0  # two hearings of one note begin within this; guess
SAME_NOTE_S = 5.0  # a note typed by hand beside the one that is heard; guess
_SCORES = {"kind": 4.0, "mark": 2.0, "value": 1.0}


def match_events(old: Sequence[Event], new: Sequence[Event]) -> dict[int, int]:
    """Pair old with new events of the same recording that lie on the same sound.

    Both must overlap, or begin within a second of each other. A shared kind counts
    most, then mark, value and nearness. An event without seconds (typed, or from an
    untimed transcript) pairs by equal clock, kind, mark and value.

    Returns
    -------
    dict
        Index of the old event to index of the new one; each at most once.
    """
    by_recording: dict[str, list[int]] = {}
    for j, event in enumerate(new):
        by_recording.setdefault(event.recording, []).append(j)
    for indices in by_recording.values():
        indices.sort(key=lambda j: _start(new[j]))
    scored: list[tuple[float, int, int]] = []
    for i, event in enumerate(old):
        for j in by_recording.get(event.recording, []):
            if _start(new[j]) > _end(event) + NEAR_S:
                break
            score = _score(event, new[j])
            if score > 0:
                scored.append((-score, i, j))
    pairs: dict[int, int] = {}
    used: set[int] = set()
    for _, i, j in sorted(scored):
        if i not in pairs and j not in used:
            pairs[i] = j
            used.add(j)
    return pairs


def same_note(hand: Event, heard: Event) -> bool:
    """Tell whether an event typed by hand says what a heard one says."""
    if hand.kind != heard.kind or hand.mark != heard.mark or hand.value != heard.value:
        return False
    if hand.start_s is not None and hand.recording == heard.recording:
        return abs(hand.start_s - _start(heard)) <= SAME_NOTE_S
    if hand.clock is None or heard.clock is None:
        return False
    apart_s = abs(hand.clock.timestamp() - heard.clock.timestamp())
    return apart_s <= SAME_NOTE_S


def _start(event: Event) -> float:
    return -1.0 if event.start_s is None else event.start_s


def _end(event: Event) -> float:
    return _start(event) if event.end_s is None else max(event.end_s, _start(event))


def _score(old: Event, new: Event) -> float:
    """Return how well two events of one recording fit; 0 where they do not."""
    agree = {
        "kind": old.kind == new.kind,
        "mark": old.mark == new.mark,
        "value": old.value == new.value,
    }
    said = sum(_SCORES[name] for name, same in agree.items() if same)
    if old.start_s is None or new.start_s is None:
        same_clock = (
            old.clock is not None
            and new.clock is not None
            and old.clock.timestamp() == new.clock.timestamp()
        )
        untimed = old.start_s is None and new.start_s is None
        return 1.0 + said if untimed and same_clock and all(agree.values()) else 0.0
    shared_s = min(_end(old), _end(new)) - max(old.start_s, new.start_s)
    apart_s = abs(old.start_s - new.start_s)
    if shared_s < 0 and apart_s > NEAR_S:
        return 0.0
    return said + 1.0 / (1.0 + apart_s)
