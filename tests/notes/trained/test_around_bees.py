"""Wind, station, date and how long ago: what is made of the network's shares."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.bee_names import BeeNames
from treeward.notes.events import Event
from treeward.notes.narration import read_narration
from treeward.notes.trained.around_bees import told_beside, wind_in
from treeward.notes.trained.bees import ACTIONS, MOST_BEES, Known
from treeward.notes.trained.findings import BESIDE, NEW, agos
from treeward.notes.trained.inputs import (
    LINE_KINDS,
    STRENGTHS,
    inputs_of,
    tokens_of,
)
from treeward.notes.trained.lines import MOST_NUMBERS, in_lines
from treeward.notes.trained.network import Outputs, load_network
from treeward.notes.values import Lexicon
from treeward.speech.utterances import Utterance, spread

if TYPE_CHECKING:
    from treeward.notes.trained.inputs import Inputs
    from treeward.notes.trained.lines import Line

BOOK = replace(PhraseBook.load(), stations={"lime kiln": ("lime kiln",)})
LEXICON = Lexicon.of(BOOK)


def laid_out(said: str) -> tuple[Line, Inputs]:
    words = tuple(spread(said.split(), 0.0, 3.0))
    talk = [Utterance(words=words, start_s=0.0, end_s=3.0)]
    (line,) = in_lines(talk, BeeNames(BOOK, said), BOOK.colour_words)
    places = tokens_of(line, (), None, load_network().pieces)
    known = Known()
    known.speak(["red"])
    return line, inputs_of(line, (), None, known=known, places=places)


def shares(
    kind: EventKind | None = None, *, strength: str = "calm", number: int | None = None
) -> Outputs:
    """Give what a network would say that is sure of one thing."""
    agos, origins = np.zeros(MOST_NUMBERS), np.zeros(MOST_NUMBERS)
    if number is not None:
        agos[number] = origins[number] = 0.9
    whose = np.zeros((MOST_NUMBERS, MOST_BEES + 1))
    whose[:, 0] = 1.0
    return Outputs(
        deeds=np.zeros((MOST_BEES, len(ACTIONS))),
        kinds=np.array([0.95 if one is kind else 0.01 for one in LINE_KINDS]),
        numbers=np.zeros(MOST_NUMBERS),
        whose=whose,
        agos=agos,
        origins=origins,
        strengths=np.array([0.97 if one == strength else 0.01 for one in STRENGTHS]),
    )


def numbered(inputs: Inputs, kind: EventKind, value: str) -> int:
    every = [(one.kind, one.value) for one in inputs.said]
    return every.index((kind, value))


@pytest.mark.parametrize("strength", STRENGTHS)
def test_the_wind_is_as_strong_as_the_network_says_and_from_the_number_it_means(
    strength: str,
) -> None:
    line, inputs = laid_out("It comes up out of the west now, does it not, the wind.")
    west = numbered(inputs, EventKind.BEARING, "270")
    told = shares(EventKind.WIND, strength=strength, number=west)
    (read,) = told_beside(line, (), inputs, told, LEXICON, least=NEW - BESIDE)
    assert (read.kind, read.value) == (EventKind.WIND, f"{strength} 270")
    assert 0.9 < read.share < 0.95  # of both: that it is the wind, and how strong


def test_a_wind_nobody_is_sure_of_is_none() -> None:
    line, inputs = laid_out("Some wind or other, who can say.")
    told = replace(shares(EventKind.WIND), strengths=np.full(len(STRENGTHS), 0.25))
    assert wind_in(line, inputs, told, LEXICON.wind) is None


def test_a_word_of_the_phrase_book_tells_how_strong_the_wind_is() -> None:
    line, inputs = laid_out("Moderate, I'd say, the wind.")
    told = replace(shares(EventKind.WIND), strengths=np.full(len(STRENGTHS), 0.25))
    read = wind_in(line, inputs, told, LEXICON.wind)
    assert read is not None
    assert read.value == "moderate"


def test_a_station_of_the_hunt_is_found_amid_other_words() -> None:
    line, inputs = laid_out("We've set up by the old lime kiln, dish on the wall.")
    found = told_beside(
        line, (), inputs, shares(EventKind.STATION), LEXICON, least=NEW - BESIDE
    )
    assert ("station", "lime kiln") in [(str(one.kind), one.value) for one in found]
    line, inputs = laid_out("We've set up by the old quarry, dish on the wall.")
    found = told_beside(
        line, (), inputs, shares(EventKind.STATION), LEXICON, least=NEW - BESIDE
    )
    assert not [one for one in found if one.kind is EventKind.STATION]


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("Well, it's the twenty-second of July and I have my hat on.", "22 July"),
        ("T: twenty-ninth of August, bank holiday.", "29 August"),
        ("It's the sixth day o' September, I believe.", ""),  # "day" is not passed over
    ],
)
def test_a_date_is_found_amid_other_words(said: str, value: str) -> None:
    line, inputs = laid_out(said)
    found = told_beside(
        line, (), inputs, shares(EventKind.DATE), LEXICON, least=NEW - BESIDE
    )
    dates = [one.value for one in found if one.kind is EventKind.DATE]
    assert dates == ([value] if value else [])


def test_what_a_note_tells_already_is_not_told_again() -> None:
    line, inputs = laid_out("By the lime kiln we are.")
    noted = Event(kind=EventKind.STATION, value="lime kiln", start_s=0.0, end_s=3.0)
    found = told_beside(
        line, [noted], inputs, shares(EventKind.STATION), LEXICON, least=NEW - BESIDE
    )
    assert EventKind.STATION not in [one.kind for one in found]


def test_a_stretch_of_time_may_be_how_long_ago_it_was() -> None:
    line, inputs = laid_out("Red went off while I was pouring, twenty seconds, maybe.")
    number = numbered(inputs, EventKind.DURATION, "20")
    (ago,) = agos(line, inputs, shares(number=number))
    assert (ago.mark, ago.ago_s, ago.words) == ("red", 20.0, "twenty seconds,")
    assert not agos(line, inputs, shares())


@pytest.mark.parametrize(
    ("lines", "notes"),
    [
        (
            (
                *("Number one, I've made her green.", "Number two is yellow."),
                *("One's away.", "And two has left.", "One is back."),
            ),
            ["away green", "away yellow", "back green"],
        ),
        (
            (
                *("The Duke we paint white.", "The Marquis gets the red."),
                *("Duke is off.", "Marquis is away.", "Duke's back.", "Marquis is in."),
            ),
            ["away white", "away red", "back white", "back red"],
        ),
    ],
)
def test_bees_go_by_numbers_and_by_names_of_their_own(
    lines: tuple[str, ...], notes: list[str]
) -> None:
    talk = []
    for number, text in enumerate(lines):
        start_s = 70.0 * number
        words = tuple(spread(text.split(), start_s, start_s + 2.0))
        talk.append(Utterance(words=words, start_s=start_s, end_s=start_s + 2.0))
    found = read_narration(talk, BOOK, network=load_network()).events
    moves = [one for one in found if one.kind in {EventKind.AWAY, EventKind.BACK}]
    assert [f"{one.kind} {one.mark}" for one in moves] == notes


def test_one_of_them_is_no_bee_by_number_where_bees_have_none() -> None:
    names = BeeNames(BOOK, " white is number one for me . one is away . ")
    found = names.at(" one is away . ", 1)
    assert found is None or not found.mark


@pytest.mark.parametrize(
    ("said", "station"),
    [
        ("It's ten oh five, I'm at station two.", "2"),
        ("Nine fifteen, and this is station number three.", "3"),
        ("Station lime kiln, nine oh two.", "lime kiln"),
        ("We are at two now.", "2"),
        ("At two, it's nine fifteen.", ""),
    ],
)
def test_a_station_is_not_a_number_of_the_clock(said: str, station: str) -> None:
    line, inputs = laid_out(said)
    lexicon = replace(LEXICON, stations={**LEXICON.stations, ("two",): "2"})
    found = told_beside(
        line, (), inputs, shares(EventKind.STATION), lexicon, least=NEW - BESIDE
    )
    stations = [one.value for one in found if one.kind is EventKind.STATION]
    assert stations == ([station] if station else [])
