"""What was said between the notes, kept as subtitles beside the results."""

from __future__ import annotations

from typing import TYPE_CHECKING

from treeward.files import write_text
from treeward.report.formats.labels import SHORTEST_S, escaped, stamp
from treeward.speech.utterances import WordSource

from .recordings import is_transcript, recording_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from treeward.speech.utterances import Utterance

    from .folder import HuntFolder


def keep_talk(hunt: HuntFolder, paths: Sequence[Path]) -> None:
    """Write talk.vtt of each recording that was heard, unless hunt.toml forbids it.

    Where a hunt has several recordings the file's name begins with the recording's.
    """
    if not hunt.file.speech.keep_talk:
        return
    sounds = [path for path in hunt.recordings() if not is_transcript(path)]
    for path in paths:
        if is_transcript(path):
            continue
        name = recording_name(path, hunt.recordings_dir)
        text = talk_webvtt(hunt.heard_file(name).read().utterances)
        head = "" if len(sounds) == 1 else name.replace("/", "__") + "."
        if text:
            kept = hunt.results_dir / f"{head}talk.vtt"
            write_text(kept, text, within=hunt.path)


def talk_webvtt(utterances: Iterable[Utterance]) -> str:
    """Write what was said between the notes as WebVTT cues; "" where nothing was."""
    cues = []
    for utterance in utterances:
        words = [word for word in utterance.words if word.source is WordSource.TALK]
        if words:
            start, end = words[0].start_s, words[-1].end_s
            said = escaped(" ".join(" ".join(word.text.split()) for word in words))
            stop = stamp(max(end, start + SHORTEST_S))
            cues.append(f"{stamp(max(start, 0.0))} --> {stop}\n{said}")
    return "\n\n".join(["WEBVTT", *cues]) + "\n" if cues else ""
