"""report.html: whole, honest, safe, and in need of nothing from outside."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import fields, replace
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

import pytest

from treeward.report.advice_wording import CAUTIONS, HAND_RULES, SOURCES
from treeward.report.figures.distance import flight_s
from treeward.report.model import NoteRow
from treeward.report.page import _rounded, clip_address, page_text
from treeward.report.result_json import result_dict
from treeward.survey.records import OwnFactors, Settings
from treeward.trips.table import Doubt, DoubtCode

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.report.model import HuntResult

HOSTILE = "</title><script>a(1)</script><img src=x onerror=a(2)>\"'"
VOID = {"meta", "link", "br", "img", "input", "hr", "source"}


class Page(HTMLParser):
    """What stands in a page: tags, addresses, ids, and whether tags are closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.text: list[str] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> without its beginning"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in {"script", "style"}:
            self.text.append(data)

    def values(self, name: str) -> list[str]:
        return [value for _, attribute, value in self.attributes if attribute == name]

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


@pytest.fixture(params=["result", "two_colonies", "empty"])
def page(request: pytest.FixtureRequest) -> Page:
    return Page(page_text(request.getfixturevalue(request.param), drawings={}))


def test_every_tag_is_closed_and_ids_come_once(page: Page) -> None:
    ids = page.values("id")

    assert page.open == []
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("kind", ["result", "two_colonies", "two_days", "days_apart"])
def test_every_cell_of_a_table_is_labelled_as_its_column(
    request: pytest.FixtureRequest, kind: str
) -> None:
    text = page_text(request.getfixturevalue(kind), drawings={})
    tables = re.findall(r"<table.*?</table>", text, flags=re.DOTALL)
    assert len(tables) >= 5

    for table in tables:
        head, body = table.split("</thead>")
        columns = re.findall(r'<th scope="col">(.*?)</th>', head)
        for row in re.findall(r"<tr.*?</tr>", body, flags=re.DOTALL):
            cells = re.findall(r"<(th|td)( [^>]*)?>", row)
            assert len(cells) == len(columns)
            for (tag, attributes), column in zip(cells, columns, strict=True):
                if tag == "td":
                    assert f'data-label="{column}"' in attributes


def test_every_link_within_the_page_leads_somewhere(page: Page) -> None:
    ids = set(page.values("id"))
    inner = [href[1:] for href in page.values("href") if href.startswith("#")]

    assert set(inner) <= ids


def test_nothing_comes_from_outside(page: Page) -> None:
    outside = [
        value
        for name in ("src", "href", "data", "action", "poster")
        for value in page.values(name)
        if not value.startswith(("#", "data:", "../recordings/"))
    ]

    assert outside == []
    (policy,) = (value for value in page.values("content") if "default-src" in value)
    assert "default-src 'none'" in policy
    assert "http" not in policy


def test_the_one_script_is_the_one_that_is_allowed(result: HuntResult) -> None:
    text = page_text(result, drawings={})

    (script,) = re.findall(r"<script>(.*?)</script>", text, flags=re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"'sha256-{digest}'" in text.replace("&#39;", "'")


def test_every_caution_is_carried(page: Page) -> None:
    for title, sentence in CAUTIONS:
        assert title in page.words
        assert sentence in page.words


def test_the_answer_comes_first(result: HuntResult) -> None:
    words = Page(page_text(result, drawings={})).words

    answer = words.index("The colony is probably about 530 m from station 2")
    assert answer < words.index("Before you go") < words.index("Every trip")
    assert "nine chances in ten" in words
    assert "from the hive to the station 7.50 m/s, 27 km/h Wenner 1963" in words


def test_an_empty_hunt_is_told_honestly(empty: HuntResult) -> None:
    words = Page(page_text(empty, drawings={})).words

    assert "There is no place to look yet." in words
    assert "No bee was timed" in words
    assert "Every trip" not in words


def test_names_from_files_stay_text(build: Callable[..., HuntResult]) -> None:
    whole = build(name=HOSTILE)
    hostile_doubt = Doubt(code=DoubtCode.STATION_UNKNOWN, names=(HOSTILE,))
    station = replace(whole.stations[0], name=HOSTILE)
    trips = tuple(
        replace(trip, bee=HOSTILE, doubts=(hostile_doubt,))
        for trip in whole.table.trips
    )
    lines = tuple(replace(line, bee=HOSTILE) for line in whole.table.lines)
    rows = {
        HOSTILE: NoteRow(
            row=HOSTILE, recording=f"javascript:{HOSTILE}", start_s=1.0, said=HOSTILE,
            heard=HOSTILE, flag=HOSTILE,
        )
    }  # fmt: skip
    table = replace(whole.table, trips=trips, lines=lines, doubts=(hostile_doubt,))
    hostile = replace(
        whole, stations=(station, *whole.stations[1:]), table=table, rows=rows
    )

    page = Page(page_text(hostile, drawings={}))

    assert page.tags.count("script") == 1
    assert "img" not in page.tags
    assert not [name for _, name, _ in page.attributes if name.startswith("on")]
    assert HOSTILE in "".join(page.text)
    assert not [href for href in page.values("href") if href.startswith("javascript")]


def test_rows_lead_to_the_second_of_the_sound(result: HuntResult) -> None:
    page = Page(page_text(result, drawings={}))
    note = next(iter(result.rows.values()))

    assert f"../recordings/memo%201.ogg#t={note.start_s:.1f}" in page.values("href")


def test_clips_are_put_into_the_page(result: HuntResult) -> None:
    page = Page(page_text(result, drawings={}, clips={"2": b"OggS1234"}))

    assert page.tags.count("audio") == 1
    assert "data:audio/ogg;base64,T2dnUzEyMzQ=" in page.values("src")
    assert page.values("data-play") == ["note-2"] * len(page.values("data-play"))
    assert page.values("data-play")
    assert clip_address(b"RIFFxxxx").startswith("data:audio/wav;")
    assert clip_address(b"fLaC").startswith("data:audio/flac;")


def test_units_are_the_persons(build: Callable[..., HuntResult]) -> None:
    words = Page(page_text(build(units="imperial"), drawings={})).words

    assert "580 yards" in words
    assert "acres" in words
    # A letter that stands for metric units after a number; "m" and "s" of times such
    # as "4 min 45 s" are not among them.
    for rule, _ in HAND_RULES.values():  # quoted as published
        words = words.replace(rule, "")
    assert re.findall(r"\d (?:m|km|ha|m²|km²|km/h)\b", words) == []


def test_the_day_of_each_recording_is_told_with_what_tells_it(
    build: Callable[..., HuntResult],
) -> None:
    some = build(recording_days={"memo 1.ogg": ("2026-07-14", "file time")})

    words = Page(page_text(some, drawings={})).words

    assert "memo 1.ogg: 14 Jul 2026, the day by the file's time" in words
    assert result_dict(some)["recordings"] == [
        {"name": "memo 1.ogg", "day": "2026-07-14", "day_from": "file time"}
    ]


def test_the_settings_in_force_stand_in_report_and_result(
    build: Callable[..., HuntResult],
) -> None:
    chosen = Settings(
        flight_speed_out_mps=6.0,
        flight_speed_home_mps=5.0,
        in_hive_s={"water": 200.0},
        in_hive_factor=1.0,
        bearing_sd_deg=12.0,
    )
    some = build(settings=chosen)

    words = Page(page_text(some, drawings={})).words
    written = result_dict(some)["settings"]

    assert "from the hive to the station 6.00 m/s, 22 km/h hunt.toml" in words
    assert "flight speed home, with a load 5.00 m/s, 18 km/h hunt.toml" in words
    assert "time in the hive with water, median 200 s hunt.toml" in words
    assert "spread of single bearings, median 12° hunt.toml" in words
    assert "distance of colonies, median 900 m BEEBOOK" in words
    assert written["flight_speed_out_mps"] == {"value": 6.0, "source": "hunt.toml"}
    assert "Wenner" not in written["flight_speed_home_mps"]["source"]
    # At the speed that this hunt taught, 1.04 times what was given.
    assert flight_s(some, 104.0) == pytest.approx(100 / 6 + 100 / 5)


@pytest.mark.parametrize(
    ("given", "said", "unsaid"),
    [
        (
            {},
            ("as a share of the published one: 0.9", "that bees of a hunt fly at"),
            ("hunt.toml:",),
        ),
        (
            {"flight_speed_out_sd": 0.1},
            (
                "flight speed, as a share of the published one and that in hunt.toml:",
                "share of the speed home that bees of a hunt fly at, median 0.97",
            ),
            ("share of these speeds that bees of a hunt",),
        ),
        (
            {"flight_speed_out_sd": 0.1, "flight_speed_home_sd": 0.1},
            ("flight speed, as a share of that in hunt.toml: 0.9",),
            ("that bees of a hunt fly at, median", "0.075"),
        ),
        (
            {"in_hive_s": {"water": 147.0}},
            (
                "time in the hive, as a share of that in hunt.toml: 1.1",
                "flight speed, as a share of the published one: 0.9",
            ),
            (),
        ),
    ],
)
def test_figures_that_are_not_in_force_are_not_shown(
    build: Callable[..., HuntResult],
    given: dict[str, Any],
    said: tuple[str, ...],
    unsaid: tuple[str, ...],
) -> None:
    some = build(settings=Settings(**given))
    assert some.fix is not None
    learned = {"flight_speed_factor": (0.9, 0.01), "in_hive_factor": (1.1, 0.01)}
    some = replace(some, fix=replace(some.fix, learned=learned))

    words = Page(page_text(some, drawings={})).words

    assert all(part in words for part in said)
    assert not any(part in words for part in unsaid)
    both = len(given) == 2
    assert ("flight_speed_factor" in result_dict(some)["settings"]) is not both


@pytest.mark.parametrize(
    ("given", "shown"),
    [({}, 2), ({"in_hive_s": {"water": 147.0}}, 1), ({"flight_speed_home_sd": 0.1}, 1)],
)
def test_what_own_hunts_taught_is_shown_where_it_counts(
    build: Callable[..., HuntResult], given: dict[str, Any], shown: int
) -> None:
    own = OwnFactors(ln_f=0.0, ln_f_sd=0.1, ln_g=0.1, ln_g_sd=0.1, correlation=0.0)
    some = build(settings=Settings(learned=own, **given))
    assert page_text(some, drawings={}).count("as own hunts had it") == shown


def test_all_that_the_survey_learns_has_a_name(result: HuntResult) -> None:
    assert result.fix is not None
    fix = replace(result.fix, learned={"trip_spread": (0.31, 0.05)})

    page = page_text(replace(result, fix=fix), drawings={})

    assert "spread of a bee&#39;s own trips" in page
    assert "trip spread" not in page


def test_no_number_that_the_survey_goes_by_is_kept_from_the_page() -> None:
    # Second order: how wide a spread's own prior is, and what calibration carries over.
    untold = {
        "bearing_sd_floor_deg",
        "bearing_sd_sigma",
        "calibration_transfer_sd",
        "learned_correlation",
    }
    every = Settings(flight_speed_out_sd=0.1, flight_speed_home_sd=0.1)
    numbers = {
        field.name
        for field in fields(every)
        if isinstance(getattr(every, field.name), int | float)
    }

    assert numbers - untold == set(SOURCES)


@pytest.mark.parametrize(
    ("median", "sd", "said"),
    [
        (1.1583, 3.94, "1.2 ± 3.9"),
        (0.98, 0.05, "0.980 ± 0.050"),
        (12.3, 15.2, "12 ± 15"),
    ],
)
def test_what_was_learned_is_no_finer_than_its_spread(
    median: float, sd: float, said: str
) -> None:
    # Two digits of the spread, as the GUM (JCGM 100:2008, 7.2.6) has it.
    assert _rounded(median, sd) == said
