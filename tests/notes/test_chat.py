"""Notes sent in a chat: the sender's name is no word of theirs."""

from __future__ import annotations

import pytest

from notes.typed_page import BOOK, ZONE, told
from treeward.notes.clocked import read_clocked

CHAT = """\
[14/07/2026, 09:02:44] Gareth: yellow painted
[14/07/2026, 09:05:12] Gareth: yellow away 48
[14/07/2026, 09:07:30] Non Ty Isaf: white off to the north east!
[14/07/2026, 09:11:02] +44 7700 900123: yellow back
[14/07/2026, 09:15:00] Gareth: <Media omitted>
[14/07/2026, 09:15:10] \u200eGareth: \u200eimage omitted
[14/07/2026, 09:20:01] Non Ty Isaf: You deleted this message
"""


def test_a_sender_is_no_word_of_the_note_and_a_picture_no_line() -> None:
    found = read_clocked(CHAT, BOOK, ZONE)

    assert [told(event) for event in found.events] == [
        "9:02 mark yellow",
        "9:05 away yellow",
        "9:05 bearing yellow 48",
        "9:07 away white",
        "9:07 bearing white 45 ne",
        "9:11 back yellow",
    ]
    assert not any(event.flags for event in found.events)
    assert found.unread == ()


@pytest.mark.parametrize(
    ("line", "note"),
    [
        ("14/07/2026, 9:05 am - Gareth: yellow away", "9:05 away yellow"),
        ("14.07.26, 09:05 - Gareth: yellow away", "9:05 away yellow"),
        ("2026-07-14 09:05 Gareth: yellow away", "9:05 away yellow"),
    ],
)
def test_chats_are_saved_in_many_ways(line: str, note: str) -> None:
    (event,) = read_clocked(line, BOOK, ZONE).events
    assert (told(event), event.flags) == (note, ())


def test_a_name_before_each_line_is_the_senders_and_a_word_once_is_none() -> None:
    chat = "14 July 2026\nGareth: 9:05 yellow away\nNon: 9:11 yellow back\n"
    found = read_clocked(chat, BOOK, ZONE)
    assert [event.flags for event in found.events] == [(), ()]

    page = "14 July 2026\n9:05 yellow away\n9:11 yellow back\n"
    page += "Correction: 9:12 white back\n"
    assert read_clocked(page, BOOK, ZONE).events[-1].doubtful


def test_what_a_bee_did_is_no_sender() -> None:
    page = "14/07/2026 9:05 yellow away: 48\n14/07/2026 9:11 yellow: back\n"
    assert [told(event) for event in read_clocked(page, BOOK, ZONE).events] == [
        "9:05 away yellow",
        "9:05 bearing yellow 48",
        "9:11 back yellow",
    ]
