"""Small faults put into a module, one at a time, by its syntax tree."""

from __future__ import annotations

import ast
import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

SWAPPED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.And: ast.Or,
    ast.Or: ast.And,
}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One module with one fault in it."""

    module: str  # dotted
    path: Path
    function: str  # qualified name of the innermost function, "" outside of any
    function_line: int  # its first line, decorators counted; 0 outside of any
    line: int
    before: str
    after: str
    number: int  # among the module's mutants

    @property
    def key(self) -> str:
        """Name it so that moved lines do not matter."""
        where = f"{self.module.removeprefix('treeward.')}:{self.function or '-'}"
        return f"{where}: {self.before} => {self.after}"


def mutants_of(path: Path, module: str) -> list[Mutant]:
    """List all mutants of a module, in an order that depends on the file alone."""
    tree = ast.parse(path.read_text("utf-8"))
    return [
        Mutant(module, path, place.name, place.line, line, before, after, number)
        for number, (place, line, before, after, _) in enumerate(_faults(tree))
    ]


def mutated(mutant: Mutant) -> ast.Module:
    """Give the whole module with the fault in it."""
    tree = ast.parse(mutant.path.read_text("utf-8"))
    for number, (*_, put_in) in enumerate(_faults(tree)):
        if number == mutant.number:
            put_in()
            return ast.fix_missing_locations(tree)
    raise IndexError(mutant.number)


@dataclass(frozen=True, slots=True)
class _Place:
    name: str
    line: int


_Fault = tuple[_Place, int, str, str, "Callable[[], None]"]


def _faults(tree: ast.Module) -> Iterator[_Fault]:
    yield from _within(tree, _Place("", 0), "")


def _within(node: ast.AST, place: _Place, prefix: str) -> Iterator[_Fault]:
    for field, value in ast.iter_fields(node):
        if field in {"annotation", "returns", "format_spec", "decorator_list"}:
            continue
        for child, put in _children(node, field, value):
            if not _can_change(child):
                continue
            inner, deeper = place, prefix
            if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
                first = min([child.lineno, *(d.lineno for d in child.decorator_list)])
                inner, deeper = (
                    _Place(f"{prefix}{child.name}", first),
                    f"{prefix}{child.name}.",
                )
            elif isinstance(child, ast.ClassDef):
                deeper = f"{prefix}{child.name}."
            for instead in _instead_of(child):
                yield (
                    place,
                    child.lineno,  # type: ignore[attr-defined]
                    ast.unparse(child),
                    ast.unparse(instead),
                    lambda put=put, instead=instead: put(instead),  # type: ignore[misc]
                )
            yield from _within(child, inner, deeper)


def _children(
    node: ast.AST, field: str, value: object
) -> Iterator[tuple[ast.AST, Callable[[ast.AST], None]]]:
    if isinstance(value, ast.AST):
        yield value, lambda new: setattr(node, field, new)
    elif isinstance(value, list):
        for i, item in enumerate(value):
            if isinstance(item, ast.AST):
                yield item, lambda new, i=i: value.__setitem__(i, new)  # type: ignore[misc]


def _can_change(node: ast.AST) -> bool:
    """Leave out docstrings, imports for the type checker, and names of types."""
    if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
        return False
    if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]).startswith("__"):
        return False
    return not (
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    )


def _instead_of(node: ast.AST) -> Iterator[ast.AST]:
    """Give what can stand in a node's place; the node itself stays as it is."""
    new = copy.deepcopy(node)
    match new:
        case ast.BinOp() | ast.BoolOp() if type(new.op) in SWAPPED:
            new.op = SWAPPED[type(new.op)]()  # type: ignore[assignment]
            yield new
        case ast.AugAssign() if type(new.op) in SWAPPED:
            new.op = SWAPPED[type(new.op)]()  # type: ignore[assignment]
            yield new
        case ast.Compare():
            for i, op in enumerate(new.ops):
                one = copy.deepcopy(new)
                one.ops[i] = SWAPPED[type(op)]()  # type: ignore[call-overload]
                yield one
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            yield new.operand
        case ast.Constant(value=bool()):
            yield ast.copy_location(ast.Constant(not new.value), new)
        case ast.Constant(value=int() | float() as number):
            yield ast.copy_location(ast.Constant(number + 1), new)
        case ast.Return(value=ast.expr() as value) if ast.unparse(value) != "None":
            new.value = ast.copy_location(ast.Constant(None), new)
            yield new
        case ast.Expr(value=ast.Call()) | ast.Raise() | ast.Continue() | ast.Break():
            yield ast.copy_location(ast.Pass(), new)
        case ast.Call(args=[first, second, *rest]) if not any(
            isinstance(a, ast.Starred) for a in (first, second)
        ):
            if ast.unparse(first) != ast.unparse(second):
                new.args = [second, first, *rest]
                yield new
        case _:
            return
