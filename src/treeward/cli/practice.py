"""treeward practice."""

from __future__ import annotations

import sys
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .options import hunt_option, json_option

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from treeward.language.phrasebook import PhraseBook
    from treeward.live.ears import Ears
    from treeward.live.messages import Source
    from treeward.practice.prompts import Prompt
    from treeward.practice.scoring import Aligned, Attempt, PhraseCatcher


@click.command(name="practice")
@hunt_option
@click.option(
    "--input",
    "input_",
    metavar="FILE|-",
    help="A recording of the prompts read in order, or - for live WAV or raw sound "
    "on standard input; the microphone otherwise.",
)
@click.option(
    "--prompts",
    "prompts_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A text file of your own prompts, one a line.",
)
@click.option(
    "--count",
    type=click.IntRange(1, 500),
    metavar="N",
    help="How many prompts; 32 by default, about three minutes.",
)
@click.option(
    "--set",
    "number",
    type=click.IntRange(1),
    default=1,
    show_default=True,
    metavar="N",
    help="Another set of prompts; the same number gives the same ones.",
)
@click.option("--list", "only_list", is_flag=True, help="Print the prompts, and end.")
@click.option("--read-aloud", is_flag=True, help="Say each prompt as well.")
@click.option(
    "--device", metavar="NAME|NUMBER", help="Microphone, from listen --devices."
)
@click.option(
    "--catch",
    "catch_percent",
    type=click.FloatRange(1, 100),
    default=90.0,
    show_default=True,
    metavar="PERCENT",
    help="Share of wrong readings that the suggested sensitivity shall flag.",
)
@click.option("--model", metavar="PATH|NAME", help="Another speech model to use.")
@json_option
def practice_command(
    *,
    hunt_dir: Path,
    only_list: bool,
    as_json: bool,
    **asked: Any,  # noqa: ANN401
) -> None:
    """Find out how well your voice and microphone are heard.

    Say each phrase that is shown. At the end: the hit rate of each phrase and word,
    what was heard instead, which words to avoid, how the sound is, and below which
    confidence rows should be flagged. In a hunt, only its marks are asked for.

    To practise with a recorder: print the prompts by --list, read them with a second
    between each, and give the recording by --input.

    Example: treeward practice --input memo.wav
    """
    _check(asked)
    from treeward.language.phrasebook import PhraseBook
    from treeward.practice.prompts import DEFAULT_COUNT, make_prompts, read_prompts

    book = PhraseBook.for_hunt(hunt_dir)
    if asked["prompts_path"]:
        prompts = read_prompts(asked["prompts_path"], book)
    else:
        count = asked["count"] or DEFAULT_COUNT
        prompts = make_prompts(book, count, number=asked["number"])
    if only_list:
        _print_prompts(prompts, as_json=as_json)
        return
    _practise(hunt_dir, book, prompts, as_json=as_json, **asked)


def _check(asked: dict[str, Any]) -> None:
    played = asked["input_"] not in (None, "-")
    if asked["prompts_path"] and asked["count"]:
        raise click.UsageError("--prompts and --count exclude each other.")
    if asked["device"] and asked["input_"]:
        raise click.UsageError("--device and --input exclude each other.")
    if asked["read_aloud"] and played:
        raise click.UsageError("--read-aloud goes with a microphone, not with a FILE.")


def _print_prompts(prompts: Sequence[Prompt], *, as_json: bool) -> None:
    if as_json:
        import json

        click.echo(json.dumps([prompt.text for prompt in prompts], indent=2))
        return
    for prompt in prompts:
        click.echo(prompt.text)


def _practise(
    hunt_dir: Path,
    book: PhraseBook,
    prompts: Sequence[Prompt],
    *,
    as_json: bool,
    **asked: Any,  # noqa: ANN401
) -> None:
    from treeward.audio.reader import probe
    from treeward.live.ears import open_ears
    from treeward.practice.outcome import (
        attempt_line,
        outcome_dict,
        outcome_lines,
        outcome_of,
    )
    from treeward.practice.scoring import PhraseCatcher

    def say(line: str) -> None:
        click.echo(line, err=as_json)

    played = None if asked["input_"] in (None, "-") else Path(asked["input_"])
    if played is not None:
        probe(played)  # a faulty file is told before the engine is opened
    ears = open_ears(hunt_dir, model=asked["model"])
    catcher = PhraseCatcher(ears)
    if played is not None:
        aligned = _from_file(played, ears, catcher, prompts)
        for attempt in aligned.attempts:
            say(attempt_line(attempt))
    else:
        aligned = _by_turns(ears, catcher, prompts, say, asked)
    outcome = outcome_of(
        aligned,
        book,
        background_dbfs=catcher.background_dbfs(),
        flag_below=ears.flag_below,
        engine=ears.name,
        share=asked["catch_percent"] / 100,
    )
    if as_json:
        import json

        click.echo(json.dumps(outcome_dict(outcome), indent=2))
        return
    say("")
    for line in outcome_lines(outcome):
        say(line)


def _from_file(
    path: Path, ears: Ears, catcher: PhraseCatcher, prompts: Sequence[Prompt]
) -> Aligned:
    from treeward.audio.reader import read_blocks
    from treeward.errors import SoundError
    from treeward.practice.scoring import align, phrases_in

    phrases = phrases_in(read_blocks(path), catcher)
    if not phrases:
        raise SoundError(
            "nobody is heard speaking in it",
            where=str(path),
            mend="Read the prompts of `treeward practice --list` nearer to the "
            "microphone, with a second between them.",
        )
    return align(
        prompts, phrases, lambda spoken: ears.parse(spoken, ""), end_s=catcher.seconds
    )


def _by_turns(
    ears: Ears,
    catcher: PhraseCatcher,
    prompts: Sequence[Prompt],
    say: Callable[[str], None],
    asked: dict[str, Any],
) -> Aligned:
    from treeward.practice.outcome import answer_line
    from treeward.practice.scoring import SILENT_TURNS, Aligned, Turns

    done: list[Attempt] = []

    def show(number: int, prompt: Prompt) -> None:
        say(f"{number:>3}/{len(prompts)}   Say:  {prompt.text}")

    def told(attempt: Attempt) -> None:
        done.append(attempt)
        say(f"        {answer_line(attempt)}")

    now_s = _clock()
    voice = _voice(now_s) if asked["read_aloud"] else None
    source = _source(asked, now_s)
    say(f"Listening to {source.name}. Quiet for a second, please; Ctrl-C ends.")
    turns = Turns(catcher=catcher, ears=ears, show=show, told=told, read_aloud=voice)
    try:
        with closing(source.chunks()) as chunks:  # type: ignore[type-var]
            attempts = turns.run(chunks, prompts)
    except KeyboardInterrupt:
        if not done:
            raise
        attempts = done
    finally:
        source.stop()
    if turns.gave_up:
        say(f"Nothing was heard {SILENT_TURNS} times in a row: that is the end.")
    return Aligned(attempts=tuple(attempts), unreached=len(prompts) - len(attempts))


def _clock() -> Callable[[], float]:
    import time

    return time.monotonic


def _source(asked: dict[str, Any], now_s: Callable[[], float]) -> Source:
    if asked["input_"] == "-":
        from treeward.live.streams import StreamSource

        return StreamSource(sys.stdin.buffer, now_s)
    from treeward.live.microphone import MicrophoneSource

    device = asked["device"]
    return MicrophoneSource(
        int(device) if device and device.isdigit() else device, now_s
    )


def _voice(now_s: Callable[[], float]) -> Callable[[str], float]:
    """Return what reads a prompt aloud and gives the second at which it was over."""
    from treeward.errors import SoundError, SpeechError
    from treeward.live.answer import find_synthesiser
    from treeward.live.microphone import SilentPlayer, find_player

    synthesiser, player = find_synthesiser(), find_player()
    if synthesiser is None:
        raise SpeechError(
            "there is no speech synthesiser to read aloud with",
            mend="Install one, such as espeak-ng, or leave out --read-aloud.",
        )
    if isinstance(player, SilentPlayer):
        raise SoundError(
            "there is no loudspeaker to read aloud by",
            mend="Leave out --read-aloud: the prompts are shown.",
        )

    def read_aloud(text: str) -> float:
        spoken = synthesiser.say(text)
        if spoken is not None:
            player.play(*spoken)
        return now_s()

    return read_aloud
