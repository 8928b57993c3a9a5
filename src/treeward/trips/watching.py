"""Where the person sat, and when nobody was watching."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from treeward.notes.events import Event, EventKind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from treeward.hunt_file import HuntFile

HIDES_A_VISIT_S = 30.0  # landing, loading and leaving take this long; common practice
LEAST_TRUST = 0.6  # confidence of a "pause" that nobody ended by "resume"; guess
_SEEN = frozenset({EventKind.BACK, EventKind.AWAY, EventKind.MARK, EventKind.BEARING})


@dataclass(frozen=True, slots=True, kw_only=True)
class StationsInForce:
    """The station of each event, with its doubts, and doubts about the whole."""

    of_events: tuple[tuple[str, tuple[str, ...]], ...]
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """A stretch in which nobody watched a station; UTC timestamps."""

    station: str
    from_s: float
    to_s: float
    why: str = "nobody was watching"

    @property
    def hides_a_visit(self) -> bool:
        """Whether a whole visit could have gone unseen."""
        return self.to_s - self.from_s >= HIDES_A_VISIT_S


def stations_in_force(events: Sequence[Event], hunt_file: HuntFile) -> StationsInForce:
    """Say for each event at which station it was spoken.

    In this order: the latest "station" note before it in the same recording; the
    station in the recording's file name ("2026-07-14_1020_station-1"); the first
    "station" note after it in the same recording; the latest before it in any; the
    hunt's only station.

    Parameters
    ----------
    events
        In order of time.
    hunt_file
        hunt.toml, for the stations there are.
    """
    ids = {s.id.casefold(): s.id for s in hunt_file.station}
    names = {s.name.casefold(): s.id for s in hunt_file.station if s.name}
    sole = hunt_file.station[0].id if len(hunt_file.station) == 1 else ""

    def known(said: str) -> str:
        plain = " ".join(said.split())
        return ids.get(plain.casefold()) or names.get(plain.casefold()) or plain

    first: dict[str, str] = {}
    for event in events:
        if event.kind is EventKind.STATION and event.value.strip():
            first.setdefault(event.recording, known(event.value))
    in_recording: dict[str, str] = {}
    latest, latest_day = "", None
    found: list[tuple[str, tuple[str, ...]]] = []
    unsaid = 0
    for event in events:
        recording = event.recording
        if event.kind is EventKind.STATION and event.value.strip():
            latest = in_recording[recording] = known(event.value)
            latest_day = event.clock.date() if event.clock else None
        doubts: tuple[str, ...] = ()
        station = in_recording.get(recording) or _named(recording, hunt_file)
        if not station and recording and recording in first:
            station = first[recording]
            doubts = ("the station was said only later",)
        if not station and latest:
            station = latest
            today = event.clock.date() if event.clock else None
            if today != latest_day:
                doubts = ("the station was said on another day",)
        station = station or sole
        if not station:
            unsaid += event.kind in _SEEN
            doubts = ("no station was said",)
        elif hunt_file.station and station.casefold() not in ids:
            doubts = (*doubts, f"station {station} is not in hunt.toml")
        found.append((station, doubts))
    return StationsInForce(
        of_events=tuple(found), doubts=_about_stations(found, hunt_file, unsaid)
    )


def _about_stations(
    found: Sequence[tuple[str, tuple[str, ...]]], hunt_file: HuntFile, unsaid: int
) -> tuple[str, ...]:
    doubts: list[str] = []
    if unsaid:
        notes = "1 note" if unsaid == 1 else f"{unsaid} notes"
        doubts.append(f"nobody said at which station {notes} were taken")
    unknown = {
        s for s, d in found if s and any("not in hunt.toml" in text for text in d)
    }
    ids = ", ".join(s.id for s in hunt_file.station)
    doubts += [
        f"station {station} was said but is not in hunt.toml, which has {ids}"
        for station in sorted(unknown)
    ]
    return tuple(doubts)


def _named(recording: str, hunt_file: HuntFile) -> str:
    """Return the station that a recording's file name holds, "" if none."""
    for match in re.finditer(r"(?i)station[-_ ]*([^-_ .]+)", recording):
        for station in hunt_file.station:
            if station.id.casefold() == match[1].casefold():
                return station.id
    return ""


def pauses_in(
    notes: Sequence[tuple[Event, float, str]],
) -> tuple[list[Pause], list[str]]:
    """Find when nobody was watching: said so, or between two recordings.

    A pause that nobody ended lasts until the next bee is spoken of at that station.

    Parameters
    ----------
    notes
        Events in order of time with their UTC timestamp and station.

    Returns
    -------
    tuple
        The pauses, and doubts about them.
    """
    pauses: list[Pause] = []
    doubts: list[str] = []
    since: dict[str, float] = {}
    doubtful: set[str] = set()
    for event, time_s, station in notes:
        if event.kind is EventKind.PAUSE:
            since.setdefault(station, time_s)
            if event.confidence < LEAST_TRUST:
                doubtful.add(station)
            else:
                doubtful.discard(station)
        elif station in since and event.kind in {EventKind.RESUME, *_SEEN}:
            began_s = since.pop(station)
            if event.kind is not EventKind.RESUME and station in doubtful:
                doubts.append(
                    "a pause heard with little confidence was not ended by a resume; "
                    "it was not believed"
                )
                continue
            pauses.append(Pause(station=station, from_s=began_s, to_s=time_s))
            if event.kind is not EventKind.RESUME:
                doubts.append(
                    "a pause was not ended by a resume; it was taken to last until the "
                    f"next bee at {event.clock:%H:%M:%S}"
                )
    return pauses + _between_recordings(notes), doubts


def _between_recordings(notes: Sequence[tuple[Event, float, str]]) -> list[Pause]:
    """Find the gaps between recordings of a station, from their first to last note."""
    spans: dict[str, dict[str, tuple[float, float]]] = {}
    for event, time_s, station in notes:
        if event.recording:
            of_station = spans.setdefault(station, {})
            first_s, _ = of_station.get(event.recording, (time_s, time_s))
            of_station[event.recording] = (first_s, time_s)
    gaps: list[Pause] = []
    for station, of_station in spans.items():
        reached_s: float | None = None
        for first_s, last_s in sorted(of_station.values()):
            if reached_s is not None and first_s > reached_s:
                gaps.append(
                    Pause(
                        station=station,
                        from_s=reached_s,
                        to_s=first_s,
                        why="between two recordings",
                    )
                )
            reached_s = max(last_s, reached_s if reached_s is not None else last_s)
    return gaps
