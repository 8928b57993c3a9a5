"""Vosk models: which are found here, and fetching one by name.

A model is looked for in models/, in the hunt's folder and its models/ folder, where
the vosk package keeps those it has downloaded, and among installed packages called
vosk_model_*.
"""

from __future__ import annotations

import os
import re
import sysconfig
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from treeward.errors import SpeechError
from treeward.files import models_dir

if TYPE_CHECKING:
    from collections.abc import Iterator

SMALL_ENGLISH = "vosk-model-small-en-us-0.15"  # 40 MB, takes a grammar
_ACOUSTIC = ("am/final.mdl", "final.mdl")  # newer and older layout
_DYNAMIC = ("graph/HCLr.fst", "HCLr.fst")  # graphs that take a grammar
_LANGUAGE = re.compile(r"vosk[-_]model[-_](?:small[-_]|spk[-_])?([a-z]{2})\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundModel:
    """A Vosk model on this disk."""

    name: str
    path: Path
    language: str  # "en", "ko", or "" where the name does not tell
    takes_grammar: bool  # words to listen for may be named at run time


def find_models(hunt_dir: Path | None = None) -> list[FoundModel]:
    """Find the Vosk models on this disk, the hunt's own first.

    Parameters
    ----------
    hunt_dir
        Folder of a hunt.
    """
    found: dict[Path, FoundModel] = {}
    for folder in _folders(hunt_dir):
        for path in (folder, *_subfolders(folder)):
            model = look_at(path)
            if model is not None:
                found.setdefault(model.path, model)
    return list(found.values())


def look_at(path: Path) -> FoundModel | None:
    """Give the model in a folder, or None when there is none."""
    if not any((path / name).is_file() for name in _ACOUSTIC):
        return None
    path = path.resolve()
    # A package keeps its model in a folder "model" under its own name.
    name = path.parent.name if path.name == "model" else path.name
    language = _LANGUAGE.match(name)
    return FoundModel(
        name=name.replace("_", "-"),
        path=path,
        language=language[1] if language else "",
        takes_grammar=any((path / part).is_file() for part in _DYNAMIC),
    )


def fetch(name: str) -> FoundModel:
    """Have the vosk package download a model by name.

    Parameters
    ----------
    name
        As in the list of models that the makers of Vosk publish, for example
        SMALL_ENGLISH.

    Raises
    ------
    SpeechError
        There is no such model, or it cannot be downloaded.
    """
    import requests
    import vosk

    mend = f"Check the network and the name; a small English one is {SMALL_ENGLISH}"
    # Its loader would keep it in the last folder of its list.
    folder = Path(vosk.MODEL_DIRS[-1])
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path = Path(vosk.Model.get_model_by_name(_Fetcher(), name))
    except SystemExit as error:  # the package's way to say that there is none
        raise SpeechError(f"there is no model {name!r}", mend=mend) from error
    except (requests.RequestException, OSError, ValueError) as error:
        raise SpeechError(
            f"model {name!r} could not be downloaded ({type(error).__name__})",
            mend=mend,
        ) from error
    model = look_at(path)
    if model is None:
        raise SpeechError(
            f"{name!r} is not a speech recognition model", where=str(path), mend=mend
        )
    return model


class _Fetcher:
    """The downloading half of vosk.Model, which only comes with loading one."""

    def download_model(self, path: Path) -> None:
        import vosk

        vosk.Model.download_model(self, path)

    def download_progress_hook(self, bar: object) -> object:
        import vosk

        return vosk.Model.download_progress_hook(self, bar)


def _folders(hunt_dir: Path | None) -> Iterator[Path]:
    if hunt_dir is not None:
        yield hunt_dir
        yield hunt_dir / "models"
    yield models_dir()
    yield Path.cwd() / "models"
    own = os.environ.get("VOSK_MODEL_PATH")
    if own:
        yield Path(own)
    # As in the vosk package, which takes seconds to load for its list.
    yield Path("/usr/share/vosk")
    yield Path.home() / "AppData/Local/vosk"
    yield Path.home() / ".cache/vosk"
    packages = Path(sysconfig.get_paths()["purelib"])
    yield from sorted(packages.glob("vosk_model_*"))


def _subfolders(folder: Path) -> list[Path]:
    try:
        return sorted(path for path in folder.iterdir() if path.is_dir())
    except OSError:
        return []


def file_in_package(package: str, name: str) -> Path | None:
    """Find a file that an installed package carries.

    Parameters
    ----------
    package
        Name to import it by; it is not imported.
    name
        The file's way within it.
    """
    try:
        spec = find_spec(package)
    except (ImportError, ValueError):
        return None
    for folder in (spec.submodule_search_locations or ()) if spec else ():
        path = Path(folder) / name
        if path.exists():
            return path
    return None


def open_network(path: Path, *, mend: str) -> Any:  # noqa: ANN401 (the package has no types)
    """Open a network with ONNX Runtime, for one processor core.

    Raises
    ------
    SpeechError
        ONNX Runtime is not here or does not open, or the file is spoilt.
    """
    try:
        import onnxruntime
    except Exception as error:  # a missing system library is an ImportError or worse
        raise SpeechError(
            f"ONNX Runtime does not open here ({_first_line(error)})",
            mend="Install it: pip install onnxruntime",
        ) from error
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.log_severity_level = 4  # its warnings are nothing a person can mend
    if not path.is_file():
        raise SpeechError("there is no such file", where=str(path), mend=mend)
    try:
        return onnxruntime.InferenceSession(
            str(path), options, providers=["CPUExecutionProvider"]
        )
    except Exception as error:  # the package raises a dozen classes of its own
        raise SpeechError(
            "ONNX Runtime cannot open this network: it is spoilt, or of another kind",
            where=str(path),
            mend=mend,
        ) from error


def _first_line(error: BaseException) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0][:120]
