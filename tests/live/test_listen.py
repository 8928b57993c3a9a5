"""The command itself: by a pipe, by PortAudio, killed, and twice at once."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from live import stand_in
from treeward.cli.listen import listen_command
from treeward.errors import HuntError, SoundError, TreewardError
from treeward.hunt.hunt import Hunt
from treeward.hunt.journal import read_journal
from treeward.live import opening
from treeward.live.opening import only_listener, recover_sessions

if TYPE_CHECKING:
    from numpy.typing import NDArray

STAND_IN = Path(stand_in.__file__)
NOTES = [(1.0, "red", "away"), (3.0, "blue", "away"), (5.0, "red", "back")]


@pytest.fixture
def beeps(tmp_path: Path) -> Path:
    path = tmp_path / "beeps.wav"
    soundfile.write(path, stand_in.spoken_at(NOTES, 7.0), 16_000)
    return path


@pytest.fixture(autouse=True)
def _no_model(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "open_ears", lambda *_, **__: stand_in.ears())


def invoke(hunt_dir: Path, *arguments: str, **options: Any) -> str:
    result = CliRunner().invoke(
        listen_command, ["--hunt", str(hunt_dir), *arguments], **options
    )
    if isinstance(result.exception, Exception):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


def review(hunt_dir: Path) -> list[tuple[str, str]]:
    with (hunt_dir / "review.csv").open(encoding="utf-8-sig", newline="") as file:
        return [(row["mark"], row["event"]) for row in csv.DictReader(file)]


WANTED = [("red", "away"), ("blue", "away"), ("red", "back")]


def rehearse(hunt_dir: Path, beeps: Path, *more: str) -> str:
    return invoke(
        hunt_dir, "--input", str(beeps), "--pace", "fast", "--start",
        "2026-07-14 10:20:00", *more,
    )  # fmt: skip


def test_rehearsal_prints_each_note_and_writes_the_review(
    hunt_dir: Path, beeps: Path
) -> None:
    output = rehearse(hunt_dir, beeps)

    assert "10:20:01  red away" in output
    assert "10:20:05  red back" in output
    assert "review.csv: 3 rows added" in output
    assert review(hunt_dir) == WANTED
    sound = hunt_dir / "recordings" / "live-20260714-102000-station-1.flac"
    assert soundfile.info(sound).duration == 7.0


def test_trips_of_a_session_are_paired_with_the_station_of_its_name(
    hunt_dir: Path, beeps: Path
) -> None:
    rehearse(hunt_dir, beeps)

    (trip,) = Hunt(hunt_dir).trips().trips

    assert (trip.mark, trip.station, trip.away_s) == ("red", "1", 4.0)


def test_cautions_are_shown_once_in_each_hunt(hunt_dir: Path, beeps: Path) -> None:
    first = rehearse(hunt_dir, beeps)
    second = rehearse(hunt_dir, beeps)

    assert "Stings can kill" in first
    assert "landowner" in first
    assert "Stings can kill" not in second


def test_json_keeps_standard_output_clean(hunt_dir: Path, beeps: Path) -> None:
    result = CliRunner().invoke(
        listen_command,
        ["--hunt", str(hunt_dir), "--input", str(beeps), "--pace", "fast", "--json"],
    )

    summary = json.loads(result.stdout)
    assert summary["notes"] == 3
    assert summary["sound_kept_s"] == 7.0
    assert "red away" in result.stderr


def test_what_the_person_changed_stays_when_another_session_is_merged(
    hunt_dir: Path, beeps: Path
) -> None:
    rehearse(hunt_dir, beeps)
    path = hunt_dir / "review.csv"
    text = path.read_text("utf-8").replace(",blue,", ",white,")
    path.write_text(text, "utf-8")

    rehearse(hunt_dir, beeps)

    assert review(hunt_dir).count(("white", "away")) == 1
    assert review(hunt_dir).count(("blue", "away")) == 1


def test_wav_on_standard_input(hunt_dir: Path, beeps: Path) -> None:
    output = invoke(hunt_dir, "--input", "-", "--no-sounds", input=beeps.read_bytes())

    # It comes unpaced, much faster than real: the seconds of the notes mean nothing.
    assert "3 notes" in output
    printed = [line[10:] for line in output.splitlines() if line[2:3] == ":"]
    assert printed == [f"{mark} {kind}" for mark, kind in WANTED]
    assert sorted(review(hunt_dir)) == sorted(WANTED)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--pace", "fast"], "--pace fast goes with --input FILE"),
        (["--start", "2026-07-14 10:00"], "--start goes with --input FILE"),
        (["--device", "1", "--input", "-"], "exclude each other"),
    ],
)
def test_options_that_do_not_fit_are_usage_errors(
    hunt_dir: Path, arguments: list[str], message: str
) -> None:
    result = CliRunner().invoke(listen_command, ["--hunt", str(hunt_dir), *arguments])

    assert result.exit_code == 2
    assert message in result.output


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        (["--input", "missing.wav"], SoundError, "missing.wav"),
        (["--input", "-", "--station", "9"], HuntError, "there is no station '9'"),
        (["--input", "-"], SoundError, "compressed"),
    ],
)
def test_faults_of_the_input_are_said_in_one_line(
    hunt_dir: Path,
    arguments: list[str],
    error: type[TreewardError],
    message: str,
) -> None:
    with pytest.raises(error, match=message) as raised:
        invoke(hunt_dir, *arguments, "--no-sounds", input=b"fLaC" + bytes(100))

    assert "\n" not in raised.value.line()


def test_a_second_listener_on_one_hunt_is_refused(hunt_dir: Path, beeps: Path) -> None:
    with (
        only_listener(hunt_dir),
        pytest.raises(HuntError, match=rf"another .* \(process {os.getpid()}\)"),
    ):
        rehearse(hunt_dir, beeps)

    rehearse(hunt_dir, beeps)  # once the first has ended it works


BAD_CELL = ("2026-07-14T10:20:01", "2026-07-14 at ten")


def spoil_review(hunt_dir: Path) -> None:
    path = hunt_dir / "review.csv"
    text = path.read_text("utf-8")
    assert BAD_CELL[0] in text
    path.write_text(text.replace(*BAD_CELL), "utf-8")


def test_a_bad_cell_in_the_review_keeps_nobody_from_dictating(
    hunt_dir: Path, beeps: Path
) -> None:
    rehearse(hunt_dir, beeps)
    spoil_review(hunt_dir)

    results = [
        CliRunner().invoke(
            listen_command,
            ["--hunt", str(hunt_dir), "--input", str(beeps), "--pace", "fast",
             "--start", "2026-07-15 09:00:00"],
        )
        for _ in range(2)
    ]  # fmt: skip

    for result in results:
        assert result.exit_code == 1
        assert "09:00:05  red back" in result.stdout
        assert "3 notes" in result.stdout
        assert "3 notes kept, not in review.csv yet (review.csv row" in result.stderr
        assert "treeward review: it brings them in" in result.stderr
    path = hunt_dir / "review.csv"
    path.write_text(path.read_text("utf-8").replace(*BAD_CELL[::-1]), "utf-8")
    recover_sessions(Hunt(hunt_dir))
    assert sorted(review(hunt_dir)) == sorted(WANTED * 3)


def test_whatever_an_old_journal_does_to_the_merge_dictation_starts(
    hunt_dir: Path, beeps: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rehearse(hunt_dir, beeps)

    def failing(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("treeward.review.merge.merge_review", failing)
    result = CliRunner().invoke(
        listen_command,
        ["--hunt", str(hunt_dir), "--input", str(beeps), "--pace", "fast"],
    )

    assert "red back" in result.stdout
    assert (result.exit_code, len(result.stderr.splitlines())) == (1, 1)
    assert "3 notes kept, not in review.csv yet" in result.stderr


@pytest.mark.slow
def test_another_command_at_work_does_not_hold_up_dictation(
    hunt_dir: Path, beeps: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("treeward.live.opening._PATIENCE_S", 0.0)
    rehearse(hunt_dir, beeps)
    path = hunt_dir / ".treeward" / "live"
    for journal in path.glob("*.jsonl"):  # as if its notes were not merged yet
        kept = [x for x in journal.read_text("utf-8").split("\n") if "merged" not in x]
        journal.write_text("\n".join(kept), "utf-8")

    with Hunt(hunt_dir).locked("transcribe"):
        result = CliRunner().invoke(
            listen_command,
            ["--hunt", str(hunt_dir), "--input", str(beeps), "--pace", "fast"],
        )

    assert "red back" in result.stdout
    assert "another Treeward command is at work" in result.stderr


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no such shell there")
def test_standard_input_that_is_closed_is_told_in_one_line(hunt_dir: Path) -> None:
    done = subprocess.run(
        ["/bin/sh", "-c", '"$0" "$1" --hunt "$2" --input - <&-', sys.executable,
         str(STAND_IN), str(hunt_dir)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert "SoundError: standard input: is closed" in done.stderr.splitlines()[-1]


# --- with processes ------------------------------------------------------------


Start = Callable[..., "subprocess.Popen[bytes]"]


@pytest.fixture
def start() -> Iterator[Start]:
    """Start listeners that are ended with the test, whatever it does."""
    started: list[subprocess.Popen[bytes]] = []

    def begin(hunt_dir: Path, *arguments: str, **options: Any) -> Any:
        environment = {**os.environ, "PYTHONUNBUFFERED": "1", **options.pop("env", {})}
        process = subprocess.Popen(
            [sys.executable, str(STAND_IN), "--hunt", str(hunt_dir), "--plain",
             "--no-sounds", *arguments],
            stdout=subprocess.PIPE, env=environment, **options,
        )  # fmt: skip
        started.append(process)
        return process

    yield begin
    for process in started:
        process.kill()
        for pipe in (process.stdin, process.stdout, process.stderr):
            if pipe is not None:
                pipe.close()
        process.wait()


def answered(process: subprocess.Popen[bytes], count: int) -> list[str]:
    """Read lines until `count` notes were answered."""
    assert process.stdout is not None
    lines: list[str] = []
    while sum(line[2:3] == ":" for line in lines) < count:
        line = process.stdout.readline().decode()
        assert line, lines
        lines.append(line)
    return lines


@pytest.mark.slow
def test_killed_listener_loses_no_answered_note_and_a_second_of_sound(
    hunt_dir: Path, start: Start
) -> None:
    sound = stand_in.spoken_at(NOTES, 60.0)
    process = start(hunt_dir, "--input", "-", stdin=subprocess.PIPE)
    assert process.stdin is not None
    begun = time.monotonic()
    fed = 0
    pcm = np.rint(sound * 32767).astype("<i2").tobytes()
    while fed < 5.8 * 32_000:
        process.stdin.write(pcm[fed : fed + 3200])
        process.stdin.flush()
        fed += 3200
        time.sleep(max(0.0, begun + fed / 64_000 - time.monotonic()))  # twice as fast
    answered(process, 3)
    process.send_signal(signal.SIGKILL)
    process.wait()

    pieces = sorted((hunt_dir / ".treeward" / "live").glob("live-*/0*.*"))
    # Playable as they lie there; one that is being packed lies whole beside its part.
    whole = [piece for piece in pieces if piece.suffix != ".part"]
    on_disk = np.concatenate([soundfile.read(p, dtype="float32")[0] for p in whole])
    output = invoke(hunt_dir, "--input", "-", "--no-sounds", input=bytes(3200))

    assert fed / 32_000 - len(on_disk) / 16_000 <= 1.0
    assert on_disk == pytest.approx(sound[: len(on_disk)], abs=1e-4)
    assert "was cut short: 3 notes recovered" in output
    assert "review.csv: 3 rows added" in output
    assert review(hunt_dir) == WANTED
    assert not list((hunt_dir / ".treeward" / "live").glob("live-*/"))


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no SIGTERM for a child there")
def test_a_plain_kill_ends_as_ctrl_c_does(hunt_dir: Path, start: Start) -> None:
    process = start(hunt_dir, "--input", "-", stdin=subprocess.PIPE)
    assert process.stdin is not None
    sound = stand_in.spoken_at(NOTES[:1], 3.0)
    process.stdin.write(np.rint(sound * 32767).astype("<i2").tobytes())
    process.stdin.flush()
    answered(process, 1)

    process.terminate()
    rest, _ = process.communicate(timeout=20)

    assert process.returncode == 0
    assert b"1 note, " in rest
    assert review(hunt_dir) == WANTED[:1]


ASOUND = """
pcm.silent {{ type null }}
pcm.prepared {{
  type file
  slave.pcm "silent"
  file "/dev/null"
  infile "{raw}"
  format "raw"
}}
pcm.!default {{ type plug slave.pcm "prepared" }}
"""


@pytest.fixture
def portaudio() -> None:
    try:
        import sounddevice  # noqa: F401
    except ImportError:
        pytest.skip("the sounddevice package is not installed")
    except OSError:
        pytest.skip("PortAudio is not installed (apt install libportaudio2)")
    plugins = [
        path
        for folder in ("/usr/lib", "/usr/lib64")
        for path in Path(folder).glob("**/libasound.so.2")
    ]
    if not plugins:
        pytest.skip("ALSA is not installed (apt install libasound2)")


@pytest.mark.slow
@pytest.mark.model
@pytest.mark.usefixtures("portaudio")
def test_a_microphone_by_portaudio_without_a_sound_card(
    hunt_dir: Path, tmp_path: Path, start: Start
) -> None:
    """ALSA's `file` device over `null` plays a prepared recording into PortAudio.

    It runs unpaced: much faster than real, so the seconds of the notes mean nothing
    here; what is said, its order, and every sample are checked.
    """
    sound = stand_in.spoken_at(NOTES, 30.0)
    raw: NDArray[np.float32] = np.concatenate([sound, stand_in.quiet(600.0)])
    (tmp_path / "sound.raw").write_bytes(raw.astype("<f4").tobytes())
    config = tmp_path / "asound.conf"
    config.write_text(ASOUND.format(raw=tmp_path / "sound.raw"), "utf-8")

    process = start(
        hunt_dir, "--device", "prepared", env={"ALSA_CONFIG_PATH": str(config)},
        stderr=subprocess.PIPE,
    )  # fmt: skip
    answered(process, 3)
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=30)

    assert process.returncode == 0
    (journal,) = (hunt_dir / ".treeward" / "live").glob("*.jsonl")
    records = read_journal(journal).records
    assert records[0]["source"] == "prepared"
    assert [(r["mark"], r["kind"]) for r in records if r["type"] == "event"] == WANTED
    assert sorted(review(hunt_dir)) == sorted(WANTED)
    (recording,) = (hunt_dir / "recordings").glob("live-*.flac")
    kept, _ = soundfile.read(recording, dtype="float32")
    first = int(np.argmax(np.abs(kept) > 0))  # second 0 is a whole second
    length = 6 * 16_000
    lag = max(0, first - 20)
    found = [
        offset
        for offset in range(lag, first + 20)
        if np.allclose(kept[offset : offset + length], sound[:length], atol=1e-4)
    ]
    assert len(found) == 1


@pytest.mark.slow
@pytest.mark.model
@pytest.mark.usefixtures("portaudio")
def test_devices_are_listed(tmp_path: Path) -> None:
    config = tmp_path / "asound.conf"
    (tmp_path / "none.raw").write_bytes(bytes(64_000))
    config.write_text(ASOUND.format(raw=tmp_path / "none.raw"), "utf-8")

    run = subprocess.run(
        [sys.executable, str(STAND_IN), "--devices"],
        env={**os.environ, "ALSA_CONFIG_PATH": str(config)},
        capture_output=True, text=True, check=True,
    )  # fmt: skip

    assert "  prepared  " in run.stdout
