"""Human speech that holds no notes, out of two packages; nothing of it is kept here.

- The source distribution of PocketSphinx (PyPI pocketsphinx, MIT-like licence): its
  own test data, among them LibriVox readings of "Sense and Sensibility" (public
  domain), playing cards, and commands to a robot. Its spoken digit strings come along
  too: numbers alone are no note.
- The wheel of moonshine-voice (PyPI, MIT): readings of literature and a clip.

    PYTHONPATH=tests python -m benchmarks.hearing.real_speech CORPUS

fetches the source distribution by pip and puts everything into the corpus as
recordings of the condition "real-speech".
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import subprocess
import sys
import tarfile
import tempfile
from dataclasses import asdict
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from benchmarks.hearing.make_corpus import RATE_HZ, Truth
from treeward.simulate.voice import retune

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

GROUPS = {  # name of the recording -> files of the source distribution
    "librivox": "test/data/librivox/*.wav",
    "cards": "test/data/cards/*.wav",
    "robot": "test/data/goforward.raw",
    "something": "test/data/something.raw",
    "numbers": "test/data/numbers.raw",
    "digits": "test/data/tidigits/*.raw",
}
MOONSHINE = ("beckett", "two_cities", "endgame_nagg_nell", "clone-test")


def fetch_source(room: Path) -> Path:
    """Fetch PocketSphinx's source distribution and return its unpacked folder."""
    version = metadata.version("pocketsphinx")
    command = [sys.executable, "-m", "pip", "download", "--no-deps", "-d", str(room)]
    command += ["--no-binary", "pocketsphinx", f"pocketsphinx=={version}"]
    subprocess.run(command, check=True, capture_output=True)
    archive = next(room.glob("pocketsphinx-*.tar.gz"))
    with tarfile.open(archive) as tar:
        tar.extractall(room, filter="data")
    return room / archive.name.removesuffix(".tar.gz")


def read(path: Path) -> NDArray[np.float64]:
    """Read a file of either package as mono at RATE_HZ."""
    if path.suffix == ".raw":  # headerless, 16 kHz, 16 bit
        return np.fromfile(path, "<i2") / 32768
    samples, rate_hz = soundfile.read(path, dtype="float64", always_2d=True)
    return retune(samples.mean(axis=1), rate_hz, RATE_HZ)


def groups(source: Path) -> Iterator[tuple[str, NDArray[np.float64]]]:
    """Yield name and sound of each recording to be made."""
    pause = np.zeros(RATE_HZ // 2)
    for name, pattern in GROUPS.items():
        files = sorted(source.glob(pattern))
        if not files:
            raise FileNotFoundError(f"{source} holds no {pattern}")
        yield name, np.concatenate([part for f in files for part in (read(f), pause)])
    found = importlib.util.find_spec("moonshine_voice")
    if found is None or not found.submodule_search_locations:
        print("moonshine-voice is not installed; its samples are left out")
        return
    assets = Path(found.submodule_search_locations[0], "assets")
    for name in MOONSHINE:
        yield name, read(assets / f"{name}.wav")


def main() -> None:
    """Put the recordings into a corpus."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("corpus", type=Path)
    parser.add_argument("--source", type=Path, help="unpacked source distribution")
    args = parser.parse_args()
    args.corpus.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as room:
        source = args.source or fetch_source(Path(room))
        for name, sound in groups(source):
            file = f"real-speech_{name}.wav"
            soundfile.write(args.corpus / file, sound, RATE_HZ, "PCM_16")
            truth = Truth(file, "both", "real-speech", name, "none", 99.0)
            truth.duration_s = truth.talk_s = len(sound) / RATE_HZ
            text = json.dumps(asdict(truth), indent=1)
            (args.corpus / file).with_suffix(".json").write_text(text, encoding="utf-8")
            print(f"{file}: {truth.duration_s:.0f} s")


if __name__ == "__main__":
    main()
