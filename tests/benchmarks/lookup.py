"""First-time look-ups of call signs, against pyhamcty's: ``python -m tests.benchmarks.lookup [--json]``.

Both load their own data before the clock runs and see every call for the first time. The calls are the same: each
prefix of the country file, made a call of. The faster of several rounds counts, as it is disturbed least.
"""

from __future__ import annotations

import json
import platform
import sys
import time
from collections.abc import Callable, Sequence

import pyhamcty

from watchkeeper.radio import entity

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


def measure() -> dict[str, float | int | str]:
    """The figures of one run."""
    wanted = calls()
    entity.release()  # loads the data
    reference = pyhamcty.CountryData()
    theirs = max(rate(reference.country, wanted[:REFERENCE_CALLS]) for _ in range(2))
    first = ours(wanted)
    entity.lookup.cache_clear()
    few = wanted[:20_000]
    rate(entity.lookup, few)
    remembered = max(rate(entity.lookup, few) for _ in range(ROUNDS))
    return {
        "python": platform.python_version(),
        "calls": len(wanted),
        "reference_per_s": round(theirs),
        "first_per_s": round(first),
        "remembered_per_s": round(remembered),
        "times_reference": round(first / theirs, 1),
    }


def main(arguments: Sequence[str]) -> None:
    """Print the figures as a table, or with --json as one object."""
    figures = measure()
    if "--json" in arguments:
        print(json.dumps(figures))
        return
    for name, figure in figures.items():
        print(f"{name:<18} {figure:>12,}" if isinstance(figure, int) else f"{name:<18} {figure:>12}")


if __name__ == "__main__":
    main(sys.argv[1:])
