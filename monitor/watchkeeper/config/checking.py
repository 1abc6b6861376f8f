"""Checks a table of settings against a struct and tells *all* that is wrong, not the first thing alone."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
import types
import typing
from collections.abc import Iterable, Mapping, Sequence
from enum import Enum
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import msgspec

S = TypeVar("S", bound=msgspec.Struct)

_KINDS = {
    "int": "a whole number",
    "float": "a number",
    "str": "text",
    "bool": "true or false",
    "array": "a list",
    "object": "a table",
    "null": "nothing",
    "path": "a path",
    "datetime": "a time",
    "date": "a date",
    "time": "a time of day",
}


class Problem(NamedTuple):
    """One thing that is wrong: where (``section.key``), and what, with a remedy where there is one."""

    where: str
    what: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


class EnvText(str):
    """Text from the environment: it becomes what its key wants, text as it stands, all else as TOML writes it."""

    __slots__ = ()


def check(data: object, cls: type[S], where: str) -> tuple[S | None, list[Problem]]:
    """The struct made from ``data``, and all that is wrong; None exactly where something is."""
    problems: list[Problem] = []
    made = _struct(data, cls, where, problems)
    return (None, problems) if problems else (typing.cast("S", made), [])


def suggest(word: str, known: Iterable[str]) -> str:
    """`` (did you mean 'x'?)`` for the nearest of the ``known`` words, or nothing."""
    near = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=0.6)
    return f" (did you mean {near[0]!r}?)" if near else ""


def _struct(data: object, cls: type[msgspec.Struct], where: str, problems: list[Problem]) -> msgspec.Struct | None:
    if not isinstance(data, Mapping):
        problems.append(Problem(where, f"expected a table, got {_kind(data)}"))
        return None
    fields = {field.encode_name: field for field in msgspec.structs.fields(cls)}
    values: dict[str, Any] = {}
    for key, value in data.items():
        field = fields.get(key)
        if field is None:
            problems.append(Problem(f"{where}.{key}", f"no such key{suggest(key, fields)}"))
            continue
        before = len(problems)
        made = _value(value, field.type, f"{where}.{key}", problems)
        if len(problems) == before:
            values[field.name] = made
    lacking = [field for field in fields.values() if field.required and field.name not in values]
    problems.extend(
        Problem(f"{where}.{field.encode_name}", "missing: it must be set")
        for field in lacking
        if field.encode_name not in data
    )
    if lacking:
        return None
    try:  # also when a key was bad, which then counts as not set: the struct's own check finds what else is wrong
        return cls(**values)
    except (ValueError, TypeError) as error:
        problems.extend(_own_words(where, str(error), fields))
        return None


def _own_words(where: str, text: str, fields: Iterable[str]) -> Iterable[Problem]:
    """A struct's own check may begin each line with the key it means: ``key: what is wrong``."""
    for line in text.splitlines():
        key, mark, rest = line.partition(": ")
        if mark and key in fields:
            yield Problem(f"{where}.{key}", rest)
        else:
            yield Problem(where, line)


def _value(value: object, wanted: Any, where: str, problems: list[Problem]) -> Any:
    """``value`` as the type ``wanted``; what is wrong is added to the problems."""
    if isinstance(value, EnvText):
        value = _from_text(value, wanted)
    if isinstance(value, float) and not math.isfinite(value):
        problems.append(Problem(where, f"expected a finite number, got {value}"))
        return None
    inner = _struct_in(wanted)
    if inner is not None and isinstance(value, Mapping):
        return _struct(value, inner, where, problems)
    item = _item_of(wanted)
    if item is not None and isinstance(value, list):
        before = len(problems)
        value = [_value(each, item, f"{where} (entry {index})", problems) for index, each in enumerate(value, 1)]
        if len(problems) > before:
            return None
    try:
        return msgspec.convert(value, wanted, dec_hook=_decode)
    except msgspec.ValidationError as error:
        problems.append(Problem(where, _plain_words(str(error), value, wanted)))
        return None


def _from_text(text: str, wanted: Any) -> object:
    if str in _alternatives(wanted) or Path in _alternatives(wanted):
        return str(text)
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return str(text)


def resolved(data: Mapping[str, Any], cls: type[msgspec.Struct] | None) -> dict[str, Any]:
    """``data`` with every text from the environment as the value that ``cls`` wants, so that it can be written down."""
    fields = {} if cls is None else {field.encode_name: field.type for field in msgspec.structs.fields(cls)}
    return {key: _resolved(value, fields.get(key, Any)) for key, value in data.items()}


def _resolved(value: Any, wanted: Any) -> Any:
    if isinstance(value, EnvText):
        return _from_text(value, wanted)
    return resolved(value, _struct_in(wanted)) if isinstance(value, Mapping) else value


def _decode(wanted: type, value: object) -> object:
    if wanted is not Path:
        raise NotImplementedError(wanted)
    if not isinstance(value, str) or not value:
        raise ValueError("Expected `path`")
    try:
        return Path(value).expanduser()
    except RuntimeError as error:  # ~somebody who is unknown
        raise ValueError(str(error)) from None


def _alternatives(wanted: Any) -> tuple[Any, ...]:
    """The types that ``wanted`` lets through, without their annotations."""
    while typing.get_origin(wanted) is typing.Annotated:
        wanted = typing.get_args(wanted)[0]
    if typing.get_origin(wanted) in (typing.Union, types.UnionType):
        return tuple(each for part in typing.get_args(wanted) for each in _alternatives(part))
    return (wanted,)


def _struct_in(wanted: Any) -> type[msgspec.Struct] | None:
    for each in _alternatives(wanted):
        if isinstance(each, type) and issubclass(each, msgspec.Struct):
            return each
    return None


def _item_of(wanted: Any) -> Any:
    """The type of the entries where ``wanted`` is a list of any length, else None."""
    for each in _alternatives(wanted):
        arguments = typing.get_args(each)
        if typing.get_origin(each) is list or (typing.get_origin(each) is tuple and arguments[1:] == (...,)):
            return arguments[0]
    return None


def entry_struct(wanted: Any) -> type[msgspec.Struct] | None:
    """The struct of each entry where ``wanted`` is a list of tables, else None."""
    item = _item_of(wanted)
    return None if item is None else _struct_in(item)


def _kind(value: object) -> str:
    if value is None or isinstance(value, bool):
        return "nothing" if value is None else str(value).lower()
    if isinstance(value, str):
        return f"text {value!r}"
    if isinstance(value, int | float):
        return f"{value}"
    return "a table" if isinstance(value, Mapping) else "a list" if isinstance(value, Sequence) else f"{value}"


def _plain_words(text: str, value: object, wanted: Any) -> str:
    """msgspec's message in the words of one who writes TOML, with the value and the nearest good one."""
    if text.startswith("Invalid enum value"):
        words = _words_of(wanted)
        near = suggest(str(value), words)
        return f"{value!r} is none of {', '.join(words)}{near}"
    text = text.partition(" - at `$")[0]
    text = re.sub(r", got `[^`]*`", "", text)
    text = re.sub(r"`([a-z |]+)`", lambda found: _types(found.group(1)), text)
    text = text.replace("Expected", "expected").replace("matching regex", "of the form")
    return f"{text}, got {_kind(value)}"


def _types(text: str) -> str:
    kinds = [part for part in text.split(" | ") if part != "null"]
    return " or ".join(_KINDS.get(part, part) for part in kinds)


def _words_of(wanted: Any) -> list[str]:
    words: list[str] = []
    for each in _alternatives(wanted):
        if isinstance(each, type) and issubclass(each, Enum):
            words += [str(member.value) for member in each]
        elif typing.get_origin(each) is typing.Literal:
            words += [str(word) for word in typing.get_args(each)]
        elif typing.get_origin(each) in (tuple, list, set, frozenset):
            words += _words_of(typing.get_args(each)[0])
    return words


def description(wanted: Any) -> str | None:
    """The ``Meta(description=…)`` of an annotated type, wherever in it the annotation stands."""
    if typing.get_origin(wanted) is typing.Annotated:
        for extra in wanted.__metadata__:
            if isinstance(extra, msgspec.Meta) and extra.description:
                return extra.description
        return description(typing.get_args(wanted)[0])
    found = (description(part) for part in typing.get_args(wanted) if not isinstance(part, str))
    return next((text for text in found if text), None)
