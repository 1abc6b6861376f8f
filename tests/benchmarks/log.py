"""The log against its peers: reading ADIF, importing it, looking calls up, and what the index of a log weighs.

Gathers what ``adif_reading``, ``log_import`` and ``lookup`` measure, each of which can be run alone.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from . import adif_reading, lookup
from .contacts import seed_log
from .figures import Figure, at_least

#: memory that the worked index of a log takes, and the contacts in it
_INDEX = """
import re, sys
from pathlib import Path
from watchkeeper.store.store import Store
def resident():
    return int(re.search(r"VmRSS:\\s*(\\d+)", Path("/proc/self/status").read_text())[1]) * 1024
store = Store.open(Path(sys.argv[1]))
before = resident()
index = store.worked()
print(index.count, resident() - before)
store.close()
"""


def measure(place: Path, *, quick: bool) -> list[Figure]:
    """The figures, in one run."""
    contacts = 20_000 if quick else 200_000
    return [*_reading(contacts), *_importing(contacts), *_looking_up(), *_index(place / "index", contacts)]


def _reading(contacts: int) -> list[Figure]:
    result: dict[str, Any] = adif_reading.run(contacts)
    figures = [
        Figure(f"ADIF read by {row['reader']}", row["contacts_per_s"], "contacts/s") for row in result["readers"]
    ]
    return [*figures, at_least("ADIF read, to adif-io", result["times_adif_io"], "times", adif_reading.FLOOR)]


def _importing(contacts: int) -> list[Figure]:
    command = [sys.executable, "-m", "tests.benchmarks.log_import", "--contacts", str(contacts), "--json"]
    result = json.loads(subprocess.run(command, check=True, capture_output=True).stdout)
    return [
        Figure("log import, everything included", contacts / result["import_s"], "contacts/s"),
        Figure("log import to adif-io's mere reading", result["times_as_fast"], "times"),
        Figure("log import, peak memory", result["import_peak_mib"], "MiB"),
    ]


def _looking_up() -> list[Figure]:
    result: dict[str, Any] = lookup.measure()
    figures = [
        Figure("pyhamcty, a call looked up first", float(result["reference_per_s"]), "calls/s"),
        Figure("a call looked up first", float(result["first_per_s"]), "calls/s"),
        Figure("a call looked up again", float(result["remembered_per_s"]), "calls/s"),
        at_least("first look-up to pyhamcty's", float(result["times_reference"]), "times", 100.0),
    ]
    if result["times_pyhamtools"] is not None:
        figures.append(Figure("first look-up to pyhamtools'", float(result["times_pyhamtools"]), "times"))
    return figures


def _index(folder: Path, contacts: int) -> list[Figure]:
    seed_log(folder, contacts)
    done = subprocess.run([sys.executable, "-c", _INDEX, str(folder)], check=True, capture_output=True, text=True)
    count, size = map(int, done.stdout.split())
    return [Figure(f"worked index in memory, {count:,} contacts", size / count, "bytes each")]
