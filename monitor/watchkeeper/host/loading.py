"""From the settings to plugins that are ready to be called, in order; what cannot run keeps a record that says why."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import msgspec

from watchkeeper.config import PluginSettings
from watchkeeper.config.checking import EnvText, Problem, check, resolved, suggest

from . import discovery, fitness, order
from .context import Context, Records
from .discovery import Candidate, LoadError
from .fitness import UnfitError
from .guard import Record, Slot
from .status import State


class Switch(msgspec.Struct, frozen=True):
    """What every plugin's section knows beside the plugin's own keys."""

    enabled: bool = True


class Fleet(NamedTuple):
    """All plugins: every record by name, the running ones in their order, and notices for the operator."""

    records: list[Record]
    running: list[Record]
    notices: list[str]


def available(settings: PluginSettings) -> list[Candidate]:
    """The plugins that could be loaded: those of installed packages, then those of the plugin folder."""
    return discovery.installed() + (discovery.in_folder(settings.folder) if settings.folder else [])


def assemble(
    candidates: Sequence[Candidate],
    settings: PluginSettings,
    context: Callable[[str], Context],
    records: Records,
    *,
    safe: bool,
) -> Fleet:
    """Load, check, make and order the plugins. Raises nothing on a plugin's account."""
    fleet: dict[str, Record] = {}
    notices = [str(problem) for problem in _unknown_names(settings, {candidate.name for candidate in candidates})]
    if settings.folder and not settings.folder.is_dir():
        notices.append(f"plugins.folder: {settings.folder} is no folder")
    for candidate in candidates:
        if candidate.name in fleet:
            taken = fleet[candidate.name].distribution
            notices.append(
                f"plugin {candidate.name!r} of {candidate.distribution} left out: {taken} has that name already"
            )
            continue
        record = fleet[candidate.name] = Record(candidate.name, candidate.distribution, candidate.version)
        _prepare(record, candidate, settings, context, records, safe=safe)
    able = {
        name: record.traits for name, record in sorted(fleet.items()) if record.state is State.RUNNING and record.traits
    }
    names, reasons = order.arrange(able)
    for name, reason in reasons.items():
        fleet[name].out(State.BLOCKED, reason)
    return Fleet(sorted(fleet.values(), key=lambda each: each.name), [fleet[name] for name in names], notices)


class Section(NamedTuple):
    """A plugin's section: what it was made to, or all that is wrong with it."""

    plugin: str
    made: msgspec.Struct | None
    problems: list[Problem]


def sections(candidates: Sequence[Candidate], settings: PluginSettings) -> Iterator[Section]:
    """Every plugin's section, checked without making the plugin; then the names that no plugin has."""
    for candidate in candidates:
        where = f"plugins.{candidate.name}"
        values = settings.sections.get(candidate.name, {})
        try:
            if _why_off(candidate.name, settings, values, safe=False) is None:
                traits = _traits(candidate)
                yield Section(candidate.name, *_checked(traits, values, where))
        except LoadError as error:
            yield Section(candidate.name, None, [Problem(where, f"cannot be checked: {error}")])
        except UnfitError as error:
            yield Section(candidate.name, None, [Problem(where, str(error))])
    for problem in _unknown_names(settings, {candidate.name for candidate in candidates}):
        yield Section(problem.where.removeprefix("plugins."), None, [problem])


def settled(settings: PluginSettings) -> PluginSettings:
    """``settings`` with what the environment says in each plugin's section as the values that the plugin wants.

    A journal holds the settings, and it knows nothing of where a text came from.
    """
    told = {name for name, section in settings.sections.items() if _is_told(section)}
    if not told:
        return settings
    kinds = {one.name: _section_type(one, settings) for one in available(settings) if one.name in told}
    sections = {
        name: _resolved(section, kinds.get(name)) if name in told else section
        for name, section in settings.sections.items()
    }
    made: PluginSettings = msgspec.structs.replace(settings, sections=sections)
    return made


def _is_told(section: Mapping[str, Any]) -> bool:
    return any(
        isinstance(value, EnvText) or (isinstance(value, Mapping) and _is_told(value)) for value in section.values()
    )


def _section_type(candidate: Candidate, settings: PluginSettings) -> type[msgspec.Struct] | None:
    """None for a plugin that cannot run; one that is off is not even imported."""
    section = _resolved(settings.sections[candidate.name], None)
    try:
        off = _why_off(candidate.name, settings, section, safe=False)
        return None if off else _traits(candidate).config_type
    except (LoadError, UnfitError):
        return None


def _resolved(section: Mapping[str, Any], kind: type[msgspec.Struct] | None) -> dict[str, Any]:
    own = {key: value for key, value in section.items() if key == "enabled"}
    return {**resolved(section, kind), **resolved(own, Switch)}


def _traits(candidate: Candidate) -> fitness.Traits:
    found = discovery.load(candidate)
    made: fitness.Traits = contained("reading its attributes", lambda: fitness.traits(found, candidate.name))
    return made


def _checked(traits: fitness.Traits, values: dict[str, Any], where: str) -> tuple[msgspec.Struct | None, list[Problem]]:
    made: tuple[msgspec.Struct | None, list[Problem]] = contained(
        "checking its section", lambda: fitness.checked(traits.config_type, values, where)
    )
    return made


def _prepare(
    record: Record,
    candidate: Candidate,
    settings: PluginSettings,
    context: Callable[[str], Context],
    records: Records,
    *,
    safe: bool,
) -> None:
    section = settings.sections.get(record.name, {})
    try:
        why_off = _why_off(record.name, settings, section, safe=safe)
        if why_off:
            record.out(State.OFF, why_off)
            return
        record.traits = _traits(candidate)
        _make(record, record.traits, section, context, records)
    except LoadError as error:
        record.out(State.FAILED, str(error))
    except UnfitError as error:
        record.out(State.BLOCKED, str(error))


def _make(
    record: Record,
    traits: fitness.Traits,
    section: dict[str, Any],
    context: Callable[[str], Context],
    records: Records,
) -> None:
    where = f"plugins.{record.name}"
    record.config = contained("checking its section", lambda: fitness.section(traits.config_type, section, where))
    record.instance = contained("making it", lambda: traits.cls(record.config, context(record.name)))
    implementations = contained("reading its hooks", lambda: fitness.hooks(record.instance))
    record.slots = {found.hook: Slot(record, found) for found in implementations}
    if migrations := record.slots.get("migrations"):
        contained("migrating its tables", lambda: records.migrate(record.name, list(migrations.call())))


def contained(doing: str, action: Callable[[], Any]) -> Any:
    """The action's result; whatever it raises but KeyboardInterrupt becomes UnfitError, with what was being done."""
    try:
        return action()
    except (KeyboardInterrupt, UnfitError):
        raise
    except BaseException as error:
        raise UnfitError(f"{doing} raised {type(error).__name__}: {error}") from error


def _why_off(name: str, settings: PluginSettings, section: dict[str, Any], *, safe: bool) -> str | None:
    if safe:
        return "started in safe mode, without plugins"
    if name in settings.block:
        return "the config blocks it (plugins.block)"
    if settings.allow is not None and name not in settings.allow:
        return "the config does not allow it (plugins.allow)"
    own = {key: value for key, value in section.items() if key == "enabled"}
    switch, problems = check(own, Switch, f"plugins.{name}")
    if switch is None:
        raise UnfitError("\n".join(map(str, problems)))
    return None if switch.enabled else "the config switches it off (enabled = false)"


def _unknown_names(settings: PluginSettings, known: set[str]) -> list[Problem]:
    named: Iterable[tuple[str, str]] = [
        *((f"plugins.{name}", name) for name in settings.sections),
        *(("plugins.allow", name) for name in settings.allow or ()),
        *(("plugins.block", name) for name in settings.block),
    ]
    return [
        Problem(where, f"no plugin {name!r} is installed{suggest(name, sorted(known))}")
        for where, name in named
        if name not in known
    ]
