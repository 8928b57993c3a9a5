"""What was heard is kept line by line, and a cut line is dropped."""

from __future__ import annotations

import json
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treeward.hunt.heard import HeardBy, HeardFile, Piece, heard_name
from treeward.speech.utterances import Alternative, Utterance, Word, WordSource

BY = HeardBy(
    engine="neural", model="tiny-en", phrase_book="1", size_bytes=9, modified_ns=7
)


def utterance(start_s: float, text: str = "yellow back") -> Utterance:
    word = Word(
        text=text,
        start_s=start_s,
        end_s=start_s + 0.8,
        confidence=0.9375,
        source=WordSource.PHRASE,
        alternatives=(Alternative(text="yellow pack", confidence=0.25),),
    )
    return Utterance(words=(word,), start_s=start_s, end_s=start_s + 0.8)


def test_what_is_added_is_read_back(tmp_path: Path) -> None:
    kept = HeardFile(tmp_path / "heard" / "a.jsonl")
    kept.begin(BY)
    kept.add([utterance(1.0), utterance(5.5, "bearing")], reached_s=12.0)
    kept.remark("cut off")
    kept.finish()

    heard = kept.read()

    assert heard.by == BY
    assert heard.utterances == (utterance(1.0), utterance(5.5, "bearing"))
    assert heard.reached_s == 12.0
    assert heard.done
    assert heard.remarks == ("cut off",)


def test_who_goes_on_finds_all_that_was_kept(tmp_path: Path) -> None:
    kept = HeardFile(tmp_path / "heard" / "a.jsonl")
    kept.begin(BY)
    kept.add([utterance(1.0)], reached_s=12.0)
    kept.remark("cut off")
    kept.finish()
    before = kept.read()

    assert kept.resume(BY) == before
    assert kept.read() == before
    assert before.done


def test_nothing_kept_is_nothing_heard(tmp_path: Path) -> None:
    heard = HeardFile(tmp_path / "none.jsonl").read()

    assert heard.by is None
    assert not heard.done
    assert heard.reached_s == 0


@settings(deadline=None)
@given(cut=st.integers(0, 2000))
def test_a_crash_at_any_byte_leaves_whole_stretches(
    tmp_path_factory: pytest.TempPathFactory, cut: int
) -> None:
    path = tmp_path_factory.mktemp("heard") / "a.jsonl"
    kept = HeardFile(path)
    kept.begin(BY)
    for window in range(4):
        start = window * 12.0
        kept.add([utterance(start + 1), utterance(start + 6)], reached_s=start + 12)
    path.write_bytes(path.read_bytes()[:cut])

    heard = kept.read()

    # Two utterances for every twelve seconds that count as heard, never one.
    assert len(heard.utterances) == heard.reached_s / 12 * 2
    assert not heard.done


@settings(deadline=None)
@given(cut=st.integers(40, 2000))
def test_going_on_after_a_crash_leaves_a_readable_file(
    tmp_path_factory: pytest.TempPathFactory, cut: int
) -> None:
    path = tmp_path_factory.mktemp("heard") / "a.jsonl"
    kept = HeardFile(path)
    kept.begin(BY)
    kept.add([utterance(1), utterance(6)], reached_s=12)
    kept.add([utterance(13)], reached_s=24)
    path.write_bytes(path.read_bytes()[:cut])

    before = kept.resume()
    if before.by is None:
        kept.begin(BY)
    kept.add([utterance(100)], reached_s=112)

    after = kept.read()
    assert after.by == BY
    assert after.utterances == (*before.utterances, utterance(100))
    assert after.reached_s == 112


@settings(deadline=None)
@given(
    st.lists(
        st.sampled_from(
            [
                "[]", "1", "null", '{"by": 1}', '{"by": {"engine": "x"}}', "{}",
                '{"words": [{}], "reached_s": 1}', '{"reached_s": "x"}',
                '{"piece": 7, "reached_s": 1}', '{"piece": "a"}', '{"remark": 3}',
                '{"words": 3}', '{"done": true}', '{"pieces": [[1]], "by": {}}',
            ]
        )
        | st.text(max_size=20),
        max_size=6,
    )
)  # fmt: skip
def test_a_spoilt_file_is_heard_anew_and_never_stops_a_run(lines: list[str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        kept = HeardFile(Path(folder) / "a.jsonl")
        kept.path.write_text("\n".join(lines), "utf-8", errors="replace")

        kept.resume()
        kept.begin(BY)
        kept.add([utterance(1.0)], reached_s=3.0)

        assert kept.read().utterances == (utterance(1.0),)


def test_no_two_recordings_share_a_hearing() -> None:
    names = [
        "a/b.wav", "a__b.wav", "a%2Fb.wav", "a%252Fb.wav", "a/b%2Fc.wav", "a%2Fb/c.wav",
        "x" * 240 + "1.wav", "x" * 240 + "2.wav", "caf\udce9.wav", "caf\udcea.wav",
    ]  # fmt: skip

    kept = [heard_name(name) for name in names]

    assert len(set(kept)) == len(names)
    assert heard_name("live-1.flac") == "live-1.flac.jsonl"  # as it always was
    for name in kept:
        assert "/" not in name
        assert len(name.encode()) <= 255


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("0.9375", "Infinity"),
        ("0.9375", "NaN"),
        ("0.9375", '"much"'),
        ('"reached_s": 12.0', '"reached_s": 1e999'),
        ('"start_s": 1.0', '"start_s": 10000001.0'),  # too late for review.csv
        ('"yellow back"', "7"),
        ('"words": [', '"words": [[], '),
        ('"pieces": [[0.0, null]]', '"pieces": [[null, 1]]'),
        ('"pieces": [[0.0, null]]', '"pieces": 5'),
        ('"size_bytes": 9', '"size_bytes": "9"'),
        ('"modified_ns": 7', '"modified_ns": 7.5'),
        ('{"by"', '[[[ {"by"'),
        ('{"by"', '7\n{"by"'),
        ('{"by"', '\x00{"by"'),
    ],
)
def test_a_hearing_that_is_spoilt_is_made_anew(
    tmp_path: Path, old: str, new: str
) -> None:
    kept = HeardFile(tmp_path / "a.jsonl")
    kept.begin(BY)
    kept.add([utterance(1.0)], reached_s=12.0)
    text = kept.path.read_text("utf-8")
    assert old in text
    new = new.replace("[[[", "[" * 100_000)
    kept.path.write_text(text.replace(old, new), "utf-8")

    heard = kept.resume()

    assert heard.by is None or heard.utterances == ()
    assert not heard.done


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("x" * 200, True),
        ("x" * 201, False),
        ("é" * 100, True),  # two bytes each
        ("é" * 101, False),
        ("a/" * 50, True),  # a stroke becomes three signs: 50 + 150
        ("a/" * 50 + "b", False),
    ],
)
def test_a_name_of_200_bytes_is_kept_and_a_longer_one_told_by_its_digest(
    name: str, *, plain: bool
) -> None:
    kept = heard_name(name)
    assert kept.endswith(".jsonl")
    assert kept.startswith(name.replace("/", "%2F")) is plain
    assert plain or len(kept) == 1 + 64 + len(".jsonl")


@pytest.mark.parametrize(
    ("end_s", "total_s", "length_s"),
    [
        (40.0, None, 30.0),
        (40.0, 25.0, 30.0),  # its own end counts
        (None, 25.0, 15.0),
        (None, None, 0.0),
        (None, 9.0, 0.0),
    ],
)
def test_a_piece_is_as_long_as_is_known(
    end_s: float | None, total_s: float | None, length_s: float
) -> None:
    piece = Piece(number=1, start_s=10.0, end_s=end_s)
    assert piece.length_s(total_s) == length_s


def test_numbers_are_kept_to_the_millisecond_and_a_ten_thousandth(
    tmp_path: Path,
) -> None:
    kept = HeardFile(tmp_path / "a.jsonl")
    kept.begin(BY)
    word = Word(
        text="Löwe", start_s=1.23456, end_s=2.34567, confidence=0.123456,
        source=WordSource.PHRASE,
        alternatives=(Alternative(text="b", confidence=0.654321),),
    )  # fmt: skip
    said = Utterance(words=(word,), start_s=1.11119, end_s=3.33339)
    kept.add([said], reached_s=4.56789, peak=0.12345678)
    text = kept.path.read_text("utf-8")
    for number in ("1.235", "2.346", "0.1235", "0.6543", "1.111", "3.333", "4.568"):
        assert f"{number}," in text or f"{number}]" in text, number
    assert '"peak": 0.123457}' in text
    assert "Löwe" in text


def test_of_each_piece_what_lies_behind_its_start_counts(tmp_path: Path) -> None:
    kept = HeardFile(tmp_path / "a.jsonl")
    pieces = (
        Piece(number=0, start_s=0.0, end_s=60.0),
        Piece(number=1, start_s=60.0, end_s=None),
    )
    kept.begin(BY, pieces)
    assert kept.read().reached_s == 0.0
    kept.add([utterance(1.0)], reached_s=40.0)  # of the first, unless told
    kept.add([utterance(61.0)], reached_s=75.0, piece=1, peak=0.5)
    kept.add([], reached_s=70.0, piece=1, peak=0.25)
    kept.finish_piece(1)
    for heard in (kept.read(), kept.resume(BY), kept.read()):
        assert heard.reached_s == 40.0 + 15.0
        assert [one.piece for one in heard.pieces] == list(pieces)
        assert [one.reached_s for one in heard.pieces] == [40.0, 75.0]
        assert [one.peak for one in heard.pieces] == [0.0, 0.5]
        assert [one.done for one in heard.pieces] == [False, True]
        assert [len(one.utterances) for one in heard.pieces] == [1, 1]
        assert not heard.done


def test_a_copy_is_known_again_by_its_new_time(tmp_path: Path) -> None:
    kept = HeardFile(tmp_path / "a.jsonl")
    kept.begin(BY)
    kept.remark("cut off")
    kept.remark("cut off")
    kept.remark("quiet")
    kept.resume(replace(BY, modified_ns=8, model="other"))
    before = kept.read()
    assert before.by is not None
    assert (before.by.modified_ns, before.by.model) == (7, "tiny-en")
    assert before.remarks == ("cut off", "quiet")
    kept.resume(replace(BY, modified_ns=8))
    after = kept.read()
    assert after.by is not None
    assert after.by.modified_ns == 8


def test_what_is_forgotten_is_gone_and_may_be_gone_before(tmp_path: Path) -> None:
    kept = HeardFile(tmp_path / "heard" / "a.jsonl")
    kept.forget()
    assert not kept.path.parent.exists()
    kept.begin(BY)
    other = HeardFile(tmp_path / "heard" / "b.jsonl")
    other.begin(BY)
    kept.forget()
    assert kept.read().by is None
    assert other.read().by == BY


def test_a_hearing_that_is_too_large_counts_as_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = HeardFile(tmp_path / "a.jsonl")
    kept.begin(BY)
    size = kept.path.stat().st_size
    monkeypatch.setattr("treeward.hunt.heard.MOST_BYTES", size)
    assert kept.read().by == BY
    monkeypatch.setattr("treeward.hunt.heard.MOST_BYTES", size - 1)
    assert kept.read().by is None


@pytest.mark.parametrize("key", ["engine", "model", "phrase_book", "sha256", "free"])
def test_who_heard_is_told_in_texts_and_in_true_or_false(
    tmp_path: Path, key: str
) -> None:
    kept = HeardFile(tmp_path / "a.jsonl")
    kept.begin(BY)
    head = json.loads(kept.path.read_text("utf-8"))
    head["by"][key] = 0
    kept.path.write_text(json.dumps(head) + "\n", "utf-8")
    assert kept.read().by is None
