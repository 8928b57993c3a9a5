"""Which notes "scratch that" takes back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.language.kinds import EventKind

from .flags import Flag, FlagCode

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .events import Event


def taken_back(events: Sequence[Event]) -> dict[int, int]:
    """Find the note that each "scratch that" takes back.

    It is the last one before it in the same recording that still stands; said twice,
    the last two go. A scratch that is in doubt itself takes nothing back.

    Parameters
    ----------
    events
        In order of time.

    Returns
    -------
    dict
        Index of the note to index of the scratch.
    """
    standing: dict[str, list[int]] = {}
    gone: dict[int, int] = {}
    for index, event in enumerate(events):
        before = standing.setdefault(event.recording, [])
        if event.kind is not EventKind.SCRATCH:
            before.append(index)
        elif before and not event.doubtful:
            gone[before.pop()] = index
    return gone


def flag_scratched(events: Sequence[Event]) -> list[Event]:
    """Say on each note that a later "scratch that" takes it back."""
    found = list(events)
    for taken, scratch in taken_back(events).items():
        flag = Flag.of(FlagCode.TAKEN_BACK, events[scratch].heard)
        found[taken] = found[taken].flagged(flag)
    return found
