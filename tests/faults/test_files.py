"""A slice of the faulty files of tests/benchmarks/faults, always the same ones.

The bench tries ten thousand of each kind; here a few dozen keep the contract standing,
and a dozen of them in the quick round.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings

from drawing import examples, mostly_slow
from treeward.audio.reader import probe, read_blocks
from treeward.errors import ClockError, SoundError, TreewardError
from treeward.hunt.hunt import Hunt
from treeward.hunt.tracks import TrackError, read_gpx
from treeward.hunt_file import read_hunt_file
from treeward.notes.clock_evidence import parse_start
from treeward.speech.transcripts import read_transcript

from . import contract, kept, sounds
from .inputs import KINDS, strategy

# What Treeward keeps for itself, and what takes a way that another kind takes too.
TAKES_LONG = kept.PLACES.keys() | {"subrip", "text", "json"}
HOW_MANY = {"review": 60, "sound": 60, "hunt": 120, "gpx": 120}


@pytest.mark.parametrize(
    "kind", mostly_slow(KINDS, quick=sorted(KINDS.keys() - TAKES_LONG)[::3])
)
def test_a_faulty_file_is_read_or_refused_in_one_line(
    kind: str, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("CRITICAL", logger="treeward")
    seen = 0
    wanted = examples(HOW_MANY.get(kind, 40))

    @settings(
        max_examples=wanted,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy(kind))
    def attempt(made: tuple[str, bytes]) -> None:
        nonlocal seen
        contract.walk(kind, *made, ground)
        seen += 1

    with tempfile.TemporaryDirectory() as folder:
        ground = contract.Ground(Path(folder).resolve())
        attempt()

    assert seen >= min(wanted, 40) >= 12


@pytest.mark.parametrize("index", range(len(sounds.SOUND_SEEDS())))
def test_the_good_recordings_that_are_garbled_are_read(
    index: int, tmp_path: Path
) -> None:
    data = sounds.SOUND_SEEDS()[index]
    silent = b"\xc0\x7f" in data[-2:] or not any(data[-2000:]) or index == 17

    read = contract.walk("sound", ".wav", data, contract.Ground(tmp_path))

    assert read or silent


def test_a_rate_that_makes_a_short_file_last_for_days_is_refused(
    tmp_path: Path,
) -> None:
    samples = bytes(range(256)) * 40
    data = sounds.wav(samples=samples, rate=1)

    assert not contract.walk("sound", ".wav", data, contract.Ground(tmp_path))


def test_samples_stay_within_full_scale_whatever_the_file_holds(
    tmp_path: Path,
) -> None:
    square = np.repeat(np.tile([1, -1], 300), 20).astype("<f4")
    endless = np.tile(np.array([np.inf, -np.inf, np.nan, 3e38], "<f4"), 4000)
    for name, samples, channels in (("a", square, 1), ("b", endless, 2)):
        path = tmp_path / f"{name}.wav"
        data = sounds.wav(samples=samples.tobytes(), tag=3, bits=32, channels=channels)
        path.write_bytes(data)
        found = np.concatenate([block.samples for block in read_blocks(path)])
        assert len(found) > 10_000
        assert np.abs(found).max() <= 1.0


@pytest.mark.parametrize("size", [0x7FFFFFFF, 0xFFFFFFFE, 5000])
def test_room_is_made_for_no_more_than_a_file_holds(tmp_path: Path, size: int) -> None:
    path = tmp_path / "memo.wav"
    remarks = b"LIST" + size.to_bytes(4, "little") + b"INFO"
    path.write_bytes(sounds.wav(samples=bytes(range(200)), before=remarks))

    with pytest.raises(SoundError, match=r"memo\.wav: .*its header is spoilt"):
        probe(path)


def test_a_sound_track_that_no_decoder_knows_is_a_line(tmp_path: Path) -> None:
    path = tmp_path / "memo.wav"
    path.write_bytes(sounds.wav(samples=bytes(4000), tag=0xFEED))

    with pytest.raises(SoundError, match=r"memo\.wav: is not a recording"):
        list(read_blocks(path))


def test_a_number_too_long_to_read_is_a_line(tmp_path: Path) -> None:
    path = tmp_path / "hunt.toml"
    path.write_text("[hunt]\naltitude_m = " + "9" * 5000 + "\n", "utf-8")

    with pytest.raises(TreewardError, match=r"hunt\.toml: is not valid TOML"):
        read_hunt_file(path)


def test_a_hunt_toml_of_a_megabyte_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "hunt.toml"
    path.write_bytes(b"# \n" * 400_000)

    with pytest.raises(
        TreewardError, match=r"is 1\.2 MB large, more than the 1\.05 MB"
    ):
        read_hunt_file(path)


@pytest.mark.parametrize("name", ["punycode", "idna", "rot13", "hex", "utf-7", "x"])
def test_a_track_names_an_encoding_that_xml_knows(tmp_path: Path, name: str) -> None:
    path = tmp_path / "walk.gpx"
    path.write_bytes(f'<?xml version="1.0" encoding="{name}"?><gpx/>'.encode())

    with pytest.raises(TrackError, match=f"is not text in {name}"):
        read_gpx(path)


@pytest.mark.slow
@pytest.mark.parametrize(
    "ending", mostly_slow([".txt", ".srt", ".vtt"], quick=[".txt"])
)
def test_a_long_transcript_takes_as_many_steps_as_it_has_lines(
    tmp_path: Path, ending: str
) -> None:
    def times(n: int) -> str:
        return f"{n // 3600:02}:{n // 60 % 60:02}:{n % 60:02}"

    form = {
        ".txt": "[{0}] yellow away\n",
        ".srt": "{2}\n{0},000 --> {1},000\nyellow away\n\n",
        ".vtt": "{0}.000 --> {1}.000\nyellow away\n\n",
    }[ending]
    lines = [form.format(times(n), times(n + 1), n + 1) for n in range(20_000)]
    head = "WEBVTT\n\n" if ending == ".vtt" else ""
    path = tmp_path / f"long{ending}"
    path.write_text(head + "".join(lines), "utf-8")

    assert len(read_transcript(path)) == 20_000


@pytest.mark.slow
def test_a_row_names_no_file_outside_the_hunt(typed_hunt: Path) -> None:
    sound = sounds.wav(samples=bytes(range(1, 251)) * 400)
    (typed_hunt / "recordings").mkdir()
    for place in (typed_hunt.parent, typed_hunt, typed_hunt / "recordings"):
        (place / "memo.wav").write_bytes(sound)
    review = (typed_hunt / "review.csv").read_text("utf-8").splitlines()
    names = ["../memo.wav", "../../memo.wav", str(typed_hunt.parent / "memo.wav"), "x"]
    lines = [f"{line},{names[n % 4]},0.5,0.9" for n, line in enumerate(review)]
    lines[0] = f"{review[0]},recording,start_s,end_s"
    lines.append("2026-07-14 10:30:00,away,yellow,,memo.wav,0.5,0.9")
    lines.append("2026-07-14 10:35:00,back,yellow,,memo.wav,0.9,1.1")
    (typed_hunt / "review.csv").write_text("\n".join(lines) + "\n", "utf-8")
    hunt = Hunt(typed_hunt)

    hunt.write_results(hunt.paired(), with_sound=True)

    made = {p.relative_to(typed_hunt.parent).as_posix()
            for p in typed_hunt.parent.rglob("*.events.*")}  # fmt: skip
    assert made == {
        "hunt/recordings/memo.events.vtt",
        "hunt/recordings/memo.events.txt",
    }
    report = (typed_hunt / "results" / "report.html").read_text("utf-8")
    assert report.count("data:audio/") == 2


def test_a_recording_that_is_a_link_out_of_the_hunt_is_a_line(
    typed_hunt: Path,
) -> None:
    outside = typed_hunt.parent / "other.vtt"
    outside.write_text(contract.MEMO, "utf-8")
    (typed_hunt / "recordings").mkdir()
    try:
        (typed_hunt / "recordings" / "memo.vtt").symlink_to(outside)
    except OSError:
        return  # Windows lets only some people make links

    done = Hunt(typed_hunt).transcribe()

    assert not done.faults
    assert done.rows > 16
    assert outside.read_text("utf-8") == contract.MEMO


def test_what_a_terminal_would_obey_is_not_taken_in(tmp_path: Path) -> None:
    ground = contract.Ground(tmp_path)
    hunt = Hunt(ground.lay_out())
    hunt.review_path.write_text(
        "row,clock,event,mark,value,remark\n"
        "a\x1b,2026-07-14 10:01,away,yel\x1b[2Jlow,,x\x1b]0;y\x07\n",
        "utf-8",
    )
    transcript = hunt.recordings_dir / "2026-07-14_1000.json"
    transcript.write_text(
        '[{"word": "yellow\\u001b\\ud800", "start": 1, "end": 2},'
        ' {"word": "away", "start": 2, "end": 3}]',
        "utf-8",
    )

    words = [word.text for one in read_transcript(transcript) for word in one.words]
    (row,) = hunt.rows()

    assert words == ["yellow", "away"]
    assert row.name == "a"
    assert row.event.mark.isprintable()
    assert row.remark == "x ]0;y"


LOST_YEARS = (
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-14:00",
    "1066-10-14T09:00Z",
)


@pytest.mark.parametrize("clock", LOST_YEARS)
def test_no_time_of_other_centuries_is_reckoned_with(
    tmp_path: Path, clock: str
) -> None:
    track = tmp_path / "walk.gpx"
    track.write_text(
        '<gpx version="1.1" creator="x"><trk><trkseg><trkpt lat="1" lon="1"><time>'
        f"{clock.replace('Z', ':00Z')}</time></trkpt></trkseg></trk></gpx>",
        "utf-8",
    )
    with pytest.raises(TrackError, match="track point 1: its time is no time of these"):
        read_gpx(track)
    hunt = Hunt(contract.Ground(tmp_path).lay_out())
    hunt.review_path.write_text(f"clock,event,mark\n{clock},away,yellow\n", "utf-8")
    with pytest.raises(TreewardError, match=r"row 2: clock: .* (lies in|is no time)"):
        hunt.rows()
    with pytest.raises(ClockError, match=r"--start: .* lies in the year"):
        parse_start(clock, hunt.zone, where="--start")


def test_a_number_without_end_in_a_transcript_is_a_line(tmp_path: Path) -> None:
    path = tmp_path / "memo.srt"
    path.write_text(
        "1\n00:00:01,000 --> 00:00:03,000\nyellow away\n\n" + "9" * 200_000, "utf-8"
    )

    with pytest.raises(
        TreewardError, match=r"memo\.srt line 5: holds a number without"
    ):
        read_transcript(path)


def test_names_that_cannot_be_shown_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "hunt.toml"
    text = contract.HUNT_TOML.replace("Marl Hollow", r"Marl \u001b[2J Hollow")
    path.write_text(text, "utf-8")

    with pytest.raises(
        TreewardError, match=r"hunt\.name: holds .*x1b.* cannot be shown"
    ):
        read_hunt_file(path)
