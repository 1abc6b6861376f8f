"""Compact tables from the country file, ITU Appendix 42 and ADIF's list of entity codes."""

from __future__ import annotations

import csv
from itertools import groupby
from pathlib import Path

from watchkeeper.radio.known import KNOWN_CALLS
from watchkeeper.radio.release import check, parse_country_file, to_compact

_UNITED_STATES = "291"


def build(raw: Path) -> dict[str, str]:
    """The text of each table by file name. ``ReleaseError`` or ``OSError`` where a raw file is bad or missing."""
    codes = _entity_codes(_only(raw, "adif-*/dxcc_entity_code.csv"))
    countries = parse_country_file(_only(raw, "country-files-*.csv").read_text(encoding="utf-8"))
    check(countries, {code: deleted for code, (_, deleted) in codes.items()}, KNOWN_CALLS)
    return {
        "entities.tsv": to_compact(countries),
        "entity-codes.txt": "".join(
            f"{code}\t{'deleted' if gone else ''}\t{name}\n" for code, (name, gone) in codes.items()
        ),
        "itu-series.txt": _itu_series(raw / "itu-appendix-42.csv"),
        "us-state-zones.txt": _state_zones(_only(raw, "adif-*/primary_administrative_subdivision.csv")),
    }


def _only(raw: Path, pattern: str) -> Path:
    """The newest of the raw files that fit."""
    found = sorted(raw.glob(pattern))
    if not found:
        raise FileNotFoundError(f"no file {pattern} in {raw}")
    return found[-1]


def _entity_codes(path: Path) -> dict[int, tuple[str, bool]]:
    with path.open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(file)
        return {int(row["Entity Code"]): (row["Entity Name"], row["Deleted"] == "true") for row in rows}


def _state_zones(path: Path) -> str:
    """State, CQ zone, ITU zone; a zone is left out where the state spans several or the table has none."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["DXCC Entity Code"] == _UNITED_STATES]
    lines = ((row["Code"], *(_single(row[column]) for column in ("CQ Zone", "ITU Zone"))) for row in rows)
    return "".join("\t".join(line) + "\n" for line in lines)


def _single(zones: str) -> str:
    return str(int(zones)) if zones.isdigit() else ""


def _itu_series(path: Path) -> str:
    """One line for each run of neighbouring whole series of one administration: first, last, administration."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = sorted({(row["first"], row["last"], row["administration"]) for row in csv.DictReader(file)})
    merged: list[tuple[str, str, str]] = []
    for (first, last), group in groupby(rows, key=lambda row: row[:2]):
        administration = _shared([name for _, _, name in group])
        if merged and merged[-1][0][2] == "A" and merged[-1][2] == administration and _follows(merged[-1][1], first):
            merged[-1] = (merged[-1][0], last, administration)
        else:
            merged.append((first, last, administration))
    return "".join("\t".join(row) + "\n" for row in merged)


def _shared(names: list[str]) -> str:
    """One series given to several parts of a kingdom belongs, as a whole, to the kingdom."""
    return names[0] if len(names) == 1 else names[0].split(" - ")[0]


def _follows(last: str, first: str) -> bool:
    """Whether the series that begins with ``first`` comes directly after that which ends with ``last``, both whole."""
    return last[0] == first[0] and last[2] == "Z" and first[2] == "A" and ord(first[1]) == ord(last[1]) + 1
