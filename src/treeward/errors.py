"""Everything Treeward raises on purpose.

    TreewardError             the person's input is at fault; printed as one line
    ├── HuntError             hunt.toml or the hunt folder
    │   └── ListenerAtWorkError   two listeners on one hunt
    ├── SoundError            a recording or a microphone
    ├── SpeechError           a speech engine or its model
    ├── TranscriptError       a timed transcript
    ├── PhraseBookError       models/phrasebook.toml or a hunt's own phrase book
    ├── NotesError            events that cannot be read
    │   └── ReviewError       review.csv
    │       └── ReviewChangedError   saved by somebody else meanwhile
    ├── ClockError            times that cannot be placed
    ├── ReportError           a result that cannot be written
    └── TrackError            a GPX file (defined in hunt/tracks.py)

`survey` stands alone and raises ValueError naming the argument.
"""

from __future__ import annotations

_LONGEST = 240  # letters of each part; what a file holds may be of any length; choice


class TreewardError(Exception):
    """A fault in what the person gave us, said in one line.

    Parameters
    ----------
    what
        What is wrong, with the value given.
    where
        File, and row, key or second within it ("review.csv row 12").
    mend
        What to do about it, as an instruction.
    """

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        self.what = what
        self.where = where
        self.mend = mend
        super().__init__(self.line())

    def line(self) -> str:
        """Return the whole message as one printable line."""
        where, what, mend = (_plain(t) for t in (self.where, self.what, self.mend))
        head = f"{where}: {what}" if where else what
        return f"{head.rstrip('.')}. {mend}" if mend else head


def _plain(text: str) -> str:
    """Write text on one line; what a terminal would obey is shown, not sent."""
    line = " ".join(text.split())
    if len(line) > _LONGEST:
        line = f"{line[: _LONGEST - 60]} ... {line[-50:]}"
    if line.isprintable():
        return line
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in line)


class HuntError(TreewardError):
    """hunt.toml or the hunt folder is at fault."""


class ListenerAtWorkError(HuntError):
    """Somebody is listening on this hunt already."""


class SoundError(TreewardError):
    """A recording cannot be read, or holds nothing to hear."""


class SpeechError(TreewardError):
    """A speech engine or its model cannot be used."""


class TranscriptError(TreewardError):
    """A timed transcript cannot be read."""


class PhraseBookError(TreewardError):
    """The phrase book is at fault."""


class NotesError(TreewardError):
    """Events cannot be read or written."""


class ReviewError(NotesError):
    """review.csv is at fault."""


class ReviewChangedError(ReviewError):
    """review.csv was saved by somebody else since it was read; nothing was written."""


class ClockError(TreewardError):
    """A time cannot be placed on the clock."""


class ReportError(TreewardError):
    """A result cannot be written."""
