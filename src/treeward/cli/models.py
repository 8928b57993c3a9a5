"""treeward models."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from treeward.cli.options import json_option, own_data_option

if TYPE_CHECKING:
    from pathlib import Path


@click.command(name="models")
@own_data_option("models folder")
@click.option("--get", metavar="NAME", help="Have the vosk package download a model.")
@json_option
def command(*, hunt_dir: Path, get: str | None, as_json: bool) -> None:
    """Show the speech engines and models found here, and which one would be used.

    Example: treeward models --get vosk-model-small-en-us-0.15
    """
    from treeward.speech.choose import EMBEDDED, choose_model
    from treeward.speech.models import fetch, find_models

    if get is not None:
        got = fetch(get)
        click.echo(f"{got.name} is in {got.path}.")
        return
    found = find_models(hunt_dir)
    chosen = choose_model(None, hunt_dir)
    in_use = EMBEDDED if chosen is None else chosen.name
    if as_json:
        import json

        models = [
            {
                "name": model.name,
                "path": str(model.path),
                "language": model.language,
                "takes_grammar": model.takes_grammar,
            }
            for model in found
        ]
        click.echo(json.dumps({"in_use": in_use, "vosk_models": models}, indent=2))
        return
    click.echo(f"In use: {in_use}")
    click.echo(f"  {EMBEDDED}: US English, in the package itself, always here")
    for model in found:
        grammar = "takes the phrase book" if model.takes_grammar else "decodes freely"
        language = model.language or "language not told by its name"
        click.echo(f"  {model.name}: Vosk, {language}, {grammar}; {model.path}")
    if not found:
        click.echo("  no Vosk model found; treeward models --get NAME downloads one")
