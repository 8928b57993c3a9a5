"""The embedded engine: a neural recogniser, weighed against all that can be said.

How networks are found in packages, and opened.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Any

from treeward.errors import SpeechError


def file_in_package(package: str, name: str) -> Path | None:
    """Find a file by its way within an installed package, which is not imported."""
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
