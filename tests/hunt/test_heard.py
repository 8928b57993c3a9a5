"""What was heard is kept line by line, and a cut line is dropped."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from treeward.hunt.heard import HeardBy, HeardFile, heard_name
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
