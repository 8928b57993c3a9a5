"""A season invented: one colony, a day of three hours for each recording.

Two bees a day, one after the other, some talk, and a quiet heath; the sound is made
second by second and written as FLAC.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from benchmarks.hearing.noise import bed
from treeward.audio import SAMPLE_RATE_HZ
from treeward.review.file import ReviewRow, write_review
from treeward.simulate.observer import watch, with_talk
from treeward.simulate.sound import HibariVoice, gain_for
from treeward.simulate.world import (
    SimulatedHunt,
    SimulationSettings,
    declination_deg,
    draw_shared,
    fly,
    hatch_bees,
    place_colonies,
    place_stations,
)
from treeward.simulate.write import hunt_toml, speak

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from treeward.simulate.world import SpokenLine

DAY_H = 3.0  # of sound
SPEECH_LEVEL = 0.1  # root mean square of the voice, as simulate.voice levels it
QUIET_DB = 42.0  # the heath below the voice, as between two gusts
TALK_SHARE = 0.03  # of the stretches between notes
LOOP_S = 300  # of background, over and over: 60 h of its own would take hours to make
SETTINGS = SimulationSettings(
    name="Fern Bank", stations=4, bees=8, distance_m=(700.0, 1100.0), pause_share=0.0
)


def invent(days: int, seed: int = 11) -> SimulatedHunt:
    """Invent who flew when and what was said, on `days` days at four stations."""
    rng = np.random.default_rng(seed)
    colonies = place_colonies(SETTINGS, rng)
    places = place_stations(SETTINGS, colonies, rng)
    shared = draw_shared(
        SETTINGS, rng, declination_deg(places[0].position, places[0].start)
    )
    bees = hatch_bees(SETTINGS, colonies, rng)
    homes = {colony.id: colony for colony in colonies}
    script: list[SpokenLine] = []
    for day in range(days):
        start = places[0].start + timedelta(days=day)
        station = replace(
            places[day * 4 // days],
            start=start,
            watch_s=DAY_H * 3600,
            recording=f"{start:%Y-%m-%d_%H%M}.flac",
        )
        half_s = station.watch_s / 2
        stops = []
        for number in range(2):
            bee = bees[(2 * day + number) % len(bees)]
            flown = fly(
                bee,
                station,
                homes[bee.colony],
                settings=SETTINGS,
                shared=shared,
                rng=rng,
            )
            stops += [s for s in flown if (s.back_s >= half_s) == bool(number)]
        seen = watch(
            stops,
            station,
            colonies=homes,
            known_marks={bee.mark for bee in bees},
            settings=SETTINGS,
            shared=shared,
            rng=rng,
        )
        script += speak(seen, station)
    return SimulatedHunt(
        settings=SETTINGS,
        seed=seed,
        stations=places,
        colonies=colonies,
        bees=bees,
        shared=shared,
        trips=(),
        events=tuple(said.event for said in script if said.event is not None),
        script=tuple(script),
    )


class Voice:
    """Reads a text aloud once and remembers it."""

    def __init__(self) -> None:
        self._reader = HibariVoice("british", pitch=0.9)
        self._said: dict[str, NDArray[np.float32]] = {}

    def say(self, text: str) -> NDArray[np.float32]:
        """Return the sound of a text."""
        if text not in self._said:
            self._said[text] = self._reader.say(text, rate_hz=SAMPLE_RATE_HZ, seed=1)
        return self._said[text]


def write_sound(
    season: SimulatedHunt, directory: Path, *, quiet_db: float = QUIET_DB
) -> None:
    """Write hunt.toml and a recording for each day; those that stand are kept."""
    (directory / "recordings").mkdir(parents=True, exist_ok=True)
    (directory / "hunt.toml").write_text(hunt_toml(season), "utf-8")
    rng = np.random.default_rng(season.seed)
    voice = Voice()
    loop = bed("mixed", rng, SAMPLE_RATE_HZ).block(LOOP_S * SAMPLE_RATE_HZ)
    quiet = (gain_for(SPEECH_LEVEL, quiet_db) * loop).astype(np.float32)
    for name in dict.fromkeys(said.recording for said in season.script):
        lines = [said for said in season.script if said.recording == name]
        path = directory / "recordings" / name
        if not path.exists():
            _write_day(path, with_talk(lines, rng, share=TALK_SHARE), voice, quiet)


def _write_day(
    path: Path,
    lines: tuple[SpokenLine, ...],
    voice: Voice,
    loop: NDArray[np.float32],
) -> None:
    beside = path.with_name(f".{path.name}.part")
    waiting = list(lines)
    tail = np.zeros(0, np.float32)
    with soundfile.SoundFile(
        beside, "w", SAMPLE_RATE_HZ, 1, format="FLAC", subtype="PCM_16"
    ) as sink:
        for second in range(round(DAY_H * 3600)):
            first = second % LOOP_S * SAMPLE_RATE_HZ
            block = loop[first : first + SAMPLE_RATE_HZ].copy()
            while waiting and waiting[0].start_s < second + 1:
                wave = voice.say(waiting.pop(0).text)
                # At the second's beginning, or after what is still being said.
                tail = np.concatenate([tail, wave])
            take = min(len(tail), SAMPLE_RATE_HZ)
            block[:take] += tail[:take]
            tail = tail[take:]
            sink.write(np.clip(block, -1, 1))
    beside.replace(path)


def write_typed(season: SimulatedHunt, directory: Path) -> None:
    """Write the season as a review.csv typed by hand, perfectly heard."""
    directory.mkdir(parents=True, exist_ok=True)
    (directory / "hunt.toml").write_text(hunt_toml(season), "utf-8")
    rows = [
        ReviewRow(
            event=replace(event, recording="", start_s=None, end_s=None, heard="")
        )
        for event in season.events
    ]
    write_review(directory / "review.csv", rows)
