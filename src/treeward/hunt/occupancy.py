"""Known colonies through the year, and as known hives of a new hunt."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

from treeward.errors import HuntError
from treeward.files import read_whole, write_text
from treeward.hunt_file import parse_hunt_table
from treeward.positions import Position, format_position
from treeward.report.finds import ColonyYear

from .finds import coarse
from .places import find_tracks
from .season import living, state_of
from .template import quoted
from .tracks import read_gpx

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .hunt import Hunt
    from .season import FoundColony

_MOST_BYTES = 1 << 20  # of hunt.toml


def occupancy(
    colonies: Sequence[FoundColony], year: int, *, square_m: float | None = None
) -> list[ColonyYear]:
    """List known colonies, those of one hunt together, by day of the find.

    Parameters
    ----------
    colonies
        As `found_colonies` gives them.
    year
        Whether each was looked at in it.
    square_m
        Rounds places to squares of the UTM grid; None leaves them as they are.
    """
    return [
        _of_year(one, year, square_m)
        for one in sorted(colonies, key=lambda one: (one.hunt, one.find.found))
    ]


def _of_year(colony: FoundColony, year: int, square_m: float | None) -> ColonyYear:
    find = colony.find
    place = format_position(find.position)
    if square_m is not None:
        rough = coarse(find.position, square_m)
        place = f"{rough.latitude_deg:.3f}, {rough.longitude_deg:.3f} (rounded)"
    height = "" if find.height_m is None else f"entrance at {find.height_m:g} m"
    state, seen = state_of(colony)
    return ColonyYear(
        name=colony.name,
        place=place,
        found=find.found,
        nest=find.nest,
        entrance=", ".join(filter(None, (height, find.entrance))),
        history=tuple((look.seen, look.state) for look in colony.looks),
        state=state,
        seen=seen,
        looked=seen.year == year,
        may_know=find.may_know,
    )


def add_known_hives(
    hunt: Hunt, colonies: Sequence[FoundColony], within_m: float
) -> tuple[str, ...]:
    """Add living colonies near a hunt to the end of its hunt.toml as known hives.

    Those that it found itself, and those that it knows already by name, stay out.

    Returns
    -------
    tuple of str
        Names of those added.

    Raises
    ------
    HuntError
        If nothing tells where the hunt is, or hunt.toml cannot take more tables.
    """
    near = [place for place, _ in hunt.positions().values()]
    near += _waypoints(hunt)
    if not near:
        raise HuntError(
            "no station of this hunt has a position yet",
            where=str(hunt.path / "hunt.toml"),
            mend="Write one there, or put your phone's GPX file beside it.",
        )
    known = {hive.name for hive in hunt.file.known_hive}
    elsewhere = [one for one in colonies if not _same(one, hunt)]
    new = [
        one for one in living(elsewhere, near, within_m) if one.name[:60] not in known
    ]
    if not new:
        return ()
    lines = [""]
    for one in new:
        state, seen = state_of(one)
        lines += [
            f"[[known_hive]]  # {state} {seen.isoformat()}",
            f"name = {quoted(one.name[:60])}",
            f"position = {quoted(format_position(one.find.position))}",
            "# marks = []  # of bees seen to fly there: they are left out",
            "",
        ]
    _append(hunt, "\n".join(lines))
    return tuple(one.name for one in new)


def _same(colony: FoundColony, hunt: Hunt) -> bool:
    return colony.folder.resolve() == hunt.path.resolve()


def _waypoints(hunt: Hunt) -> list[Position]:
    return [
        place
        for path in find_tracks(hunt.path, hunt.file.map.ground)
        for place in read_gpx(path).waypoints.values()
    ]


def _append(hunt: Hunt, more: str) -> None:
    path = hunt.path / "hunt.toml"
    with hunt.locked("season"):
        raw = read_whole(
            path,
            most_bytes=_MOST_BYTES,
            error=HuntError,
            too_large="This is no hunt.toml; see that the right one lies there.",
        )
        before = raw.decode("utf-8-sig")
        after = before + ("" if before.endswith("\n") else "\n") + more
        try:
            parse_hunt_table(
                tomllib.loads(after.replace("\r\n", "\n")), where=str(path)
            )
        except (HuntError, ValueError) as error:
            raise HuntError(
                f"known hives cannot be added at its end ({error})",
                where=str(path),
                mend="Write each as a table of its own, [[known_hive]].",
            ) from error
        write_text(path, after, within=hunt.path)
