"""Spoken dates as evidence of a recording's day, above all but --start."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.language.dates import parse_date
from treeward.language.kinds import EventKind

from .clock_evidence import ClockEvidence, ClockSource
from .scratch import taken_back

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from .events import Event


def spoken_day(
    events: Sequence[Event], lower: Sequence[ClockEvidence], flags: list[str]
) -> tuple[int, date] | None:
    """Return the first sure spoken date: the index of its event, and the day.

    A date without a year is that of the year which brings it nearest to the other
    evidence. One that is in doubt, or was taken back, counts for nothing.

    Parameters
    ----------
    flags
        Sentences about dates that could not be used are added here.
    """
    near = next(
        (day for e in lower for day in [e.start.date() if e.start else e.day] if day),
        None,
    )
    in_order = sorted(
        (i for i, event in enumerate(events) if event.start_s is not None),
        key=lambda i: (events[i].start_s or 0.0, i),
    )
    gone = {in_order[k] for k in taken_back([events[i] for i in in_order])}
    found: tuple[int, date] | None = None
    for index, event in enumerate(events):
        if event.kind is not EventKind.DATE or index in gone or not event.value:
            continue
        if event.doubtful:
            flags.append(
                f"the date {event.value} was heard with doubt and is not believed "
                "until its row is kept"
            )
            continue
        day = parse_date(event.value, near=near)
        if day is None:
            flags.append(
                f"nothing tells the year of the date {event.value}; say it with the "
                "year, or write the year into its row"
            )
        elif found is None:
            found = index, day
        elif abs((day - found[1]).days) > 1:
            flags.append(
                f"two dates were said, {found[1]} and {day}; the first one was taken"
            )
    return found


def by_spoken_day(
    lower: Sequence[ClockEvidence], day: date
) -> tuple[list[ClockEvidence], list[ClockEvidence]]:
    """Part the evidence that suits a spoken day from what speaks against it.

    Returns
    -------
    tuple
        What suits, with the date behind what tells the time of day as well; and the
        rest. A start that the person gave stays before the date.
    """
    suits: list[ClockEvidence] = []
    against: list[ClockEvidence] = []
    for evidence in lower:
        told = evidence.start.date() if evidence.start else evidence.day
        near = told is not None and abs((told - day).days) <= 1
        (suits if near else against).append(evidence)
    said = ClockEvidence(
        source=ClockSource.SPOKEN_DATE,
        start=None,
        day=day,
        used=True,
        note=day.isoformat(),
    )
    given = [e for e in against if e.source == ClockSource.START_GIVEN]
    rest = [e for e in against if e.source != ClockSource.START_GIVEN]
    return [*given, *suits, said], rest
