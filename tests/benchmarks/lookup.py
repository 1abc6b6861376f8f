"""First-time look-ups of call signs, against two libraries: ``python -m tests.benchmarks.lookup [--json]``.

Each loads its data before the clock runs and sees every call for the first time; pyhamtools, which brings none, gets
ours. The calls are the same. The faster of several rounds counts, as it is disturbed least. Without the extra ``peers``
only pyhamcty is compared.
"""

from __future__ import annotations

import importlib.util
import json
import platform
import plistlib
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pyhamcty

from watchkeeper.radio import entity
from watchkeeper.radio.release import from_compact

ROUNDS = 5
REFERENCE_CALLS = 1500  # the reference library is slow: a sample is enough
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
#: prefixes that are often heard
PREFIXES = "K W N DL JA UA I F G EA SP PY OH SM VE VK ZL UR HA OK LU YO LZ 9A S5 ON PA OZ LA CT BG HL YB VU ZS"


def calls() -> list[str]:
    """Distinct calls in an order that leaves neighbours apart."""
    suffixes = [f"Q{second}{third}" for second in "RSTU" for third in LETTERS]
    return [f"{prefix}{digit}{suffix}" for suffix in suffixes for digit in range(10) for prefix in PREFIXES.split()]


def rate(look_up: Callable[[str], object], wanted: Sequence[str]) -> float:
    """Look-ups in a second."""
    start = time.perf_counter()
    for call in wanted:
        look_up(call)
    return len(wanted) / (time.perf_counter() - start)


def ours(wanted: Sequence[str]) -> float:
    """The best rate of several rounds, each from an empty memory."""
    best = 0.0
    for _ in range(ROUNDS):
        entity.lookup.cache_clear()
        best = max(best, rate(entity.lookup, wanted))
    return best


def _of_pyhamtools(wanted: Sequence[str]) -> float | None:
    """Its rate with the prefixes of our release; None where it is not installed."""
    if importlib.util.find_spec("pyhamtools") is None:
        return None
    import pyhamtools as peer

    folder = Path(peer.__file__).parent
    names = {code: name for name, code in json.loads((folder / "countryfilemapping.json").read_text("utf-8")).items()}
    rows = {}
    for row in from_compact(entity.BUNDLED.read_text("utf-8")).rows:
        for exact, table in ((False, row.prefixes), (True, row.calls)):
            for key, at in table.items():
                rows[key] = {
                    "Country": names[row.code], "CQZone": at.cq_zone, "ITUZone": at.itu_zone,
                    "Continent": at.continent, "Latitude": at.latitude, "Longitude": -at.longitude,
                    "ExactCallsign": exact,
                }  # fmt: skip
    with tempfile.NamedTemporaryFile(suffix=".plist") as file:
        plistlib.dump(rows, file)
        file.flush()
        found = peer.Callinfo(peer.LookupLib(lookuptype="countryfile", filename=file.name))
    return rate(found.get_all, wanted)


def measure() -> dict[str, float | int | str | None]:
    """The figures of one run."""
    wanted = calls()
    entity.release()  # loads the data
    reference = pyhamcty.CountryData()
    theirs = max(rate(reference.country, wanted[:REFERENCE_CALLS]) for _ in range(2))
    others = _of_pyhamtools(wanted)
    first = ours(wanted)
    entity.lookup.cache_clear()
    few = wanted[:20_000]
    rate(entity.lookup, few)
    remembered = max(rate(entity.lookup, few) for _ in range(ROUNDS))
    return {
        "python": platform.python_version(),
        "calls": len(wanted),
        "reference_per_s": round(theirs),
        "pyhamtools_per_s": None if others is None else round(others),
        "first_per_s": round(first),
        "remembered_per_s": round(remembered),
        "times_reference": round(first / theirs, 1),
        "times_pyhamtools": None if others is None else round(first / others, 1),
    }


def main(arguments: Sequence[str]) -> None:
    """Print the figures as a table, or with --json as one object."""
    figures = measure()
    if "--json" in arguments:
        print(json.dumps(figures))
        return
    for name, figure in figures.items():
        shown = f"{figure:,}" if isinstance(figure, int) else "not installed" if figure is None else figure
        print(f"{name:<18} {shown:>13}")


if __name__ == "__main__":
    main(sys.argv[1:])
