"""A long run on one target: ``python -m tests.fuzz TARGET [--inputs 1000000] [--first 0]``.

Input ``n`` is the same wherever it is made, so what is reported can be fed again: ``--first n --inputs 1``. An input
that breaks something is written beside the report and belongs into the tests of what it broke.
"""

from __future__ import annotations

import argparse
import sys
import time
import traceback

from .mutate import mutated
from .targets import TARGETS


def main() -> int:
    """Run; 1 when anything broke."""
    options = argparse.ArgumentParser(
        prog="python -m tests.fuzz", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    options.add_argument("target", choices=sorted(TARGETS))
    options.add_argument("--inputs", type=int, default=1_000_000)
    options.add_argument("--first", type=int, default=0)
    options.add_argument("--most-faults", type=int, default=20, help="stop after so many")
    asked = options.parse_args()
    feed, seeds, _ = TARGETS[asked.target]
    begun, faults = time.monotonic(), 0
    for number in range(asked.first, asked.first + asked.inputs):
        data = mutated(number, seeds)
        try:
            feed(data)
        except Exception:
            faults += 1
            print(f"input {number}: {data!r}\n{traceback.format_exc()}", flush=True)
            if faults >= asked.most_faults:
                break
    seconds = time.monotonic() - begun
    print(f"{asked.target}: {number + 1 - asked.first:,} inputs in {seconds:.0f} s, {faults} faults")
    return int(faults > 0)


if __name__ == "__main__":
    sys.exit(main())
