"""All benchmarks, or those that are named: ``python -m tests.benchmarks [NAME…] [--json] [--quick]``.

Each figure that compares is a ratio of two things measured in the same run on the same machine: ratios last, absolute
figures do not. ``--quick`` measures less and less often, to see that everything runs. The exit code is 1 when a goal
was missed.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path

from .figures import Figure, as_json, machine, table

NAMES = ("start", "latency", "pipeline", "log", "growth")


def measured(name: str, *, quick: bool) -> list[Figure]:
    """The figures of one benchmark, from a folder of its own."""
    measure: Callable[..., list[Figure]] = import_module(f".{name}", __package__).measure
    with tempfile.TemporaryDirectory(prefix="watchkeeper-benchmark-") as place:
        return measure(Path(place), quick=quick)


def main(arguments: Sequence[str]) -> int:
    """Run, tell, and say by the exit code whether every goal was met."""
    options = argparse.ArgumentParser(
        prog="python -m tests.benchmarks", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    options.add_argument("names", nargs="*", metavar="NAME", help=f"of: {', '.join(NAMES)}; all when none is named")
    options.add_argument("--json", action="store_true", help="one JSON object")
    options.add_argument("--quick", action="store_true", help="less of everything")
    asked = options.parse_args(arguments)
    unknown = [name for name in asked.names if name not in NAMES]
    if unknown:
        options.error(f"no such benchmark: {', '.join(unknown)}; there are {', '.join(NAMES)}")
    found: dict[str, list[Figure]] = {}
    if not asked.json:
        print(", ".join(f"{name} {value}" for name, value in machine().items()))
    for name in asked.names or NAMES:
        found[name] = measured(name, quick=asked.quick)
        if not asked.json:
            print(table(name, found[name]), flush=True)
    if asked.json:
        print(json.dumps({**machine(), "benchmarks": {name: as_json(figures) for name, figures in found.items()}}))
    return int(any(figure.met is False for figures in found.values() for figure in figures))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
