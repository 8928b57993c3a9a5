"""Before a command looks at a hunt: the notes of a listening that was killed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from treeward.hunt.hunt import Hunt


def recover_first(hunt: Hunt) -> None:
    """Bring them into review.csv and say so on standard error.

    So is said which rows have gone from review.csv since it was written.
    """
    from treeward.live.listening import recover_sessions

    for line in recover_sessions(hunt):
        click.echo(line, err=True)
    if line := hunt.review.gone_line():
        click.echo(line, err=True)
