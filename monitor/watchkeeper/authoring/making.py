"""Writes a plugin to start from: a project of its own that installs, passes its tests and is fit to run."""

from __future__ import annotations

import re
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from string import Template

from ..host.fitness import NAME

#: file of the project → file of the template
_FILES = {
    "pyproject.toml": "pyproject.toml.txt",
    "README.md": "README.md.txt",
    "${package}/__init__.py": "init.py.txt",
    "${package}/notes.py": "notes.py.txt",
    "${package}/plugin.py": "plugin.py.txt",
    "${package}/settings.py": "settings.py.txt",
    "${package}/py.typed": "py.typed.txt",
    "tests/test_plugin.py": "test_plugin.py.txt",
}


class MakingError(Exception):
    """No plugin can be written; the message says why."""


def make(name: str, parent: Path, taken: Mapping[str, str]) -> Path:
    """Write the project of a plugin ``name`` into a new folder of that name in ``parent``; returns the folder.

    ``taken`` are the names that there are, with who has them. Raises MakingError, and then nothing was written.
    """
    _check(name, taken)
    folder = parent / name
    words = {
        "name": name,
        "package": f"watchkeeper_{name}",
        "distribution": f"watchkeeper-{name.strip('_').replace('_', '-')}",
        "stem": "".join(part.capitalize() for part in name.split("_")),
        "title": " ".join(name.split("_")).strip().capitalize(),
    }
    template = resources.files(__package__) / "template"
    texts = {
        Template(file).substitute(words): Template((template / source).read_text(encoding="utf-8")).substitute(words)
        for file, source in _FILES.items()
    }
    try:
        folder.mkdir(parents=True)
        for file, text in texts.items():
            path = folder / file
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
    except FileExistsError as error:
        raise MakingError(f"{error.filename} exists already") from error
    except OSError as error:
        raise MakingError(f"{error.filename}: {error.strerror}") from error
    return folder


def _check(name: str, taken: Mapping[str, str]) -> None:
    if not NAME.fullmatch(name):
        nearest = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_0123456789")[:32]
        hint = f"; {nearest!r} would do" if NAME.fullmatch(nearest) else ""
        raise MakingError(
            f"{name!r} is no name for a plugin: up to 32 small letters, digits and underscores, a letter first{hint}"
        )
    if name in taken:
        raise MakingError(f"the name {name!r} is taken by the plugin of {taken[name]}")
