"""Label tracks beside a recording."""

from __future__ import annotations

import io

import webvtt
from hypothesis import given
from hypothesis import strategies as st

from treeward.report.model import NoteRow
from treeward.report.writing import label_track_text, webvtt_text

ROWS = (
    NoteRow(row="3", recording="a.ogg", start_s=3725.5, end_s=3726.75, said="red away"),
    NoteRow(row="1", recording="a.ogg", start_s=1.0, said="<b>&amp; --> yellow\nback"),
    NoteRow(row="2", recording="b.ogg", start_s=2.0, end_s=3.0, said="station two"),
    NoteRow(row="4", recording="a.ogg", said="typed by hand"),
)


def test_webvtt_is_read_back() -> None:
    captions = webvtt.from_buffer(io.StringIO(webvtt_text(ROWS, "a.ogg"))).captions

    assert [c.start for c in captions] == ["00:00:01.000", "01:02:05.500"]
    assert [c.end for c in captions] == ["00:00:01.500", "01:02:06.750"]
    assert [c.identifier for c in captions] == ["row 1", "row 3"]
    assert captions[1].text == "red away"
    assert "-->" not in captions[0].raw_text


def test_label_track_has_three_columns_in_the_order_of_time() -> None:
    assert label_track_text(ROWS, "a.ogg") == (
        "1.000000\t1.500000\t<b>&amp; --> yellow back (row 1)\n"
        "3725.500000\t3726.750000\tred away (row 3)\n"
    )


def test_a_recording_without_notes_gives_empty_tracks() -> None:
    assert webvtt_text(ROWS, "c.ogg") == "WEBVTT\n"
    assert label_track_text(ROWS, "c.ogg") == ""


@given(
    st.lists(
        st.tuples(
            st.floats(0, 1e5),
            st.floats(0, 100),
            st.text(max_size=30),
            st.text(max_size=5),
        ),
        max_size=8,
    )
)
def test_any_words_make_as_many_cues(
    notes: list[tuple[float, float, str, str]],
) -> None:
    rows = [
        NoteRow(row=row, recording="a", start_s=start, end_s=start + length, said=said)
        for start, length, said, row in notes
    ]

    captions = webvtt.from_buffer(io.StringIO(webvtt_text(rows, "a")))
    lines = label_track_text(rows, "a").split("\n")[:-1]

    assert len(captions) == len(rows)
    assert len(lines) == len(rows)
    assert all(len(line.split("\t")) == 3 for line in lines)
