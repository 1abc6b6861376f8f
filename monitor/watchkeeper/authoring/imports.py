"""What of the program's own a plugin's code imports: only the doors that the promise is given for."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

PROGRAM = "watchkeeper"
DOORS = ("api", "radio", "adif", "view")


def beside_the_doors(module: str) -> str | None:
    """The first import of the package (or single file) of ``module`` that goes past the doors, and where it stands."""
    for file in _files(module.partition(".")[0]):
        for name, line in _imports(ast.parse(file.read_bytes())):
            first, _, rest = name.partition(".")
            if first == PROGRAM and rest.partition(".")[0] not in DOORS:
                return f"it imports {name} ({file.name}, line {line}), which may change without notice"
    return None


def _files(package: str) -> list[Path]:
    found = sys.modules[package]
    folders = [Path(folder) for folder in getattr(found, "__path__", ())]
    if folders:
        return sorted(file for folder in folders for file in folder.rglob("*.py"))
    return [] if found.__file__ is None else [Path(found.__file__)]


def _imports(tree: ast.AST) -> Iterator[tuple[str, int]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for each in node.names:
                yield each.name, node.lineno
        elif isinstance(node, ast.ImportFrom) and not node.level and node.module is not None:
            for each in node.names:
                yield f"{node.module}.{each.name}", node.lineno
