"""What `locate` knows of finds: of its own hunt's, and what others taught.

Of a find of the hunt it knows that there is one, and what of it is kept back. Maps and
reports hold nothing of a find. So the ways walked are left out about it, as far as a
disc whose middle tells the find's place no finer than a square of the grid.

What own found hunts taught is the prior of a hunt that asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from treeward.errors import HuntError, TreewardError
from treeward.language.kinds import EventKind
from treeward.measures import position_in
from treeward.report.model import FoundTold, HiddenDisc, OwnPriorUse, TrackLine
from treeward.survey.frame import LocalFrame, geodesic
from treeward.survey.own_prior import (
    Known,
    Lesson,
    OwnPrior,
    learned_settings,
    own_compass,
    own_prior,
    plain_compass_sd_deg,
)
from treeward.survey.search import Walked

from .finds import coarse, colony_of, inside_area, read_finds
from .places import find_tracks
from .searching import standing_notes
from .tracks import TrackError, position_at, read_gpx

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward import survey
    from treeward.hunt_file import HuntFile, SeasonFile
    from treeward.hunt_tables import ModelTable
    from treeward.measures import Position
    from treeward.notes.events import Event
    from treeward.report.model import HuntResult, SearchTold, StationPlace
    from treeward.survey.records import Colony

    from .finds import FindTable


KEPT_BACK_M = 200.0  # of a way walked about a find; choice
SQUARE_M = 250.0  # the middle of what is kept back tells a find's place so well; choice


def maybe_another(colony: Colony, find: FindTable) -> bool:
    """Tell whether a find may be of another colony than the answer's it is taken for.

    It lies outside the 95 % area, and does not name it.
    """
    return find.colony != colony.id and inside_area(colony, find) is None


def hidden_discs(
    hunt_file: HuntFile, hunt_dir: Path, events: Sequence[Event]
) -> tuple[HiddenDisc, ...]:
    """Return where no way walked is to be drawn: about finds, kept or only noted."""
    places = [find.position for find in _finds(hunt_dir)]
    said = [e for e in standing_notes(events) if e.kind is EventKind.FOUND]
    places += _noted(said, hunt_file, hunt_dir)
    return tuple(dict.fromkeys(_disc(place) for place in places))


def start_apart(search: SearchTold, hidden: Sequence[HiddenDisc]) -> SearchTold:
    """Return what is known of looking, with no walk laid out from a find.

    Unless hunt.toml says where one stands, a walk begins where one was last.
    """
    start = search.searching.start
    if start is None or not is_hidden(hidden, *start):
        return search
    return replace(search, searching=replace(search.searching, start=None))


def found_told(
    result: HuntResult,
    hunt_dir: Path,
    events: Sequence[Event],
    hidden: tuple[HiddenDisc, ...],
) -> FoundTold:
    """Return what notes and found.toml tell of finds.

    A note of a day on which, or after which, a find was kept is taken for that find's.
    The discs are as `hidden_discs` gives them.
    """
    finds = _finds(hunt_dir)
    said = [e for e in standing_notes(events) if e.kind is EventKind.FOUND]
    last = max((find.found for find in finds), default=None)
    open_notes = [
        e
        for e in said
        if last is None or (e.clock is not None and e.clock.date() > last)
    ]
    sure = [e for e in open_notes if not e.doubtful]
    kept = []
    for find in finds:
        colony = colony_of(result, find)
        hers = colony is not None and not maybe_another(colony, find)
        kept.append((find.id, colony.id if colony is not None and hers else ""))
    return FoundTold(
        noted=max((e.clock for e in sure if e.clock is not None), default=None),
        rows=tuple(e.row for e in sure),
        doubtful_rows=tuple(e.row for e in open_notes if e.doubtful),
        kept=tuple(kept),
        hidden=hidden,
    )


def without_finds(result: HuntResult) -> HuntResult:
    """Return a result to write, with the ways left out that lead to a find."""
    hidden = result.found.hidden
    if not hidden:
        return result
    tracks = [
        TrackLine(
            latitude_deg=tuple(latitude_deg.tolist()),
            longitude_deg=tuple(longitude_deg.tolist()),
            name=track.name,
        )
        for track in result.tracks
        for latitude_deg, longitude_deg in parts_outside(
            np.array(track.latitude_deg), np.array(track.longitude_deg), hidden
        )
    ]
    search = result.search
    if search is not None:
        told = search.searching
        told = replace(
            told,
            walked=tuple(
                Walked(
                    latitude_deg=latitude_deg,
                    longitude_deg=longitude_deg,
                    sweep_width_m=way.sweep_width_m,
                )
                for way in told.walked
                for latitude_deg, longitude_deg in parts_outside(
                    way.latitude_deg, way.longitude_deg, hidden
                )
            ),
            looked_over=tuple(
                area
                for area in told.looked_over
                if not any(
                    is_hidden(hidden, lat, lon) for lon, lat in area.ring.tolist()
                )
            ),
            spots=tuple(
                spot
                for spot in told.spots
                if not is_hidden(hidden, spot.latitude_deg, spot.longitude_deg)
            ),
        )
        search = replace(search, searching=told)
    return replace(result, tracks=tuple(tracks), search=search)


def is_hidden(
    hidden: Sequence[HiddenDisc], latitude_deg: float, longitude_deg: float
) -> bool:
    """Tell whether a place lies where nothing is to be drawn."""
    return any(
        geodesic(disc.latitude_deg, disc.longitude_deg, latitude_deg, longitude_deg)[0]
        < disc.radius_m
        for disc in hidden
    )


def parts_outside(
    latitude_deg: NDArray[np.float64],
    longitude_deg: NDArray[np.float64],
    hidden: Sequence[HiddenDisc],
) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Return the parts of a way that touch no disc, each of two points or more."""
    count = len(latitude_deg)
    if count < 2:
        return []
    drawn = np.ones(count - 1, dtype=np.bool_)
    for disc in hidden:
        frame = LocalFrame(disc.latitude_deg, disc.longitude_deg)
        xy = frame.to_xy(latitude_deg, longitude_deg)
        begin, step = xy[:-1], np.diff(xy, axis=0)
        length2 = np.maximum((step**2).sum(axis=1), 1e-9)
        share = np.clip(-(begin * step).sum(axis=1) / length2, 0.0, 1.0)
        nearest = begin + share[:, None] * step
        drawn &= np.hypot(nearest[:, 0], nearest[:, 1]) >= disc.radius_m
    turns = np.flatnonzero(np.diff(np.concatenate([[0], drawn.astype(np.int8), [0]])))
    return [
        (latitude_deg[first : last + 1], longitude_deg[first : last + 1])
        for first, last in turns.reshape(-1, 2).tolist()
    ]


def _finds(hunt_dir: Path) -> tuple[FindTable, ...]:
    try:
        return read_finds(hunt_dir).find
    except TreewardError:  # `treeward found` says what is wrong with it
        return ()


def _noted(
    said: Sequence[Event], hunt_file: HuntFile, hunt_dir: Path
) -> list[Position]:
    """Return where notes say found: as typed, or where the phone was."""
    if not said:
        return []
    places = [place for e in said if (place := position_in(e.value)) is not None]
    clocks = [e.clock for e in said if e.clock is not None]
    for path in find_tracks(hunt_dir, hunt_file.map.ground) if clocks else ():
        try:
            track = read_gpx(path).points
        except TrackError:
            continue  # told where it is needed
        at = [position_at(track, clock) for clock in clocks]
        places += [place for place in at if place is not None]
    return places


def _disc(place: Position) -> HiddenDisc:
    """Return a disc that holds all within `KEPT_BACK_M`, not about the place itself."""
    try:
        middle = coarse(place, SQUARE_M)
    except HuntError:  # off the grid
        return HiddenDisc(
            latitude_deg=place.latitude_deg,
            longitude_deg=place.longitude_deg,
            radius_m=KEPT_BACK_M,
        )
    return HiddenDisc(
        latitude_deg=middle.latitude_deg,
        longitude_deg=middle.longitude_deg,
        radius_m=KEPT_BACK_M + SQUARE_M / 2**0.5,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """The prior that a season of found hunts gives for one hunt."""

    prior: OwnPrior
    known: tuple[Known, ...]
    here_deg: tuple[float, float]
    cargos: tuple[survey.Cargo, ...]
    file: str

    def applied(
        self, settings: survey.Settings, model: ModelTable, observers: Sequence[str]
    ) -> survey.Settings:
        """Return settings with the own prior in them; what [model] says stands first.

        Of speed and in-hive time the survey itself sees to that. The compass is
        narrowed only where every observer's is known, since one spread is for all.
        """
        chosen = learned_settings(settings, self.prior, self.cargos)
        if model.compass_sd_deg is None and observers:
            offsets = [self.compass(one) for one in observers]
            if all(hunts for *_, hunts in offsets):
                sd_deg = max(sd for _, sd, _ in offsets)
                chosen = replace(chosen, compass_sd_deg=_core(sd_deg, settings))
        return chosen

    def compass(self, observer: str) -> tuple[float, float, int]:
        """Return an observer's offset, its standard deviation, and from how many."""
        return own_compass(self.known, observer, here_deg=self.here_deg)

    def used(self, model: ModelTable, observers: Sequence[str]) -> OwnPriorUse:
        """Return what the report is to say of it."""
        turned = observers if model.compass_sd_deg is None else ()
        return OwnPriorUse(
            file=self.file,
            hunts=self.prior.hunts,
            turned_deg=tuple((one, self.compass(one)[0]) for one in turned),
        )


def _core(sd_deg: float, settings: survey.Settings) -> float:
    """Return the spread without tail that goes with a standard deviation with it."""
    plain_deg = settings.compass_sd_deg
    return float(sd_deg / plain_compass_sd_deg(settings) * plain_deg)


def learned_for(hunt_file: HuntFile, places: Sequence[StationPlace]) -> Learned | None:
    """Return what hunt.toml's season of found hunts foretells for this hunt.

    What a hunt of this name taught does not count. The first station tells the region.
    None stands for the plain prior: nothing is asked for, or nothing was learned.
    """
    if hunt_file.season is None or not places:
        return None
    season = hunt_file.season.without(hunt_file.hunt.name)
    if not season.lessons:
        return None
    known = known_lessons(season)
    here = places[0].latitude_deg, places[0].longitude_deg
    return Learned(
        prior=own_prior(known, here_deg=here),
        known=known,
        here_deg=here,
        cargos=tuple(dict.fromkeys(place.cargo for place in places)),
        file=hunt_file.learned_from,
    )


def known_lessons(season: SeasonFile) -> tuple[Known, ...]:
    """Return the lessons of a season as the survey takes them."""
    return tuple(
        Known(
            lesson=Lesson(
                cargos=one.cargos,
                trips=one.trips,
                bearings=one.bearings,
                precision=np.array(one.precision),
                weighted=np.array(one.weighted),
                offsets=tuple(
                    (index, offset.precision, offset.weighted)
                    for index, offset in enumerate(one.offsets)
                    if offset.precision > 0
                ),
            ),
            latitude_deg=one.latitude_deg,
            longitude_deg=one.longitude_deg,
            observers=tuple(offset.observer for offset in one.offsets),
        )
        for one in season.lessons
    )
