"""Doubtful values in the light of those beside them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treeward.language.kinds import EventKind
from treeward.notes.events import Event
from treeward.notes.flags import FlagCode, sentences_of
from treeward.notes.second_look import read_again
from treeward.speech.utterances import Alternative

FLAG_BELOW = 0.9


def event(
    kind: str, value: str, at_s: float, *other: str, confidence: float = 0.97
) -> Event:
    return Event(
        kind=EventKind(kind),
        value=value,
        start_s=at_s,
        end_s=at_s + 1,
        confidence=confidence,
        heard=f"{kind} {value}",
        alternatives=tuple(Alternative(text=text, confidence=0.2) for text in other),
    )


SURE = [event("bearing", value, n * 10.0) for n, value in enumerate(("110", "118"))]


def test_a_doubtful_bearing_is_taken_for_the_reading_among_the_others() -> None:
    doubtful = event("bearing", "140", 50, "bearing one fourteen", confidence=0.75)

    *_, again = read_again([*SURE, doubtful], flag_below=FLAG_BELOW)

    assert again.value == "114"
    assert "heard as 140, taken for 114 as that suits the others" in sentences_of(
        again.flags
    )
    assert again.alternatives[0].text == "bearing 140"
    assert again.confidence == doubtful.confidence  # still to be looked at


@pytest.mark.parametrize(
    "last",
    [
        event("bearing", "140", 50, "bearing one fourteen"),  # plainly heard
        event("bearing", "120", 50, "bearing one twelve", confidence=0.75),  # suits
        event("bearing", "140", 50, "bearing three fourteen", confidence=0.75),
        event("bearing", "", 50, "bearing one fourteen", confidence=0.75),
        event("back", "", 50, "bearing one fourteen", confidence=0.75),
    ],
)
def test_others_stay(last: Event) -> None:
    assert read_again([*SURE, last], flag_below=FLAG_BELOW) == [*SURE, last]


def test_one_other_bearing_is_too_few() -> None:
    doubtful = event("bearing", "140", 50, "bearing one fourteen", confidence=0.75)
    events = [SURE[0], doubtful]

    assert read_again(events, flag_below=FLAG_BELOW) == events


def test_bearings_of_another_station_do_not_count() -> None:
    doubtful = event("bearing", "140", 50, "bearing one fourteen", confidence=0.75)
    events = [*SURE, event("station", "2", 40), doubtful]

    assert read_again(events, flag_below=FLAG_BELOW) == events


def test_a_doubtful_time_runs_with_the_recording() -> None:
    sure = event("time", "10:10", 0)
    doubtful = event("time", "10:40", 240, "clock ten fourteen", confidence=0.75)
    late = event("time", "22:40", 240, "time ten fourteen", confidence=0.75)

    for each in (doubtful, late):
        _, again = read_again([sure, each], flag_below=FLAG_BELOW)
        assert again.value == "10:14"


texts = st.sampled_from(
    ["bearing one fourteen", "heading 40", "time ten ten", "clock 25:99", "", "yellow"]
)
values = st.sampled_from(["", "10", "140", "359", "10:22", "99:99", "later"])


@given(
    st.lists(
        st.builds(
            event,
            st.sampled_from(["bearing", "time", "station", "back"]),
            values,
            st.floats(0, 7200),
            texts,
            texts,
            confidence=st.floats(0, 1),
        ),
        max_size=8,
    )
)
def test_only_doubtful_values_change(events: list[Event]) -> None:
    again = read_again(events, flag_below=FLAG_BELOW)

    assert len(again) == len(events)
    for before, after in zip(events, again, strict=True):
        if after != before:
            assert before.confidence < FLAG_BELOW
            assert after.has(FlagCode.TAKEN_AS_OTHERS)
            assert (after.kind, after.start_s) == (before.kind, before.start_s)
