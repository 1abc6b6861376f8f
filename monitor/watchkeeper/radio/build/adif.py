"""Bands and modes from the ADIF Specification's published tables; only names, codes and limits are taken over."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

_HZ_PER_MHZ = 1_000_000


def build(raw: Path) -> dict[str, str]:
    """The text of both tables by file name, from the newest ``adif-*`` folder; ``FileNotFoundError`` without one."""
    folders = sorted(raw.glob("adif-*"))
    if not folders:
        raise FileNotFoundError(f"no folder adif-* in {raw}")
    release = folders[-1].name.removeprefix("adif-")
    return {
        "adif-bands.csv": _text(release, "Band", "name,low_hz,high_hz", _bands(folders[-1])),
        "adif-modes.csv": _text(release, "Mode and Submode", "mode,submode,import_only", _modes(folders[-1])),
    }


def _text(release: str, enumeration: str, columns: str, rows: Sequence[tuple[str, ...]]) -> str:
    source = f"# ADIF Specification {release} (adif.org), enumeration {enumeration}: names, codes and limits only.\n"
    return source + columns + "\n" + "".join(",".join(row) + "\n" for row in rows)


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _bands(folder: Path) -> list[tuple[str, ...]]:
    columns = ("Lower Freq (MHz)", "Upper Freq (MHz)")
    return [
        (row["Band"], *(str(int(Decimal(row[column]) * _HZ_PER_MHZ)) for column in columns))
        for row in _rows(folder / "band.csv")
    ]


def _modes(folder: Path) -> list[tuple[str, str, str]]:
    """Modes with an empty submode, then submodes. The Submode table counts: the cells of the other have slips."""
    modes = [(row["Mode"], "", "yes" if row["Import-only"] else "") for row in _rows(folder / "mode.csv")]
    return modes + [(row["Mode"], row["Submode"], "") for row in _rows(folder / "submode.csv")]
