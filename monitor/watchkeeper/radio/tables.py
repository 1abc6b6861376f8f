"""Reads the comma-separated tables that stand beside this package in ``data/``."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

DATA = Path(__file__).with_name("data")


def rows(name: str) -> Iterator[dict[str, str]]:
    """Yield the rows of ``data/name`` by column heading; lines that begin with ``#`` name source and release."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(line for line in file if not line.startswith("#"))
