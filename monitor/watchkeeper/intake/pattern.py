"""Line patterns: a TOML file that says how the lines of some text output are to be read.

A line is read by the first of the file's regular expressions that fits it as a whole. A named group bears the name of
the schema field that it holds; ``[units]`` says in which unit it is written, ``[words]`` what a mark stands for,
``[values]`` what the lines leave out, and ``[time]`` how their times are meant.
"""

from __future__ import annotations

import re
import tomllib
import warnings
from collections.abc import Iterable, Mapping
from contextlib import suppress
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, Literal, NamedTuple

import msgspec
from msgspec import inspect

from ..config.checking import Problem, check, suggest
from ..schema.events import KINDS
from .moments import TimeRule

#: groups that hold parts of the line's time; ``at`` holds all of it
TIME_GROUPS = frozenset({"at", "date", "time"})
#: a tuning line tells these for the lines behind it
CARRIED = ("dial_hz", "mode")

_FACTORS: dict[str, dict[str, Decimal]] = {
    "hz": {"Hz": Decimal(1), "kHz": Decimal(10) ** 3, "MHz": Decimal(10) ** 6, "GHz": Decimal(10) ** 9},
    "s": {"s": Decimal(1), "ms": Decimal(10) ** -3},
    "w": {"W": Decimal(1), "mW": Decimal(10) ** -3, "kW": Decimal(10) ** 3},
    "db": {"dB": Decimal(1)},
}
_ENVELOPE = frozenset({"v", "source", "at", "run", "seq", "id", "ack", "live"})

Kind = Literal["heard", "sent", "tuning", "skip"]


class PatternError(Exception):
    """The pattern file cannot be used; the text names the file, the key and what is wrong, one problem a line."""


class Form(msgspec.Struct, frozen=True, kw_only=True):
    """One form of line: ``skip`` is known and left out, so that it does not count as unread."""

    pattern: str
    kind: Kind = "heard"


class PatternFile(msgspec.Struct, frozen=True, kw_only=True):
    """The file as it is written."""

    title: str
    lines: tuple[Form, ...]
    time: TimeRule = TimeRule()
    units: dict[str, str] = {}
    words: dict[str, dict[str, str]] = {}
    values: dict[str, Any] = {}
    decimal: Literal[".", ","] = "."
    encoding: str = "utf-8"

    def __post_init__(self) -> None:
        if not self.lines:
            raise ValueError("lines: at least one form of line is needed")
        try:
            b"\xffA".decode(self.encoding, errors="replace")
        except (LookupError, ValueError):
            raise ValueError(f"encoding: no encoding of text: {self.encoding!r}") from None


class FieldType(NamedTuple):
    """What a schema field holds: ``str``, ``int``, ``float`` or ``bool``, and its full type for checking."""

    sort: type
    full: Any


class Reader(NamedTuple):
    """One form of line, ready for use."""

    kind: Kind
    match: re.Pattern[str]
    factors: Mapping[str, Decimal]  # by field, for those not written in the schema's own unit


class Pattern(NamedTuple):
    """A pattern file, checked and ready for use."""

    title: str
    readers: tuple[Reader, ...]
    time: TimeRule
    words: Mapping[str, Mapping[str, str]]
    values: Mapping[str, Any]
    decimal: str
    encoding: str


@cache
def fields_of(kind: str) -> dict[str, FieldType]:
    """The fields of a kind that a line may give, by their names in the schema."""
    info = inspect.type_info(KINDS[kind])
    assert isinstance(info, inspect.StructType)
    full = {field.encode_name: field.type for field in msgspec.structs.fields(KINDS[kind])}
    sorts: dict[str, FieldType] = {}
    for field in info.fields:
        sort = _sort(field.type)
        if sort is not None and field.encode_name not in _ENVELOPE:
            sorts[field.encode_name] = FieldType(sort, full[field.encode_name])
    return sorts


def _sort(info: inspect.Type) -> type | None:
    if isinstance(info, inspect.UnionType):
        return next((found for found in map(_sort, info.types) if found is not None), None)
    if isinstance(info, inspect.Metadata):
        return _sort(info.type)
    known: dict[type, type] = {
        inspect.StrType: str,
        inspect.IntType: int,
        inspect.FloatType: float,
        inspect.BoolType: bool,
    }
    return known.get(type(info))


def load(path: Path, settings: Mapping[str, str] | None = None) -> Pattern:
    """Read and check a pattern file; ``settings`` are values by field that go before the file's own.

    Raises PatternError with all that is wrong.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise PatternError(f"{path}: {error.strerror}") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise PatternError(f"{path}: not TOML: {error}") from error
    return built(data, path.name, settings)


def built(data: Mapping[str, Any], name: str, settings: Mapping[str, str] | None = None) -> Pattern:
    """The pattern that ``data`` describes; ``name`` stands for its file. Raises PatternError with all that is wrong."""
    file, problems = check(data, PatternFile, name)
    if file is None:
        raise PatternError(_joined(problems))
    return _Builder(file, name).build(settings or {})


def _joined(problems: Iterable[Problem]) -> str:
    return "\n".join(str(problem) for problem in problems)


class _Builder:
    """Checks what the file says against the schema, and collects all that is wrong."""

    def __init__(self, file: PatternFile, name: str) -> None:
        self._file = file
        self._name = name
        self._problems: list[Problem] = []
        kinds = {form.kind for form in file.lines if form.kind != "skip"}
        self._known = {name: found for kind in sorted(kinds) for name, found in fields_of(kind).items()}
        self._tunes = "tuning" in kinds

    def build(self, settings: Mapping[str, str]) -> Pattern:
        values = {**self._values(), **self._settings(settings)}
        factors = self._factors()
        self._words()
        readers = tuple(
            reader
            for number, form in enumerate(self._file.lines, 1)
            if (reader := self._reader(number, form, factors, values)) is not None
        )
        if self._problems:
            raise PatternError(_joined(self._problems))
        file = self._file
        return Pattern(file.title, readers, file.time, file.words, values, file.decimal, file.encoding)

    def _complain(self, where: str, what: str) -> None:
        self._problems.append(Problem(f"{self._name}.{where}", what))

    def _values(self) -> dict[str, Any]:
        return {name: self._value(f"values.{name}", name, value) for name, value in self._file.values.items()}

    def _settings(self, settings: Mapping[str, str]) -> dict[str, Any]:
        made: dict[str, Any] = {}
        for name, text in settings.items():
            value: Any = text
            if name in self._known and self._known[name].sort is not str:
                with suppress(tomllib.TOMLDecodeError):  # text where a number belongs: the check below says so
                    value = tomllib.loads(f"value = {text}")["value"]
            made[name] = self._value(f"{name} (as set)", name, value)
        return made

    def _value(self, where: str, name: str, value: Any) -> Any:
        if name not in self._known:
            self._complain(where, f"no such field of these kinds{suggest(name, self._known)}")
            return None
        try:
            return msgspec.convert(value, self._known[name].full)
        except msgspec.ValidationError as error:
            self._complain(where, f"{str(error).replace('`', '')}: {value!r}")
            return None

    def _factors(self) -> dict[str, Decimal]:
        factors: dict[str, Decimal] = {}
        for name, unit in self._file.units.items():
            units = _FACTORS.get(name.rpartition("_")[2], {})
            if name not in self._known:
                self._complain(f"units.{name}", f"no such field of these kinds{suggest(name, self._known)}")
            elif unit not in units:
                some = " or ".join(units) or "none: the field is a bare number or text"
                self._complain(f"units.{name}", f"no such unit: {unit!r}; it can be {some}")
            else:
                factors[name] = units[unit]
        return factors

    def _words(self) -> None:
        for name in self._file.words:
            if name not in self._known:
                self._complain(f"words.{name}", f"no such field of these kinds{suggest(name, self._known)}")

    def _reader(
        self, number: int, form: Form, factors: Mapping[str, Decimal], values: Mapping[str, Any]
    ) -> Reader | None:
        where = f"lines (entry {number}).pattern"
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error", FutureWarning)
                match = re.compile(form.pattern)
        except (re.error, OverflowError, RecursionError) as error:
            self._complain(where, f"not a regular expression: {error}")
            return None
        except FutureWarning as warning:
            self._complain(where, f"a later Python may read it otherwise, so escape it: {warning}")
            return None
        if form.kind != "skip":
            self._check_groups(where, form.kind, match.groupindex, values)
        return Reader(form.kind, match, {name: factor for name, factor in factors.items() if name in match.groupindex})

    def _check_groups(self, where: str, kind: str, groups: Iterable[str], values: Mapping[str, Any]) -> None:
        known = fields_of(kind)
        for name in groups:
            if name not in known and name not in TIME_GROUPS:
                self._complain(where, f"{kind} has no field {name!r}{suggest(name, known)}")
        given = {*groups, *values, *(CARRIED if self._tunes and kind != "tuning" else ())}
        lacking = [
            field.encode_name
            for field in msgspec.structs.fields(KINDS[kind])
            if field.required and field.encode_name not in _ENVELOPE and field.encode_name not in given
        ]
        if lacking:
            self._complain(where, f"{kind} needs {', '.join(lacking)}: as a named group or under [values]")
        if self._file.time.format is None and TIME_GROUPS.intersection(groups):
            self._complain("time.format", "missing: the lines hold a time, so its form must be told")
