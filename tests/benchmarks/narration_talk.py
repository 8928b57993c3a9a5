"""How many notes are made of people's talk in which none was said.

    PYTHONPATH=tests python -m benchmarks.narration_talk CORPUS/others*_talk-*.flac

The recordings are built by `benchmarks.hearing.people.build`; each is heard and read
as `treeward transcribe` would with `[speech] free = true`. Every note is a wrong one:
those heard as phrases of the phrase book, and those that were read out of the talk.
"""

from __future__ import annotations

import argparse
import pickle
from pathlib import Path

from treeward.audio.reader import read_blocks
from treeward.hunt_tables import DOUBT_BELOW
from treeward.language.phrasebook import PhraseBook
from treeward.notes.narration import read_talk
from treeward.notes.parser import parse_notes
from treeward.notes.second_look import read_again
from treeward.speech.recognizer import open_recognizer, transcribe


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("recording", nargs="+", type=Path)
    arguments = parser.parse_args()
    book = PhraseBook.load()
    spoken_s, words, phrases, freely, silent = 0.0, 0, 0, 0, 0
    for path in arguments.recording:
        kept = path.with_suffix(".pickle")  # so that reading can be tried again
        if not kept.exists():
            heard = transcribe(read_blocks(path), open_recognizer(book, free=True))
            kept.write_bytes(pickle.dumps(list(heard)))
        utterances = pickle.loads(kept.read_bytes())  # noqa: S301 (written just here)
        notes = read_again(parse_notes(utterances, book), flag_below=DOUBT_BELOW)
        events = read_talk(utterances, notes, book).events
        spoken_s += sum(one.end_s - one.start_s for one in utterances)
        words += sum(len(one.text.split()) for one in utterances)
        phrases += len(notes)
        freely += len(events) - len(notes)
        silent += sum(not event.flags for event in events)
        for event in events:
            note = f"{event.kind} {event.mark} {event.value}"
            print(f"{path.stem} {event.start_s:6.0f} {note}  <{event.heard}>")
    print(
        f"{spoken_s / 60:.0f} min of talk, {words} words: {phrases} notes heard as"
        f" phrases, {freely} read out of talk, {silent} of them all without a flag"
    )


if __name__ == "__main__":
    main()
