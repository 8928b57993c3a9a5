"""What the observer notices and says, and what slips by.

How people say bearings, times and marks.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import TYPE_CHECKING, Literal

import numpy as np

from treeward.language.kinds import EventKind
from treeward.language.number_words import cardinal

from .world import COLOURS, SpokenLine, line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .world import (
        SharedErrors,
        SimulatedColony,
        SimulatedStation,
        SimulationSettings,
        Stop,
    )


BearingForm = Literal["digits", "tens", "hundred"]
BEARING_FORMS: tuple[BearingForm, ...] = ("digits", "tens", "hundred")


def number_words(number: int) -> str:
    """Say a whole number from 0 to 99: "forty-two"."""
    return cardinal(number).replace(" ", "-")


def digit_words(digits: str) -> str:
    """Say digits one by one: "zero three nine"."""
    return " ".join(cardinal(int(digit)) for digit in digits)


def bearing_words(bearing_deg: int, form: BearingForm = "digits") -> str:
    """Say a bearing.

    Parameters
    ----------
    bearing_deg
        Whole degrees, 0 to 360.
    form
        "digits" ("two one zero"), "tens" ("two ten", "two oh eight") or "hundred"
        ("two hundred and ten"). Bearings below 100 are always said by digits, and
        whole hundreds are never "tens".
    """
    if not 0 <= bearing_deg <= 360:
        raise ValueError(f"bearing_deg: {bearing_deg} is not between 0 and 360")
    hundreds, rest = divmod(bearing_deg, 100)
    if form == "digits" or hundreds == 0:
        return digit_words(f"{bearing_deg:03d}")
    head = cardinal(hundreds)
    if rest == 0:
        return f"{head} hundred"
    if form == "hundred":
        return f"{head} hundred and {number_words(rest)}"
    return f"{head} {'oh ' if rest < 10 else ''}{number_words(rest)}"


def time_words(hour: int, minute: int, *, twelve: bool = True) -> str:
    """Say a time of day: "ten twenty-two", "five oh five", "ten o'clock"."""
    if not (0 <= hour <= 23 and 0 <= minute <= 59):
        raise ValueError(f"hour, minute: {hour}:{minute} is not a time of day")
    said = number_words((hour - 1) % 12 + 1 if twelve else hour)
    if minute == 0:
        return f"{said} o'clock" if twelve else f"{said} hundred"
    return f"{said} {'oh ' if minute < 10 else ''}{number_words(minute)}"


def mark_words(mark: str) -> str:
    """Say a mark: "blue-white" is "blue white"."""
    return mark.replace("-", " ")


def duration_words(minutes: float) -> str:
    """Say half minutes up to 99: "five and a half minutes"."""
    whole = int(minutes)
    if whole == 0:
        return "half a minute"
    if minutes > whole:
        return f"{number_words(whole)} and a half minutes"
    return "one minute" if whole == 1 else f"{number_words(whole)} minutes"


TALK = (
    "Did you bring the flask, or is it still in the car?",
    "There was frost on this side of the hill in May.",
    "My brother used to walk up here with the dogs.",
    "That yellow paint dries faster than I thought it would.",
    "Shall we have the sandwiches before the next move?",
    "I keep thinking it will rain, and then it doesn't.",
    "You can see right down to the reservoir from here.",
    "What was the bearing on the last one?",
    "They never stop, do they?",
    "I would put the next dish behind that wall.",
    "The white pen is nearly empty, by the way.",
    "We should be home by half past five.",
    "It might be an old ash, there are not many trees left on this side.",
    "I like the blue one best, she is so steady.",
    "Mind your foot, that stone moves.",
    "Is there any tea left?",
    "Somebody mended the gate since last year.",
    "How much time do you want to spend at this place?",
    "The heather will be out in a week or two.",
    "My back hurts from sitting on this bucket.",
    "I can hear a curlew somewhere over there.",
    "We can go back to the car along the stream.",
)
PAUSE_BEFORE_S = 6.0  # a note may follow in this time; talk keeps clear of it
LENGTH_S = 5.5  # one sentence, at most; measured on the voices


def with_talk(
    script: Sequence[SpokenLine],
    rng: np.random.Generator,
    *,
    share: float,
    barred: dict[str, list[float]] | None = None,
) -> tuple[SpokenLine, ...]:
    """Put talk into quiet stretches of the script.

    `share` is the chance that a quiet stretch holds talk, `barred` the seconds of each
    recording at which the recorder was stopped; talk keeps off.
    """
    out: list[SpokenLine] = []
    order = [str(text) for text in rng.permutation(TALK)]
    for said, after in zip(script, (*script[1:], None), strict=True):
        out.append(said)
        if after is None or after.recording != said.recording or rng.random() > share:
            continue
        stops = [
            at_s
            for at_s in (barred or {}).get(said.recording, [])
            if said.start_s < at_s < after.start_s
        ]
        if stops:
            continue
        start_s = said.start_s + PAUSE_BEFORE_S + float(rng.uniform(0.0, 4.0))
        while start_s + LENGTH_S + 1.0 < after.start_s and order:
            out.append(
                SpokenLine(
                    start_s=start_s,
                    text=order[0],
                    recording=said.recording,
                    clock=said.clock + timedelta(seconds=start_s - said.start_s),
                    speaker="friend" if rng.random() < 0.65 else "observer",
                )
            )
            order = order[1:] or [str(text) for text in rng.permutation(TALK)]
            start_s += LENGTH_S + float(rng.uniform(0.0, 3.0))
            if rng.random() < 0.6:
                break
    return tuple(out)


def moved_line(said: SpokenLine, start_s: float, length_s: float) -> SpokenLine:
    """Return the line as it was really placed in the sound."""
    clock = said.clock + timedelta(seconds=start_s - said.start_s)
    event = said.event
    if event is not None:
        event = replace(
            event,
            start_s=round(start_s, 3),
            end_s=round(start_s + length_s, 3),
            clock=clock,
        )
    return replace(said, start_s=start_s, clock=clock, event=event)


SECONDS_LATE = 1.0  # from seeing to speaking, usual; guess
ANCHOR_EVERY_S = 480.0  # the time is said about this often; guess
MINUTE_WATCH_S = 5.0  # the time is said within this after the minute turns; guess
PAUSE_S = (120.0, 360.0)  # nobody watches; guess
REMARKS = (
    "the bees are slow at the edge of the dish",
    "a cloud came over",
    "two more bees without paint at the dish",
    "the dish was filled up",
    "a wasp at the dish",
    "all of them leave over the thorn bush",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidPart:
    """A few words said in one breath, and what they note; "" is said by nobody.

    `text` "{time}" is filled in when it is known at what minute it is said.
    """

    kind: EventKind
    text: str
    mark: str = ""
    value: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidNote:
    """Pieces said one after the other, from about `ready_s` on."""

    ready_s: float
    pieces: tuple[SaidPart, ...]


@dataclass(slots=True)
class Watch:
    """One sitting at a station: what was said, and which stops were noted."""

    notes: list[SaidNote] = field(default_factory=list)
    back_noted: set[tuple[str, float]] = field(default_factory=set)
    away_noted: set[tuple[str, float]] = field(default_factory=set)


def watch(
    stops: list[Stop],
    station: SimulatedStation,
    *,
    colonies: dict[str, SimulatedColony],
    known_marks: set[str],
    settings: SimulationSettings,
    shared: SharedErrors,
    rng: np.random.Generator,
) -> Watch:
    """Sit at a station and say what is seen of the stops of all bees there.

    `known_marks` are bees painted before; those seen for the first time are added.
    """
    seen = Watch()
    unseen = _pause(station.watch_s, settings, rng)
    _open(seen, station, shared, rng)
    if unseen is not None:
        start_s, end_s = unseen
        seen.notes.append(_single(start_s, EventKind.PAUSE, "pause"))
        seen.notes.append(_single(end_s, EventKind.RESUME, "resume"))
    for stop in sorted(stops, key=lambda each: each.back_s):
        for at_s, leaving in ((stop.back_s, False), (stop.away_s, True)):
            if not 15.0 < at_s < station.watch_s - 5.0:
                continue
            if unseen is not None and unseen[0] - 2.0 < at_s < unseen[1] + 1.0:
                continue
            painting = stop.mark not in known_marks and not leaving
            if not painting and rng.random() < settings.missed_share:
                continue
            key = (stop.mark, stop.back_s)
            if leaving:
                seen.away_noted.add(key)
                pieces = _departure(
                    stop,
                    station,
                    colonies=colonies,
                    settings=settings,
                    shared=shared,
                    rng=rng,
                )
            elif painting:
                known_marks.add(stop.mark)
                said = f"mark {mark_words(stop.mark)}"
                pieces = [SaidPart(kind=EventKind.MARK, text=said, mark=stop.mark)]
            else:
                seen.back_noted.add(key)
                pieces = _arrival(stop, settings, rng)
            pieces = _slip(pieces, settings, rng)
            late_s = SECONDS_LATE * float(np.exp(rng.normal(0.0, 0.4)))
            seen.notes.append(SaidNote(ready_s=at_s + late_s, pieces=tuple(pieces)))
    seen.notes.sort(key=lambda note: note.ready_s)
    return seen


def _single(ready_s: float, kind: EventKind, text: str, value: str = "") -> SaidNote:
    return SaidNote(
        ready_s=ready_s, pieces=(SaidPart(kind=kind, text=text, value=value),)
    )


def _pause(
    watch_s: float, settings: SimulationSettings, rng: np.random.Generator
) -> tuple[float, float] | None:
    if rng.random() >= settings.pause_share or watch_s < 900.0:
        return None
    start_s = float(rng.uniform(0.3, 0.6)) * watch_s
    return start_s, start_s + float(rng.uniform(*PAUSE_S))


def _open(
    seen: Watch,
    station: SimulatedStation,
    shared: SharedErrors,
    rng: np.random.Generator,
) -> None:
    """Say station, time and wind, and the time again now and then."""
    said = number_words(int(station.id)) if station.id.isdigit() else station.id
    seen.notes.append(
        _single(2.0, EventKind.STATION, f"station {said.lower()}", station.id)
    )
    strength = wind_word(shared.wind_mps)
    seen.notes.append(_single(6.0, EventKind.WIND, f"wind {strength}", strength))
    into_minute_s = station.start.second + station.start.microsecond / 1e6
    at_s = 60.0 - into_minute_s
    while at_s < station.watch_s:
        ready_s = at_s + float(rng.uniform(0.5, MINUTE_WATCH_S))
        seen.notes.append(_single(ready_s, EventKind.TIME, "{time}"))
        at_s += 60.0 * round(ANCHOR_EVERY_S * float(rng.uniform(0.7, 1.3)) / 60.0)
    if rng.random() < 0.8:
        remark = str(rng.choice(REMARKS))
        ready_s = float(rng.uniform(0.2, 0.9)) * station.watch_s
        seen.notes.append(_single(ready_s, EventKind.REMARK, f"note {remark}", remark))


def wind_word(wind_mps: float) -> str:
    """Say how strong the wind is; bounds are a guess at everyday use."""
    for bound_mps, word in ((0.8, "calm"), (3.5, "light"), (6.0, "moderate")):
        if wind_mps < bound_mps:
            return word
    return "strong"


def _arrival(
    stop: Stop, settings: SimulationSettings, rng: np.random.Generator
) -> list[SaidPart]:
    word = "landed" if rng.random() < 0.3 else "back"
    said = f"{mark_words(stop.mark)} {word}"
    pieces = [SaidPart(kind=EventKind.BACK, text=said, mark=stop.mark)]
    if rng.random() < settings.stated_share:
        away_s = stop.out_s + stop.in_hive_s + stop.home_s
        minutes = max(round(away_s / 30.0) / 2, 0.5)
        pieces.append(
            SaidPart(
                kind=EventKind.DURATION,
                text=f"that took {duration_words(minutes)}",
                mark=stop.mark,
                value=f"away {minutes * 60:.0f}",
            )
        )
    return pieces


def _departure(
    stop: Stop,
    station: SimulatedStation,
    *,
    colonies: dict[str, SimulatedColony],
    settings: SimulationSettings,
    shared: SharedErrors,
    rng: np.random.Generator,
) -> list[SaidPart]:
    said = f"{mark_words(stop.mark)} {'gone' if rng.random() < 0.15 else 'away'}"
    pieces = [SaidPart(kind=EventKind.AWAY, text=said, mark=stop.mark)]
    # A bee circles over a new place before it flies home; nobody reads that.
    if not stop.first and rng.random() < settings.bearing_share:
        homeward_deg, _ = line(station.position, colonies[stop.colony].position)
        read_deg = read_bearing(homeward_deg, settings, shared, rng)
        anchor = "heading" if rng.random() < 0.3 else "bearing"
        form = BEARING_FORMS[int(rng.integers(len(BEARING_FORMS)))]
        pieces.append(
            SaidPart(
                kind=EventKind.BEARING,
                text=f"{anchor} {bearing_words(read_deg, form)}",
                mark=stop.mark,
                value=str(read_deg),
            )
        )
    return pieces


def read_bearing(
    homeward_deg: float,
    settings: SimulationSettings,
    shared: SharedErrors,
    rng: np.random.Generator,
) -> int:
    """Read a magnetic bearing of a vanishing bee off the compass, as people do."""
    is_stray = rng.random() < settings.stray_share
    flown = homeward_deg + float(rng.normal(0.0, shared.bearing_sd_deg))
    if is_stray:
        flown = float(rng.uniform(0.0, 360.0))
    shown = flown - shared.declination_deg + shared.compass_offset_deg
    # Most people read to the mark of the dial, some to the degree.
    width = settings.rounding_deg if rng.random() < 0.85 else 1
    return int(round(shown / width) * width % 360)


def _slip(
    pieces: list[SaidPart], settings: SimulationSettings, rng: np.random.Generator
) -> list[SaidPart]:
    """Now and then say the wrong colour first, and take it back."""
    if rng.random() >= settings.slip_share:
        return pieces
    first = pieces[0]
    right = first.mark.split("-")[0]
    wrong = str(rng.choice([colour for colour in COLOURS if colour != right]))
    slipped = first.text.replace(mark_words(first.mark), wrong)
    return [
        SaidPart(kind=first.kind, text=slipped, mark=wrong),
        SaidPart(kind=EventKind.SCRATCH, text="scratch that"),
        *pieces,
    ]
