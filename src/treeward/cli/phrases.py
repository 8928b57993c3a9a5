"""treeward phrases."""

from __future__ import annotations

from pathlib import Path

import click

from .options import json_option, own_data_option


@click.command(name="phrases")
@own_data_option("phrasebook.toml")
@click.option(
    "--card",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.pdf",
    help="Write a one-page cue card to print.",
)
@json_option
def command(*, hunt_dir: Path, card: Path | None, as_json: bool) -> None:
    """Say what can be said: the recommended words, other ways, and what they mean.

    The words stand in a phrase book; a hunt may add colours and ways of saying in a
    phrasebook.toml of its own.
    """
    from treeward.language.phrasebook import PhraseBook, colour_names, sections

    book = PhraseBook.for_hunt(hunt_dir)
    if card is not None:
        from treeward.report.figures.sheets import write_card

        write_card(book, card)
        click.echo(f"The card is in {card}.")
        return
    parts = sections(book)
    if as_json:
        import json
        from dataclasses import asdict

        out = {"colours": colour_names(book), "sections": [asdict(p) for p in parts]}
        click.echo(json.dumps(out, indent=2))
        return
    widest = max(len(saying.say) for part in parts for saying in part.sayings)
    for part in parts:
        click.echo(part.heading)
        for saying in part.sayings:
            click.echo(f"  {saying.say:<{widest}}  {saying.means}")
            if saying.also:
                click.echo(f"      or: {', '.join(saying.also)}")
        click.echo()
    click.echo(f"Colours: {', '.join(colour_names(book))}; or two together.")
