"""How the advice degrades in worlds that differ from what it expects: ``python -m tests.benchmarks.worlds``

Every world of the rehearsal is played with the same seeds, as ``tests.benchmarks.advice`` does with the usual one. The
goals are those of the usual world, so nothing here is met or missed.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from watchkeeper.rehearsal.variants import VARIANTS

from .advice import Evening, asked_for, evening, figures, seeds_of
from .figures import Figure, as_json, machine

#: few, for each is played twice in every world
SEEDS = "1001-1003"
#: head of a column → the figure of the advice benchmark that stands in it
COLUMNS = {
    "needed/h": "needed contacts an hour, following the advice",
    "strongest": "needed contacts an hour, answering the strongest",
    "ratio": "needed contacts, advice to strongest",
    "right": "hails of the highest level: right",
    "given": "hails of the highest level: given",
    "report dB": "expected report after 20, median error",
    "chance gap": "chance, worst tenth",
    "Brier": "chance, Brier score",
    "constant": "chance, Brier score of a constant guess",
}


def measured(seeds: Sequence[int], periods: int, jobs: int) -> dict[str, list[Figure]]:
    """The figures of each world."""
    found: dict[str, list[Figure]] = {}
    with ProcessPoolExecutor(jobs) as pool:
        for world in VARIANTS:
            evenings: list[Evening] = list(pool.map(partial(evening, periods=periods, world=world), seeds))
            found[world] = figures(evenings)
    return found


def lines(found: Mapping[str, Sequence[Figure]]) -> list[str]:
    """A line a world."""
    rows = ["world".ljust(12) + "".join(f"{head:>11}" for head in COLUMNS)]
    for world, its in found.items():
        values = {figure.name: figure.value for figure in its}
        rows.append(world.ljust(12) + "".join(f"{values[name]:>11.3g}" for name in COLUMNS.values()))
    return rows


def main(arguments: Sequence[str]) -> int:
    """Play and tell."""
    asked = asked_for("worlds", __doc__, SEEDS, arguments)
    found = measured(seeds_of(asked.seeds), asked.periods, asked.jobs)
    if asked.json:
        worlds = {world: as_json(its) for world, its in found.items()}
        print(json.dumps({**machine(), "seeds": asked.seeds, "periods": asked.periods, "worlds": worlds}))
    else:
        print(*lines(found), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
