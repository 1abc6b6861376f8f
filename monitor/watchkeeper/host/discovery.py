"""Finds plugins: entry points of installed packages, and single files in a folder. Nothing is imported here.

Each is loaded by itself and on its own risk: whatever its import does, even leaving by ``SystemExit``, is told as
that plugin's fault.
"""

from __future__ import annotations

import importlib.metadata
import importlib.util
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

GROUP = "watchkeeper.plugins"


class Candidate(NamedTuple):
    """A plugin that could be loaded. ``distribution`` is the package it came with, or the file."""

    name: str
    distribution: str | None
    version: str | None
    load: Callable[[], Any]


class LoadError(Exception):
    """Importing a plugin went wrong; the message says how."""


def installed() -> list[Candidate]:
    """The plugins that installed packages name in the entry-point group, by name and then by package."""
    found = [
        Candidate(point.name, *_named(point.dist), point.load) for point in importlib.metadata.entry_points(group=GROUP)
    ]
    return sorted(found, key=lambda each: (each.name, each.distribution or ""))


def in_folder(folder: Path) -> list[Candidate]:
    """The single-file plugins of ``folder``: every ``*.py`` whose name does not begin with an underscore."""
    files = sorted(folder.glob("*.py")) if folder.is_dir() else []
    return [
        Candidate(file.stem, str(file), None, partial(_from_file, file))
        for file in files
        if not file.name.startswith("_")
    ]


def load(candidate: Candidate) -> Any:
    """The plugin's class; raises LoadError whatever went wrong."""
    try:
        return candidate.load()
    except KeyboardInterrupt:
        raise
    except LoadError:
        raise
    except BaseException as error:
        raise LoadError(f"its import raised {type(error).__name__}: {error}") from error


def _named(distribution: importlib.metadata.Distribution | None) -> tuple[str | None, str | None]:
    return (distribution.name, distribution.version) if distribution else (None, None)


def _from_file(file: Path) -> Any:
    name = f"watchkeeper_plugin_{file.stem}"
    spec = importlib.util.spec_from_file_location(name, file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    own = (each for each in vars(module).values() if isinstance(each, type) and each.__module__ == name)
    classes = [each for each in own if hasattr(each, "api")]
    if len(classes) != 1:
        raise LoadError(f"it holds {len(classes)} plugin classes (with an attribute 'api'), not one")
    return classes[0]
