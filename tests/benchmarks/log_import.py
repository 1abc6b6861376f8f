"""How fast a large log is read in, in how much memory, and how soon a watch stands on it.

``python -m tests.benchmarks.log_import [--contacts 1000000] [--json]``

Makes a synthetic ADIF file with the fields that a contact of ours has, reads it with the package adif-io, imports it
with ``watchkeeper log import``, imports it again (all equal), and opens the log as a watch does. One run, one machine.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

MEASURED = """
import sys, time
import adif_io
start = time.perf_counter()
count = sum(1 for _ in adif_io.read_from_file(sys.argv[1])[0])
print(count, time.perf_counter() - start)
"""
READY = """
import sys, time
from pathlib import Path
start = time.perf_counter()
from watchkeeper.store.store import Store
store = Store.open(Path(sys.argv[1]))
store.open_session(b"", 0)
index = store.worked()
print(index.count, time.perf_counter() - start)
store.close()
"""
BANDS = (("160m", 1_840), ("80m", 3_573), ("40m", 7_074), ("30m", 10_136), ("20m", 14_074), ("17m", 18_100),
         ("15m", 21_074), ("12m", 24_915), ("10m", 28_074), ("6m", 50_313))  # fmt: skip
PLACES = (("W", "United States", 291, 5, 8, "NA"), ("DL", "Fed. Rep. of Germany", 230, 14, 28, "EU"),
          ("JA", "Japan", 339, 25, 45, "AS"), ("G", "England", 223, 14, 27, "EU"), ("I", "Italy", 248, 15, 28, "EU"),
          ("VK", "Australia", 150, 30, 59, "OC"), ("LU", "Argentina", 100, 13, 14, "SA"))  # fmt: skip

NAMES = ("Ada", "Ben", "Chiyo", "Dora", "Emil", "Fatou", "Gil", "Hana")


def field(name: str, value: object) -> str:
    """One ADI field."""
    return f"<{name}:{len(str(value))}>{value} "


def records(count: int) -> Iterator[str]:
    """``count`` contacts in the order of time; about 150,000 stations a million, some worked far more than others."""
    dice = random.Random(7)
    stations = [station(dice, number) for number in range(max(100, count * 15 // 100))]
    at = time.mktime((2005, 1, 1, 0, 0, 0, 0, 0, 0))
    for _ in range(count):
        at += dice.randrange(20, 500)
        call, place, locator, name = stations[int(len(stations) * dice.random() ** 2)]
        band, khz = dice.choice(BANDS)
        submode = dice.random() < 0.3
        yield "".join(
            (
                field("CALL", call),
                field("QSO_DATE", time.strftime("%Y%m%d", time.gmtime(at))),
                field("TIME_ON", time.strftime("%H%M%S", time.gmtime(at))),
                field("QSO_DATE_OFF", time.strftime("%Y%m%d", time.gmtime(at + 75))),
                field("TIME_OFF", time.strftime("%H%M%S", time.gmtime(at + 75))),
                field("BAND", band),
                field("FREQ", f"{(khz * 1000 + dice.randrange(200, 2800)) / 1e6:.6f}"),
                field("MODE", "MFSK" if submode else "FT8"),
                field("SUBMODE", "FT4") if submode else "",
                field("RST_SENT", f"{dice.randrange(-24, 10):+03d}"),
                field("RST_RCVD", f"{dice.randrange(-24, 10):+03d}"),
                field("GRIDSQUARE", locator),
                field("STATION_CALLSIGN", "DL5QRM"),
                field("OPERATOR", "DL5QRM"),
                field("MY_GRIDSQUARE", "JO62QM"),
                field("TX_PWR", 10),
                field("DISTANCE", dice.randrange(100, 18_000)),
                field("DXCC", place[2]),
                field("COUNTRY", place[1]),
                field("CQZ", place[3]),
                field("ITUZ", place[4]),
                field("CONT", place[5]),
                field("NAME", name),
                field("PROP_MODE", "F2"),
                field("MY_SIG", "POTA"),
                field("MY_SIG_INFO", "DE-0123"),
                field("MY_POTA_REF", "DE-0123"),
                field("LOTW_QSL_RCVD", "Y" if (confirmed := dice.random() < 0.4) else "N"),
                field("LOTW_QSLRDATE", time.strftime("%Y%m%d", time.gmtime(at + 5e6))) if confirmed else "",
                "<EOR>\n",
            )
        )


def station(dice: random.Random, number: int) -> tuple[str, tuple[str, str, int, int, int, str], str, str]:
    """A station with a call that belongs to nobody: its suffix begins QR… to QU…, which is no call of the trade's."""
    place = dice.choice(PLACES)
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    suffix = "Q" + "RSTU"[number % 4] + letters[number // 4 % 26] + letters[number // 104 % 26]
    locator = f"{letters[dice.randrange(18)]}{letters[dice.randrange(18)]}{dice.randrange(100):02d}"
    return (
        f"{place[0]}{number // 2704 % 10}{suffix}",
        place,
        locator,
        dice.choice(NAMES),
    )


def make(path: Path, count: int) -> None:
    """Write the synthetic log."""
    with path.open("w", encoding="ascii", newline="") as file:
        file.write("synthetic log\n<ADIF_VER:5>3.1.7 <EOH>\n")
        for record in records(count):
            file.write(record)


def timed(script: str, argument: Path) -> tuple[int, float]:
    """What a script of its own process counted, and the seconds that it says it took."""
    done = subprocess.run([sys.executable, "-c", script, str(argument)], check=True, capture_output=True, text=True)
    count, seconds = done.stdout.split()
    return int(count), float(seconds)


def processor_s() -> float:
    """Processor seconds of all processes that this one started and that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def imported(file: Path, folder: Path) -> tuple[dict[str, int], float, float]:
    """What ``log import`` says, its seconds with all that starting it costs, and the peak of its processes in MiB."""
    command = [sys.executable, "-m", "watchkeeper", "log", "import", str(file), "--data", str(folder), "--json"]
    start = time.perf_counter()
    peak = 0.0
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as running:
        while running.poll() is None:
            peak = max(peak, resident_mib(running.pid))
            time.sleep(0.02)
        seconds = time.perf_counter() - start
        assert running.stdout is not None
        told: dict[str, int] = json.loads(running.stdout.read())
    return told, seconds, peak


def resident_mib(pid: int) -> float:
    """Memory of a process and its descendants that is theirs alone or their share of what several use."""
    total = 0.0
    todo = [pid]
    while todo:
        one = todo.pop()
        try:
            text = Path(f"/proc/{one}/smaps_rollup").read_text(encoding="ascii")
            total += int(text.split("Pss:")[1].split()[0]) / 1024
            for task in Path(f"/proc/{one}/task").iterdir():
                todo += [int(child) for child in (task / "children").read_text(encoding="ascii").split()]
        except (OSError, IndexError):  # it ended meanwhile
            continue
    return total


def main() -> None:
    """Run it all and tell."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--contacts", type=int, default=1_000_000)
    options.add_argument("--json", action="store_true", help="one JSON object")
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as place:
        file, folder = Path(place, "log.adi"), Path(place, "data")
        make(file, asked.contacts)
        before = processor_s()
        read_count, read_s = timed(MEASURED, file)
        between = processor_s()
        told, import_s, peak = imported(file, folder)
        behind = processor_s()
        again, again_s, _ = imported(file, folder)
        ready_count, ready_s = timed(READY, folder)
        found = {
            "contacts": asked.contacts,
            "file_mib": round(file.stat().st_size / 2**20, 1),
            "adif_io_s": round(read_s, 2),
            "import_s": round(import_s, 2),
            "times_as_fast": round(read_s / import_s, 2),
            "adif_io_processor_s": round(between - before, 2),
            "import_processor_s": round(behind - between, 2),
            "import_peak_mib": round(peak),
            "second_import_s": round(again_s, 2),
            "ready_s": round(ready_s, 2),
            "python": platform.python_version(),
            "cores": len(os.sched_getaffinity(0)),
        }
    assert read_count == asked.contacts
    assert told["read"] == told["new"] + told["equal"] == asked.contacts
    assert again["equal"] == asked.contacts
    assert ready_count == told["new"]
    if asked.json:
        print(json.dumps(found))
    else:
        print("\n".join(f"{name:>20}  {value}" for name, value in found.items()))


if __name__ == "__main__":
    main()
