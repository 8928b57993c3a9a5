"""What a phrase book file may hold: reads it, or refuses it naming file and key."""

from __future__ import annotations

import re
import tomllib
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from treeward.errors import PhraseBookError
from treeward.files import read_whole

from .kinds import kinds_said_as

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    from .kinds import SaidAs

SLOT = "{mark}"
_MOST_BYTES = 1 << 20  # the packaged one, with its comments, has 8,000; choice
_WORD = re.compile(r"[a-z]+(?:['-][a-z]+)*'?")
_NAME = re.compile(r"[a-z0-9]+(?:[_-][a-z0-9]+)*")


def _spoken(text: str) -> str:
    """Accept words as they are spoken, and nothing else."""
    words = text.split(" ")
    if not all(_WORD.fullmatch(word) for word in words):
        raise ValueError(f"{text!r} is not plain lower-case words, one space apart")
    return text


def _template(text: str) -> str:
    """Accept spoken words with {mark} among them once."""
    words = text.split(" ")
    if words.count(SLOT) != 1:
        raise ValueError(f"{text!r} must hold {SLOT} exactly once")
    rest = [word for word in words if word != SLOT]
    if not rest:
        raise ValueError(f"{text!r} needs a word beside {SLOT}")
    _spoken(" ".join(rest))
    return text


def _written_as(pattern: re.Pattern[str], what: str) -> Callable[[str], str]:
    def check(text: str) -> str:
        if not pattern.fullmatch(text):
            raise ValueError(f"{text!r} is not {what}")
        return text

    return check


def _kind_said_as(spoken: SaidAs) -> Callable[[str], str]:
    def check(name: str) -> str:
        if name not in kinds_said_as(spoken):
            raise ValueError(f"{name!r} is no kind of note that is said so")
        return name

    return check


Spoken = Annotated[str, AfterValidator(_spoken)]
Template = Annotated[str, AfterValidator(_template)]
OneWord = Annotated[str, AfterValidator(_written_as(_WORD, "one lower-case word"))]
Name = Annotated[
    str, AfterValidator(_written_as(_NAME, "a name of small letters and digits"))
]
ActionName = Annotated[str, AfterValidator(_kind_said_as("action"))]
AnchorName = Annotated[str, AfterValidator(_kind_said_as("anchor"))]
CommandName = Annotated[str, AfterValidator(_kind_said_as("command"))]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class UnmarkedTable(_Table):
    """Ways of naming a bee without paint."""

    say: list[Spoken] = []


class ActionTable(_Table):
    """Ways of saying that a bee did something."""

    card: Template = ""
    weight: float = Field(default=1.0, gt=0, le=1000)
    say: list[Template] = []
    narrate: list[Template] = []
    also_say: list[Template] = []
    also_narrate: list[Template] = []

    @model_validator(mode="after")
    def _card_is_heard(self) -> ActionTable:
        if self.card and self.say and self.card not in (*self.say, *self.also_say):
            raise ValueError(f"card {self.card!r} is not among say")
        return self


class PhraseBookFile(_Table):
    """The tables of a phrase book file."""

    schema_: Literal[1] = Field(alias="schema", default=1)
    colours: dict[OneWord, list[Spoken]] = {}
    unmarked: UnmarkedTable = UnmarkedTable()
    spots: dict[OneWord, list[Spoken]] = {}
    actions: dict[ActionName, ActionTable] = {}
    anchors: dict[AnchorName, list[Spoken]] = {}
    stations: dict[Name, list[Spoken]] = {}
    wind: dict[OneWord, list[Spoken]] = {}
    commands: dict[CommandName, list[Spoken]] = {}
    misheard: dict[OneWord, OneWord] = {}
    # Of an engine that is gone; hunts of its time may hold it. Read, and not used.
    pronunciations: dict[str, list[str]] = {}


def _key(location: Iterable[int | str]) -> str:
    """Spell where in the file a fault is: actions.back.say[2]."""
    parts: list[str] = []
    for part in location:
        if isinstance(part, int):
            parts.append(f"[{part + 1}]")
        elif part != "[key]":
            parts.append(f".{part}" if parts else str(part))
    return "".join(parts)


_TABLES: Mapping[str, SaidAs] = {
    "actions": "action",
    "anchors": "anchor",
    "commands": "command",
}


def _mend(location: tuple[int | str, ...], kind: str) -> str:
    table = str(location[0]) if location else ""
    if kind == "extra_forbidden":
        fields = PhraseBookFile.model_fields
        known = list(ActionTable.model_fields)
        if len(location) == 1:
            known = [field.alias or name for name, field in fields.items()]
        elif table == "unmarked":
            known = list(UnmarkedTable.model_fields)
        return f"Known here: {', '.join(known)}"
    if location[-1:] == ("[key]",) and table in _TABLES:
        return f"Known here: {', '.join(kinds_said_as(_TABLES[table]))}"
    return "See the comments in the packaged phrasebook.toml"


def _merge(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    """Lay one parsed file over another: tables by key, also_ lists joined."""
    merged = dict(base)
    for key, value in over.items():
        old = merged.get(key)
        if isinstance(old, dict) and isinstance(value, dict):
            merged[key] = _merge(old, value)
        elif key.startswith("also_") and isinstance(old, list):
            merged[key] = old + value if isinstance(value, list) else value
        else:
            merged[key] = value
    return merged


def _parse(path: Path) -> dict[str, Any]:
    raw = read_whole(
        path,
        most_bytes=_MOST_BYTES,
        error=PhraseBookError,
        too_large="This is no phrase book; see that the right one lies there",
        unreadable="Check that the file exists and may be read",
    )
    try:
        return tomllib.loads(raw.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError as error:
        raise PhraseBookError(
            f"is not UTF-8 text (byte {error.start})",
            where=str(path),
            mend="Save it as UTF-8",
        ) from error
    except (ValueError, RecursionError) as error:  # also of a number too long to read
        raise PhraseBookError(
            f"is not TOML: {error}",
            where=str(path),
            mend='Words stand in quotes and lists in brackets: red = ["red"]',
        ) from error


def _check(tables: dict[str, Any], path: Path) -> PhraseBookFile:
    try:
        return PhraseBookFile.model_validate(tables)
    except ValidationError as error:
        fault = error.errors()[0]
        location = fault["loc"]
        what = fault["msg"].removeprefix("Value error, ")
        if fault["type"] == "extra_forbidden":
            what = "unknown key"
        raise PhraseBookError(
            what,
            where=f"{path} key {_key(location)}",
            mend=_mend(location, fault["type"]),
        ) from error


def read_files(paths: Iterable[Path]) -> PhraseBookFile:
    """Read phrase book files, each laid over the one before.

    Raises
    ------
    PhraseBookError
        A file cannot be read, is not TOML, or holds an unknown key or a bad entry;
        the message names the file and the key.
    """
    merged: dict[str, Any] = {}
    book = PhraseBookFile()
    for path in paths:
        tables = _parse(path)
        _check(tables, path)  # by itself, so that the right file is named
        merged = _merge(merged, tables)
        book = _check(merged, path)
    return book
