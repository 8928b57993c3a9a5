"""Notes of a session into review.csv, beside what the person changed there."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from treeward.notes.events import Event


def merge_into_review(
    hunt_dir: Path,
) -> Callable[[Sequence[Event], frozenset[str]], list[str]]:
    """Return what merges events of named recordings into the hunt's review.csv.

    Raises
    ------
    TreewardError
        From the merge: review.csv cannot be read or written, or another command is
        at work on the hunt.
    """

    def merge(events: Sequence[Event], recordings: frozenset[str]) -> list[str]:
        from treeward.hunt import Hunt
        from treeward.notes.review_merge import merge_review

        hunt = Hunt(hunt_dir)
        with hunt.locked():
            previous, current = hunt.review.read()
            # What no recording holds (a pause of the listening) is merged once.
            there = {_moment(r.event) for r in previous if not r.event.recording}
            new = [e for e in events if e.recording or _moment(e) not in there]
            done = merge_review(previous, current, new, transcribed=recordings - {""})
            hunt.review.write(done.rows, done.machine)
        return [f"review.csv: {line}" for line in done.report.lines()]

    return merge


def _moment(event: Event) -> tuple[str, int]:
    clock_s = event.clock.timestamp() if event.clock else 0.0
    return event.kind.value, round(clock_s)
