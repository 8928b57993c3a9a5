"""The invented world and the survey must not know each other's guesses."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import treeward
from treeward.simulate import world
from treeward.simulate.world import SimulationSettings
from treeward.survey import Settings, directions, timing

ROOMS = Path(treeward.__file__).parent
FREE = SimulationSettings()
PUBLISHED = {7.5, 6.5}  # m/s, Wenner 1963: both go back to it


def trees(room: str) -> list[ast.Module]:
    return [
        ast.parse(p.read_text("utf-8")) for p in sorted((ROOMS / room).glob("*.py"))
    ]


def imports(room: str) -> set[str]:
    found = set()
    for tree in trees(room):
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom):
                found.add(node.module or "")
            elif isinstance(node, ast.Import):
                found |= {alias.name for alias in node.names}
    return found


def formulas(room: str) -> set[str]:
    """Return the bodies of functions that reckon, names left as they are."""
    return {
        ast.dump(ast.Module(body=node.body[1:], type_ignores=[]))
        for tree in trees(room)
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef)
        and len(node.body) > 1
        and any(isinstance(part, ast.BinOp) for part in ast.walk(node))
    }


def constants(room: str) -> dict[str, set[float]]:
    """Return the numbers in every constant of a room, by its name."""
    found: dict[str, set[float]] = {}
    for tree in trees(room):
        for node in tree.body:
            target = node.targets[0] if isinstance(node, ast.Assign) else None
            target = node.target if isinstance(node, ast.AnnAssign) else target
            if isinstance(target, ast.Name) and target.id.isupper():
                found[target.id] = {
                    float(part.value)
                    for part in ast.walk(node)
                    if isinstance(part, ast.Constant)
                    and isinstance(part.value, int | float)
                }
    return found


def test_neither_imports_the_other() -> None:
    assert not {name for name in imports("simulate") if "survey" in name}
    assert not {name for name in imports("survey") if "simulate" in name}


@pytest.mark.slow
def test_they_share_no_formula() -> None:
    one, two = formulas("simulate"), formulas("survey")
    assert len(one) > 20
    assert len(two) > 50
    assert not one & two


def test_constants_of_one_name_are_of_different_values() -> None:
    one, two = constants("simulate"), constants("survey")
    both = set(one) & set(two)
    assert both >= {"IN_HIVE_S", "LOADING_S"}
    assert not {name for name in both if (one[name] & two[name]) - PUBLISHED}


@pytest.mark.parametrize(
    ("invented_world", "model"),
    [
        pytest.param(world.FLIGHT_SCATTER, {timing.FLIGHT_CV}, id="flight"),
        pytest.param(world.BEE_SPEED_SPREAD, {timing.BEE_FLIGHT_CV}, id="bees, speed"),
        pytest.param(FREE.in_hive_bee_spread, {timing.BEE_SIGMA}, id="bees, in hive"),
        pytest.param(
            FREE.long_stay_share, {s for s, *_ in timing.LONG_STAYS}, id="long stays"
        ),
        pytest.param(
            world.LONG_STAY_MEAN_S,
            {mean for _, mean, _ in timing.LONG_STAYS},
            id="length of long stays",
        ),
        pytest.param(FREE.stray_share, set(directions.STRAY_SHARES), id="strays"),
        pytest.param(
            FREE.in_hive_varying_share, {timing.TRIP_SIGMA_MEDIAN}, id="trip to trip"
        ),
        pytest.param(
            world.WIND_HELD_MPS, {Settings().wind_compensation}, id="held wind"
        ),
    ],
)
def test_what_both_guess_at_they_guess_differently(
    invented_world: float, model: set[float]
) -> None:
    assert invented_world not in model
