"""Make ``data/adif.json`` from the tables that the ADIF standard publishes as CSV.

Run again on a newer release::

    python -m watchkeeper.adif.build_tables FOLDER --release 3.1.7 --released 2026-03-22

FOLDER holds the standard's CSV tables (``fields.csv``, ``mode.csv``, …). Only names, codes and limits are kept:
the descriptions stay in the standard.
"""

from __future__ import annotations

import argparse
import csv
import json
from pathlib import Path
from typing import Any

OUTPUT = Path(__file__).with_name("data") / "adif.json"

#: table → (file, columns kept); a column that is missing from the file stops the run
TABLES: dict[str, tuple[str, tuple[str, ...]]] = {
    "fields": (
        "fields.csv",
        ("Field Name", "Data Type", "Header Field", "Minimum Value", "Maximum Value", "Enumeration", "Import-only"),
    ),
    "types": ("datatypes.csv", ("Data Type Name", "Data Type Indicator", "Minimum Value", "Import-only")),
    "ARRL_Section": ("arrl_section.csv", ("Abbreviation", "Deleted Date")),
    "Band": ("band.csv", ("Band", "Lower Freq (MHz)", "Upper Freq (MHz)")),
    "Contest_ID": ("contest_id.csv", ("Contest-ID", "Import-only")),
    "Continent": ("continent.csv", ("Abbreviation",)),
    "DXCC_Entity_Code": ("dxcc_entity_code.csv", ("Entity Code", "Entity Name", "Deleted")),
    "Mode": ("mode.csv", ("Mode", "Import-only")),
    "Primary_Administrative_Subdivision": (
        "primary_administrative_subdivision.csv",
        ("DXCC Entity Code", "Code", "Deleted", "Import-only"),
    ),
    "Propagation_Mode": ("propagation_mode.csv", ("Enumeration",)),
    "QSO_Complete": ("qso_complete.csv", ("Abbreviation",)),
    "Region": ("region.csv", ("Region Entity Code", "DXCC Entity Code", "End Date")),
    "Submode": ("submode.csv", ("Submode", "Mode")),
}


def rows(path: Path, columns: tuple[str, ...]) -> list[list[str]]:
    """The named columns of one CSV table, each row without its empty tail. Raises ``KeyError`` on a missing column."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        table = [[line[column] for column in columns] for line in csv.DictReader(file)]
    for row in table:
        while len(row) > 1 and not row[-1]:
            row.pop()
    return table


def text(folder: Path, release: str, released: str) -> str:
    """The data file: one table row a line, so that a newer release shows as a readable difference."""
    about = {
        "source": f"ADIF Specification {release} (adif.org), its published tables: names, codes and limits only",
        "release": release,
        "released": released,
        "made by": "watchkeeper.adif.build_tables",
    }
    parts = [f"{_compact(key)}: {_compact(value)}" for key, value in about.items()]
    for name, (file, columns) in TABLES.items():
        lines = ",\n".join(_compact(row) for row in rows(folder / file, columns))
        parts.append(f"{_compact(name)}: [\n{lines}\n]")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _compact(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def main(arguments: list[str] | None = None) -> None:
    """Write the data file from the command line's folder."""
    parser = argparse.ArgumentParser(description="Make the ADIF tables from the standard's CSV files.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--release", required=True, help="of the standard, as 3.1.7")
    parser.add_argument("--released", required=True, help="date of that release, as 2026-03-22")
    parser.add_argument("--output", type=Path, default=OUTPUT)
    given = parser.parse_args(arguments)
    given.output.write_text(text(given.folder, given.release, given.released), encoding="utf-8")


if __name__ == "__main__":
    main()
