"""What the threads of a listening session hand to each other."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    import numpy as np
    from numpy.typing import NDArray

    from treeward.audio.blocks import Block
    from treeward.notes.events import Event
    from treeward.speech.utterances import Utterance


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """A little sound as it arrived.

    `arrival_s` is the WatchClock second at which its last sample arrived. `lost`
    says in words why sound is missing before it ("the microphone was away"), ""
    when it follows on.
    """

    samples: NDArray[np.float32]  # shape (n,), 16 kHz mono
    arrival_s: float
    lost: str = ""


class Source(Protocol):
    """Anything that sound comes from."""

    name: str
    live: bool  # sound comes at its own pace and cannot be told to wait

    def chunks(self) -> Iterator[Chunk]:
        """Yield sound until it ends or `stop` is called."""

    def stop(self) -> None:
        """Make `chunks` end soon; may be called from another thread."""


class StretchRecognizer(Protocol):
    """Turns one closed stretch of sound into words (speech.recognizer)."""

    name: str

    def decode(self, stretch: Block) -> Utterance | None:
        """Return what was said, or None for no words."""


class Segments(Protocol):
    """Cuts running sound into stretches with speech (speech.segments)."""

    @property
    def in_speech(self) -> bool:
        """Whether somebody is speaking now."""

    def push(self, samples: NDArray[np.float32]) -> Sequence[Block]:
        """Take sound that follows on; return the stretches that closed with it."""

    def flush(self) -> Sequence[Block]:
        """Close what is still open, at the end of the sound."""


class Alarm(StrEnum):
    """What the tool says unasked."""

    DUE = "due"
    FAULT = "fault"  # microphone, disk: something needs the person
    MENDED = "mended"
    SUNSET = "sunset"
    GET_UP = "get up"  # more notes here hardly help


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """How loud the sound is and whether anything is wrong with it."""

    rms_dbfs: float
    peak_dbfs: float
    warning: str = ""  # "too loud: clipping", "silence: ..." or ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteLine:
    """One line of the list of last notes."""

    clock: datetime
    text: str  # "yellow back"
    doubtful: bool = False
    scratched: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BeeState:
    """One row of the board: a marked bee, and when it is due."""

    mark: str
    where: str  # "here", "away", "seen" (painted, not yet away)
    since: datetime
    for_s: float
    trips: int
    usual_away_s: float | None = None
    due_from: datetime | None = None
    due_until: datetime | None = None
    due: str = ""  # "", "soon", "due", "overdue"
    bearing_deg: float | None = None
    bearings: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """The running distance, and what more trips would do for it."""

    station: str
    bees: int
    trips: int
    median_m: float
    low90_m: float
    high90_m: float
    trips_to_halve: int | None  # None: more trips alone will not halve it
    # When to get up: bees of whom more trips hardly help, whether more bearings here
    # do not either, and the way to the next station once nothing here does.
    enough_of: tuple[str, ...] = ()
    bearings_enough: bool = False
    move_m: float | None = None
    move_true_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """All that the view shows at one moment."""

    now: datetime
    hunt: str
    station: str
    source: str
    engine: str
    bees: tuple[BeeState, ...]
    notes: tuple[NoteLine, ...]
    level: Level
    estimate: Estimate | None
    sunset: datetime | None
    kept_s: float  # sound on disk
    events: int
    watching: bool = True  # False between "pause" and "resume"
    faults: tuple[str, ...] = ()
    units: str = "metric"
    next_steps: tuple[str, ...] = ()  # after "colony found"


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardNotes:
    """The events of one utterance, as answered."""

    events: tuple[Event, ...]
    doubtful: bool
    kept: bool  # on disk before the answer
    latency_s: float | None = None  # end of phrase to answer, elapsed clock
    taken_back: Event | None = None


@dataclass(slots=True)
class Tally:
    """Counts of a session, for its last line and for the benches."""

    heard_s: float = 0.0
    segments: int = 0
    unheard: int = 0  # stretches left to the second pass
    events: int = 0
    doubtful: int = 0
    latencies_s: list[float] = field(default_factory=list)
    decode_s: float = 0.0
