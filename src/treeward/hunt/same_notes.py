"""Hunts of a folder that hold the same notes: a merged hunt and its parts, or copies.

What one note tells of bees is told once, in whichever folders it lies. So of hunts that
share most of the smaller one's notes, a colony found in both counts in the one that
holds more of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from treeward.errors import TreewardError
from treeward.survey.frame import geodesic

from .hunt import Hunt
from .merging_toml import ONE_PLACE_M

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from .finds import FindTable, LookTable

_SHARED = 0.5  # of the smaller's notes; two people at one dish share fewer; guess

Notes = frozenset[tuple["datetime", str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundColony:
    """A colony that was found, its hunt, and what was seen of it since.

    `parts` are folders of other hunts that hold the same notes and this find, as the
    parts of a merged hunt do; `looks` holds what they know of it as well. `shared_with`
    names all hunts that hold the same notes, with a find or without.
    """

    hunt: str  # name in hunt.toml
    folder: Path
    find: FindTable
    looks: tuple[LookTable, ...]
    parts: tuple[Path, ...] = ()
    shared_with: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What it is called in lists: the hunt's name and the find's."""
        return f"{self.hunt} {self.find.id}"


def notes_of(folder: Path) -> Notes:
    """Return a hunt's notes by clock, kind and mark; none where they cannot be read."""
    try:
        rows = Hunt(folder, plain=True).rows()
    except TreewardError:  # told where the hunt is located
        return frozenset()
    return frozenset(
        (row.event.clock, row.event.kind.value, row.event.mark)
        for row in rows
        if row.event.clock is not None
    )


def shares_notes(one: Notes, other: Notes) -> bool:
    """Tell whether two hunts share most of the notes of the one that has fewer."""
    fewer = min(len(one), len(other))
    return fewer > 0 and len(one & other) > _SHARED * fewer


def counted_once(
    colonies: Sequence[FoundColony], names: Mapping[Path, str]
) -> tuple[list[FoundColony], list[str]]:
    """Return each find once, and a line for every one that stands in a larger hunt.

    Parameters
    ----------
    colonies
        The finds of all hunts.
    names
        Of all hunts, by their folders.
    """
    if not colonies or len(names) < 2:
        return list(colonies), []
    notes = {folder: notes_of(folder) for folder in names}
    kept: list[FoundColony] = []
    told: list[str] = []
    for one in sorted(colonies, key=lambda c: -len(notes[c.folder])):
        at = _again(one, kept, notes)
        if at is None:
            kept.append(one)
            continue
        first = kept[at]
        looks = (k.model_copy(update={"find": first.find.id}) for k in one.looks)
        kept[at] = replace(
            first,
            looks=_by_day((*first.looks, *looks)),
            parts=(*first.parts, one.folder),
        )
        told.append(
            f"{one.folder}: its find {one.find.id} is find {first.find.id} of "
            f"{first.folder}, which holds the same notes, and counts there, once"
        )
    order = [(one.folder, one.find.id) for one in colonies]
    kept.sort(key=lambda one: order.index((one.folder, one.find.id)))
    return [_with_names(one, names, notes) for one in kept], told


def _with_names(
    one: FoundColony, names: Mapping[Path, str], notes: Mapping[Path, Notes]
) -> FoundColony:
    shared = (
        name
        for folder, name in names.items()
        if folder != one.folder and shares_notes(notes[one.folder], notes[folder])
    )
    return replace(one, shared_with=tuple(dict.fromkeys(shared)))


def _again(
    one: FoundColony, kept: Sequence[FoundColony], notes: Mapping[Path, Notes]
) -> int | None:
    """Return which of the finds kept so far is this one, in another folder."""
    own = notes[one.folder]
    for index, other in enumerate(kept):
        if (
            other.folder != one.folder
            and one.folder not in other.parts
            and _apart_m(one, other) <= ONE_PLACE_M
            and shares_notes(own, notes[other.folder])
        ):
            return index
    return None


def _apart_m(one: FoundColony, other: FoundColony) -> float:
    here, there = one.find.position, other.find.position
    return geodesic(
        here.latitude_deg, here.longitude_deg, there.latitude_deg, there.longitude_deg
    )[0]


def _by_day(looks: Iterable[LookTable]) -> tuple[LookTable, ...]:
    return tuple(sorted(dict.fromkeys(looks), key=lambda look: look.seen))
