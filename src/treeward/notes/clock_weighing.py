"""What each piece of evidence is worth once a recording's clock has been chosen."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from .clock_anchors import outside_s
from .clock_evidence import AGREE_S, ClockEvidence, ClockSource, apart_s, in_zone

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from zoneinfo import ZoneInfo


def weigh(
    lower: Sequence[ClockEvidence],
    start: datetime,
    half_width_s: float,
    zone: ZoneInfo,
    *,
    spoken: Sequence[str],
) -> tuple[list[ClockEvidence], list[str]]:
    """Say of each piece of evidence whether it agrees with the clock.

    Parameters
    ----------
    lower
        All evidence but the spoken times, strongest first.
    start, half_width_s
        The chosen start and what it is good to [s].
    zone
        The hunt's time zone.
    spoken
        The spoken times that were believed, "10:22"; none where there were none.

    Returns
    -------
    tuple
        All evidence, the spoken times first, with `used` and `note`; and sentences
        about what disagrees.
    """
    weighed: list[ClockEvidence] = []
    flags: list[str] = []
    if spoken:
        weighed.append(
            ClockEvidence(
                source=ClockSource.SPOKEN_TIMES,
                start=start,
                resolution_s=2 * half_width_s,
                used=True,
                note=", ".join(spoken),
            )
        )
    chosen = False
    low_s = start.timestamp() - half_width_s
    high_s = start.timestamp() + half_width_s
    for evidence in lower:
        if evidence.start is None:
            weighed.append(evidence)
            continue
        at_s = evidence.start.timestamp()
        away_s = outside_s((at_s, at_s + evidence.resolution_s), low_s, high_s)
        agrees = away_s <= AGREE_S
        # Beside spoken times it is used where it gives them their second.
        late_s = start.timestamp() - at_s
        gives_second = not spoken or -0.1 < late_s < max(0.1, evidence.resolution_s)
        used = agrees and not chosen and gives_second
        chosen = chosen or used
        note = evidence.note
        if not agrees and evidence.source == ClockSource.FILE_TIME:
            note = "the file was copied or changed later, or its clock was wrong"
        elif not agrees:
            note = f"{note}; disagrees" if note else "disagrees"
            flags.append(_disagreement(evidence, start, zone, spoken=bool(spoken)))
        weighed.append(replace(evidence, used=used, note=note))
    if [e.source for e in weighed if e.used] == [ClockSource.FILE_TIME]:
        flags.append(
            "the clock rests on the file's time alone; say a time now and then, or "
            "give --start"
        )
    return weighed, flags


def _disagreement(
    evidence: ClockEvidence, start: datetime, zone: ZoneInfo, *, spoken: bool
) -> str:
    there = in_zone(evidence.start or start, zone)
    late_s = apart_s(there, start)
    hours = abs(late_s) / 3600
    far = f"{hours:.1f} h" if hours >= 2 else f"{hours * 60:.0f} min"
    hint = (
        ", perhaps a summer-time or time-zone setting"
        if 0 < round(hours) <= 14 and abs(hours - round(hours)) * 3600 <= AGREE_S
        else ""
    )
    return (
        f"the {evidence.source} puts the start at {there:%Y-%m-%d %H:%M}, {far} "
        f"{'later' if late_s > 0 else 'earlier'} than "
        f"{'the spoken times' if spoken else 'stronger evidence'}{hint}; not used"
    )
