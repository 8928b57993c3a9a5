"""What is heard and read: tones, words, the answering thread, the synthesiser."""

from __future__ import annotations

import itertools
import threading
import time
from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward.language.kinds import EventKind
from treeward.live import answer as tones
from treeward.live.answer import Answer, Answerer, Gate, find_synthesiser
from treeward.live.messages import (
    distance_text,
    event_text,
    spoken_event,
    spoken_time,
)
from treeward.measures import clock_face
from treeward.notes.events import Event

if TYPE_CHECKING:
    from numpy.typing import NDArray


def contour(sound: NDArray[np.float32]) -> NDArray[np.float64]:
    """Pitch and loudness over time, as an ear would tell sounds apart."""
    frame = tones.RATE_HZ // 50
    rows = [sound[i : i + frame] for i in range(0, len(sound) - frame, frame)]
    pitch = [float(np.argmax(np.abs(np.fft.rfft(row * np.hanning(frame), 4096))))
             for row in rows]  # fmt: skip
    loud = [float(np.sqrt(np.mean(row**2))) > 0.02 for row in rows]
    padded = np.zeros(40)
    padded[: len(rows)] = np.array(pitch) * np.array(loud)
    return padded


def test_every_kind_of_note_has_a_sound() -> None:
    assert {*EventKind} <= set(tones._SHAPES)


def test_sounds_are_short_and_do_not_click_or_clip() -> None:
    for name in tones._SHAPES:
        sound = tones.tone(name)
        assert len(sound) / tones.RATE_HZ <= 0.75, name
        assert np.abs(sound).max() <= 0.5, name
        assert abs(sound[0]) < 0.02, name
        assert not sound[-10:].any(), name
    for kind in EventKind:
        assert len(tones.tone(kind)) / tones.RATE_HZ <= 0.4, kind


def test_no_two_sounds_are_alike() -> None:
    shapes = {name: contour(tones.tone(name)) for name in tones._SHAPES}
    for one, other in itertools.combinations(shapes, 2):
        differ = np.abs(shapes[one] - shapes[other]) > 10
        assert differ.sum() >= 3, (one, other)  # for 60 ms or more


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (1, "1 second"), (45, "45 seconds"), (60, "1 minute"), (370, "6 minutes 10"),
        (59.6, "1 minute"), (3600, "1 hour"), (3900, "1 hour 5"), (7199, "2 hours"),
    ],
)  # fmt: skip
def test_times_are_said_as_people_say_them(seconds: float, said: str) -> None:
    assert spoken_time(seconds) == said


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [(0, "0:00"), (307.4, "5:07"), (370, "6:10"), (3725, "1:02:05"), (-1, "0:00")],
)
def test_times_are_shown(seconds: float, shown: str) -> None:
    assert clock_face(seconds) == shown


@pytest.mark.parametrize(
    ("metres", "units", "shown"),
    [
        (43, "metric", "45 m"), (642, "metric", "640 m"), (1249, "metric", "1.2 km"),
        (91.44, "imperial", "100 yd"), (1609.344, "imperial", "1.0 mi"),
    ],
)  # fmt: skip
def test_distances_are_rounded_as_their_use_allows(
    metres: float, units: str, shown: str
) -> None:
    assert distance_text(metres, units) == shown


@pytest.mark.parametrize(
    ("event", "text"),
    [
        (Event(kind=EventKind.BACK, mark="yellow"), "yellow back"),
        (Event(kind=EventKind.BEARING, mark="red", value="010"), "red bearing 010°"),
        (Event(kind=EventKind.WIND, value="light 225"), "wind light 225"),
        (Event(kind=EventKind.MARK, mark="blue-white"), "marked blue-white"),
        (Event(kind=EventKind.DURATION, mark="red", value="away 330"), "red away 5:30"),
        (Event(kind=EventKind.REMARK, value="a cloud"), "note: a cloud"),
        (Event(kind=EventKind.PAUSE), "pause"),
    ],
)  # fmt: skip
def test_events_are_shown_in_words(event: Event, text: str) -> None:
    assert event_text(event) == text


def test_readback_says_the_away_time_and_bearings_by_digit() -> None:
    back = Event(kind=EventKind.BACK, mark="blue-white")
    bearing = Event(kind=EventKind.BEARING, value="5")

    assert spoken_event(back, 370.0) == "blue white back, 6 minutes 10"
    assert spoken_event(back, None) == "blue white back"
    assert spoken_event(bearing, None) == "bearing 0 0 5"


class SlowPlayer:
    """Remembers what it played, and when the gate was open meanwhile."""

    name = "test"

    def __init__(self, gate: Gate) -> None:
        self.gate = gate
        self.played = 0
        self.heard_itself = False
        self.go = threading.Event()

    def play(self, samples: NDArray[np.float32], rate_hz: int) -> None:  # noqa: ARG002
        self.go.wait(2.0)
        self.played += 1
        now = time.monotonic()
        probe = np.ones(10, np.float32)
        self.heard_itself |= bool(self.gate.mute(probe, now)[0] == 1.0)


class Words:
    """A synthesiser that counts what it was asked for."""

    name = "test"

    def __init__(self) -> None:
        self.said: list[str] = []

    def say(self, text: str) -> tuple[NDArray[np.float32], int]:
        self.said.append(text)
        return np.zeros(10, np.float32), 16_000


def test_gate_is_shut_while_anything_sounds_and_words_never_lag() -> None:
    gate = Gate()
    player = SlowPlayer(gate)
    words = Words()
    spans: list[tuple[float, float, str]] = []
    latencies: list[float] = []
    answerer = Answerer(
        player,
        words,  # type: ignore[arg-type]
        gate,
        time.monotonic,
        on_span=lambda a, b, said: spans.append((a, b, said)),
        on_latency=latencies.append,
    )

    for number in range(8):
        answerer.say(
            Answer(tones=("back",), words=f"note {number}", asked_s=time.monotonic())
        )
    player.go.set()
    answerer.close()

    assert not player.heard_itself
    assert len(spans) == 8
    assert len(latencies) == 8
    # The oldest words are left out where more than a few answers wait.
    assert words.said == ["note 6", "note 7"]
    assert player.played == 8 + 2


@pytest.mark.model
def test_a_synthesiser_of_this_machine_says_words() -> None:
    synthesiser = find_synthesiser()
    if synthesiser is None:
        pytest.skip("no speech synthesiser (espeak-ng, say, System.Speech) is here")

    spoken = synthesiser.say("yellow back, 6 minutes 10")
    again = synthesiser.say("yellow back, 6 minutes 10")

    assert spoken is not None
    samples, rate_hz = spoken
    assert 0.8 < len(samples) / rate_hz < 5.0
    assert float(np.sqrt(np.mean(samples**2))) > 0.01
    assert again is spoken  # read once only
