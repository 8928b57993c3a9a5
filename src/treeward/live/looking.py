"""Looking for the tree while listening: the chance that is left, and what follows.

Nobody says where they are; so the walk of the last `treeward locate` is taken to be
walked, for as long as notes say that ground was looked at. The phone's track, added
afterwards, tells what was walked indeed.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from treeward.errors import TreewardError
from treeward.files import read_whole
from treeward.language.kinds import EventKind

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from treeward.notes.events import Event

BOUT = timedelta(minutes=30)  # a note reaches back no further, as in hunt/searching
# Notes that are answered with the chance left.
LOOKING = (EventKind.SEARCHED, EventKind.OVERHEAD)
# Read aloud after "colony found"; the screen shows `found_steps`.
FOUND_WORDS = (
    "found, kept. let the phone's track run on. afterwards treeward found takes the "
    "place from it. keep back, stay on the ground, and ask whose it is"
)
_MOST_BYTES = 64 * 2**20  # of a result; a season's has a tenth of it


@dataclass(frozen=True, slots=True)
class WalkLaidOut:
    """The first colony's walk: by when what chance of finding is used up.

    `done_s` and `found` belong to the strips in their order; `since` is when it was
    laid out.
    """

    done_s: tuple[float, ...]
    found: tuple[float, ...]
    since: datetime

    def left(self, events: Sequence[Event]) -> float:
        """Return the chance that is left after the notes of a session.

        Parameters
        ----------
        events
            The notes that stand, in the order in which they were said.
        """
        looked = timedelta(0)
        timed = [e for e in events if e.clock is not None and e.clock > self.since]
        for before, event in pairwise([None, *timed]):
            if event is None or event.kind is not EventKind.SEARCHED:
                continue
            began = before.clock if before is not None else self.since
            if event.clock is not None and began is not None:
                looked += min(BOUT, event.clock - began)
        spent_s = looked.total_seconds()
        found, last_s = 0.0, 0.0
        for done_s, share in zip(self.done_s, self.found, strict=True):
            part = (spent_s - last_s) / max(done_s - last_s, 1e-9)
            found += share * min(1.0, max(0.0, part))
            last_s = done_s
        return 1.0 - found


def walk_laid_out(hunt_dir: Path) -> WalkLaidOut | None:
    """Return the walk of the last result; None where there is none to be read."""
    try:
        raw = read_whole(
            hunt_dir / "results" / "result.json",
            most_bytes=_MOST_BYTES,
            error=TreewardError,
            too_large="",
        )
        table = json.loads(raw)
        strips = table["search_plan"]
        return WalkLaidOut(
            done_s=tuple(float(strip["done_s"]) for strip in strips),
            found=tuple(float(strip["probability"]) for strip in strips),
            since=datetime.fromisoformat(table["hunt"]["created"]),
        )
    except (TreewardError, ValueError, TypeError, KeyError, RecursionError):
        return None  # an old result, or one somebody wrote in: there is no answer


def found_steps(clock: datetime) -> tuple[str, ...]:
    """Return what a note that says found keeps, and what to do next, as shown."""
    return (
        f"Found at {clock:%H:%M}: the note and its sound are kept, the place not yet.",
        (
            "Let the phone's track run on here for a minute. Afterwards put its GPX "
            "file into tracks/, then: treeward found --from-note"
        ),
        (
            "Keep back: stings can kill. Stay on the ground, open and take nothing, "
            "ask whose it is, and do not publish its place without consent."
        ),
    )


def left_words(left: float) -> str:
    """Return what is said: "62 percent left by the walk laid out"."""
    return f"{max(1, round(100 * left))} percent left by the walk laid out"
