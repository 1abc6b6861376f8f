"""Whether a plugin is fit to run: its name, edition, notes, config section and hooks. Each fault has a clear word."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import msgspec
import pluggy

from watchkeeper import hookspecs
from watchkeeper.config.checking import Problem, check, suggest
from watchkeeper.model import Note

#: how plugins are called
NAME = re.compile(r"[a-z][a-z0-9_]{0,31}")
HOOKS = tuple(name for name, value in vars(hookspecs).items() if hasattr(value, f"{hookspecs.PROJECT}_spec"))


class UnfitError(Exception):
    """A plugin cannot run; the message says why."""


class NoConfig(msgspec.Struct, frozen=True):
    """The section of a plugin that has nothing to set."""


class Traits(NamedTuple):
    """What a plugin's class says of itself."""

    cls: Callable[..., Any]
    config_type: type[msgspec.Struct]
    provides: tuple[type[Note], ...]
    needs: tuple[type[Note], ...]
    wants: tuple[type[Note], ...] = ()


class HookImplementation(NamedTuple):
    """One hook that a plugin implements: the bound method, and whether it takes the hook's argument."""

    hook: str
    method: Callable[..., Any]
    takes_argument: bool


def traits(cls: object, name: str) -> Traits:
    """Read a plugin's class attributes; raises UnfitError."""
    if not isinstance(cls, type):
        raise UnfitError(f"it is no class but {cls!r}")
    api = getattr(cls, "api", None)
    if api != hookspecs.API_VERSION:
        known = hookspecs.API_VERSION
        newer = isinstance(api, int) and api > known
        remedy = "update Watchkeeper" if newer else "the plugin needs an update"
        raise UnfitError(
            f"it is written for edition {api!r} of the hooks, this Watchkeeper knows edition {known}: {remedy}"
        )
    own_name = getattr(cls, "name", None)
    if own_name != name:
        raise UnfitError(f"its class calls itself {own_name!r}, but it is entered as {name!r}")
    if not NAME.fullmatch(name):
        raise UnfitError(f"its name {name!r} is not made of small letters, digits and underscores")
    config_type = getattr(cls, "Config", NoConfig)
    if not (isinstance(config_type, type) and issubclass(config_type, msgspec.Struct)):
        raise UnfitError("its Config is no msgspec.Struct")
    return Traits(cls, config_type, _notes(cls, "provides"), _notes(cls, "needs"), _notes(cls, "wants"))


def _notes(cls: type, attribute: str) -> tuple[type[Note], ...]:
    found = getattr(cls, attribute, ())
    if not isinstance(found, tuple) or not all(isinstance(each, type) and issubclass(each, Note) for each in found):
        raise UnfitError(f"its {attribute!r} is no tuple of note types")
    return found


def checked(
    config_type: type[msgspec.Struct], values: Mapping[str, Any], where: str
) -> tuple[msgspec.Struct | None, list[Problem]]:
    """The plugin's config made from its section, and all that is wrong with it."""
    return check({key: value for key, value in values.items() if key != "enabled"}, config_type, where)


def section(config_type: type[msgspec.Struct], values: Mapping[str, Any], where: str) -> msgspec.Struct:
    """As :func:`checked`; raises UnfitError with all that is wrong, a line each."""
    made, problems = checked(config_type, values, where)
    if made is None:
        raise UnfitError("\n".join(map(str, problems)))
    return made


def hooks(plugin: object) -> list[HookImplementation]:
    """What the plugin implements, validated by pluggy and by our own rules; raises UnfitError."""
    manager = pluggy.PluginManager(hookspecs.PROJECT)
    manager.add_hookspecs(hookspecs)
    try:
        manager.register(plugin)
        manager.check_pending()
    except pluggy.PluginValidationError as error:
        raise UnfitError(_hook_fault(plugin, str(error))) from error
    found = []
    for hook in HOOKS:
        for implementation in getattr(manager.hook, hook).get_hookimpls():
            _check_kind(hook, implementation)
            found.append(HookImplementation(hook, implementation.function, bool(implementation.argnames)))
    return found


def _check_kind(hook: str, implementation: pluggy.HookImpl) -> None:
    if implementation.wrapper or implementation.hookwrapper:
        raise UnfitError(f"its {hook} is a wrapper round other plugins' hooks, which is not allowed")
    if implementation.tryfirst or implementation.trylast:
        raise UnfitError(f"its {hook} asks to be first or last, but the order follows from 'provides' and 'needs'")
    is_async = inspect.iscoroutinefunction(implementation.function)
    if is_async != hook.startswith("async_"):
        raise UnfitError(f"its {hook} must {'not ' if is_async else ''}be an async function")


def _hook_fault(plugin: object, text: str) -> str:
    found = re.search(r"unknown hook '(\w+)'", text)
    if found:
        return f"there is no hook {found.group(1)!r}{suggest(found.group(1), HOOKS)}"
    found = re.search(r"for hook '(\w+)'.*Argument\(s\) {(.+?)}", text, re.DOTALL)
    if found:
        hook, taken = found.groups()
        given = ", ".join(map(repr, inspect.signature(getattr(hookspecs, hook)).parameters))
        return f"its {hook} takes {', '.join(sorted(taken.split(', ')))}, but the hook gives {given or 'nothing'}"
    return " ".join(text.replace(repr(plugin), type(plugin).__name__).split())
