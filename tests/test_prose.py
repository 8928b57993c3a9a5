"""No code branches on prose: what is told in sentences is decided by codes.

Sentences are made where they are shown. Where code asks whether one begins, ends or
holds some words, rewording it changes a result.
"""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

import treeward

PACKAGE = Path(treeward.__file__).parent
# Here words are the matter itself: what people say and write, and files of others.
READS_WORDS = (
    "language",
    "speech",
    "notes/bee_names.py",
    "notes/nicknames.py",
    "notes/clocked.py",
    "notes/corrections.py",
    "notes/found_notes.py",
    "notes/narrated",
    "notes/narration.py",
    "notes/narrator.py",
    "notes/sayings.py",
    "notes/sentences.py",
)
# Words that stand in files or come from elsewhere, each with what they are.
ALLOWED = {
    ("hunt/recovery.py", "said again"): "a type of record in the journal",
    ("hunt/recovery.py", "own voice"): "a type of record in the journal",
    ("hunt/season.py", "not looked at"): "a state as it is typed and kept in a file",
    ("survey/classical.py", "Lenth MLE"): "the name of a published estimator",
    ("hunt/finds.py", "Value error, "): "how pydantic begins what it says",
    ("hunt_file.py", "Value error, "): "the same",
}


def is_prose(node: ast.expr, constants: dict[str, str]) -> str:
    """Give the words that an expression is compared with, where they are prose."""
    if isinstance(node, ast.Name | ast.Attribute):
        name = node.id if isinstance(node, ast.Name) else node.attr
        text = constants.get(name, "")
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        text = node.value
    elif isinstance(node, ast.JoinedStr):
        parts = [v.value for v in node.values if isinstance(v, ast.Constant)]
        text = "".join(str(part) for part in parts)
    else:
        return ""
    words = text.strip().split(" ")
    return text if len(words) > 1 and any(w.isalpha() for w in words) else ""


def compared(node: ast.AST) -> list[ast.expr]:
    """Give the expressions that a node compares something with."""
    found: list[ast.expr] = []
    if isinstance(node, ast.Compare):
        found = [node.left, *node.comparators]
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        asks = {"startswith", "endswith", "removeprefix", "removesuffix", "find"}
        found = list(node.args) if node.func.attr in asks else []
    elif isinstance(node, ast.MatchValue):
        found = [node.value]
    return [
        one
        for whole in found
        for one in (
            whole.elts if isinstance(whole, ast.Tuple | ast.Set | ast.List) else [whole]
        )
    ]


def prose_constants(trees: dict[str, ast.Module]) -> dict[str, str]:
    """Give every constant of the source that is a text with a space in it."""
    found: dict[str, str] = {}
    for tree in trees.values():
        for node in tree.body:
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant):
                for target in node.targets:
                    if isinstance(target, ast.Name) and isinstance(
                        node.value.value, str
                    ):
                        found[target.id] = node.value.value
    return found


def branches(
    trees: dict[str, ast.Module], constants: dict[str, str]
) -> list[tuple[str, str, int]]:
    """Give file, words and line of every branch on prose."""
    return [
        (name, text, getattr(node, "lineno", 0))
        for name, tree in trees.items()
        for node in ast.walk(tree)
        for one in compared(node)
        if (text := is_prose(one, constants))
    ]


def source() -> dict[str, ast.Module]:
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        if not name.startswith(READS_WORDS):
            found[name] = ast.parse(path.read_text("utf-8"))
    return found


@cache
def branches_of_source() -> list[tuple[str, str, int]]:
    trees = source()
    return branches(trees, prose_constants(trees))


@pytest.mark.slow
def test_no_code_branches_on_prose() -> None:
    found = branches_of_source()

    assert [one for one in found if one[:2] not in ALLOWED] == []


def test_what_is_allowed_is_there() -> None:
    found = {one[:2] for one in branches_of_source()}

    assert set(ALLOWED) <= found


@pytest.mark.parametrize(
    "code",
    [
        'if flag.startswith("clock: it"): pass',
        'if flag == "nobody was watching": pass',
        'if "not in hunt.toml" in text: pass',
        "if why != NEVER_SEEN: pass",
        "if NEVER_SEEN in event.flags: pass",
        'if text.startswith(("is it", "other")): pass',
        'ok = any(f.startswith(f"{row}: heard as") for f in flags)',
        'match why:\n    case "she was not seen": pass',
    ],
)
def test_a_branch_on_prose_is_found(code: str) -> None:
    tree = ast.parse(f'NEVER_SEEN = "she was not seen again"\n{code}')

    assert len(branches({"x.py": tree}, prose_constants({"x.py": tree}))) == 1


@pytest.mark.parametrize(
    "code",
    [
        'if kind == "back": pass',
        "if flag.code is FlagCode.TAKEN_BACK: pass",
        'if line.startswith("# "): pass',
        'text = "she was not seen again"',
        'said = {"it was said": 1}',
    ],
)
def test_other_code_is_left_alone(code: str) -> None:
    tree = ast.parse(code)

    assert branches({"x.py": tree}, prose_constants({"x.py": tree})) == []
