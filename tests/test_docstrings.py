"""Examples in docstrings do what they show."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

import treeward

PACKAGE = Path(treeward.__file__).parent
WITH_EXAMPLES = [
    ".".join(["treeward", *path.relative_to(PACKAGE).with_suffix("").parts])
    for path in sorted(PACKAGE.rglob("*.py"))
    if ">>> " in path.read_text("utf-8")
]


@pytest.mark.parametrize("module", WITH_EXAMPLES)
def test_the_examples_of_a_module_hold(module: str) -> None:
    done = doctest.testmod(importlib.import_module(module))

    assert done.attempted > 0
    assert done.failed == 0
