"""Where the files that ship with Treeward lie, in a wheel or in a checkout."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent
_CHECKOUT = _PACKAGE.parent.parent


def _shipped(installed: str, in_checkout: str) -> Path:
    """Return the installed copy, or the checkout's own when run from there."""
    path = _PACKAGE / installed
    return path if path.exists() else _CHECKOUT / in_checkout


def phrasebook_path() -> Path:
    """Return the phrase book that ships with Treeward."""
    return _shipped("_models/phrasebook.toml", "models/phrasebook.toml")


def models_dir() -> Path:
    """Return the folder where a Vosk model is looked for first."""
    return _shipped("_models", "models")


def example_hunt_dir() -> Path:
    """Return the example hunt, as `treeward demo` copies it."""
    return _shipped("_example_hunt", "fixtures/example_hunt")
