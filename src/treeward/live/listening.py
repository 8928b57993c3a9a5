"""What listening needs of a hunt: trips and distance meanwhile, review.csv after.

And what other commands need of listening: the notes of a session that was killed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.errors import ListenerAtWorkError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from treeward.hunt.hunt import Hunt
    from treeward.notes.events import Event
    from treeward.survey.records import Fix
    from treeward.trips.table import TripTable

_PATIENCE_S = 10.0  # the notes are in the journal: they can wait for another command


def merge_into_review(
    hunt: Hunt, *, wait_s: float = _PATIENCE_S
) -> Callable[[Sequence[Event], frozenset[str]], list[str]]:
    """Return what merges events of named recordings into the hunt's review.csv.

    Parameters
    ----------
    hunt
        The hunt.
    wait_s
        How long to wait for another command that is at work on it.

    Raises
    ------
    TreewardError
        From the merge: review.csv cannot be read or written, or another command is
        at work on the hunt.
    """

    def merge(events: Sequence[Event], recordings: frozenset[str]) -> list[str]:
        from treeward.hunt.review_update import written_lines
        from treeward.notes.second_look import look_twice
        from treeward.review.merge import merge_review

        with hunt.locked("listen", wait_s=wait_s):
            seen = hunt.review.digest()
            previous, current = hunt.review.read()
            current, gone = hunt.review.with_gone(current)
            # What no recording holds (a pause of the listening) is merged once.
            there = {_moment(r.event) for r in previous if not r.event.recording}
            new = [e for e in events if e.recording or _moment(e) not in there]
            new = look_twice(new)
            done = merge_review(previous, current, new, transcribed=recordings - {""})
            loser = hunt.review.write(done.rows, done.machine, seen=seen)
        said = [f"review.csv: {line}" for line in done.report.lines()]
        return [*said, *written_lines(gone, loser)]

    return merge


def _moment(event: Event) -> tuple[str, int]:
    clock_s = event.clock.timestamp() if event.clock else 0.0
    return event.kind.value, round(clock_s)


def recover_sessions(hunt: Hunt) -> list[str]:
    """Finish what a killed listening session left, and say what was found.

    While somebody is listening nothing is touched; that is said.

    Raises
    ------
    TreewardError
        From the merge, as `merge_into_review` says.
    """
    from treeward.hunt.recovery import left_behind, recover

    from .opening import only_listener

    if not left_behind(hunt.path):
        return []
    try:
        with only_listener(hunt.path):
            return recover(hunt.path, merge_into_review(hunt)).lines
    except ListenerAtWorkError:
        return ["treeward listen is at work here; its notes come when it ends"]


def pair_for(hunt: Hunt) -> Callable[[Sequence[Event]], TripTable]:
    """Return how a hunt's standing notes are paired into trips."""
    from treeward.trips import pair_trips

    return lambda events: pair_trips(events, hunt.file)


def locate_for(hunt: Hunt, today: datetime) -> Callable[[TripTable], Fix | None]:
    """Return how the survey core is asked about a hunt's trips."""
    from treeward.hunt.locating import survey_hunt

    places = hunt.positions()

    def locate(table: TripTable) -> Fix | None:
        if not places or not any(trip.used for trip in table.trips):
            return None
        return survey_hunt(hunt.file, table, places, today=today).fix

    return locate
