"""treeward models."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from .options import json_option, own_data_option

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
    from treeward.errors import SpeechError
    from treeward.speech.models import fetch, find_models
    from treeward.speech.recognizer import EMBEDDED, choose, embedded_folder, mend

    if get is not None:
        got = fetch(get)
        click.echo(f"{got.name} is in {got.path}.")
        return
    found = find_models(hunt_dir)
    embedded = embedded_folder()
    wrong = ""
    try:
        chosen = choose(None, hunt_dir)
        in_use, wrong = chosen.model, chosen.instead
    except SpeechError as error:
        in_use, wrong = "", error.line()
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
        told = {
            "in_use": in_use,
            "embedded": str(embedded) if embedded else None,
            "vosk_models": models,
        }
        click.echo(json.dumps(told, indent=2))
        return
    click.echo(f"In use: {in_use or 'none'}")
    if wrong:
        click.echo(f"  {wrong}")
    if embedded is not None:
        click.echo(f"  {EMBEDDED}: English, comes with Treeward; {embedded}")
    elif mend() not in wrong:
        click.echo(f"  {EMBEDDED}: not installed. {mend()}")
    for model in found:
        grammar = "takes the phrase book" if model.takes_grammar else "decodes freely"
        language = model.language or "language not told by its name"
        click.echo(f"  {model.name}: Vosk, {language}, {grammar}; {model.path}")
    click.echo(
        "Another model: --model FOLDER, or [speech] model in hunt.toml. A folder with "
        "encoder_model.ort, decoder_model_merged.ort and tokenizer.bin, or Vosk's."
    )
