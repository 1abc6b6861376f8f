"""``python -m watchkeeper.radio.build RAW``: make all data files again from the folder RAW of raw files.

RAW holds, under these names: ``country-files-*.csv`` (the Country Files), ``itu-appendix-42.csv`` (columns first, last,
administration), ``us-states-10m.json`` and ``countries-50m.json`` (TopoJSON); and in a folder ``adif-*`` the tables
``dxcc_entity_code.csv``, ``primary_administrative_subdivision.csv``, ``band.csv``, ``mode.csv`` and ``submode.csv``.
"""

from __future__ import annotations

import sys
from pathlib import Path

from watchkeeper.radio import datafile
from watchkeeper.radio.build import adif, outlines, tables


def main(arguments: list[str]) -> int:
    """Build everything, print the name and size of each file written."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m watchkeeper.radio.build RAW\n")
        return 2
    raw = Path(arguments[0])
    for name, text in {**tables.build(raw), **adif.build(raw), **outlines.build(raw)}.items():
        path = datafile.FOLDER / name
        path.write_text(text, encoding="utf-8", newline="\n")
        sys.stdout.write(f"{path.name}: {path.stat().st_size} bytes\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
