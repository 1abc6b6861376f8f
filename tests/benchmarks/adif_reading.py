"""How fast ADIF files are read, beside two other libraries, all in one run on one file.

    python tests/benchmarks/adif_reading.py [--contacts 200000] [--json]

The file is synthetic and always the same: twelve fields a contact, call signs of the series that belong to nobody.
Each reader runs in a process of its own, so that its peak memory is its own, and reads the file to the end three times;
the best time counts. The floor that the project sets itself is three times adif-io.
"""

from __future__ import annotations

import argparse
import json
import platform
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROUNDS = 3
FLOOR = 3.0
START = datetime(2020, 1, 1, tzinfo=UTC)
BANDS = (("40m", 7_074_000), ("20m", 14_074_000), ("15m", 21_074_000), ("10m", 28_074_000))


def write_contacts(path: Path, count: int) -> None:
    """The same ``count`` contacts whenever and wherever this runs."""
    from watchkeeper.adif import adif_date, adif_time, freq_mhz, header, write_record

    chance = random.Random(317)
    with path.open("wb") as file:
        file.write(header("benchmark", START))
        for number in range(count):
            when = START + timedelta(seconds=90 * number)
            band, dial_hz = BANDS[number % len(BANDS)]
            fields = {
                "CALL": f"DL{number % 10}QR{chance.choice('ABCDEFGHIJKLMNOPQRSTU')}",
                "QSO_DATE": adif_date(when),
                "TIME_ON": adif_time(when),
                "TIME_OFF": adif_time(when + timedelta(seconds=60)),
                "BAND": band,
                "FREQ": freq_mhz(dial_hz + chance.randrange(200, 2900)),
                "MODE": "MFSK",
                "SUBMODE": "FT4",
                "RST_SENT": f"{chance.randrange(-24, 10):+03d}",
                "RST_RCVD": f"{chance.randrange(-24, 10):+03d}",
                "GRIDSQUARE": f"JO{chance.randrange(100):02d}",
                "STATION_CALLSIGN": "DL5QRM",
            }
            file.write(write_record(fields))


def ours(path: str) -> int:
    """Count the records with watchkeeper.adif, one at a time."""
    from watchkeeper.adif import read_file

    return sum(1 for _ in read_file(path))


def adif_io(path: str) -> int:
    """Count the records with adif-io."""
    from adif_io import read_from_file

    return len(read_from_file(path)[0])


def pyadif_file(path: str) -> int:
    """Count the records with pyadif-file."""
    from adif_file import adi

    return len(adi.load(path)["RECORDS"])


READERS: dict[str, Callable[[str], int]] = {"watchkeeper": ours, "adif-io": adif_io, "pyadif-file": pyadif_file}


def measure(reader: str, path: str) -> dict[str, float | int | str]:
    """Best speed and peak memory of one reader in this process."""
    best, count = float("inf"), 0
    for _ in range(ROUNDS):
        begin = time.perf_counter()
        count = READERS[reader](path)
        best = min(best, time.perf_counter() - begin)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"reader": reader, "contacts": count, "contacts_per_s": round(count / best), "peak_mb": round(peak_mb, 1)}


def run(contacts: int) -> dict[str, object]:
    """All readers on one file, each in a fresh process."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "contacts.adi"
        write_contacts(path, contacts)
        size_mb = path.stat().st_size / 1e6
        rows = []
        for reader in READERS:
            command = [sys.executable, __file__, "--measure", reader, str(path)]
            rows.append(json.loads(subprocess.run(command, check=True, capture_output=True).stdout))
    ratio = rows[0]["contacts_per_s"] / rows[1]["contacts_per_s"]
    return {
        "python": platform.python_version(),
        "file_mb": round(size_mb, 1),
        "readers": rows,
        "times_adif_io": round(ratio, 2),
        "floor": FLOOR,
    }


def main() -> int:
    """Print the table or the JSON; the exit code is 1 when the floor is missed."""
    parser = argparse.ArgumentParser(description="Measure how fast ADIF is read.")
    parser.add_argument("--contacts", type=int, default=200_000)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--measure", nargs=2, metavar=("READER", "PATH"), help="one reader in this process")
    given = parser.parse_args()
    if given.measure:
        print(json.dumps(measure(*given.measure)))
        return 0
    result = run(given.contacts)
    if given.json:
        print(json.dumps(result))
    else:
        print(f"Python {result['python']}, {given.contacts} contacts, {result['file_mb']} MB")
        print(f"{'reader':<12} {'contacts/s':>12} {'peak MB':>9}")
        readers = result["readers"]
        assert isinstance(readers, list)
        for row in readers:
            print(f"{row['reader']:<12} {row['contacts_per_s']:>12,} {row['peak_mb']:>9}")
        print(f"{result['times_adif_io']} times adif-io (floor {FLOOR})")
    times = result["times_adif_io"]
    assert isinstance(times, float)
    return 0 if times >= FLOOR else 1


if __name__ == "__main__":
    sys.exit(main())
