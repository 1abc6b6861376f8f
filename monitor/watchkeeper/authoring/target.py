"""What a plugin author points at: an installed plugin by its name, a project, a folder of plugins or a single file."""

from __future__ import annotations

import importlib
import sys
import tomllib
from collections.abc import Callable, Mapping
from functools import partial, reduce
from pathlib import Path
from typing import Any

from ..config.checking import suggest
from ..host.discovery import GROUP, Candidate, in_folder, installed


class TargetError(Exception):
    """There is no plugin; the message says what was looked for, and where."""


def find(target: str) -> list[Candidate]:
    """The plugins at a path, or the installed one of that name. Nothing is imported. Raises TargetError."""
    path = Path(target)
    if path.is_dir():
        found = _in_project(path) if (path / "pyproject.toml").is_file() else in_folder(path)
        if not found:
            raise TargetError(f"{target} holds no plugin: no *.py, and no pyproject.toml that names one")
        return found
    if path.is_file():
        single = [each for each in in_folder(path.parent) if each.distribution == str(path)]
        if not single:
            raise TargetError(f"{target} is no *.py file whose name begins with a letter")
        return single
    known = installed()
    named = [each for each in known if each.name == target]
    if not named:
        names = sorted({each.name for each in known})
        raise TargetError(f"{target!r} is no path and no installed plugin{suggest(target, names)}")
    return named[:1]


def _in_project(folder: Path) -> list[Candidate]:
    file = folder / "pyproject.toml"
    try:
        told = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise TargetError(f"{file}: {error}") from error
    project = _table(told, "project", file)
    points = _table(_table(project, "entry-points", file), GROUP, file)
    if not points:
        raise TargetError(f'{file} names no plugin: it has no [project.entry-points."{GROUP}"]')
    distribution, version = (project.get(key) for key in ("name", "version"))
    return [
        Candidate(name, _text(distribution), _text(version), partial(_from_project, folder, str(points[name])))
        for name in sorted(points)
    ]


def _table(told: Mapping[str, Any], key: str, file: Path) -> Mapping[str, Any]:
    found = told.get(key, {})
    if not isinstance(found, Mapping):
        raise TargetError(f"{file}: {key!r} is no table")
    return found


def _text(value: object) -> str | None:
    return None if value is None else str(value)


def _from_project(folder: Path, point: str) -> Any:
    """Import what an entry point names, from the project's own files before any installed copy of them."""
    places = [str(place.resolve()) for place in (folder / "src", folder) if place.is_dir()]
    sys.path[:0] = [place for place in places if place not in sys.path]
    module, _, attributes = point.partition(":")
    get: Callable[[Any, str], Any] = getattr
    return reduce(get, filter(None, attributes.split(".")), importlib.import_module(module))
