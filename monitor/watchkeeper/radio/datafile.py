"""The project's own data files, made by ``watchkeeper.radio.build``."""

from __future__ import annotations

from pathlib import Path

#: where they lie
FOLDER = Path(__file__).with_name("data")


def read(name: str) -> str:
    """The text of one of them."""
    return (FOLDER / name).read_text(encoding="utf-8")
