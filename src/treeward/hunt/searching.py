"""What was looked at, out of notes, tracks and hunt.toml, for the survey."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from treeward import survey
from treeward.errors import HuntError
from treeward.language.bearings import read_bearing_cell
from treeward.language.kinds import KINDS, EventKind, LookedAt, ends_a_walk, looked_at
from treeward.measures import Position, position_in
from treeward.notes.events import taken_back
from treeward.report.flight_lines import to_true_deg
from treeward.report.model import (
    Bout,
    BoutKind,
    SearchDoubt,
    SearchDoubtKind,
    SearchTold,
)
from treeward.survey.search import effort_of
from treeward.within import file_within

from .places import declination_at, read_shapes, read_tracks
from .tracks import (
    TrackStretch,
    WalkedLines,
    crosses_itself,
    far_doubts,
    lonlat,
    position_at,
    reach_of,
    read_stretches,
    walked_lines,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.hunt_file import HuntFile
    from treeward.hunt_tables import Cover
    from treeward.notes.events import Event

    from .places import Shape

BOUT = timedelta(minutes=30)  # a note "searched here" reaches back no further; guess
STOOD_M = 25.0  # who walked less stood there and looked round; guess
TREE_SHARE = 0.8  # of nests that one sees, looking up a tree from two sides; guess
TREE_RADIUS_M = 12.0  # its crown, and the position's error; guess
ROUND_SHARE = 0.6  # of nests that one sees, looking round from a spot; guess
PACE_M_PER_H = 3600.0  # metres per hour in a metre per second


def read_searching(
    hunt_file: HuntFile,
    hunt_dir: Path,
    events: Sequence[Event],
    *,
    stations: Sequence[Position] = (),
) -> SearchTold:
    """Return what is known of looking for the tree.

    What lies out of reach of all stations is doubted.

    Raises
    ------
    HuntError, TrackError
        When a file that hunt.toml names is not there or cannot be read.
    """
    gathered = _Gathered(hunt_file, hunt_dir)
    gathered.whole_tracks()
    gathered.notes(events)
    gathered.typed()
    gathered.ground()
    gathered.cannot_be(stations)
    return gathered.told()


def with_idle(told: SearchTold, names: Sequence[str]) -> SearchTold:
    """Add a doubt for each GPX file that tells nothing."""
    idle = [SearchDoubt(kind=SearchDoubtKind.IDLE, where=name) for name in names]
    return replace(told, doubts=(*told.doubts, *idle)) if idle else told


@dataclass
class _Gathered:
    """What is found, piece by piece."""

    hunt_file: HuntFile
    hunt_dir: Path
    walked: list[survey.Walked] = field(default_factory=list)
    areas: list[survey.LookedOver] = field(default_factory=list)
    spots: list[survey.LookedSpot] = field(default_factory=list)
    overhead: list[survey.Overhead] = field(default_factory=list)
    dishes: list[survey.EmptyDish] = field(default_factory=list)
    rings: list[survey.WeighedGround] = field(default_factory=list)
    trees: list[tuple[float, float]] = field(default_factory=list)
    paths: list[Shape] = field(default_factory=list)
    bouts: list[Bout] = field(default_factory=list)
    doubts: list[SearchDoubt] = field(default_factory=list)
    whole: set[Path] = field(default_factory=set)
    # What was given by hand or by file, and its places: (n, 2) longitude, latitude.
    given: list[tuple[str, NDArray[np.float64]]] = field(default_factory=list)
    last: tuple[datetime, Position] | None = None  # where somebody was seen last

    @property
    def look_mps(self) -> float:
        return self.hunt_file.search.look_m_per_h / PACE_M_PER_H

    def whole_tracks(self) -> None:
        """Take the GPX files of which the whole was spent looking."""
        for name in self.hunt_file.search.tracks:
            path = self._named("tracks", name)
            self.whole.add(path.resolve())
            stretches = read_stretches(path)
            for one in stretches:
                way = np.stack([one.longitude_deg, one.latitude_deg], axis=-1)
                self.given.append((name, way))
            lines = walked_lines(stretches, look_mps=self.look_mps)
            if not all(one.timed for one in stretches):
                self._doubt(SearchDoubtKind.UNTIMED, name)
            if not lines.walked_m and not lines.fast_m:
                self._doubt(SearchDoubtKind.NO_WAY, name)
                continue
            self._add_lines(lines, self.hunt_file.search.cover)
            self._doubts_of(lines, name)
            times = [one.time_s[np.isfinite(one.time_s)] for one in stretches]
            known = np.concatenate(times)
            self.bouts.append(
                Bout(
                    kind=BoutKind.TRACK,
                    name=name,
                    clock=self._clock(known.min()) if len(known) else None,
                    walked_m=lines.walked_m,
                    spent_s=lines.spent_s,
                )
            )
            for one in stretches:
                if one.timed:
                    self._was_at(one)

    def notes(self, events: Sequence[Event]) -> None:
        """Take the notes of searching and of bees overhead, by where one was then."""
        wanted = (EventKind.SEARCHED, EventKind.OVERHEAD)
        standing = standing_notes(events)
        told = [event for event in standing if event.kind in wanted]
        for event in (event for event in told if event.doubtful):
            self._doubt(SearchDoubtKind.DOUBTFUL, event.row, clock=event.clock)
        told = [event for event in told if not event.doubtful]
        if not told:
            return
        stretches = []
        for path, _ in read_tracks(self.hunt_file, self.hunt_dir)[0]:
            timed = [one for one in read_stretches(path) if one.timed]
            stretches += [(path, one) for one in timed]
            for one in timed:
                self._was_at(one)
        ends = [e for e in standing if ends_a_walk(e.kind, e.value or e.heard)]
        for event in told:
            place = self._place_of(event, [one for _, one in stretches])
            if place is None:
                continue
            if event.kind is EventKind.OVERHEAD:
                self._bees_overhead(event, place)
                continue
            match what := looked_at(event.value or event.heard):
                case LookedAt.DISH:
                    self.dishes.append(
                        survey.EmptyDish(
                            latitude_deg=place.latitude_deg,
                            longitude_deg=place.longitude_deg,
                        )
                    )
                    self._bout(event, BoutKind.DISH)
                case LookedAt.TREE:
                    self._spot(place, TREE_RADIUS_M, TREE_SHARE)
                    self._bout(event, BoutKind.TREE)
                case LookedAt.GROUND | LookedAt.WALL:
                    self._bout_before(event, ends, stretches, place, what)

    def typed(self) -> None:
        """Take what [[searched]] says."""
        for number, one in enumerate(self.hunt_file.searched, start=1):
            effort = effort_of(one.share)
            name = f"[[searched]] {number}" + (f" ({one.note})" if one.note else "")
            places = lonlat(one.area if one.at is None else [one.at])
            self.given.append((name, places))
            if crosses_itself(places):
                self._doubt(SearchDoubtKind.CROSSING, name)
            if one.at is not None:
                self._spot(one.at, one.radius_m, one.share)
                kind = BoutKind.TREE
            else:
                self.areas.append(survey.LookedOver(ring=places, effort=effort))
                kind = BoutKind.AREA
            self.bouts.append(Bout(kind=kind, name=one.note))

    def ground(self) -> None:
        """Take weighed ground, single trees and paths."""
        search = self.hunt_file.search
        weights = {name.casefold(): value for name, value in search.weights.items()}
        held: set[str] = set()
        for name in search.ground:
            shapes = read_shapes(self._named("ground", name))
            self._lies(name, [*shapes.outlines, *shapes.places])
            held |= {kind for shape in shapes.outlines for kind in shape.kinds}
            strange: dict[str, None] = {}
            for shape in shapes.outlines:
                known = (weights[kind] for kind in shape.kinds if kind in weights)
                weight = shape.weight if shape.weight is not None else next(known, None)
                if weight is None:
                    strange[next(iter(shape.kinds), "")] = None
                    continue
                self.rings.append(
                    survey.WeighedGround(
                        ring=shape.points, weight=weight, holes=shape.holes
                    )
                )
            self.trees += [tuple(shape.points[0]) for shape in shapes.places]
            if strange:
                self._doubt(SearchDoubtKind.NO_WEIGHT, name, words=tuple(strange))
            if not shapes.outlines and not shapes.places:
                self._doubt(SearchDoubtKind.NO_GROUND, name)
        if idle := tuple(name for name in weights if name not in held):
            self._doubt(SearchDoubtKind.NO_SUCH_GROUND, "[search] weights", words=idle)
        for name in search.paths:
            shapes = read_shapes(self._named("paths", name))
            self._lies(name, [*shapes.lines, *shapes.outlines])
            self.paths += [*shapes.lines, *shapes.outlines]
            if not shapes.lines and not shapes.outlines:
                self._doubt(SearchDoubtKind.NO_WAY, name)

    def cannot_be(self, stations: Sequence[Position]) -> None:
        """Doubt what lies out of reach, and areas whose sides cross."""
        search, walk = self.hunt_file.search, self.hunt_file.walk
        if search.start is not None:
            self.given.append(("[search] start", lonlat([search.start])))
        for number, corners in enumerate(walk.leave_out, start=1):
            name = f"[walk] leave_out {number}"
            self.given.append((name, lonlat(corners)))
            if crosses_itself(lonlat(corners)):
                self._doubt(SearchDoubtKind.CROSSING, name)
        # Of a file that holds several things one within reach is enough.
        whole: dict[str, list[NDArray[np.float64]]] = {}
        for name, places in self.given:
            whole.setdefault(name, []).append(places)
        reach_m = reach_of(self.hunt_file)
        for name, parts in whole.items():
            found = far_doubts([(name, part) for part in parts], stations, reach_m)
            if len(found) == len(parts):
                self.doubts.append(min(found, key=lambda one: one.metres))

    def _lies(self, name: str, shapes: Sequence[Shape]) -> None:
        self.given += [(name, shape.points) for shape in shapes]

    def told(self) -> SearchTold:
        """Return all of it."""
        search = self.hunt_file.search
        start = search.start or (self.last[1] if self.last else None)
        trees = np.array(self.trees).reshape(-1, 2)
        return SearchTold(
            searching=survey.Searching(
                walked=tuple(self.walked),
                looked_over=tuple(self.areas),
                spots=tuple(self.spots),
                overhead=tuple(self.overhead),
                empty_dishes=tuple(self.dishes),
                ground=tuple(self.rings),
                trees=survey.Trees(
                    latitude_deg=trees[:, 1],
                    longitude_deg=trees[:, 0],
                    weight=search.tree_weight,
                )
                if len(trees)
                else None,
                paths=tuple(shape.points for shape in self.paths),
                start=(start.latitude_deg, start.longitude_deg) if start else None,
                sweep_width_m=search.width_m(),
                look_mps=self.look_mps,
                walk_mps=search.walk_m_per_h / PACE_M_PER_H,
                path_mps=search.path_m_per_h / PACE_M_PER_H,
            ),
            bouts=tuple(self.bouts),
            doubts=tuple(self.doubts),
        )

    def _bout_before(
        self,
        event: Event,
        ends: Sequence[Event],
        stretches: Sequence[tuple[Path, TrackStretch]],
        place: Position,
        what: LookedAt,
    ) -> None:
        """Take the way walked since looking began, or the spot one stood at."""
        cover: Cover = "wall" if what is LookedAt.WALL else self.hunt_file.search.cover
        if event.clock is None:  # the person typed where
            self._spot(place, TREE_RADIUS_M, ROUND_SHARE)
            self._bout(event, BoutKind.TREE)
            return
        since = self._began(event, event.clock, ends)
        inside = [
            (path, part)
            for path, one in stretches
            if len(part := one.between(since, event.clock)) > 1
        ]
        if any(path.resolve() in self.whole for path, _ in inside):
            return  # the whole of that track counts already
        # Of several phones carried along one counts.
        one_file = [part for path, part in inside if path == inside[0][0]]
        lines = walked_lines(one_file, look_mps=self.look_mps)
        if lines.walked_m < STOOD_M:
            radius = max(TREE_RADIUS_M, 0.5 * self.hunt_file.search.width_m(cover))
            self._spot(place, radius, ROUND_SHARE)
            self._bout(event, BoutKind.TREE, since=since)
            return
        self._add_lines(lines, cover)
        self._doubts_of(lines, inside[0][0].name)
        self._bout(
            event,
            BoutKind.WALK,
            since=since,
            walked_m=lines.walked_m,
            spent_s=lines.spent_s,
        )

    def _began(self, event: Event, clock: datetime, ends: Sequence[Event]) -> datetime:
        """Return when the walk before a note began; others' sittings end none."""
        who = self.hunt_file.observer_of(event.recording)
        before = [
            other.clock
            for other in ends
            if other.clock is not None
            and other.clock < clock
            and len({who, self.hunt_file.observer_of(other.recording)} - {""}) < 2
        ]
        return max([clock - BOUT, *before])

    def _bees_overhead(self, event: Event, place: Position) -> None:
        cell = read_bearing_cell(event.value) if event.value else None
        if cell is None:
            self._doubt(SearchDoubtKind.NO_BEARING, event.row, clock=event.clock)
            return
        hunt = self.hunt_file.hunt
        when = event.clock or datetime.now(tz=hunt.zone)
        declination_deg, _ = declination_at(place, when, hunt, "the bees overhead")
        self.overhead.append(
            survey.Overhead(
                latitude_deg=place.latitude_deg,
                longitude_deg=place.longitude_deg,
                bearing_true_deg=to_true_deg(
                    cell.deg, cell.reference, hunt.compass, declination_deg
                ),
            )
        )
        self._bout(event, BoutKind.OVERHEAD)

    def _place_of(
        self, event: Event, stretches: Sequence[TrackStretch]
    ) -> Position | None:
        """Return where a note was spoken: as typed in it, or by a track."""
        typed = position_in(event.value)
        if event.kind is EventKind.SEARCHED and typed is not None:
            self.given.append((f"Row {event.row}", lonlat([typed])))
            return typed
        if event.clock is None:
            self._doubt(SearchDoubtKind.NO_CLOCK, event.row)
            return None
        for one in stretches:
            place = position_at(one, event.clock)
            if place is not None:
                return place
        self._doubt(SearchDoubtKind.NO_TRACK, event.row, clock=event.clock)
        return None

    def _add_lines(self, lines: WalkedLines, cover: Cover) -> None:
        width_m = self.hunt_file.search.width_m(cover)
        self.walked += [
            survey.Walked(
                latitude_deg=stretch.latitude_deg,
                longitude_deg=stretch.longitude_deg,
                sweep_width_m=width_m * share,
            )
            for stretch, share in lines.lines
        ]

    def _doubts_of(self, lines: WalkedLines, name: str) -> None:
        if lines.jumps:
            self._doubt(SearchDoubtKind.JUMPS, name, count=lines.jumps)
        if lines.fast_m > STOOD_M:
            self._doubt(SearchDoubtKind.FAST, name, metres=lines.fast_m)

    def _spot(self, place: Position, radius_m: float, share: float) -> None:
        self.spots.append(
            survey.LookedSpot(
                latitude_deg=place.latitude_deg,
                longitude_deg=place.longitude_deg,
                radius_m=radius_m,
                effort=effort_of(share),
            )
        )

    def _bout(
        self,
        event: Event,
        kind: BoutKind,
        *,
        since: datetime | None = None,
        walked_m: float = 0.0,
        spent_s: float = 0.0,
    ) -> None:
        self.bouts.append(
            Bout(
                kind=kind,
                row=event.row,
                since=since,
                clock=event.clock,
                walked_m=walked_m,
                spent_s=spent_s,
            )
        )

    def _doubt(
        self,
        kind: SearchDoubtKind,
        where: str,
        *,
        clock: datetime | None = None,
        count: int = 0,
        metres: float = 0.0,
        words: tuple[str, ...] = (),
    ) -> None:
        doubt = SearchDoubt(
            kind=kind, where=where, clock=clock, count=count, metres=metres, words=words
        )
        if doubt not in self.doubts:
            self.doubts.append(doubt)

    def _named(self, key: str, name: str) -> Path:
        path = file_within(self.hunt_dir, name)
        if path is None:
            raise HuntError(
                f"search.{key} names {name!r}, and the hunt has no such file",
                where=str(self.hunt_dir / "hunt.toml"),
                mend="Put it into the hunt's folder, or correct the name.",
            )
        return path

    def _was_at(self, stretch: TrackStretch) -> None:
        clock = self._clock(stretch.time_s[-1])
        if self.last is None or clock > self.last[0]:
            self.last = (clock, stretch.place(-1))

    def _clock(self, time_s: float) -> datetime:
        return datetime.fromtimestamp(float(time_s), tz=self.hunt_file.hunt.zone)


def standing_notes(events: Sequence[Event]) -> list[Event]:
    """Return the notes in their order, without those that were taken back."""
    untimed = [event for event in events if event.clock is None]
    clocked = sorted(
        (event for event in events if event.clock is not None),
        key=lambda e: (e.clock.timestamp() if e.clock else 0.0, KINDS[e.kind].rank),
    )
    gone = taken_back(clocked)
    return [e for n, e in enumerate(clocked) if n not in gone] + untimed
