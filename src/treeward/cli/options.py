"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from collections.abc import Callable

    from treeward.hunt.hunt import Hunt

F = TypeVar("F", bound="Callable[..., Any]")


def _hunt(help_line: str, **settings: Any) -> Callable[[F], F]:  # noqa: ANN401
    return click.option(
        "--hunt",
        "hunt_dir",
        type=click.Path(path_type=Path, file_okay=False),
        default=Path(),
        metavar="DIR",
        help=help_line,
        **settings,
    )


def hunt_option(function: F) -> F:
    """Add --hunt DIR, passed on as `hunt_dir`; the folder one stands in by default."""
    return _hunt("The hunt's folder, when it is not the one you stand in.")(function)


def own_data_option(what: str) -> Callable[[F], F]:
    """Add --hunt DIR to a command that works outside a hunt too.

    Parameters
    ----------
    what
        The file or folder of a hunt that such a command heeds.
    """
    return _hunt(f"A hunt whose own {what} counts too.", callback=_is_a_hunt)


def _is_a_hunt(context: click.Context, option: click.Parameter, folder: Path) -> Path:
    """Refuse a folder that was named and is no hunt; standing outside one is fine."""
    from click.core import ParameterSource

    source = context.get_parameter_source(option.name or "")
    if source is not ParameterSource.DEFAULT:
        from treeward.hunt_file import read_hunt_file

        read_hunt_file(folder / "hunt.toml")
    return folder


def json_option(function: F) -> F:
    """Add --json, passed on as `as_json`."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print the result as JSON."
    )(function)


def recover_first(hunt: Hunt) -> None:
    """Bring them into review.csv and say so on standard error.

    So is said which rows have gone from review.csv since it was written.
    """
    from treeward.live.opening import recover_sessions

    for line in recover_sessions(hunt):
        click.echo(line, err=True)
    if line := hunt.review.gone_line():
        click.echo(line, err=True)
