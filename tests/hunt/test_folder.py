"""The hunt folder: notes typed by hand or heard, to trips and a place."""

from __future__ import annotations

import csv
import json
import os
import shutil
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from loudness import IN_USE, LoudActivity
from treeward import Hunt
from treeward.errors import HuntError, TreewardError
from treeward.hunt import hearing
from treeward.hunt.heard import HeardFile
from treeward.hunt.recordings import find_recordings, take_in
from treeward.hunt.transcription import heard_by
from treeward.notes.flags import Flag, FlagCode
from treeward.report.advice_wording import missing_text
from treeward.report.model import Missing, MissingKind
from treeward.report.wording import missing_sentences, placed_sentence
from treeward.review.file import read_review
from treeward.speech.utterances import Utterance, Word, WordSource, spread

if TYPE_CHECKING:
    from treeward.audio import Block

TRANSCRIPT = """\
[0:02] it's ten oh one in the morning
[0:10] yellow away
[0:12] bearing two ten
[4:40] yellow back
[6:00] yellow away
[10:20] yellow back
"""


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_a_typed_review_file_is_enough_for_trips(typed_hunt: Path) -> None:
    table = Hunt(typed_hunt).trips()

    away_s = {(trip.mark, round(trip.away_s)) for trip in table.trips if trip.used}
    assert away_s == {
        ("yellow", 310),
        ("yellow", 300),
        ("yellow", 305),
        ("blue-white", 330),
        ("blue-white", 315),
    }
    assert [round(line.bearing_read_deg) for line in table.lines] == [211, 206, 214]


def test_a_typed_review_file_is_enough_for_a_place(typed_hunt: Path) -> None:
    result = Hunt(typed_hunt).locate()

    assert result.fix is not None
    colony = result.fix.colonies[0]
    # South-west of station 1, as the bees flew.
    assert colony.best_latitude_deg < 52.3012
    assert colony.best_longitude_deg < -3.6104


@pytest.mark.slow
def test_results_are_written_for_reading_and_for_programs(typed_hunt: Path) -> None:
    hunt = Hunt(typed_hunt)

    written = hunt.write_results(hunt.locate())

    data = json.loads((hunt.results_dir / "result.json").read_text("utf-8"))
    assert data["schema"] == 1
    assert data["colonies"][0]["search_area"]["90"]["area_ha"] > 0
    assert written.report.stat().st_size > 10_000


def test_a_station_without_position_takes_it_from_a_waypoint(typed_hunt: Path) -> None:
    toml = (typed_hunt / "hunt.toml").read_text("utf-8")
    without = toml.replace('position = "52.301200, -3.610400"\n', "")
    (typed_hunt / "hunt.toml").write_text(without, "utf-8")
    (typed_hunt / "walk.gpx").write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="test" '
        'xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="52.3012" lon="-3.6104"><name>Station 1</name></wpt></gpx>',
        "utf-8",
    )

    result = Hunt(typed_hunt).locate()

    place = result.station("1")
    assert place is not None
    assert place.placed_by == "waypoint"
    assert place.latitude_deg == pytest.approx(52.3012)


def gpx_track(day: str) -> str:
    points = "".join(
        f'<trkpt lat="52.3012" lon="{-3.6104 - 0.001 * abs(minute - 10):.4f}">'
        f"<time>{day}T09:{minute:02d}:00Z</time></trkpt>"
        for minute in range(30)
    )
    return (
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>"
    )


@pytest.mark.slow
@pytest.mark.parametrize("day", ["2026-07-14", "2026-07-13"])
def test_a_station_without_position_takes_it_from_the_track_of_that_time(
    typed_hunt: Path, day: str
) -> None:
    toml = (typed_hunt / "hunt.toml").read_text("utf-8")
    without = toml.replace('position = "52.301200, -3.610400"\n', "")
    (typed_hunt / "hunt.toml").write_text(without, "utf-8")
    (typed_hunt / "walk.gpx").write_text(gpx_track(day), "utf-8")

    result = Hunt(typed_hunt).locate()

    place = result.station("1")
    if day == "2026-07-14":  # notes from 10:00 to 10:21 local, an hour before in UTC
        assert place is not None
        assert place.placed_by == "track"
        assert place.latitude_deg == pytest.approx(52.3012)
        assert placed_sentence(result) == "Positions: station 1 from the GPX track."
    else:
        assert place is None
        assert missing_text(result.missing[0], result.hunt_file.hunt.zone) == (
            "Station 1 is not to be found in walk.gpx: no waypoint is called '1' or "
            "'station 1', its notes are of 14 Jul 10:01 to 10:21, and the track in "
            "walk.gpx is of 13 Jul 10:00 to 10:29."
        )


def test_a_missing_waypoint_is_told_with_those_that_are_there(typed_hunt: Path) -> None:
    toml = (typed_hunt / "hunt.toml").read_text("utf-8")
    without = toml.replace('position = "52.301200, -3.610400"\n', "")
    (typed_hunt / "hunt.toml").write_text(without, "utf-8")
    points = "".join(
        f'<wpt lat="52.3" lon="-3.6"><name>{name}</name></wpt>'
        for name in ("Spring", "gate", *(f"P{n}" for n in range(9)))
    )
    gpx = f'<gpx version="1.1" creator="x">{points}</gpx>'
    (typed_hunt / "walk.gpx").write_text(gpx, "utf-8")

    (line, *_) = missing_sentences(Hunt(typed_hunt).locate())

    assert (
        "no waypoint is called '1' or 'station 1' (there are 'Spring', 'gate', " in line
    )
    assert "and 3 more)" in line


def test_a_station_without_any_position_is_said_to_be_missing(
    typed_hunt: Path,
) -> None:
    toml = (typed_hunt / "hunt.toml").read_text("utf-8")
    without = toml.replace('position = "52.301200, -3.610400"\n', "")
    (typed_hunt / "hunt.toml").write_text(without, "utf-8")

    result = Hunt(typed_hunt).locate()

    assert result.fix is None
    lacking = Missing(kind=MissingKind.NO_POSITION, stations=("1",))
    assert result.missing == (lacking,)
    assert missing_sentences(result)[0].startswith("Station 1 has no position: ")


def test_a_new_hunt_can_be_read_at_once(tmp_path: Path) -> None:
    hunt = Hunt.create(tmp_path / "new", name="Fern Bank", timezone="Europe/London")

    assert hunt.file.hunt.name == "Fern Bank"
    assert hunt.recordings_dir.is_dir()
    with pytest.raises(HuntError, match="a hunt is here already"):
        Hunt.create(tmp_path / "new", name="Fern Bank", timezone="Europe/London")


def test_without_review_the_next_step_is_named(tmp_path: Path) -> None:
    hunt = Hunt.create(tmp_path / "new", name="Fern Bank", timezone="Europe/London")

    with pytest.raises(HuntError, match="Run: treeward transcribe"):
        hunt.trips()
    with pytest.raises(HuntError, match="there are no recordings"):
        hunt.transcribe()


def test_two_commands_at_once_lock_each_other_out(typed_hunt: Path) -> None:
    with (
        Hunt(typed_hunt).locked(),
        pytest.raises(HuntError, match="another Treeward command is at work"),
        Hunt(typed_hunt).locked(),
    ):
        pass


def transcript_hunt(tmp_path: Path) -> Hunt:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    (hunt.recordings_dir / "2026-07-14_1000.txt").write_text(TRANSCRIPT, "utf-8")
    return hunt


def test_a_transcript_becomes_a_review_file(tmp_path: Path) -> None:
    hunt = transcript_hunt(tmp_path)

    done = hunt.transcribe()

    assert not done.faults
    rows = rows_of(hunt.review_path)
    assert [(r["event"], r["mark"], r["value"]) for r in rows] == [
        ("time", "", "10:01"),
        ("away", "yellow", ""),
        ("bearing", "yellow", "210"),
        ("back", "yellow", ""),
        ("away", "yellow", ""),
        ("back", "yellow", ""),
    ]
    assert rows[1]["clock"].startswith("2026-07-14T10:01")


def test_what_a_person_changed_survives_a_second_run(tmp_path: Path) -> None:
    hunt = transcript_hunt(tmp_path)
    hunt.transcribe()
    text = hunt.review_path.read_text("utf-8")
    hunt.review_path.write_text(text.replace(",210,", ",219,"), "utf-8")

    done = hunt.transcribe()

    assert done.kept_changes == 1
    assert [r["value"] for r in rows_of(hunt.review_path)][2] == "219"


def test_a_corrected_time_moves_the_notes_that_hang_on_it(tmp_path: Path) -> None:
    hunt = transcript_hunt(tmp_path)
    hunt.transcribe()
    before = [row.event.clock for row in hunt.rows()]
    text = hunt.review_path.read_text("utf-8")
    hunt.review_path.write_text(text.replace(",10:01,", ",10:31,"), "utf-8")

    after = [row.event.clock for row in hunt.rows()]

    moved = [
        (b - a).total_seconds()
        for a, b in zip(before, after, strict=True)
        if a is not None and b is not None
    ]
    assert moved == [1800.0] * 6


def test_a_faulty_recording_does_not_stop_the_others(tmp_path: Path) -> None:
    hunt = transcript_hunt(tmp_path)
    (hunt.recordings_dir / "broken.srt").write_bytes(b"\x00\x01not a transcript")

    done = hunt.transcribe()

    assert len(done.faults) == 1
    assert "broken.srt" in done.faults[0]
    assert len(rows_of(hunt.review_path)) == 6


def test_a_file_without_sound_is_not_copied_in(tmp_path: Path) -> None:
    hunt = transcript_hunt(tmp_path)
    junk = tmp_path / "memo.m4a"
    junk.write_bytes(bytes(range(256)) * 20)

    done = hunt.transcribe([junk])

    assert len(done.faults) == 1
    assert str(junk) in done.faults[0]
    assert not (hunt.recordings_dir / "memo.m4a").exists()
    assert not hunt.transcribe().faults


def test_a_file_from_elsewhere_is_copied_in(tmp_path: Path) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    outside = tmp_path / "2026-07-14_1000.txt"
    outside.write_text(TRANSCRIPT, "utf-8")

    taken = take_in([outside], hunt.recordings_dir)
    again = take_in([outside], hunt.recordings_dir)

    assert taken == again == [(hunt.recordings_dir / outside.name).resolve()]
    outside.write_text("[0:01] something else", "utf-8")
    with pytest.raises(HuntError, match="already has another recording"):
        take_in([outside], hunt.recordings_dir)


def test_a_corrected_transcript_takes_the_place_of_the_one_that_was_there(
    tmp_path: Path,
) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    outside = tmp_path / "2026-07-14_1000.txt"
    outside.write_text(TRANSCRIPT, "utf-8")
    (first,) = take_in([outside], hunt.recordings_dir)
    corrected = TRANSCRIPT.replace("yellow back", "blue back", 1)
    outside.write_text(corrected, "utf-8")
    told: list[str] = []

    taken = take_in([outside], hunt.recordings_dir, tell=told.append)

    assert taken == [first]
    assert first.read_text("utf-8") == corrected
    assert first.with_name(f"{first.name}.old").read_text("utf-8") == TRANSCRIPT
    (line,) = told
    assert f"is kept as {first.name}.old" in line
    take_in([outside], hunt.recordings_dir, tell=told.append)
    assert len(told) == 1  # it is the one that is there


def test_labels_written_beside_a_recording_are_no_transcripts(tmp_path: Path) -> None:
    for name in ("a.wav", "a.events.vtt", "a.events.txt", "b.ogg", "b.vtt", ".c.wav"):
        (tmp_path / name).write_bytes(b"x")

    assert [path.name for path in find_recordings(tmp_path)] == ["a.wav", "b.vtt"]


class ScriptedRecognizer:
    """Stands in for an engine: says one thing in every stretch of sound."""

    name = "scripted"
    model = "1"

    def __init__(self) -> None:
        self.decoded: list[float] = []
        self.stop_after: int | None = None

    def decode(self, stretch: Block) -> Utterance | None:
        assert len(stretch.samples) > 0
        start_s = stretch.start_s
        if self.stop_after is not None and len(self.decoded) >= self.stop_after:
            raise KeyboardInterrupt
        self.decoded.append(start_s)
        word = Word(
            text="yellow back",
            start_s=start_s + 0.1,
            end_s=start_s + 0.9,
            confidence=0.9,
            source=WordSource.PHRASE,
        )
        return Utterance(words=(word,), start_s=word.start_s, end_s=word.end_s)


def speech_like(path: Path, seconds: float) -> None:
    """Write loud bursts, which `LoudActivity` takes for speech."""
    import numpy as np
    import soundfile

    rng = np.random.default_rng(5)
    time_s = np.arange(int(seconds * 16_000)) / 16_000
    voice = sum(np.sin(2 * np.pi * 140 * k * time_s) / k for k in range(1, 20))
    burst = 0.5 * (1 + np.sign(np.sin(2 * np.pi * 0.35 * time_s)))
    sound = 0.1 * voice * burst + 0.002 * rng.standard_normal(len(time_s))
    soundfile.write(path, sound.astype("float32"), 16_000)


@pytest.mark.slow
def test_a_stopped_hearing_goes_on_where_it_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    sound = hunt.recordings_dir / "2026-07-14_1000.wav"
    speech_like(sound, 60)
    scripted = ScriptedRecognizer()
    monkeypatch.setattr(IN_USE, LoudActivity)
    monkeypatch.setattr(
        "treeward.speech.recognizer.open_recognizer", lambda *_a, **_k: scripted
    )

    hunt.transcribe()
    whole = list(scripted.decoded)
    run_in = len(whole) - len(set(whole))  # stretches heard before they count, if any
    assert whole[run_in:] == sorted(set(whole))
    hunt.heard_file(sound.name).path.unlink()
    scripted.decoded.clear()
    scripted.stop_after = run_in + 6  # while the seventh is heard
    first = hunt.transcribe()
    scripted.stop_after = None
    second = hunt.transcribe()

    assert first.stopped
    assert not first.recordings[0].complete
    assert len(first.recordings[0].events) >= 1
    assert second.recordings[0].complete
    starts = [event.start_s for event in second.recordings[0].events]
    assert starts == [pytest.approx(start_s + 0.1) for start_s in sorted(set(whole))]
    third = hunt.transcribe()
    assert third.rows == second.rows


def test_a_hunt_says_below_which_confidence_its_rows_are_flagged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    speech_like(hunt.recordings_dir / "2026-07-14_1000.wav", 15)
    scripted = ScriptedRecognizer()  # hears everything with 0.9
    monkeypatch.setattr(IN_USE, LoudActivity)
    monkeypatch.setattr(
        "treeward.speech.recognizer.open_recognizer", lambda *_a, **_k: scripted
    )
    usual = hunt.transcribe()
    decoded = len(scripted.decoded)
    hunt_toml = hunt.path / "hunt.toml"
    hunt_toml.write_text(hunt_toml.read_text("utf-8") + "[speech]\nflag_below = 0.95\n")

    strict = Hunt(hunt.path).transcribe()

    assert usual.rows >= 1
    assert all(not e.has(FlagCode.HARDLY_HEARD) for e in usual.recordings[0].events)
    flag = Flag.of(FlagCode.HARDLY_HEARD, "0.90")
    assert all(flag in e.flags for e in strict.recordings[0].events)
    assert all(flag.sentence in row["flag"] for row in rows_of(hunt.review_path))
    assert len(scripted.decoded) == decoded  # not heard again


class Talker(ScriptedRecognizer):
    """Says a note first, then talks."""

    def decode(self, stretch: Block) -> Utterance | None:
        note = super().decode(stretch)
        if note is None or len(self.decoded) == 1:
            return note
        said = ("Yellow's off, two ninety.", "Lovely weather for it.")[
            len(self.decoded) % 2
        ]
        words = spread(said.split(), note.start_s, note.end_s)
        talk = tuple(replace(word, source=WordSource.TALK) for word in words)
        return Utterance(words=talk, start_s=note.start_s, end_s=note.end_s)


def test_free_reads_talk_and_says_so_in_every_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    speech_like(hunt.recordings_dir / "2026-07-14_1000.wav", 6)
    talker = Talker()
    monkeypatch.setattr(IN_USE, LoudActivity)
    asked: list[bool] = []

    def opened(*_: object, free: bool, **_more: object) -> Talker:
        asked.append(free)
        talker.decoded.clear()
        return talker

    monkeypatch.setattr("treeward.speech.recognizer.open_recognizer", opened)
    hunt.transcribe()
    told = [(row["event"], row["mark"]) for row in rows_of(hunt.review_path)]
    decoded = len(talker.decoded)
    hunt_toml = hunt.path / "hunt.toml"
    plain = hunt_toml.read_text("utf-8")
    hunt_toml.write_text(f"{plain}[speech]\nfree = true\n", "utf-8")

    Hunt(hunt.path).transcribe()

    assert told == [("back", "yellow")]
    assert asked == [False, True]
    assert len(talker.decoded) == decoded  # heard again: not for it before
    note, *freely = rows_of(hunt.review_path)
    assert (note["event"], note["flag"]) == ("back", "")
    assert [(row["event"], row["mark"], row["value"]) for row in freely] == [
        ("away", "yellow", ""),
        ("bearing", "yellow", "290"),
    ]
    sentence = Flag(FlagCode.TOLD_FREELY).sentence
    assert all(sentence in row["flag"] for row in freely)
    hunt_toml.write_text(plain, "utf-8")
    Hunt(hunt.path).transcribe()
    assert [row["event"] for row in rows_of(hunt.review_path)] == ["back"]
    assert not talker.decoded  # what was heard for it serves without it


def test_a_copied_hunt_is_not_heard_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    sound = hunt.recordings_dir / "2026-07-14_1000.wav"
    speech_like(sound, 15)
    scripted = ScriptedRecognizer()
    monkeypatch.setattr(IN_USE, LoudActivity)
    monkeypatch.setattr(
        "treeward.speech.recognizer.open_recognizer", lambda *_a, **_k: scripted
    )
    rows = hunt.transcribe().rows
    decoded = len(scripted.decoded)
    copy = shutil.copytree(hunt.path, tmp_path / "copy", copy_function=shutil.copy)
    there = copy / "recordings" / sound.name
    os.utime(there, (1_790_000_000, 1_790_000_000))  # a copy has a time of its own

    again = [Hunt(copy).transcribe().rows for _ in range(2)]

    assert again == [rows, rows]
    assert len(scripted.decoded) == decoded > 0
    kept = hunt.heard_file(sound.name).read().by
    assert kept is not None
    assert kept.sha256
    samples = bytearray(there.read_bytes())
    samples[-2000] ^= 1  # of the same size
    there.write_bytes(samples)
    Hunt(copy).transcribe()
    assert len(scripted.decoded) > decoded


def test_a_changed_recording_is_heard_anew(tmp_path: Path) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    sound = hunt.recordings_dir / "a.wav"
    sound.write_bytes(b"1")
    before = heard_by(sound, ScriptedRecognizer(), hunt.phrase_book, None)
    sound.write_bytes(b"12")

    assert heard_by(sound, ScriptedRecognizer(), hunt.phrase_book, before) != before
    assert isinstance(hunt.heard_file("a/b.wav"), HeardFile)


def test_a_hearing_of_before_digests_were_kept_counts_by_its_time(
    tmp_path: Path,
) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    sound = hunt.recordings_dir / "a.wav"
    sound.write_bytes(b"1")
    known = heard_by(sound, ScriptedRecognizer(), hunt.phrase_book, None)
    before = replace(known, sha256="")

    assert heard_by(sound, ScriptedRecognizer(), hunt.phrase_book, before) == before
    os.utime(sound, (1_790_000_000, 1_790_000_000))
    assert heard_by(sound, ScriptedRecognizer(), hunt.phrase_book, before) != before


def test_a_crash_between_the_two_copies_loses_no_correction(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt = transcript_hunt(tmp_path)
    hunt.transcribe()
    transcript = hunt.recordings_dir / "2026-07-14_1000.txt"
    transcript.write_text(TRANSCRIPT + "[12:00] blue away\n", "utf-8")
    calls = 0

    plain = os.replace

    def crash_after_the_first(name: str, target: str, **options: Any) -> None:
        nonlocal calls
        calls += 1
        plain(name, target, **options)
        if Path(target).name == "review.csv":
            calls += 100
            if calls > 200:  # the first is the trial
                raise OSError(5, "power is gone")

    monkeypatch.setattr("os.replace", crash_after_the_first)
    with pytest.raises(OSError, match="power"):
        hunt.transcribe()
    monkeypatch.undo()

    done = hunt.transcribe()

    assert calls > 200
    assert done.kept_changes == 0  # nothing of the machine's counts as the person's
    assert [r["event"] for r in rows_of(hunt.review_path)].count("away") == 3
    assert read_review(hunt.review_path, hunt.zone)


def test_an_error_is_always_one_line(typed_hunt: Path) -> None:
    (typed_hunt / "review.csv").write_text(
        "clock,event,mark\n2026-07-14 99:00,flew,yellow\n", "utf-8"
    )

    with pytest.raises(TreewardError, match=r"review\.csv") as caught:
        Hunt(typed_hunt).trips()

    assert "\n" not in caught.value.line()


def test_a_correction_made_while_recordings_are_heard_is_kept(tmp_path: Path) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    (hunt.recordings_dir / "2026-07-14_1000.txt").write_text(TRANSCRIPT, "utf-8")
    hunt.transcribe()
    text = hunt.review_path.read_text("utf-8")
    (hunt.recordings_dir / "2026-07-15_1000.txt").write_text(TRANSCRIPT, "utf-8")
    plain = hearing.hear_all

    def and_meanwhile(*arguments: Any, **named: Any) -> Any:
        lines = text.splitlines()
        lines[2] += "seen by me"
        hunt.review_path.write_text("\n".join(lines) + "\n", "utf-8")
        return plain(*arguments, **named)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("treeward.hunt.hunt.hear_all", and_meanwhile)
        done = hunt.transcribe()

    remarks = [row.remark for row in hunt.rows()]
    assert remarks.count("seen by me") == 1
    assert done.rows == 2 * len(text.splitlines()[1:])


def test_copying_a_hunt_does_not_move_its_days(tmp_path: Path) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    sound = hunt.recordings_dir / "memo.wav"
    speech_like(sound, 20)
    july_s, november_s = 1_784_020_800, 1_793_700_000  # 14 July and 3 November 2026
    os.utime(sound, (july_s, july_s))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(IN_USE, LoudActivity)
        patch.setattr(
            "treeward.speech.recognizer.open_recognizer",
            lambda *_a, **_k: ScriptedRecognizer(),
        )
        first = hunt.transcribe()
        days = {r["clock"][:10] for r in rows_of(hunt.review_path)}
        copy = tmp_path / "copy"
        shutil.copytree(hunt.path, copy, copy_function=shutil.copyfile)
        os.utime(copy / "recordings" / "memo.wav", (november_s, november_s))
        (copy / "review.csv").unlink()
        again = Hunt(copy).transcribe()

    assert days == {"2026-07-14"}
    assert {r["clock"][:10] for r in rows_of(copy / "review.csv")} == days
    told = "memo.wav: 14 Jul 2026, the day by the file's time"
    assert told in first.remarks
    assert told in again.remarks


def test_two_departures_in_a_row_are_put_up_for_review(tmp_path: Path) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    said = TRANSCRIPT.replace("[4:40] yellow back", "[4:40] yellow away")
    (hunt.recordings_dir / "2026-07-14_1000.txt").write_text(said, "utf-8")

    done = hunt.transcribe()

    flags = [r["flag"] for r in rows_of(hunt.review_path) if r["event"] == "away"]
    assert ["order: " in flag for flag in flags] == [True, True, True]
    assert done.left.notes == 3


def test_a_corrected_date_moves_the_notes_that_hang_on_it(tmp_path: Path) -> None:
    hunt = Hunt.create(tmp_path / "t", name="Fern Bank", timezone="Europe/London")
    said = "[0:01] date fourteenth of july twenty twenty six\n" + TRANSCRIPT
    (hunt.recordings_dir / "memo.txt").write_text(said, "utf-8")
    hunt.transcribe()
    before = {str(row.event.clock)[:10] for row in hunt.rows()}
    text = hunt.review_path.read_text("utf-8")
    hunt.review_path.write_text(text.replace(",2026-07-14,", ",2026-07-13,"), "utf-8")

    after = {str(row.event.clock)[:10] for row in hunt.rows()}

    assert (before, after) == ({"2026-07-14"}, {"2026-07-13"})


def test_the_start_that_is_told_is_the_clock_of_the_first_second(
    typed_hunt: Path, tmp_path: Path
) -> None:
    memo = tmp_path / "memo.vtt"
    memo.write_text("WEBVTT\n\n00:05.000 --> 00:06.000\nwhite away\n", encoding="utf-8")
    hunt = Hunt(typed_hunt)

    hunt.transcribe([memo], start="2026-07-15 11:20")

    (row,) = [row for row in hunt.rows() if row.event.recording == "memo.vtt"]
    assert row.event.clock is not None
    assert f"{row.event.clock:%Y-%m-%d %H:%M:%S}" == "2026-07-15 11:20:05"
