"""treeward listen, treeward practice."""

from __future__ import annotations

import json
import signal
import sys
import time
from contextlib import closing, contextmanager, nullcontext, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from treeward.errors import SoundError, SpeechError
from treeward.measures import counted

from . import PathName, hunt_option, is_terminal, json_option

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from treeward.hunt.hunt import Hunt
    from treeward.language.phrasebook import PhraseBook
    from treeward.live.ears import Ears
    from treeward.live.messages import HeardNotes, Snapshot, Source
    from treeward.live.opening import Wanted
    from treeward.live.session import Session
    from treeward.live.streams import Pipe
    from treeward.practice.prompts import Prompt
    from treeward.practice.scoring import Aligned, Attempt, PhraseCatcher


_MEND_WAITING = "Mend that, then run treeward review: it brings them in."


@click.command(name="listen")
@hunt_option
@click.option(
    "--input",
    "input_",
    metavar="FILE|-",
    help="A recording to rehearse with, or - for WAV or raw sound on standard input; "
    "the microphone otherwise.",
)
@click.option(
    "--pace",
    type=click.Choice(["real", "fast"]),
    default="real",
    show_default=True,
    help="Play a FILE at its own speed, or as fast as it goes.",
)
@click.option(
    "--start",
    metavar="WHEN",
    help='Clock time of a FILE\'s first second, as "2026-07-14 10:20".',
)
@click.option("--device", metavar="NAME|NUMBER", help="Microphone, from --devices.")
@click.option("--devices", "list_devices", is_flag=True, help="List microphones.")
@click.option("--station", metavar="ID", help="Where you sit; saying it works too.")
@click.option("--speak", is_flag=True, help="Read each note back aloud.")
@click.option("--no-sounds", is_flag=True, help="Answer on the screen only.")
@click.option("--call-due", is_flag=True, help="Call softly when a bee is due.")
@click.option("--plain", is_flag=True, help="Print a line a note, no full screen.")
@click.option("--model", metavar="PATH|NAME", help="Another speech model to use.")
@click.option(
    "--raw-rate",
    type=click.IntRange(4000, 384_000),
    default=16_000,
    show_default=True,
    metavar="HZ",
    help="Rate of raw 16-bit sound on standard input.",
)
@click.option(
    "--raw-channels",
    type=click.IntRange(1, 8),
    default=1,
    show_default=True,
    metavar="N",
    help="Channels of raw sound on standard input.",
)
@json_option
def listen_command(*, hunt_dir: Path, list_devices: bool, **asked: Any) -> None:  # noqa: ANN401
    """Listen while you watch, answer each note by ear, and show which bee is due.

    Say "yellow away", "yellow back", "bearing two one zero", "scratch that". Every
    note is on disk before it is answered. Ctrl-C ends; review.csv then has the notes.

    Example: arecord -q -t wav -f S16_LE -r 16000 | treeward listen --input -
    """
    if list_devices:
        _list_devices()
        return
    _check(asked)
    from treeward.hunt.hunt import Hunt
    from treeward.hunt.recovery import recover
    from treeward.live.opening import merge_into_review, only_listener, open_pipe

    pipe = open_pipe() if asked["input_"] == "-" else None

    def say(line: str) -> None:
        with suppress(OSError):  # whoever read along has gone: the listening goes on
            click.echo(line, err=asked["as_json"])

    hunt = Hunt(hunt_dir)
    wanted = _wanted(hunt, asked)
    with only_listener(hunt_dir):
        # Somebody wants to speak: what takes long or is at fault comes afterwards.
        now = merge_into_review(hunt, wait_s=0.0)
        before = recover(hunt_dir, now, sound=False, can_wait=True)
        for line in before.lines:
            say(line)
        if before.waiting:
            say("Notes of earlier listening are kept, and wait for later.")
        _show_cautions(hunt_dir, say, can_ask=asked["input_"] != "-")
        session = _listen(hunt, wanted, plain=_is_plain(asked), say=say, stdin=pipe)
        done = recover(hunt_dir, merge_into_review(hunt), can_wait=True)
    summary = session.summary()
    if asked["as_json"]:
        click.echo(json.dumps(summary, indent=2))
    else:
        for line in [*done.lines, *_summary_lines(summary)]:
            click.echo(line)
    for line in done.waiting:
        click.echo(f"treeward: {line}. {_MEND_WAITING}", err=True)
    if done.waiting:
        sys.exit(1)


def _check(asked: dict[str, Any]) -> None:
    played = asked["input_"] not in (None, "-")
    if asked["pace"] == "fast" and not played:
        raise click.UsageError("--pace fast goes with --input FILE.")
    if asked["start"] and not played:
        raise click.UsageError("--start goes with --input FILE.")
    if asked["device"] and asked["input_"]:
        raise click.UsageError("--device and --input exclude each other.")


def _wanted(hunt: Hunt, asked: dict[str, Any]) -> Wanted:
    from treeward.live.opening import Wanted
    from treeward.live.streams import PcmFormat

    start = None
    if asked["start"]:
        from treeward.notes.clock_evidence import parse_start

        start, _ = parse_start(asked["start"], hunt.zone, where="--start")
    return Wanted(
        input=asked["input_"],
        pace=asked["pace"],
        start=start,
        raw=PcmFormat(rate_hz=asked["raw_rate"], channels=asked["raw_channels"]),
        device=_device(asked),
        station=asked["station"],
        model=asked["model"],
        sounds=not asked["no_sounds"],
        speak=asked["speak"],
        call_due=asked["call_due"],
    )


def _device(asked: dict[str, Any]) -> str | int | None:
    name: str | None = asked["device"]
    return int(name) if name and name.isdigit() else name


def _is_plain(asked: dict[str, Any]) -> bool:
    return bool(asked["plain"] or asked["as_json"]) or not is_terminal(sys.stdout)


def _listen(
    hunt: Hunt,
    wanted: Wanted,
    *,
    plain: bool,
    say: Callable[[str], None],
    stdin: Pipe | None,
) -> Session:
    from datetime import datetime

    from treeward.live.opening import locate_for, open_session
    from treeward.trips import pair_trips

    session = open_session(
        hunt.path,
        wanted,
        pair=lambda events: pair_trips(events, hunt.file),
        locate=locate_for(hunt, datetime.now(tz=hunt.zone)),
        stdin=stdin,
        on_heard=(lambda heard: say(_heard_line(heard))) if plain else _quiet,
        on_said=say if plain else _quiet,
    )
    if plain:
        say(f"Listening to {session.source_name}. Ctrl-C ends.")
    with (
        _ends_on_signal(session.ask_to_stop),
        nullcontext(_quiet) if plain else _screen(session) as show,
    ):
        session.run(show)
    return session


@contextmanager
def _screen(session: Session) -> Iterator[Callable[[Snapshot], None]]:
    from rich.console import Console
    from rich.live import Live

    from treeward.live.view import ListenView

    view = ListenView(session.snapshot())
    with Live(view, console=Console(), screen=True, auto_refresh=False) as live:

        def show(snapshot: Snapshot) -> None:
            view.snapshot = snapshot
            with suppress(OSError):  # a terminal that was closed
                live.refresh()

        yield show


@contextmanager
def _ends_on_signal(ask_to_stop: Callable[[], None]) -> Iterator[None]:
    """Let Ctrl-C, a closed terminal and a plain kill end the session.

    The handler only sets a mark: an exception out of a lock or a join would leave
    threads at work behind a closed journal. Ctrl-C is named too, as a shell lets its
    background jobs ignore it.
    """

    def end(*_: object) -> None:
        ask_to_stop()

    # SIGBREAK is what Windows makes of a closed console, SIGHUP what others do.
    ends = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    names = [n for n in ends if hasattr(signal, n)]
    before = {n: signal.signal(getattr(signal, n), end) for n in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


def _quiet(_: object) -> None:
    """Say nothing: the screen shows it, or each note is printed as it comes."""


def _heard_line(heard: HeardNotes) -> str:
    from treeward.live.messages import event_text

    parts = []
    for event in heard.events:
        clock = f"{event.clock:%H:%M:%S}" if event.clock else ""
        doubt = "  (say again)" if heard.doubtful else ""
        parts.append(f"{clock}  {event_text(event)}{doubt}")
    if heard.taken_back is not None:
        parts.append(f"          taken back: {event_text(heard.taken_back)}")
    if not heard.kept:
        parts.append("          NOT ON DISK: make room")
    return "\n".join(parts)


def _show_cautions(
    hunt_dir: Path, say: Callable[[str], None], *, can_ask: bool
) -> None:
    from treeward.live.opening import cautions_due, cautions_shown
    from treeward.report.advice_wording import CAUTIONS

    if not cautions_due(hunt_dir):
        return
    for head, body in CAUTIONS:
        say(f"{head}. {body}")
    if can_ask and is_terminal(sys.stdin) and is_terminal(sys.stdout):
        click.pause("Press any key to go on.")
    cautions_shown(hunt_dir)


def _list_devices() -> None:
    from treeward.live.microphone import device_warning, input_devices

    devices = input_devices()
    for number, name, rate_hz in devices:
        warning = device_warning(name)
        click.echo(f"{number:3}  {name}  {rate_hz} Hz" + (warning and f"  ({warning})"))
    if not devices:
        click.echo("No microphone was found.")


def _summary_lines(summary: dict[str, Any]) -> list[str]:
    minutes = summary["sound_kept_s"] / 60
    notes = counted(summary["notes"], "note")
    lines = [f"{notes}, {minutes:.1f} minutes of sound kept"]
    if summary["latency_median_s"] is not None:
        lines.append(
            f"Half of them were answered within {summary['latency_median_s']:.1f} s of "
            f"being said, nearly all within {summary['latency_95_s']:.1f} s"
        )
    lines.append("Look the notes over: treeward review")
    return lines


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
    type=PathName(),
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
    _check_wanted(asked)
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


def _check_wanted(asked: dict[str, Any]) -> None:
    played = asked["input_"] not in (None, "-")
    if asked["prompts_path"] and asked["count"]:
        raise click.UsageError("--prompts and --count exclude each other.")
    if asked["device"] and asked["input_"]:
        raise click.UsageError("--device and --input exclude each other.")
    if asked["read_aloud"] and played:
        raise click.UsageError("--read-aloud goes with a microphone, not with a FILE.")


def _print_prompts(prompts: Sequence[Prompt], *, as_json: bool) -> None:
    if as_json:
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
    from treeward.live.opening import refuse_closed_input
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
    if played is not None:  # a fault is told before the engine is opened
        probe(played)
    elif asked["input_"] == "-":
        refuse_closed_input("practice")
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
        engine=ears.recognizer.name,
        share=asked["catch_percent"] / 100,
    )
    if as_json:
        click.echo(json.dumps(outcome_dict(outcome), indent=2))
        return
    say("")
    for line in outcome_lines(outcome):
        say(line)


def _from_file(
    path: Path, ears: Ears, catcher: PhraseCatcher, prompts: Sequence[Prompt]
) -> Aligned:
    from treeward.audio.reader import read_blocks
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

    now_s = time.monotonic
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


def _source(asked: dict[str, Any], now_s: Callable[[], float]) -> Source:
    if asked["input_"] == "-":
        from treeward.live.streams import StreamSource

        return StreamSource(sys.stdin.buffer, now_s)
    from treeward.live.microphone import MicrophoneSource

    return MicrophoneSource(_device(asked), now_s)


def _voice(now_s: Callable[[], float]) -> Callable[[str], float]:
    """Return what reads a prompt aloud and gives the second at which it was over."""
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
