"""Reads the comma-separated ones among the project's data files."""

from __future__ import annotations

import csv
from collections.abc import Iterator

from watchkeeper.radio import datafile


def rows(name: str) -> Iterator[dict[str, str]]:
    """Yield the rows of a data file by column heading; lines that begin with ``#`` name source and release."""
    return iter(csv.DictReader(line for line in datafile.read(name).splitlines() if not line.startswith("#")))
