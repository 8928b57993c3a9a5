"""Short sound clips: the seconds around a note, cut out of its recording."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from treeward.errors import SoundError

if TYPE_CHECKING:
    from pathlib import Path


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
