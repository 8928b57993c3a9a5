"""Recordings hold what their truth says, and the scorer counts what it should."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from treeward.files import phrasebook_path
from treeward.language.kinds import EventKind
from treeward.language.phrasebook import PhraseBook
from treeward.notes.events import Event
from treeward.notes.flags import read_flags

from ..scoring import compare  # noqa: TID252  (as in score.py)
from . import build, score, sound
from .sources import RATE_HZ, Package, _deep
from .speakers import Speaker, load

if TYPE_CHECKING:
    from .sources import Sound

SPEAKER = Speaker(
    name="hum",
    package="none",
    folder="none",
    suffix=".wav",
    words={
        word: word
        for word in (
            "tin",
            "cup",
            "lands",
            "leaves",
            "post",
            "zero one two three four five six seven eight nine",
        )
    },
    marks=("tin", "cup"),
    templates={"back": ("{mark} lands",), "away": ("{mark} leaves",)},
    anchors={"station": "post"},
)


def hum(text: str) -> Sound:
    """Return a tone, the longer the text; another for each."""
    at_s = np.arange(round(0.1 * RATE_HZ) * (1 + len(text))) / RATE_HZ
    return np.asarray(
        0.3 * np.sin(2 * np.pi * (400 + 40 * len(text)) * at_s), np.float64
    )


def taped(condition: str = "quiet", count: int = 12) -> build.Tape:
    tape = build.Tape(build.Truth("hum", condition))
    rng = np.random.default_rng(3)
    talk = [hum("some talk"), hum("more talk")]
    build.notes_and_talk(tape, SPEAKER.notes(count, rng), hum, talk, rng)
    return tape


def test_each_note_stands_where_the_truth_says() -> None:
    tape = taped()
    speech = tape.speech()
    assert len(tape.truth.events) == 12
    assert tape.truth.talk_s > 0
    ends_s = 0.0
    for event in tape.truth.events:
        assert event["start_s"] > ends_s
        ends_s = event["end_s"]
        low, high = round(event["start_s"] * RATE_HZ), round(ends_s * RATE_HZ)
        level = 20 * np.log10(sound.active_level(speech[low:high]))
        assert level == pytest.approx(sound.LEVEL_DBFS, abs=0.3)
        # Nobody speaks just before and just after it.
        assert np.abs(speech[low - 3200 : low - 800]).max() < 1e-3
        assert np.abs(speech[high + 800 : high + 3200]).max() < 1e-3


def test_slow_notes_take_longer_between_words() -> None:
    def longest_s(condition: str) -> float:
        events = taped(condition).truth.events
        return float(max(each["end_s"] - each["start_s"] for each in events))

    assert longest_s("slow") > longest_s("quiet") + build.SLOWLY_S[0] - 0.1


@pytest.mark.parametrize("snr_db", [15.0, 3.0])
def test_noise_is_as_loud_as_the_ratio_says(snr_db: float) -> None:
    speech = taped().speech()
    noise = np.random.default_rng(1).normal(0, 0.2, len(speech))
    out = sound.mixed(speech, noise, snr_db, sound.LEVEL_DBFS)
    level = np.sqrt(np.mean(sound.in_band(out - speech) ** 2))
    assert sound.LEVEL_DBFS - 20 * np.log10(level) == pytest.approx(snr_db, abs=0.01)


def test_a_bed_has_no_hole_and_uses_every_piece() -> None:
    rng = np.random.default_rng(2)
    at_s = np.arange(8 * RATE_HZ) / RATE_HZ
    pieces = [amp * np.sin(2 * np.pi * hz * at_s) for amp, hz in ((1, 500), (9, 1500))]
    bed = sound.bed(pieces, 60 * RATE_HZ, rng)
    assert len(bed) == 60 * RATE_HZ
    levels = sound.frame_levels(bed)
    assert levels.min() > 0.2 * levels.mean()
    # Brought to one level, the loud recording does not drown the soft one.
    parts = [
        np.sqrt(np.mean(sound.in_band(bed, hz - 200.0, hz + 200.0) ** 2))
        for hz in (500, 1500)
    ]
    assert 0.4 < parts[0] / parts[1] < 2.5


def test_tempo_changes_length_and_keeps_pitch() -> None:
    at_s = np.arange(2 * RATE_HZ) / RATE_HZ
    quick = sound.tempo(np.sin(2 * np.pi * 500 * at_s), 1.6)
    assert len(quick) / RATE_HZ == pytest.approx(2 / 1.6, abs=0.06)
    spectrum = np.abs(np.fft.rfft(quick))
    assert np.argmax(spectrum) * RATE_HZ / len(quick) == pytest.approx(500, abs=5)


def test_no_word_is_made_faster_than_the_limit() -> None:
    assert len(sound.as_in_a_phrase(hum("x" * 30), "ox")) >= 3.1 * RATE_HZ / 1.6 * 0.95
    short = hum("ox")
    assert sound.as_in_a_phrase(short, "a very long phrase") is short


def test_a_word_loses_its_silence() -> None:
    word = hum("tin")
    silent = np.zeros(RATE_HZ)
    cut = sound.trimmed(np.concatenate([silent, word, silent]))
    # A frame each side is cut by the word, and the filter takes one to die away.
    most = len(word) + 2 * sound.EDGE_S * RATE_HZ + 3 * sound.FRAME
    assert len(word) <= len(cut) <= most


def test_telephone_sound_is_narrow_and_coarse() -> None:
    at_s = np.arange(RATE_HZ) / RATE_HZ
    both = np.sin(2 * np.pi * 1000 * at_s) + np.sin(2 * np.pi * 5000 * at_s)
    heard = sound.telephone(both)
    assert len(heard) == 8000
    spectrum = np.abs(np.fft.rfft(heard))
    assert np.argmax(spectrum) == pytest.approx(1000, abs=2)
    assert len(np.unique(np.round(heard, 9))) <= 255


def test_readings_are_cut_at_pauses() -> None:
    pause = np.zeros(RATE_HZ)
    parts = build.at_pauses(np.concatenate([hum("one"), pause, hum("two more")]))
    assert [len(each) / RATE_HZ for each in parts] == pytest.approx(
        [0.4, 0.9], abs=0.05
    )


@pytest.mark.slow
def test_every_speakers_notes_mean_what_the_phrase_book_says(tmp_path: Path) -> None:
    from treeward.notes.parser import parse_notes
    from treeward.speech.utterances import Utterance, Word

    for speaker in load():
        file = tmp_path / f"{speaker.name}.toml"
        file.write_text(speaker.phrasebook(), encoding="utf-8")
        book = PhraseBook.load(phrasebook_path(), file)
        for said in speaker.notes(60, np.random.default_rng(4)):
            assert all(part in speaker.words for part in said.words)
            spoken = " ".join(said.words).split()
            words = tuple(
                Word(text=word, start_s=0.3 * n, end_s=0.3 * n + 0.2)
                for n, word in enumerate(spoken)
            )
            utterance = Utterance(words=words, start_s=0.0, end_s=words[-1].end_s)
            events = parse_notes([utterance], book)
            truth = {
                "event": said.event,
                "mark": said.mark,
                "value": said.value,
                "start_s": 0.0,
                "end_s": words[-1].end_s,
            }
            tally = compare(events, [score.as_said(truth)])
            assert (tally.right, tally.heard) == (1, 1), (speaker.name, said, events)


def test_a_word_that_nobody_recorded_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "speakers.toml"
    file.write_text(
        '[ann]\npackage = "p"\nfolder = "f"\nsuffix = ".ogg"\nmarks = ["tin"]\n'
        'back = ["{mark} lands"]\n[ann.words]\ntin = "tin"\n',
        encoding="utf-8",
    )
    with pytest.raises(ValueError, match="ann recorded no lands"):
        load(file)


def test_a_star_stands_for_several_folders() -> None:
    package = Package("p", "b", "l", "w", ("*/sounds/*.ogg",))
    path = Path("usr/share/sounds/birds/day/lark.ogg")
    assert any(path.match(each) for each in _deep(package))
    assert not any(Path("usr/lark.ogg").match(each) for each in _deep(package))


def made(folder: Path, name: str, tape: build.Tape, *, book: bool = True) -> Path:
    build.write(folder / name, tape.truth, tape.speech())
    if book:
        text = SPEAKER.phrasebook()
        (folder / f"{name}.phrasebook.toml").write_text(text, encoding="utf-8")
    return folder / f"{name}.truth.json"


def events_of(truth_file: Path) -> list[Event]:
    truth = json.loads(truth_file.read_text(encoding="utf-8"))
    return [
        Event(
            kind=EventKind(each["event"]),
            mark=each["mark"],
            value=each["value"],
            start_s=each["start_s"] + 0.1,
            end_s=each["end_s"] - 0.2,
            confidence=0.97,
        )
        for each in truth["events"]
    ]


def test_the_scorer_counts_rights_wrongs_and_inventions(tmp_path: Path) -> None:
    truth_file = made(tmp_path, "hum_quiet", taped())
    right = events_of(truth_file)
    invented = Event(
        kind=EventKind.BACK, mark="tin", start_s=0.1, end_s=0.4, confidence=0.6
    )
    shifted = Event(
        kind=right[1].kind,
        mark=right[1].mark,
        value=right[1].value,
        start_s=(right[1].start_s or 0) + 0.5,  # 0.6 s off: too far
        end_s=right[1].end_s,
        flags=read_flags(["heard softly"]),
    )
    heard = [right[0], shifted, *right[3:], invented]
    one = score.measure(truth_file, lambda *_: heard)
    assert (one.speaker, one.condition) == ("hum", "quiet")
    assert (one.tally.said, one.tally.right, one.tally.heard) == (12, 10, 12)
    assert one.tally.unflagged_wrong == 1
    assert one.tally.late_s == pytest.approx([0.1] * 10)
    assert one.tally.end_late_s == pytest.approx([0.2] * 10)
    assert len(one.faults) == 2 + 2  # two rows that are wrong, two notes not heard
    text = score.table([one])
    assert "| quiet | people | 12 | 0.833 | 0.833 | 11 | 1 |" in text
    assert "| hum | quiet | 12 | 0.83 | 0.83 | 1 |" in text
    assert "| 0.95-0.98 | 10 | 1.000 |" in text


def test_notes_out_of_talk_alone_are_given_by_the_hour(tmp_path: Path) -> None:
    found = []
    for part in (1, 2):
        tape = build.Tape(build.Truth(f"others{part}", "talk-quiet"))
        build.talk_alone(tape, [hum("talk")] * 3, 60, np.random.default_rng(part))
        truth_file = made(tmp_path, f"others{part}_talk-quiet", tape, book=False)
        false = [Event(kind=EventKind.PAUSE, start_s=5.0, end_s=6.0)]
        found.append(score.measure(truth_file, lambda *_, f=false: f))
    hours = sum(each.tally.duration_s for each in found) / 3600
    row = next(line for line in score.table(found).splitlines() if "others" in line)
    assert row.startswith("| talk-quiet | others | 2 | 0.0 | 2 / 2 |")
    assert f"| {2 / hours:.1f} / {2 / hours:.1f} |" in row


def test_the_scorer_hands_on_the_recordings_own_phrase_book(tmp_path: Path) -> None:
    truth_file = made(tmp_path, "hum_quiet", taped())
    seen: list[tuple[Path, PhraseBook]] = []

    def listen(path: Path, book: PhraseBook) -> list[Event]:
        seen.append((path, book))
        return []

    score.measure(truth_file, listen)
    [(path, book)] = seen
    assert path.name == "hum_quiet.flac"
    assert set(book.colours) == {"tin", "cup"}
    assert soundfile.info(path).samplerate == RATE_HZ


def test_what_was_measured_is_kept_and_results_written_by_hand_stay(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made(tmp_path, "hum_quiet", taped())
    kept = tmp_path / "kept"
    monkeypatch.setattr(score, "hear", lambda *_: [])
    first = score.measure_all(tmp_path, "", None, kept)
    monkeypatch.setattr(score, "hear", lambda *_: pytest.fail("heard once more"))
    again = score.measure_all(tmp_path, "", None, kept)
    assert score.table(again) == score.table(first)
    results = tmp_path / "RESULTS.md"
    results.write_text(f"old\n{score.BY_HAND}\n\nWritten by hand.\n", encoding="utf-8")
    score.write_results(score.table(first), results)
    text = results.read_text(encoding="utf-8")
    assert "old" not in text
    assert text.endswith(f"{score.BY_HAND}\n\nWritten by hand.\n")
