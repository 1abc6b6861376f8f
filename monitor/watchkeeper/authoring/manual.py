"""The page for plugin authors, made from the docstrings of the hooks and of the types that plugins may use."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterator
from enum import Enum
from typing import Any, get_args

from .. import api, hookspecs, testing, view
from ..host.context import Context
from ..host.fitness import HOOKS
from ..radio import callsign, credibility, entity, reading
from ..schema import events

_MADE = "This page is made by `watchkeeper plugin docs` from the program's own docstrings; do not edit it by hand."
_FIELD = re.compile(r"\s{4}(\w+): ([^#]+?)(?:\s{2}#:? (.+))?")
_MEMBER = re.compile(r"\s{4}([A-Z_0-9]+) = ([^#]+?)(?:\s{2}# (.+))?")
#: a type with bounds, which stand in the schema: here its kind is enough
_BOUNDED = re.compile(r"Annotated\[([^()]+?), Meta\(.*?\)\]")
#: an enumeration's member in a signature
_SHOWN_MEMBER = re.compile(r"<(\w+\.\w+): [^>]*>")
#: what only the program itself calls
_NOT_FOR_PLUGINS = {
    Context: {"rebind"},
    api.WorkedIndex: {"add", "add_sets", "bit", "touch", "begin_session", "go_on_from", "read_activated_by", "dump"},
}
#: what a hearing holds of the radio package's types
_RADIO = (reading.Reading, entity.Placed, entity.Entity, credibility.Credibility)
_CHOICES = {"Form": reading.Form, "Step": reading.Step, "Status": callsign.Status}


def _aliases() -> dict[str, str]:
    """The schema's names for types with bounds, and the kinds behind them."""
    bounded = {name: each for name, each in vars(events).items() if hasattr(each, "__metadata__")}
    return {name: _named(each.__origin__) for name, each in bounded.items()}


def _named(kind: Any) -> str:
    """A type as it is written: ``int``, ``tuple[Activation, ...]``."""
    if get_args(kind):
        return re.sub(r"\b[a-z_]+(?:\.[a-z_]+)*\.(?=[A-Z])", "", str(kind))
    return str(kind.__name__)


_ALIASES = _aliases()


def page() -> str:
    """The whole page, in Markdown."""
    parts = [
        "# Writing a plugin",
        _MADE,
        _text(hookspecs),
        f"## The hooks, edition {hookspecs.API_VERSION}",
        *(part for hook in HOOKS for part in _function(getattr(hookspecs, hook), 3)),
        "## The context",
        *_class(Context, 3),
        "## Values",
        "All of these are imported from `watchkeeper.api`. Plugins treat them as read-only.",
        *(part for name in _values() for part in _value(getattr(api, name))),
        "## What a hearing is made of",
        "Types of `watchkeeper.radio`: what the message says, where its sender is, how far the decode can be trusted.",
        *(part for found in _RADIO for part in _value(found, f" of `{found.__module__}`")),
        *(part for name, choices in _CHOICES.items() for part in _choice(name, choices)),
        "## Functions",
        "Imported from `watchkeeper.api` too, beside `hookimpl` and `API_VERSION`.",
        *(part for found in _functions() for part in _function(found, 3)),
        "## Views",
        _text(view),
        *(part for found in _views() for part in _value(found)),
        "## Testing",
        _text(testing),
        *_class(testing.Bench, 3),
        *_function(testing.worked_index, 3),
    ]
    return "\n\n".join(parts) + "\n"


def heading(function: Callable[..., Any], name: str | None = None) -> str:
    """How a function is called: ``annotate(hearing: Hearing) -> Note | None``."""
    signature = inspect.signature(function)
    shown = [each for each in signature.parameters.values() if each.name != "self"]
    told = _SHOWN_MEMBER.sub(r"\1", str(signature.replace(parameters=shown)).replace("'", ""))
    return f"{'async ' if inspect.iscoroutinefunction(function) else ''}{name or function.__name__}{told}"


def _function(function: Callable[..., Any], level: int) -> Iterator[str]:
    yield f"{'#' * level} `{heading(function)}`"
    yield _text(function)


def _class(found: type, level: int) -> Iterator[str]:
    """A class by its docstring and those of its public members, in the order of its source."""
    yield f"{'#' * level} `{found.__name__}`"
    yield _text(found)
    for name, member in vars(found).items():
        if name.startswith("_") or name in _NOT_FOR_PLUGINS.get(found, ()):
            continue
        if isinstance(member, property):
            yield f"`{name}`: {_text(member)}"
        elif inspect.isfunction(member):
            yield f"`{heading(member, name)}`: {_text(member)}"


def _values() -> list[str]:
    """The types of the door for plugins; the context stands by itself."""
    return [
        name for name in api.__all__ if inspect.isclass(getattr(api, name)) and getattr(api, name) is not api.Context
    ]


def _functions() -> list[Callable[..., Any]]:
    return [getattr(api, name) for name in api.__all__ if inspect.isfunction(getattr(api, name))]


def _views() -> list[type]:
    return [each for each in vars(view).values() if inspect.isclass(each) and each.__module__ == view.__name__]


def _choice(name: str, choices: Any) -> Iterator[str]:
    yield f"### `{name}`"
    yield "One of " + ", ".join(f'`"{choice}"`' for choice in get_args(choices)) + "."


def _value(found: type, origin: str = "") -> Iterator[str]:
    """A type: what it is, its fields or members as the source has them, and its public methods."""
    title, text, *members = _class(found, 3)
    yield title + origin
    yield text
    pattern = _MEMBER if issubclass(found, Enum) else _FIELD
    rows = [match.groups() for line in inspect.getsource(found).splitlines() if (match := pattern.fullmatch(line))]
    if rows:
        yield "\n".join(_row(*row) for row in rows)
    yield from members


def _row(name: str, kind: str, meaning: str | None) -> str:
    return f"- `{name}`: `{_unbounded(kind.strip())}`" + (f": {_plain(meaning)}" if meaning else "")


def _unbounded(kind: str) -> str:
    """A field's type without its bounds."""
    if "ClassVar" in kind:
        return kind
    named = re.sub(r"\w+", lambda word: _ALIASES.get(word[0], word[0]), kind)
    while (plain := _BOUNDED.sub(r"\1", named)) != named:
        named = plain
    return named


def _text(thing: object) -> str:
    """A docstring as Markdown."""
    return _plain(inspect.getdoc(thing) or "")


def _plain(docstring: str) -> str:
    return re.sub(r":\w+:`(\w+)`", r"`\1`", docstring.replace("``", "`"))
