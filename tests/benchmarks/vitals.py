"""How soon the vitals find a fault, how often they are wrong, and how the openings' change-point test does.

``python -m tests.benchmarks.vitals [--seeds N] [--only NAME] [--json]`` plays every fault of the station in so many
simulated evenings, 20 healthy ones, and 10 of which the openings are compared with the truth; with ``--only`` one of
them (``swr``, ``healthy``, ``openings``). The exit code is 1 when a goal was missed. With the usual 200 seeds all of it
takes the better part of an hour on two cores.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from statistics import median
from typing import Any, NamedTuple

from tests.plugins.simulated import Simulated

from watchkeeper.config import PluginSettings
from watchkeeper.rehearsal.scenario import Supply as Battery
from watchkeeper.testing import Bench
from watchkeeper_openings import Openings
from watchkeeper_vitals import Vitals

from .figures import Figure, as_json, at_least, at_most, machine, table
from .movements import Movements, movements


class Stated(NamedTuple):
    """The vital that has to hail a fault, and within so many periods of all, sending included."""

    vital: str
    within: int


#: the fault begins here, in periods of the session
BEGINS = 20
FAULTS = {
    f"passband@{BEGINS * 15}": Stated("passband", 16),
    f"clock=1.8@{BEGINS * 15}": Stated("clock", 12),
    f"clock=3@{BEGINS * 15}": Stated("clock", 16),
    f"drift@{BEGINS * 15}": Stated("clock", 100),
    f"alc@{BEGINS * 15}": Stated("drive", 16),
    f"swr@{BEGINS * 15}": Stated("match", 24),
    f"audio@{BEGINS * 15}": Stated("audio", 8),
    f"deaf@{BEGINS * 15}": Stated("receiver", 12),
    f"interference@{BEGINS * 15}": Stated("interference", 16),
    # a tenth of a decibel of noise, and a stretch of the passband in which nothing decodes
    f"interference=0.1@{BEGINS * 15}": Stated("interference", 32),
    f"lossy@{BEGINS * 15}": Stated("sources", 8),
    f"battery@{BEGINS * 15}": Stated("supply", 16),
}
#: a battery that is there, for the faults that need one
BATTERY = Battery()
#: share of the seeds at which a fault has to be found in time
FOUND = 0.95
HEALTHY_SEEDS, HEALTHY_PERIODS = range(1, 21), 720
OPENINGS_SEEDS, OPENINGS_PERIODS = range(1, 11), 720
_PERIODS_A_DAY = 5760


def _bench(plugin: type) -> Bench:
    """A bench whose plugin is never rested for its time: the machine may be busy."""
    return Bench(plugin, settings=PluginSettings(budget_ms=10_000, burst_budget_ms=10_000))


def hailed(bench: Bench) -> list[str]:
    """The vitals that were hailed, oldest first."""
    return [hail.key.removeprefix("vitals|") for hail in bench.hails if hail.rule == "vitals"]


def found_after(spec: str, seed: int) -> int | None:
    """How many periods after its begin the fault is hailed; None if it is not, or if a vital was before it began."""
    vital, within = FAULTS[spec]
    bench = _bench(Vitals)
    for number in Simulated(bench, seed, spec, supply=BATTERY).periods(BEGINS + within):
        if number < BEGINS and hailed(bench):
            return None
        if vital in hailed(bench):
            return number - BEGINS + 1
    return None


def false_vitals(seed: int, periods: int = HEALTHY_PERIODS) -> list[str]:
    """The vitals that are hailed in a healthy evening."""
    bench = _bench(Vitals)
    for _ in Simulated(bench, seed).periods(periods):
        pass
    return hailed(bench)


def opened(seed: int, periods: int = OPENINGS_PERIODS) -> Movements:
    """What the openings of an evening told, beside its truth."""
    bench = _bench(Openings)
    simulated = Simulated(bench, seed)
    shown = [(bench.watch.now_ms, _directions(bench)) for _ in simulated.periods(periods)]
    return movements(simulated.session.truth(), shown)


def _directions(bench: Bench) -> list[dict[str, Any]]:
    return [dict(row.data) for row in bench.table("openings.directions").rows]


def measure(seeds: int, workers: int, only: str | None = None) -> dict[str, list[Figure]]:
    """All figures, or those of one fault or part, by what they belong to."""
    faults = [spec for spec in FAULTS if only in (None, _name(spec))]
    with ProcessPoolExecutor(workers) as pool:
        runs = {spec: pool.map(found_after, [spec] * seeds, range(1, seeds + 1)) for spec in faults}
        parts: dict[str, list[Figure]] = {}
        if faults:
            parts["faults"] = [figure for spec, found in runs.items() for figure in _fault(spec, list(found))]
        if only in (None, "healthy"):
            false = pool.map(false_vitals, HEALTHY_SEEDS)
            parts["healthy"] = [_false_a_day([each for one in false for each in one])]
        if only in (None, "openings"):
            parts["openings"] = _openings(list(pool.map(opened, OPENINGS_SEEDS)))
    return parts


def _name(spec: str) -> str:
    return spec.partition("@")[0]


def _fault(spec: str, found: Sequence[int | None]) -> list[Figure]:
    name, within = _name(spec), FAULTS[spec].within
    periods = [each for each in found if each is not None]
    share = 100 * len(periods) / len(found)
    figures = [at_least(f"{name}: found within {within} periods", share, "% of seeds", 100 * FOUND)]
    if periods:
        figures.append(Figure(f"{name}: median delay", median(periods), "periods"))
    return figures


def _false_a_day(false: Sequence[str]) -> Figure:
    days = len(HEALTHY_SEEDS) * HEALTHY_PERIODS / _PERIODS_A_DAY
    return at_most("false vitals of a healthy station", len(false) / days, "per 24 h", 1)


def _openings(evenings: Sequence[Movements]) -> list[Figure]:
    days = len(evenings) * OPENINGS_PERIODS / _PERIODS_A_DAY
    figures = [
        Figure("directions that changed in truth", sum(one.changes for one in evenings), "changes"),
        Figure("changes found by the change-point test", sum(len(one.delays_min) for one in evenings), "changes"),
        Figure("changes told that were none", sum(one.false for one in evenings) / days, "per 24 h"),
    ]
    delays = [each for one in evenings for each in one.delays_min]
    if delays:
        figures.append(Figure("median delay of a change found", median(delays), "min"))
    shown = [one.shown_after_min for one in evenings if one.shown_after_min is not None]
    if shown:
        figures.append(Figure("median delay until an open direction is shown", median(shown), "min"))
    false = sum(one.shown_false_a_day for one in evenings) / len(evenings)
    return [*figures, Figure("directions shown open that were not", false, "per 24 h")]


def main(arguments: Sequence[str]) -> int:
    """Run, tell, and say by the exit code whether every goal was met."""
    options = argparse.ArgumentParser(
        prog="python -m tests.benchmarks.vitals",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    options.add_argument("--seeds", type=int, default=200, metavar="N", help="simulated evenings a fault")
    names = [*map(_name, FAULTS), "healthy", "openings"]
    options.add_argument("--only", choices=names, metavar="NAME", help=f"one of {', '.join(names)}")
    options.add_argument("--workers", type=int, default=2, metavar="N", help="processes")
    options.add_argument("--json", action="store_true", help="one JSON object")
    asked = options.parse_args(arguments)
    found = measure(asked.seeds, asked.workers, asked.only)
    if asked.json:
        print(json.dumps({**machine(), "seeds": asked.seeds, **{name: as_json(each) for name, each in found.items()}}))
    else:
        print("\n".join(table(name, figures) for name, figures in found.items()))
    return int(any(figure.met is False for figures in found.values() for figure in figures))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
