"""The answer in words, for every shape an answer can have."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from treeward.report.advice_wording import LOOK_FIRST
from treeward.report.looking import strip_lines
from treeward.report.map_files import gpx_text, kml_bytes
from treeward.report.model import Missing, MissingKind
from treeward.report.page import _cross_checks, places
from treeward.report.result_json import result_dict
from treeward.report.sketch import sketch
from treeward.report.wording import (
    advice_sentences,
    basis_sentence,
    colony_sentences,
    compass_sentence,
    enough_sentences,
    for_colony,
    headline,
    listing,
    missing_sentences,
    next_sentences,
    seats,
)
from treeward.survey.records import Advice, AdviceKind, AreaShape, Enough

from .conftest import STATIONS

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.report.model import HuntResult


def test_one_colony(result: HuntResult) -> None:
    assert result.fix is not None

    said = colony_sentences(result, result.fix.colonies[0])

    assert said == [
        (
            "The colony is probably about 530 m from station 2, towards the west, on "
            "277° by compass and true."
        ),
        "There are nine chances in ten that it is inside the shaded 9.5 ha.",
    ]
    assert headline(result) == said[0]


def test_two_colonies_one_in_two_patches(two_colonies: HuntResult) -> None:
    assert two_colonies.fix is not None
    first, second = (
        " ".join(colony_sentences(two_colonies, colony))
        for colony in two_colonies.fix.colonies
    )

    assert "two colonies" in headline(two_colonies)
    assert first.startswith("Colony A")
    assert "one of the two shaded patches, 19 ha together" in first
    assert second.startswith("Colony B")


def test_each_colony_has_a_place_to_sit(two_colonies: HuntResult) -> None:
    said = next_sentences(two_colonies)

    assert said[0].startswith("For colony A: sit next about 700 m from station 1,")
    assert any(s.startswith("For colony B: sit next about") for s in said)
    assert for_colony(two_colonies, seats(two_colonies)[1][0]) == ", colony B"


def test_an_area_too_large_to_walk_is_called_so(result: HuntResult) -> None:
    assert result.fix is not None
    colony = result.fix.colonies[0]
    wide = replace(colony.search_areas[90], area_m2=900_000.0)
    large = replace(colony, search_areas={**colony.search_areas, 90: wide})

    assert "too much to search" in " ".join(colony_sentences(result, large))


@pytest.mark.parametrize(
    ("shape", "said"),
    [
        (AreaShape.RING, "is probably 400 to 690 m from station 2; in which direction"),
        (AreaShape.DISC, "in which direction is not known yet"),
        (
            AreaShape.WEDGE,
            "west of station 2, on 277° by compass and true; how",
        ),
        (AreaShape.PART_OF_RING, "very roughly towards the west"),
        (AreaShape.LONG_STRIP, "about 530 m from station 2, towards the west, on 277°"),
        (AreaShape.NOTHING_MEASURED, "Nothing was measured"),
    ],
)
def test_no_more_is_said_than_the_shape_allows(
    result: HuntResult, shape: AreaShape, said: str
) -> None:
    assert result.fix is not None
    colony = replace(result.fix.colonies[0], shape=shape)

    assert said in colony_sentences(result, colony)[0]


def test_the_survey_s_reason_is_not_said_twice(result: HuntResult) -> None:
    assert result.fix is not None
    (colony,) = result.fix.colonies
    assert colony.next_station is not None
    kinds = [one.kind for one in result.fix.advice]
    assert kinds == [AdviceKind.SIT_NEXT, AdviceKind.ONE_STATION]

    why, look_first = next_sentences(result)[-2:]
    assert why.startswith("Why there: a cross line: from there the bees fly across ")
    assert look_first == LOOK_FIRST
    (said,) = advice_sentences(result)
    assert said.startswith("One station only: ")


def test_when_to_stop(result: HuntResult) -> None:
    assert result.fix is not None
    advice = (Advice(kind=AdviceKind.STOP_LINING, area_m2=12_000.0),)
    colony = replace(result.fix.colonies[0], next_station=None, advice=advice)
    whole = replace(result, fix=replace(result.fix, colonies=(colony,), advice=advice))

    (said,) = next_sentences(whole)
    assert said == (
        "Stop lining and look up trees: the 90 % area is 1.2 ha, and another station "
        "would cost more time than it would save in searching."
    )


def test_units_are_never_mixed(build: Callable[..., HuntResult]) -> None:
    metric, imperial = build(units="metric"), build(units="imperial")
    for whole, foreign in (
        (metric, r"\d (yards?|miles?|acres?)\b"),
        (imperial, r"\d (m|km|ha|m²|km²)\b"),
    ):
        assert whole.fix is not None
        text = " ".join(
            colony_sentences(whole, whole.fix.colonies[0]) + next_sentences(whole)
        )
        assert re.search(foreign, text) is None
    assert "acres" in " ".join(next_sentences(imperial))


def test_what_it_rests_on(result: HuntResult) -> None:
    assert basis_sentence(result) == (
        "This rests on 33 timed trips of 4 bees and 19 bearings from 2 stations."
    )
    assert "0.6° W" in compass_sentence(result)


def test_nothing_found_says_what_is_missing(empty: HuntResult) -> None:
    strange = Missing(kind=MissingKind.UNKNOWN_STATION, stations=("C",))
    said = missing_sentences(replace(empty, missing=(strange,)))

    assert headline(empty) == "There is no place to look yet."
    assert said[0].startswith("The notes name station C, ")
    assert any("No station has a position" in sentence for sentence in said)
    assert any("No bee was timed" in sentence for sentence in said)
    assert any("No bearing was spoken" in sentence for sentence in said)
    assert next_sentences(empty) == []


def test_trips_that_are_all_doubtful_are_not_called_missing(result: HuntResult) -> None:
    trips = tuple(replace(trip, used=False) for trip in result.table.trips)
    lines = tuple(replace(line, used=False) for line in result.table.lines)
    doubtful = replace(
        result, table=replace(result.table, trips=trips, lines=lines), fix=None
    )

    said = missing_sentences(doubtful)

    assert said == [
        "Every timed trip is doubtful; the table of trips says why.",
        "Every bearing was left out; the table of bearings says why.",
    ]


def test_listing() -> None:
    assert listing([]) == ""
    assert listing(["a"]) == "a"
    assert listing(["a", "b", "c"]) == "a, b and c"


def test_directions_are_shown_as_the_persons_compass_reads_with_true_beside(
    build: Callable[..., HuntResult],
) -> None:
    east = tuple(replace(place, declination_deg=25.0) for place in STATIONS)
    some = build(stations=east)  # magnetic: 257 true is 232 on its dial
    table = {"name": "x", "timezone": "Europe/London", "compass": "true"}
    by_true = replace(
        some,
        hunt_file=some.hunt_file.model_copy(
            update={"hunt": some.hunt_file.hunt.model_validate(table)}
        ),
    )
    both = "232° by compass (257° true)"

    assert both in " ".join(next_sentences(some))
    assert both in places(some)[-1]["note"]
    sketched = sketch(some)
    seat = next(s for s in sketched.spots if s.kind == "next_station")
    assert both in seat.note
    assert seat.properties["walk_bearing_compass_deg"] == 232.0
    for text in (
        kml_bytes(sketched).decode(),
        gpx_text(sketched, created=some.created, software_version="1"),
    ):
        assert both in text
    mean = sketched.paths[0].bearing_true_deg
    assert f"{round(mean - 25) % 360:03d}° by compass" in sketched.paths[0].note
    assert result_dict(some)["next_station"]["walk_bearing_compass_deg"] == 232.0
    assert "on 257° true." in " ".join(next_sentences(by_true))
    assert "by compass" not in " ".join(s.note for s in sketch(by_true).spots)


def test_a_way_on_the_page_is_one_that_the_compass_reads(
    build: Callable[..., HuntResult],
) -> None:
    turned = tuple(replace(s, declination_deg=25.0) for s in build().stations)
    some = build(stations=turned)
    assert some.fix is not None
    assert "towards the west, on 252° by compass (277° true)." in headline(some)
    (first, *_) = strip_lines(some, some.fix.colonies[0])
    assert re.search(
        r"m [a-z-]+, on \d{3}° by compass \(\d{3}° true\)", first["length"]
    )
    off = [check["off"] for check in _cross_checks(some)]
    assert off
    assert all("by compass (" in one for one in off)


def stopping(kind: Any, station: str, bee: str, count: int, enough: int) -> Enough:
    return Enough(
        kind=kind, colony="A", station=station, bee=bee, count=count, enough=enough,
        sd_now=6.0, sd_least=5.0,
    )  # fmt: skip


def test_where_more_of_the_same_no_longer_pays(result: HuntResult) -> None:
    assert result.fix is not None
    facts = (
        stopping("bearings", "1", "", 8, 8),
        stopping("bearings", "2", "", 3, 8),
        stopping("trips", "2", "yellow", 9, 6),
        stopping("trips", "2", "blue", 12, 6),
    )

    said = enough_sentences(replace(result, fix=replace(result.fix, enough=facts)))

    assert said == [
        (
            "More bearings at station 1 (8) hardly pay now: they share the line and "
            "the compass; other bees, or another station, would help more."
        ),
        "More bearings at station 2 (3 so far, up to 8) still pay.",
        (
            "More trips of yellow (9) and blue (12) hardly pay now: they share each "
            "bee's speed and its time in the hive; other bees, or another station, "
            "would help more."
        ),
    ]


def test_several_colonies_are_named_where_more_does_not_pay(
    two_colonies: HuntResult,
) -> None:
    assert two_colonies.fix is not None
    fix = replace(two_colonies.fix, enough=(stopping("bearings", "1", "", 9, 8),))

    (said,) = enough_sentences(replace(two_colonies, fix=fix))

    # Nobody can take bearings of a colony, but of bees.
    assert "at station 1 of yellow" in said
    assert "colony" not in said.partition(":")[0]
    fix = replace(two_colonies.fix, enough=(stopping("trips", "1", "yellow", 9, 8),))
    (said,) = enough_sentences(replace(two_colonies, fix=fix))
    assert said.startswith("More trips of yellow, colony A (9) hardly pay now: they ")
    assert "share her speed and her time in the hive" in said


def test_more_than_anybody_takes_is_no_aim(result: HuntResult) -> None:
    assert result.fix is not None
    fix = replace(result.fix, enough=(stopping("bearings", "1", "", 18, 80),))
    (said,) = enough_sentences(replace(result, fix=fix))
    assert "80" not in said
    assert "station 1 (18 so far, as many more as you can take) still pay." in said


def test_without_an_answer_nothing_is_said_of_enough(empty: HuntResult) -> None:
    assert enough_sentences(empty) == []
