"""The phrase book: packaged, extended by a hunt, and refused when faulty."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from treeward.errors import PhraseBookError
from treeward.files import phrasebook_path
from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def book() -> PhraseBook:
    return PhraseBook.load()


def own(folder: Path, text: str) -> Path:
    path = folder / "phrasebook.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_packaged_book_covers_every_colour_and_action(book: PhraseBook) -> None:
    said = {(phrase.kind, phrase.mark) for phrase in book.fixed_phrases()}
    colours = ["red", "blue", "green", "yellow", "white", "pink", "orange", "purple"]

    assert list(book.colours) == colours
    assert {
        (kind, colour)
        for kind in ("back", "away", "mark", "missed")
        for colour in colours
    } <= said


@pytest.mark.parametrize(
    ("text", "kind", "mark", "value"),
    [
        ("yellow back", "back", "yellow", ""),
        ("yellow landed", "back", "yellow", ""),
        ("yellow away", "away", "yellow", ""),
        ("unmarked away", "away", "unmarked", ""),
        ("mark yellow", "mark", "yellow", ""),
        ("station two", "station", "", "2"),
        ("wind calm", "wind", "", "calm"),
        ("scratch that", "scratch", "", ""),
        ("pause", "pause", "", ""),
        ("resume", "resume", "", ""),
    ],
)
def test_packaged_phrases(
    book: PhraseBook, text: str, kind: str, mark: str, value: str
) -> None:
    found = {phrase.text: phrase for phrase in book.fixed_phrases()}[text]

    assert (kind, mark, value) == (found.kind, found.mark, found.value)
    assert tuple(text.split()) == found.words


def test_no_phrase_has_two_meanings(book: PhraseBook) -> None:
    texts = [phrase.text for phrase in book.fixed_phrases() + book.mark_phrases()]

    assert len(texts) == len(set(texts))


def test_marks_hold_two_colours_and_spots(book: PhraseBook) -> None:
    marks = book.marks()

    assert marks["blue white"] == "blue-white"
    assert marks["white blue"] == "white-blue"
    assert marks["yellow abdomen"] == "yellow abdomen"
    assert marks["blue white thorax"] == "blue-white thorax"
    assert "blue blue" not in marks
    assert len(marks) == (8 + 8 * 7) * 3 + 1


def test_equal_ways_of_announcing(book: PhraseBook) -> None:
    anchors = book.anchor_words

    assert {"bearing", "heading"} <= set(anchors["bearing"])
    assert {"time", "clock"} <= set(anchors["time"])


def test_marks_chain_with_actions(book: PhraseBook) -> None:
    parts = {phrase.text: phrase for phrase in book.action_phrases()}

    assert (parts["landed"].kind, parts["landed"].place) == ("back", "after")
    assert (parts["mark"].kind, parts["mark"].place) == ("mark", "before")


def test_kinds_are_event_kinds(book: PhraseBook) -> None:
    kinds = {phrase.kind for phrase in book.fixed_phrases()} | set(book.anchor_words)

    assert kinds <= {kind.value for kind in EventKind}


def test_hunt_adds_a_colour_and_a_way_of_saying(tmp_path: Path) -> None:
    own(
        tmp_path,
        '[colours]\nblack = ["black"]\npink = []\n'
        '[actions.back]\ncard = "{mark} drinking"\nsay = ["{mark} drinking"]\n'
        '[stations]\nspring = ["spring"]\n',
    )
    book = PhraseBook.for_hunt(tmp_path)
    said = {phrase.text: phrase for phrase in book.fixed_phrases()}

    assert said["black drinking"].mark == "black"
    assert said["station spring"].value == "spring"
    assert "station two" in said
    assert "pink away" not in said
    assert "red landed" not in said
    assert book.actions["back"].card == "{mark} drinking"


def test_hunt_adds_beside_the_packaged_ways(tmp_path: Path) -> None:
    own(
        tmp_path,
        '[actions.back]\nalso_say = ["{mark} drinking"]\n'
        'also_narrate = ["{mark} is glugging"]\n',
    )
    book = PhraseBook.for_hunt(tmp_path)
    packaged = PhraseBook.load().actions["back"]

    assert (*packaged.say, "{mark} drinking") == book.actions["back"].say
    assert (*packaged.narrate, "{mark} is glugging") == book.actions["back"].narrate


def test_digest_follows_what_is_heard_not_where_it_stands(tmp_path: Path) -> None:
    copy = own(tmp_path, phrasebook_path().read_text(encoding="utf-8"))
    packaged = PhraseBook.load()

    assert PhraseBook.load(copy).digest() == packaged.digest()

    own(tmp_path, '[colours]\nblack = ["black"]\n')

    assert PhraseBook.for_hunt(tmp_path).digest() != packaged.digest()


def test_digest_is_the_same_in_another_process() -> None:
    code = (
        "from treeward.language.phrasebook import PhraseBook;"
        "print(PhraseBook.load().digest())"
    )
    other = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )

    assert PhraseBook.load().digest() == other.stdout.strip()


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        (
            "[colors]\n",
            r"phrasebook\.toml key colors: unknown key. Known here: .*colours",
        ),
        ("[actions.back]\nsays = []\n", r"key actions\.back\.says: unknown key"),
        ("[actions.fly]\nsay = []\n", r"key actions\.fly: .*Known here: back, away"),
        ("[anchors]\nclock = []\n", r"key anchors\.clock: .*Known here: bearing, time"),
        ('[colours]\nred = "red"\n', r"key colours\.red: .*list"),
        ('[colours]\nred = ["red", "Rot!"]\n', r"key colours\.red\[2\]: 'Rot!'"),
        ('[colours]\nred = ["red  dot"]\n', r"one space apart"),
        ('[actions.back]\nsay = ["back"]\n', r"say\[1\]: 'back' must hold \{mark\}"),
        ('[actions.back]\nsay = ["{mark}"]\n', r"needs a word beside"),
        ("[actions.back]\nweight = 0\n", r"key actions\.back\.weight"),
        ('[actions.back]\ncard = "{mark} x"\nsay = ["{mark} y"]\n', r"not among say"),
        ("schema = 2\n", r"key schema"),
        ("[colours\n", r"phrasebook\.toml: is not TOML"),
        ('[colours]\nrose = ["pink"]\n', r"'pink back' .* both .*pink.* rose"),
        ('[anchors]\ntime = ["bearing"]\n', r"'bearing' would announce both"),
    ],
)
def test_faults_name_file_and_key(tmp_path: Path, text: str, complaint: str) -> None:
    own(tmp_path, text)

    with pytest.raises(PhraseBookError, match=complaint):
        PhraseBook.for_hunt(tmp_path)


def test_a_book_without_colours_is_refused(tmp_path: Path) -> None:
    empty = own(tmp_path, "[colours]\nred = []\n")

    with pytest.raises(PhraseBookError, match="no colour is left"):
        PhraseBook.load(empty)


def test_unreadable_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(PhraseBookError, match="cannot be read"):
        PhraseBook.load(tmp_path / "none.toml")

    latin = tmp_path / "latin.toml"
    latin.write_bytes(b'[colours]\nros\xe9 = ["rose"]\n')
    with pytest.raises(PhraseBookError, match="not UTF-8"):
        PhraseBook.load(latin)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("a = " + "[" * 100_000, "is not TOML"),
        ("[actions.back]\nweight = " + "9" * 5000, "is not TOML"),
        ("# \n" * 400_000, r"is 1\.2 MB large, more than the 1\.05 MB"),
    ],
    ids=["deep", "endless number", "large"],
)
def test_what_no_phrase_book_holds_is_a_line(
    tmp_path: Path, text: str, complaint: str
) -> None:
    path = own(tmp_path, text)

    with pytest.raises(PhraseBookError, match=rf"phrasebook\.toml.*{complaint}"):
        PhraseBook.load(path)


def test_byte_order_mark_and_windows_lines_are_read(tmp_path: Path) -> None:
    path = tmp_path / "phrasebook.toml"
    path.write_bytes(b'\xef\xbb\xbf[colours]\r\nred = ["red"]\r\n')

    assert list(PhraseBook.load(path).colours) == ["red"]


def test_marks_in_use_leave_no_other_to_be_heard() -> None:
    book = PhraseBook.load().only(["yellow", "blue-white"])

    marks = {phrase.mark for phrase in book.fixed_phrases() if phrase.mark}
    texts = {phrase.text for phrase in book.fixed_phrases()}
    assert marks == {"yellow", "blue-white", "unmarked"}
    assert {"yellow back", "blue white back", "unmarked away"} <= texts
    assert "white back" not in texts
    assert book.digest() != PhraseBook.load().digest()
    assert PhraseBook.load().only([]).digest() == PhraseBook.load().digest()


def test_a_mark_that_cannot_be_said_is_refused() -> None:
    with pytest.raises(PhraseBookError, match="'beige' has no way of being said"):
        PhraseBook.load().only(["beige"])
