"""Hunts of two people as one, each with a compass and marks of their own.

The merged hunt is a new folder; the two stay as they are. A recording that lies in both
is one there, by its bytes, and so are its notes; of what one of them corrected nothing
is lost (`review.together`). Everything is copied: sound, notes, what was heard of the
recordings, tracks and finds.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from treeward.errors import HuntError, TreewardError
from treeward.files import new_folder, read_kept, read_plain, write_bytes, write_text
from treeward.language.bearings import read_bearing_cell
from treeward.language.kinds import EventKind, Holds, kinds_holding
from treeward.review.together import Reviewed, bring_together
from treeward.within import refuse_links

from .finds import FILE as FOUND
from .finds import FoundFile, found_text, read_finds
from .hunt import Hunt
from .places import find_tracks, place_stations
from .recordings import digest, files_below
from .tracks import LARGEST_BYTES
from .two_hunts import Side, folder_name, merged_toml, station_names

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from treeward.measures import Position
    from treeward.review.file import ReviewRow

_BEARINGS = frozenset(kinds_holding(Holds.DEGREES))
_TYPED = "typed"  # what rows typed by hand are called as a recording, with a name
# By recording's name, in .treeward.
_KEPT = ("starts.json", "recordings.json", "unread.json", "dismissed.json")
_MOST_KEPT_BYTES = 16_000_000  # of these; choice


@dataclass(frozen=True, slots=True, kw_only=True)
class MergedHunt:
    """What came of two hunts.

    `rows` is of the merged review, `shared` of rows that both had, `conflicts` names
    those that both changed, each otherwise; `remarks` are lines for the person.
    """

    path: Path
    recordings: int
    shared_recordings: int
    rows: int
    shared: int
    conflicts: tuple[str, ...]
    stations: tuple[str, ...]
    finds: int
    remarks: tuple[str, ...]


def merge_hunts(
    one_dir: Path, other_dir: Path, into: Path, *, names: tuple[str, str]
) -> MergedHunt:
    """Make one hunt of two, in a new folder.

    Parameters
    ----------
    one_dir, other_dir
        The hunts; the first's word stands where both say something of the whole.
    into
        The new folder; it must not be there yet, or be empty.
    names
        Who made each, where hunt.toml names nobody.

    Raises
    ------
    HuntError, ReviewError
        If a hunt cannot be read, both are one folder, or `into` holds something.
    """
    _check_folders(one_dir, other_dir, into)
    for source in (one_dir, other_dir):  # a link would copy what lies elsewhere
        refuse_links(source)
    one, other = Hunt(one_dir), Hunt(other_dir)
    folder = folder_name(names[1])
    with new_folder(into) as beside:
        made = Hunt(beside)
        made.recordings_dir.mkdir()
        copied = _Copies(made)
        copied.all_of(one, "")
        copied.all_of(other, folder)
        sides = _sides(one, other, names, copied.names)
        text, told = merged_toml(*sides, into, name=_name(one, other))
        write_text(made.path / "hunt.toml", text, within=made.path)
        _ = made.file  # it is whole, or nothing is made
        told += _no_longer_in_doubt(sides)
        reviews = [_reviewed(side, sides[0].hunt.file.hunt.compass) for side in sides]
        together = bring_together(*reviews, whose=names[1])
        made.machine_dir.mkdir(exist_ok=True)
        if together.reviewed.rows or together.reviewed.machine:
            made.review.write(together.reviewed.rows, together.reviewed.machine)
        _copy_kept(made, sides)
        told += _copy_beside(made, sides, folder)
        finds = _copy_finds(made, sides)
    return MergedHunt(
        path=into,
        recordings=copied.count,
        shared_recordings=copied.shared,
        rows=len(together.reviewed.rows),
        shared=together.shared,
        conflicts=together.conflicts,
        stations=tuple(
            f"{names[1]}'s station {old} is {new} here"
            for old, new in sides[1].stations.items()
            if old != new
        ),
        finds=finds,
        remarks=tuple(told),
    )


def _check_folders(one: Path, other: Path, into: Path) -> None:
    if one.resolve() == other.resolve():
        raise HuntError(
            "both hunts are this folder", where=str(one), mend="Name two hunts."
        )
    if into.exists() and (not into.is_dir() or any(into.iterdir())):
        raise HuntError(
            "is there already and not empty",
            where=str(into),
            mend="Name another folder with --into.",
        )
    inside = [f for f in (one, other) if into.resolve().is_relative_to(f.resolve())]
    if inside:
        raise HuntError(
            "lies in one of the hunts",
            where=str(into),
            mend="Name a folder beside them with --into.",
        )


def _name(one: Hunt, other: Hunt) -> str:
    names = dict.fromkeys([one.file.hunt.name, other.file.hunt.name])
    return " and ".join(names)[:60].strip()


class _Copies:
    """Copies recordings, those with the same bytes once, and keeps their names."""

    def __init__(self, made: Hunt) -> None:
        self._made = made
        self._by_digest: dict[bytes, str] = {}
        self.names: dict[Path, dict[str, str]] = {}
        self.count = 0
        self.shared = 0

    def all_of(self, hunt: Hunt, folder: str) -> None:
        """Copy a hunt's recordings into a folder below recordings/; "" for none."""
        names = self.names.setdefault(hunt.path, {})
        there = {p.name for p in self._made.recordings_dir.iterdir()}
        while folder in there:
            folder += "-2"
        before = dict(self._by_digest)
        for path in files_below(hunt.recordings_dir):
            if path.is_symlink():
                continue
            old = path.relative_to(hunt.recordings_dir).as_posix()
            sha256 = digest(path)
            if sha256 in before:
                names[old] = before[sha256]
                self.shared += 1
                continue
            new = f"{folder}/{old}" if folder else old
            copy = self._made.recordings_dir / new
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, copy)
            self._by_digest.setdefault(sha256, new)
            names[old] = new
            self.count += 1


def _sides(
    one: Hunt,
    other: Hunt,
    names: tuple[str, str],
    copied: Mapping[Path, dict[str, str]],
) -> tuple[Side, Side]:
    places = [_placed(hunt) for hunt in (one, other)]
    stations = (
        {station.id: station.id for station in one.file.station},
        station_names(one, other, *places),
    )
    made = []
    for hunt, who, placed, ids in zip(
        (one, other), names, places, stations, strict=True
    ):
        recordings = dict(copied[hunt.path])
        rows = hunt.rows() if hunt.review_path.exists() else []
        for row in rows:
            if (name := row.event.recording) not in recordings:
                # Typed rows, and those of a recording that is no longer there.
                recordings[name] = name or f"{_TYPED} {who}"
        marks = frozenset(row.event.mark for row in rows if row.event.mark)
        made.append(
            Side(
                hunt=hunt,
                who=who,
                recordings=recordings,
                placed=placed,
                stations=ids,
                marks=marks,
            )
        )
    first, second = made
    gone = {n: f"{second.who}/{n}" for n in second.recordings if n and _lost(n, made)}
    return first, replace(second, recordings={**second.recordings, **gone})


def _lost(name: str, sides: list[Side]) -> bool:
    """Tell whether both hunts have rows of a recording that neither has any more.

    Such may be two recordings of one name; they count as two unless rows agree.
    """
    return all(
        side.recordings.get(name) == name
        and not (side.hunt.recordings_dir / name).exists()
        for side in sides
    ) and not _same_heard(name, sides)


def _same_heard(name: str, sides: list[Side]) -> bool:
    heard = [
        {
            (r.event.start_s, r.event.heard)
            for r in side.hunt.review.machine_rows()
            if r.event.recording == name
        }
        for side in sides
    ]
    return bool(heard[0] & heard[1])


def _placed(hunt: Hunt) -> dict[str, Position]:
    """Return where a hunt's stations are, by whatever tells it."""
    try:
        table = hunt.trips()
        found = place_stations(hunt.file, hunt.path, table).positions
    except TreewardError:
        if hunt.review_path.exists():
            raise
        found = hunt.positions()
    return {station: place for station, (place, _) in found.items()}


def _reviewed(side: Side, compass: str) -> Reviewed:
    """Return a hunt's review with recordings and stations called as in the merged."""
    machine, rows = side.hunt.review.read()
    own = side.hunt.file.hunt.compass
    mark_north = "" if own == compass else own
    # The machine's copy keeps what is said in the sound; what that means here is in
    # the rows, as a person's correction is, so that no later hearing undoes it.
    return Reviewed(
        machine=tuple(_named(row, side) for row in machine),
        rows=tuple(
            _meant(_named(row, side), side, mark_north)
            for row in (side.hunt.rows() if rows is not None else [])
        ),
    )


def _named(row: ReviewRow, side: Side) -> ReviewRow:
    name = row.event.recording
    new = side.recordings.get(name, name)
    return replace(row, event=replace(row.event, recording=new))


def _meant(row: ReviewRow, side: Side, mark_north: str) -> ReviewRow:
    event = row.event
    value = event.value
    if event.kind is EventKind.STATION:
        value = side.stations.get(value, value)
    elif mark_north and event.kind in _BEARINGS:
        cell = read_bearing_cell(value)
        if cell is not None and not cell.reference:
            value = f"{value} {mark_north}"
    elif mark_north and event.kind is EventKind.WIND:
        words = value.split()
        if any(map(str.isdigit, words)) and not {"true", "magnetic"} & set(words):
            value = f"{value} {mark_north}"
    return replace(row, event=replace(event, value=value))


def _no_longer_in_doubt(sides: tuple[Side, Side]) -> list[str]:
    """Say which of the second's notes in doubt count as looked at from here on.

    So do those that say something else here than at home, as a correction does.
    """
    one, other = sides
    if not other.hunt.review_path.exists():
        return []
    turned = other.hunt.file.hunt.compass != one.hunt.file.hunt.compass
    kinds = {*_BEARINGS, EventKind.WIND} if turned else set()
    rows = [
        row.name
        for row in other.hunt.rows()
        if row.event.doubtful
        and not row.decision
        and (row.event.kind in kinds or _renamed(row, other))
    ]
    if not rows:
        return []
    said = f"{other.who}'s rows in doubt {', '.join(rows[:8])} are written otherwise"
    return [f"{said} here and count as looked at; better look first and merge anew"]


def _renamed(row: ReviewRow, side: Side) -> bool:
    said = row.event.value
    is_station = row.event.kind is EventKind.STATION
    return is_station and side.stations.get(said, said) != said


def _copy_kept(made: Hunt, sides: tuple[Side, Side]) -> None:
    """Copy what was heard of each recording, and when each was made."""
    for side in reversed(sides):  # the first's last, so that it stands
        for old, new in side.recordings.items():
            heard = side.hunt.heard_file(old).path if old else None
            if heard is not None and heard.is_file() and not heard.is_symlink():
                copy = made.heard_file(new).path
                copy.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy2(heard, copy)
    for name in _KEPT:
        whole: dict[str, Any] = {}
        for side in reversed(sides):
            path = side.hunt.machine_dir / name
            whole |= {
                side.recordings[key]: value
                for key, value in read_kept(path, most_bytes=_MOST_KEPT_BYTES).items()
                if key in side.recordings
            }
        if whole:
            text = json.dumps(whole, indent=1)  # of half a letter too
            write_text(made.machine_dir / name, text, within=made.path)


def _copy_beside(made: Hunt, sides: tuple[Side, Side], folder: str) -> list[str]:
    """Copy tracks, each once, and a phrase book; say what could not be joined."""
    told = []
    seen: set[bytes] = set()
    for number, side in enumerate(sides):
        for path in find_tracks(side.hunt.path):
            if path.is_symlink():
                told.append(f"{path}: is a link, and was not copied")
                continue
            raw = _plain_bytes(path)
            if not raw or raw in seen:
                continue
            seen.add(raw)
            name = f"{folder}-{path.name}" if number else path.name
            target = made.path / "tracks" / name
            while target.exists():
                target = target.with_stem(f"{target.stem}-2")
            write_bytes(target, raw, within=made.path)
    books = [_plain_bytes(side.hunt.path / "phrasebook.toml") for side in sides]
    if book := books[0] or books[1]:
        write_bytes(made.path / "phrasebook.toml", book, within=made.path)
    if all(books) and books[0] != books[1]:
        told.append(f"phrasebook.toml is {sides[0].who}'s; {sides[1].who}'s differs")
    return told


def _plain_bytes(path: Path) -> bytes:
    """Return a file's bytes; none where it is missing, a link, or larger than a track.

    A hunt may come from somebody else: no link in it brings other files into a new one.
    """
    if path.is_symlink():
        return b""
    try:
        return read_plain(path, most_bytes=LARGEST_BYTES)
    except OSError:
        return b""


def _copy_finds(made: Hunt, sides: tuple[Side, Side]) -> int:
    """Join both found.toml, the same find once, and return how many there are."""
    both = [read_finds(side.hunt.path) for side in sides]
    finds, looks = list(both[0].find), list(both[0].look)
    ids: dict[str, str] = {}
    for find in both[1].find:
        alike = next(
            (f for f in finds if (f.position, f.found) == (find.position, find.found)),
            None,
        )
        if alike is None:
            new = FoundFile(find=tuple(finds)).free_id()
            finds.append(find.model_copy(update={"id": new}))
        ids[find.id] = alike.id if alike is not None else finds[-1].id
    for look in both[1].look:
        moved = look.model_copy(update={"find": ids[look.find]})
        if moved not in looks:
            looks.append(moved)
    if finds:
        whole = FoundFile(find=tuple(finds), look=tuple(looks))
        write_text(made.path / FOUND, found_text(whole), within=made.path)
    return len(finds)
