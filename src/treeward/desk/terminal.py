"""The review in the terminal: the rows to look at as lines, or as values for a script.

And one row at a time, one key each, saved at once.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Any

from rich.markup import escape
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from treeward.audio import SAMPLE_RATE_HZ
from treeward.errors import ReviewError, TreewardError
from treeward.hunt.review_update import said_in_words
from treeward.notes.unread import Unread
from treeward.report.wording import left_text
from treeward.review.file import cells_of
from treeward.review.store import (
    Status,
    lacks,
    reasons_of,
    status_of,
    to_look_at,
    worry,
)

from .desk import clock_at, line_key, note_of_line
from .edits import CellEdit, LineJudged, NewRow
from .sources import clip_samples
from .tally import counts_line, doubts_by_row, trip_changes
from .weighing import Weighing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from rich.console import Console

    from treeward.live.microphone import Player
    from treeward.notes.events import Event
    from treeward.review.file import ReviewRow
    from treeward.trips.table import TripTable

    from .desk import Desk, SentenceRead
    from .edits import Applied, Edit, Sheet


BEFORE_S = 2.5  # heard before a note begins
AFTER_S = 2.0  # and after it ends
KEYS = (
    ("enter, k", "keep: it is right"),
    ("1 … 9", "take that other reading"),
    ("c", "change: write it as it was said, or cell by cell"),
    ("d", "drop"),
    ("a", "add a note after this one"),
    ("p", "play the sound around it"),
    ("n, b", "next, back"),
    ("u", "undo"),
    ("q", "quit"),
)
LINE_KEYS = (
    ("enter, m", "make a note of the line"),
    ("d", "dismiss it: there is nothing in it; again: bring it back"),
    *KEYS[5:],
)


class TerminalReview:
    """A review of the hunt on the desk in the terminal.

    `read_key` waits for a key and returns it, `ask` shows a question and returns the
    typed answer. A player named "none" cannot play.
    """

    def __init__(
        self,
        desk: Desk,
        console: Console,
        *,
        read_key: Callable[[], str],
        ask: Callable[[str], str],
        player: Player,
    ) -> None:
        self._desk = desk
        self._console = console
        self._read_key = read_key
        self._ask = ask
        self._player = player
        self._undo: list[tuple[Edit, ...]] = []
        self._table: TripTable | None = None
        self._at = 0
        self._stops: list[str | Unread] = []  # rows by name, then lines without a note
        self._moves: Mapping[str, Any] = {}

    def run(self, *, all_rows: bool = False) -> None:
        """Go through the rows and the lines without a note until the person quits."""
        sheet = self._desk.sheet()
        weighing = self._weighed()
        rows = rows_to_show(sheet, weighing, all_rows=all_rows)
        self._stops = [*(row.name for row in rows), *self._desk.lines(sheet)]
        self._say(self._trips_line(), "dim")
        while self._at < len(self._stops):
            sheet, stop = self._desk.sheet(), self._stops[self._at]
            row = next((r for r in sheet.rows if r.name == stop), None)
            if isinstance(stop, Unread):
                self._show_line(stop, sheet)
            elif row is None:  # taken out meanwhile, by undo or another program
                del self._stops[self._at]
                continue
            else:
                self._show(row, sheet)
            try:
                key = self._read_key()
            except EOFError:
                return
            except KeyboardInterrupt:
                key = "q"
            if key.lower() == "q":
                return
            try:
                if isinstance(stop, Unread):
                    self._line_deed(key, stop, sheet)
                elif row is not None:
                    self._deed(key, row, sheet)
            except (EOFError, KeyboardInterrupt):  # at a question
                self._say("Left as it was.", "yellow")
            except TreewardError as error:
                for line in getattr(error, "lines", ()) or (error.line(),):
                    self._say(f"Not saved: {line}", "bold red")
        sheet = self._desk.sheet()
        left = self._desk.left(sheet)
        self._say(
            f"That was the last one; still to look at: {left_text(left)}."
            if left.any
            else "Nothing is left to look at.",
            "bold",
        )

    def _weighed(self) -> Weighing:
        """Work out what the place depends on, unless Ctrl-C leaves that."""
        weighing = Weighing(self._desk)
        try:
            with self._console.status("How far may each row move the place? (Ctrl-C)"):
                weighing.weigh_now()
        except KeyboardInterrupt:
            self._say("Left; what is not known comes by how doubtful it is.", "yellow")
        self._moves = weighing.told()["rows"]
        return weighing

    def _deed(self, key: str, row: ReviewRow, sheet: Sheet) -> None:
        match key.lower():
            case "\r" | "\n" | "k":
                self._keep(row)
            case "d":
                self._save(row, {"decision": "drop"})
                self._at += 1
            case "c":
                self._change(row)
            case "a":
                self._add(row, sheet)
            case digit if digit in set("123456789"):
                self._take_reading(row, int(digit))
            case _:
                self._go(key, row.event, KEYS)

    def _line_deed(self, key: str, line: Unread, sheet: Sheet) -> None:
        match key.lower():
            case "\r" | "\n" | "m":
                self._make_note(line)
            case "d":
                dismissed = line in self._desk.lines(sheet)
                self._apply([LineJudged(line=line_key(line), dismissed=dismissed)])
                self._at += dismissed
            case _:
                self._go(key, line, LINE_KEYS)

    def _go(
        self, key: str, where: Event | Unread, keys: Sequence[tuple[str, str]]
    ) -> None:
        """Do what is the same at every stop."""
        match key.lower():
            case "p" | " ":
                self._play(where)
            case "n" | "\x1b[b" | "\x1b[c" | "\xe0p" | "\xe0m":  # down, right
                self._at += 1
            case "b" | "\x1b[a" | "\x1b[d" | "\xe0h" | "\xe0k":  # up, left
                self._at = max(0, self._at - 1)
            case "u":
                self._take_back()
            case _:
                self._show_keys(keys)

    def _keep(self, row: ReviewRow) -> None:
        if missing := lacks(row):
            self._say(f"It has no {missing}: change it (c) or drop it (d).", "yellow")
            return
        self._save(row, {"decision": "keep"})
        self._at += 1

    def _take_reading(self, row: ReviewRow, number: int) -> None:
        others = self._desk.reader.alternatives(row.event)
        if number > len(others) or (reading := others[number - 1][2]) is None:
            self._say(f"There is no reading {number} to take.", "yellow")
            return
        self._save(row, reading.cells())
        self._at += 1

    def _change(self, row: ReviewRow) -> None:
        said = self._ask(
            'What was said? ("yellow away", "bearing 210"; empty: cell by cell) '
        ).strip()
        if not said:
            if cells := self._cell_by_cell(row):
                self._save(row, cells)
                self._at += 1
            return
        read = self._desk.read_sentence(said, row.name)
        if self._sure_of(read):
            self._save(row, read.row or {}, [NewRow(cells=one) for one in read.adds])
            self._at += 1

    def _sure_of(self, read: SentenceRead) -> bool:
        """Show what a sentence that is no plain phrase would become, and ask."""
        if read.plain:
            return True
        becomes = "; and added: ".join(
            part
            for part in (
                read.said[0] if read.row is not None else "",
                ", ".join(read.said[read.row is not None :]),
            )
            if part
        )
        answer = self._ask(f"  It becomes: {becomes}. Enter saves, n leaves it: ")
        if answer.strip().lower().startswith("n"):
            self._say("Left as it was.", "yellow")
            return False
        return True

    def _cell_by_cell(self, row: ReviewRow) -> dict[str, str]:
        now = cells_of(row)
        self._say("Enter leaves a cell as it is; a single - empties it.", "dim")
        cells: dict[str, str] = {}
        for column, name in (
            ("event", "note"),
            ("mark", "mark"),
            ("value", "value"),
            ("clock", "time"),
            ("remark", "remark"),
        ):
            typed = self._ask(f"  {name} [{escape(now[column])}]: ").strip()
            if typed:
                cells[column] = "" if typed == "-" else typed
        return cells

    def _add(self, row: ReviewRow, sheet: Sheet) -> None:
        said = self._ask('What was said? ("yellow back") ').strip()
        if not said:
            return
        read = self._desk.read_sentence(said)
        if not self._sure_of(read):
            return
        event = row.event
        near = event.clock
        if event.start_s is not None:
            near = clock_at(sheet.rows, event.recording, event.start_s) or near
        shown = f"{near:%H:%M:%S}" if near else ""
        clock = self._ask(f"  time [{shown}]: ").strip() or shown
        place = {"clock": clock, "recording": event.recording}
        self._added(NewRow(cells={**cells, **place}) for cells in read.adds)

    def _make_note(self, line: Unread) -> None:
        """Add what the line says, or what it is said to be."""
        notes = self._notes_of(line)
        if line.start_s is None and notes:
            shown = f"{line.clock:%H:%M:%S}" if line.clock else ""
            typed = self._ask(f"  time [{shown}]: ").strip()
            notes = [{**cells, "clock": typed} if typed else cells for cells in notes]
        if notes:
            self._added(note_of_line(line, cells) for cells in notes)
            self._at += 1

    def _notes_of(self, line: Unread) -> Sequence[Mapping[str, str]]:
        """Ask for the notes in a line; the one that says just a phrase is plain."""
        with suppress(ReviewError):
            read = self._desk.read_sentence(line.text)
            if read.plain:
                return read.adds
        offers = self._desk.offered(line)
        for number, notes in enumerate(offers, 1):
            text = Text(f"{number}", style="bold cyan")
            text.append(f" {', '.join(one.said for one in notes)}", style="default")
            self._console.print(text)
        said = self._ask(
            "What was said? (one of these numbers, or in words; empty: leave it) "
        ).strip()
        if not said:
            return ()
        if said in set("123456789"[: len(offers)]):
            return [one.cells() for one in offers[int(said) - 1]]
        read = self._desk.read_sentence(said)
        return read.adds if self._sure_of(read) else ()

    def _added(self, rows: Iterable[NewRow]) -> None:
        applied = self._apply(list(rows))
        self._stops[self._at + 1 : self._at + 1] = applied.added
        self._say(f"Added as {', '.join(applied.added)}. {self._trips_line()}", "green")

    def _play(self, where: Event | Unread) -> None:
        sound = self._desk.shelf.sound_for(where.recording)
        if sound is None or where.start_s is None:
            self._say("There is no sound to this.", "yellow")
            return
        if self._player.name == "none":
            self._say(
                "Nothing here can play sound: no loudspeaker was found. "
                "treeward doctor says more.",
                "yellow",
            )
            return
        end_s = where.end_s if where.end_s is not None else where.start_s
        samples = clip_samples(sound.path, where.start_s - BEFORE_S, end_s + AFTER_S)
        length_s = len(samples) / SAMPLE_RATE_HZ
        self._say(f"Playing {length_s:.0f} s by {self._player.name} ...", "dim")
        if fault := self._player.play(samples, SAMPLE_RATE_HZ):
            self._say(
                f"It could not be played ({fault}). treeward doctor says more.",
                "yellow",
            )

    def _save(
        self, row: ReviewRow, cells: Mapping[str, str], more: Sequence[NewRow] = ()
    ) -> None:
        now = cells_of(row)
        edits = [
            CellEdit(row=row.name, column=name, value=value, was=now[name])
            for name, value in cells.items()
        ]
        self._apply([*edits, *more])
        self._say(self._trips_line(), "dim")

    def _take_back(self) -> None:
        if not self._undo:
            self._say("There is nothing to undo.", "yellow")
            return
        edits = self._undo.pop()
        self._report_conflicts(self._desk.apply(edits))
        first = edits[0]
        for place, stop in enumerate(self._stops):
            if isinstance(stop, Unread):
                again = isinstance(first, LineJudged) and first.line == line_key(stop)
            else:
                again = isinstance(first, CellEdit) and first.row == stop
            if again:
                self._at = place
        self._say(f"Taken back. {self._trips_line()}", "green")

    def _apply(self, edits: Sequence[Edit]) -> Applied:
        applied = self._desk.apply(edits)
        if applied.undo:
            self._undo.append(applied.undo)
        self._report_conflicts(applied)
        return applied

    def _report_conflicts(self, applied: Applied) -> None:
        for clash in applied.conflicts:
            self._say(
                f"{clash.row} {clash.column}: another program wrote {clash.theirs!r} "
                f"meanwhile; that stays, and {clash.mine!r} was not written.",
                "bold red",
            )

    def _trips_line(self) -> str:
        """Say how many trips there are now, and what changed since the last time."""
        try:
            table = self._desk.trips()
        except TreewardError as error:
            return f"Trips: {error.line()}"
        changes = trip_changes(self._table or table, table)
        self._table = table
        return "\n".join(
            [f"Trips: {counts_line(table)}.", *(f"  {c}" for c in changes)]
        )

    def _say(self, text: str, style: str) -> None:
        self._console.print(Text(text, style=style))

    def _show_keys(self, keys: Sequence[tuple[str, str]]) -> None:
        table = Table(box=None, show_header=False)
        for key, deed in keys:
            table.add_row(Text(key, style="bold"), deed)
        self._console.print(table)

    def _show(self, row: ReviewRow, sheet: Sheet) -> None:
        event = row.event
        lines = Text()
        lines.append(said_in_words(event) or "?", style="bold")
        lines.append(f"   {event.clock:%H:%M:%S}" if event.clock else "   no time")
        lines.append(f"   {status_of(row, sheet.machine.get(row.name))}\n", "dim")
        if move := move_text(row, sheet, self._moves):
            lines.append(f"{move}\n", "bold yellow")
        if event.heard:
            lines.append(f"heard “{event.heard}”, {event.confidence:.0%} sure\n", "dim")
        before, after = self._desk.talk.around(
            event.recording, event.start_s, event.end_s, event.heard
        )
        for where, text in (("before", before), ("after", after)):
            if text:
                said = text.replace("\n", " / ")
                lines.append(f"said {where}: “{said}”\n", "dim")
        try:
            doubts = doubts_by_row(self._desk.trips()).get(row.name, ())
        except TreewardError:
            doubts = ()
        for reason in (*reasons_of(row), *doubts):
            lines.append(f"◆ {reason}\n", "yellow")
        others = self._desk.reader.alternatives(event)
        for number, (text, confidence, _) in enumerate(others[:9], 1):
            lines.append(f"{number}", "bold cyan")
            lines.append(f" {text} ")
            lines.append(f"{confidence:.0%}   ", "dim")
        if others:
            lines.append("\n")
        if row.remark:
            lines.append(f"remark: {row.remark}\n", "dim")
        lines.append(
            "enter keep  c change  d drop  a add  p play  n next  ? keys", "dim"
        )
        self._panel(lines, f"{row.name}  {place_of(row)}")

    def _show_line(self, line: Unread, sheet: Sheet) -> None:
        lines = Text()
        lines.append(f"“{line.text}”", style="bold")
        judged = line not in self._desk.lines(sheet)
        lines.append("   judged\n" if judged else "   no note was made of it\n", "dim")
        lines.append(
            "enter make a note  d nothing in it  p play  n next  ? keys", "dim"
        )
        self._panel(lines, f"{line.recording} {line.place}")

    def _panel(self, lines: Text, name: str) -> None:
        title = escape(f"{self._at + 1} of {len(self._stops)}  {name}")
        self._console.print(Panel(lines, title=title, title_align="left", expand=False))


def place_of(row: ReviewRow) -> str:
    """Say where in which recording a row was heard: "memo.m4a 12:31"."""
    event = row.event
    if event.start_s is None:
        return event.recording or "by hand"
    minutes, seconds = divmod(int(event.start_s), 60)
    return f"{event.recording} {minutes}:{seconds:02d}"


def rows_to_show(
    sheet: Sheet, weighing: Weighing, *, all_rows: bool
) -> list[ReviewRow]:
    """Return the rows to list: worst first, or all in the file's order."""
    if all_rows:
        return list(sheet.rows)
    return weighing.in_order(to_look_at(sheet.rows, sheet.machine))


def move_text(row: ReviewRow, sheet: Sheet, moves: Mapping[str, Any]) -> str:
    """Say how far a row to look at may move the place, "" where that is not known."""
    written = sheet.machine.get(row.name)
    if row.name not in moves or status_of(row, written) is not Status.LOOK:
        return ""
    return str(moves[row.name]["text"])


def weighed(desk: Desk) -> Weighing:
    """Weigh the rows once."""
    weighing = Weighing(desk)
    weighing.weigh_now()
    return weighing


def row_lines(desk: Desk, *, all_rows: bool) -> list[str]:
    """List the rows, two lines each, the lines without a note, and what to do."""
    sheet, weighing = desk.sheet(), weighed(desk)
    rows = rows_to_show(sheet, weighing, all_rows=all_rows)
    moves = weighing.told()["rows"]
    lines = []
    for row in rows:
        event = row.event
        clock = f"{event.clock:%Y-%m-%d %H:%M:%S}" if event.clock else "no time"
        status = status_of(row, sheet.machine.get(row.name))
        lines.append(
            f"{row.name}  {clock}  {said_in_words(event)}  [{status}]  {place_of(row)}"
        )
        others = "; ".join(
            f"{text} ({confidence:.2f})"
            for text, confidence, _ in desk.reader.alternatives(event)
        )
        details = [
            move_text(row, sheet, moves),
            f"heard {event.heard!r} ({event.confidence:.2f})" if event.heard else "",
            f"or {others}" if others else "",
            f"why: {'; '.join(reasons_of(row))}" if reasons_of(row) else "",
        ]
        if any(details):
            lines.append("       " + ", ".join(part for part in details if part))
    unread = desk.lines(sheet)
    lines += [f"{line.recording} {line.place}  {line.text!r}" for line in unread]
    left = desk.left(sheet)
    lines.append(
        f"To look at: {left_text(left)}, of {left.of} notes. "
        f"Correct them in {desk.hunt.review_path}, with treeward review in a terminal, "
        "or with treeward review --browser."
        if left.any
        else f"Nothing left to look at in {left.of} notes. Next: treeward locate"
    )
    return lines


def review_dict(desk: Desk, *, all_rows: bool) -> dict[str, Any]:
    """Return for a script what `row_lines` lists, and how much is to be looked at."""
    sheet = desk.sheet()
    left = desk.left(sheet)
    return {
        "to_look_at": {"notes": left.notes, "of": left.of, "lines": left.lines},
        "rows": _rows_as_dicts(desk, sheet, all_rows=all_rows),
        "lines_without_note": [
            {
                "recording": line.recording,
                "place": line.place,
                "start_s": line.start_s,
                "end_s": line.end_s,
                "line": line.line,
                "clock": line.clock.isoformat() if line.clock else None,
                "text": line.text,
                "marks": list(line.marks),
            }
            for line in desk.lines(sheet)
        ],
    }


def _rows_as_dicts(desk: Desk, sheet: Sheet, *, all_rows: bool) -> list[dict[str, Any]]:
    weighing = weighed(desk)
    moves = weighing.told()["rows"]
    return [
        {
            "row": row.name,
            "status": status_of(row, sheet.machine.get(row.name)).value,
            "worry": round(worry(row), 3),
            "moves": move_text(row, sheet, moves),
            "moves_m": moves.get(row.name, {}).get("moves_m"),
            "chance_used_up": moves.get(row.name, {}).get("used_up"),
            "clock": row.event.clock.isoformat() if row.event.clock else None,
            "event": row.event.kind.value,
            "mark": row.event.mark,
            "value": row.event.value,
            "recording": row.event.recording,
            "start_s": row.event.start_s,
            "end_s": row.event.end_s,
            "confidence": row.event.confidence,
            "heard": row.event.heard,
            "alternatives": desk.readings(row.event),
            "why": list(reasons_of(row)),
            "decision": row.decision,
            "remark": row.remark,
        }
        for row in rows_to_show(sheet, weighing, all_rows=all_rows)
    ]
