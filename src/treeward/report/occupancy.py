"""The year of known colonies as a list: found, alive in spring, dead, moved in."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

_STYLE = """\
body { font: 11pt/1.4 sans-serif; margin: 1.5cm; color: #111; background: #fff }
h1 { font-size: 16pt; margin: 0 } table { border-collapse: collapse; width: 100% }
th, td { border: 1px solid #777; padding: 2pt 4pt; text-align: left;
  vertical-align: top } thead { display: table-header-group } tr { break-inside: avoid }
td.blank { min-width: 4.5cm } @page { size: landscape }"""


@dataclass(frozen=True, slots=True, kw_only=True)
class ColonyYear:
    """A known colony as it stands in the list.

    `state` is how it was last seen, on `seen`; `history` every look, by day. `looked`
    says whether anybody looked in the year of the list.
    """

    name: str
    place: str
    found: date
    nest: str
    entrance: str
    history: tuple[tuple[date, str], ...]
    state: str
    seen: date
    looked: bool
    may_know: tuple[str, ...] = ()

    @property
    def state_text(self) -> str:
        """What is known of it, and whether that is of this year."""
        last = f"{self.state} {self.seen.isoformat()}"
        return last if self.looked else f"not looked at this year; last {last}"


def history_text(colony: ColonyYear) -> str:
    """Write every look at a colony in one line."""
    return ", ".join(f"{day.isoformat()} {state}" for day, state in colony.history)


def occupancy_page(colonies: Sequence[ColonyYear], year: int) -> str:
    """Return a page to print, one colony a row, with room for this year's look."""
    heads = ("Colony", "Place", "Found", "Nest", "Seen since", f"{year}", "Look, day")
    rows = []
    for one in colonies:
        nest = ", ".join(filter(None, (one.nest, one.entrance)))
        cells = (
            one.name,
            one.place,
            one.found.isoformat(),
            nest,
            history_text(one) or "never",
            one.state_text if one.looked else "not looked at",
        )
        filled = "".join(f"<td>{escape(cell)}</td>" for cell in cells)
        rows.append(f'<tr>{filled}<td class="blank"></td></tr>')
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in heads)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>Known colonies {year}</title>\n<style>\n{_STYLE}\n</style>\n</head>\n"
        f"<body>\n<h1>Known colonies {year}</h1>\n"
        "<p>Where wild colonies live is not everybody's to know: keep this list to "
        "yourself and those who may know.</p>\n"
        f"<table>\n<thead><tr>{head}</tr></thead>\n<tbody>\n"
        + "\n".join(rows)
        + "\n</tbody>\n</table>\n</body>\n</html>\n"
    )


def occupancy_dict(colony: ColonyYear) -> dict[str, Any]:
    """Return a colony of the list as it stands in JSON."""
    return {
        "name": colony.name,
        "place": colony.place,
        "found": colony.found.isoformat(),
        "nest": colony.nest,
        "entrance": colony.entrance,
        "state": colony.state,
        "seen": colony.seen.isoformat(),
        "looked_at_this_year": colony.looked,
        "history": [
            {"seen": day.isoformat(), "state": state} for day, state in colony.history
        ],
    }
