"""Short sound clips: the seconds around a note, cut out of its recording."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from treeward.errors import SoundError
from treeward.within import file_within

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from treeward.report.model import NoteRow

BEFORE_S = 1.5  # sound kept before a note, to hear what led to it; choice
AFTER_S = 1.0  # and after it; choice
LONGEST_S = 60.0  # a note is a few seconds; more is an end that was typed wrongly


def cut_clip(path: Path, start_s: float, end_s: float) -> bytes:
    """Cut a stretch out of a recording, as an Ogg file of 16 kHz mono.

    Raises
    ------
    SoundError
        If the recording cannot be read, or ends before the stretch.
    """
    import numpy as np
    import soundfile

    from .blocks import SAMPLE_RATE_HZ
    from .reader import read_blocks

    first_s = max(0.0, start_s)
    parts = []
    for block in read_blocks(path, start_s=first_s):
        parts.append(block.samples)
        if block.end_s >= end_s:
            break
    if not parts:
        raise SoundError(
            f"has no sound at second {first_s:.1f}",
            where=str(path),
            mend="See that it is the recording the notes were heard in.",
        )
    samples = np.concatenate(parts)[: max(1, int((end_s - first_s) * SAMPLE_RATE_HZ))]
    out = io.BytesIO()
    soundfile.write(out, samples, SAMPLE_RATE_HZ, format="OGG", subtype="VORBIS")
    return out.getvalue()


def clips_of(notes: Iterable[NoteRow], recordings_dir: Path) -> dict[str, bytes]:
    """Cut a clip for every note whose recording is at hand, by row."""
    clips = {}
    for note in notes:
        path = file_within(recordings_dir, note.recording)
        if path is None or note.start_s is None:
            continue
        end_s = note.start_s if note.end_s is None else note.end_s
        end_s = min(end_s, note.start_s + LONGEST_S)
        try:
            clips[note.row] = cut_clip(path, note.start_s - BEFORE_S, end_s + AFTER_S)
        except SoundError:
            continue  # the report stands without this clip
    return clips
