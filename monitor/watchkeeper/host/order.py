"""In which order plugins see a hearing: those that provide a note before those that need it, then by name."""

from __future__ import annotations

from collections.abc import Mapping
from graphlib import CycleError, TopologicalSorter

from watchkeeper.model import Note

from .fitness import Traits


def arrange(plugins: Mapping[str, Traits]) -> tuple[list[str], dict[str, str]]:
    """The names in order, and the reason for each plugin that cannot take part."""
    able = dict(plugins)
    reasons = _doubly_provided(able)
    while True:
        able = {name: traits for name, traits in able.items() if name not in reasons}
        providers = {note: name for name, traits in able.items() for note in traits.provides}
        faults = _unmet(able, providers) or _circle(able, providers)
        if not faults:
            return _sorted(able, providers), reasons
        reasons |= faults


def _doubly_provided(plugins: Mapping[str, Traits]) -> dict[str, str]:
    first: dict[type[Note], str] = {}
    reasons: dict[str, str] = {}
    for name in sorted(plugins):
        for note in plugins[name].provides:
            if note in first:
                reasons[name] = f"it provides {note.__name__}, which {first[note]!r} provides already"
            first.setdefault(note, name)
    return reasons


def _unmet(plugins: Mapping[str, Traits], providers: Mapping[type[Note], str]) -> dict[str, str]:
    reasons: dict[str, str] = {}
    for name, traits in plugins.items():
        lacking = [f"{note.__name__} (of {note.__module__})" for note in traits.needs if note not in providers]
        if lacking:
            reasons[name] = f"it needs {', '.join(lacking)}, which no running plugin provides"
    return reasons


def _graph(plugins: Mapping[str, Traits], providers: Mapping[type[Note], str]) -> dict[str, list[str]]:
    return {
        name: [providers[note] for note in (*traits.needs, *traits.wants) if note in providers]
        for name, traits in sorted(plugins.items())
    }


def _circle(plugins: Mapping[str, Traits], providers: Mapping[type[Note], str]) -> dict[str, str]:
    try:
        TopologicalSorter(_graph(plugins, providers)).prepare()
    except CycleError as error:
        circle = list(reversed(error.args[1]))
        words = " needs ".join(repr(name) for name in circle)
        return dict.fromkeys(sorted(set(circle)), f"it is part of a circle: {words}")
    return {}


def _sorted(plugins: Mapping[str, Traits], providers: Mapping[type[Note], str]) -> list[str]:
    sorter = TopologicalSorter(_graph(plugins, providers))
    sorter.prepare()
    names: list[str] = []
    ready: list[str] = []
    while sorter.is_active():
        ready = sorted([*ready, *sorter.get_ready()])
        names.append(ready.pop(0))
        sorter.done(names[-1])
    return names
