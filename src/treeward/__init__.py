"""Treeward: spoken bee-lining notes in, the place of the colony out.

The library mirrors the commands: ``Hunt(path)`` has one method for each.
``from treeward import survey`` gives the estimator alone.
"""

from __future__ import annotations

TYPE_CHECKING = False  # type checkers take it for typing's, which is slow to import
if TYPE_CHECKING:
    from typing import Any

    from treeward import survey
    from treeward.hunt.hunt import Hunt

__version__ = "0.1.0"
__all__ = ["Hunt", "__version__", "survey"]


def __getattr__(name: str) -> Any:  # noqa: ANN401  (module attribute hook)
    """Import the heavy parts only when they are asked for."""
    import importlib

    if name == "Hunt":
        globals()[name] = importlib.import_module("treeward.hunt.hunt").Hunt
    elif name == "survey":
        importlib.import_module("treeward.survey")  # which makes it a name here
    else:
        msg = f"module 'treeward' has no attribute {name!r}"
        raise AttributeError(msg)
    return globals()[name]
