"""What the advice is worth: ``python -m tests.benchmarks.advice [--seeds 3001-3020] [--periods N] [--jobs N] [--json]``

Each seed is an evening of the rehearsal, played twice: by an operator who follows the advice, and by one who answers
the strongest call to all not yet worked. No tuning has seen the seeds from 3001 to 3020, and the model was judged by
them once: who changes it tunes on others, below 3000, and judges by such as nobody has looked at. Hails, expected
reports, chances and the offset to send on are measured by the truth of the evenings with advice, all of them together.
The exit code is 1 when a goal was missed.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import chain
from pathlib import Path
from statistics import fmean, median
from typing import Any, NamedTuple

from watchkeeper.api import Period
from watchkeeper.cli.scoring import TRUTH, outputs
from watchkeeper.radio import mode
from watchkeeper.rehearsal import score
from watchkeeper.store.database import reading
from watchkeeper.store.sessions import entries, sessions
from watchkeeper.watch.replay import Replay
from watchkeeper_lookout.offset import Spectrum

from .figures import Figure, as_json, at_least, at_most, machine, table

SEEDS = "3001-3020"
PERIODS = 240
#: no busy machine may rest a plugin that is measured
CONFIG = "[plugins]\nbudget_ms = 10000\nburst_budget_ms = 10000\n"
#: the offset that is customary (common practice, no source)
FIXED_HZ = 1500.0


class Collisions(NamedTuple):
    """Periods, and in how many of them the advised offset was taken, and the customary one."""

    periods: int
    advised: int
    fixed: int


class Evening(NamedTuple):
    """One seed: contacts by either operator, and what the one with advice was told."""

    seed: int
    made: int
    made_strongest: int
    needed_per_hour: float
    needed_per_hour_strongest: float
    hails: Mapping[str, Any]
    forecasts: list[tuple[float, float]]
    report_errors_db: list[float]
    collisions: Collisions


def evening(seed: int, periods: int, world: str = "usual") -> Evening:
    """Play one seed twice, in a world of the rehearsal's."""
    with tempfile.TemporaryDirectory(prefix="watchkeeper-advice-") as place:
        followed, strongest = Path(place) / "advice", Path(place) / "strongest"
        advised = _played(followed, seed, periods, "advice", world)
        plain = score.contacts(_played(strongest, seed, periods, "strongest", world), 0, 0)
        out = score.Outputs.of(outputs(followed))
        contacts = score.contacts(advised, 0, 0)
        return Evening(
            seed,
            contacts["made"],
            plain["made"],
            contacts["needed_per_hour"],
            plain["needed_per_hour"],
            score.hails(advised, out.hails),
            score.forecasts(advised, out.advice),
            score.given(advised, out.advice),
            _collisions(followed),
        )


def _played(folder: Path, seed: int, periods: int, operator: str, world: str) -> Mapping[str, Any]:
    """The truth of one rehearsal."""
    config = folder.with_suffix(".toml")
    config.write_text(CONFIG, encoding="utf-8")
    command = [sys.executable, "-m", "watchkeeper", "rehearse", "--plain", "--pace", "max", "--data", str(folder)]
    command += ["--config", str(config), "--seed", str(seed), "--periods", str(periods)]
    command += ["--operator", operator, "--world", world]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"seed {seed}, {operator}: the rehearsal ended with {done.returncode}\n{done.stderr}")
    truth: Mapping[str, Any] = json.loads((folder / TRUTH).read_text(encoding="utf-8"))
    return truth


def _collisions(folder: Path) -> Collisions:
    """Where to send, by the periods before it of its parity, held against what was then heard in each period.

    What we send in we cannot listen to, so these are the periods that were listened to.
    """
    found, spectrum = Collisions(0, 0, 0), Spectrum()
    for one in _periods(folder):
        timed = mode.timed(one.mode)
        if timed is None or one.sent or not one.hearings:
            continue
        advised = spectrum.advise(one.band, one.mode, one.parity, one.start_ms, one.length_ms)
        spectrum.closed(one)
        if advised.age_ms is not None and not advised.stale:
            heard_hz = [hearing.offset_hz for hearing in one.hearings]
            found = Collisions(
                found.periods + 1,
                found.advised + _is_taken(advised.offset_hz, heard_hz, timed.bandwidth_hz),
                found.fixed + _is_taken(FIXED_HZ, heard_hz, timed.bandwidth_hz),
            )
    return found


def _periods(folder: Path) -> Iterator[Period]:
    """All periods of the sessions in ``folder``, each when the next one begins."""
    with reading(folder) as db:
        for row in reversed(list(sessions(db))):
            replay = Replay(chain([row.header], entries(db, row.id)))
            before = None
            for _ in replay.steps():
                if replay.watch.period is not before and before is not None:
                    yield before
                before = replay.watch.period


def _is_taken(offset_hz: float, offsets: Iterable[float], width_hz: float) -> bool:
    return any(abs(offset_hz - other_hz) < width_hz for other_hz in offsets)


def figures(evenings: Sequence[Evening]) -> list[Figure]:
    """What all evenings come to."""
    followed = fmean(one.needed_per_hour for one in evenings)
    strongest = fmean(one.needed_per_hour_strongest for one in evenings)
    calibration = score.calibration_of([pair for one in evenings for pair in one.forecasts])
    errors = [abs(error_db) for one in evenings for error_db in one.report_errors_db]
    hails = [one.hails for one in evenings]
    periods, advised, fixed = (sum(counts) for counts in zip(*(one.collisions for one in evenings), strict=True))
    return [
        Figure("needed contacts an hour, following the advice", followed, "1/h"),
        Figure("needed contacts an hour, answering the strongest", strongest, "1/h"),
        at_least("needed contacts, advice to strongest", followed / strongest, "", 1.3),
        at_least("seeds in which the advice was better", _better(evenings), "", 0.8),
        at_least("hails of the highest level: right", _mean(hails, "precision"), "", 0.95),
        at_least("hails of the highest level: given", _mean(hails, "recall"), "", 0.98),
        at_least("hails of the highest level: in time to act", _mean(hails, "in_time"), "", 0.95),
        at_most("hails that came twice", sum(one["doubled"] for one in hails), "", 0),
        at_most("expected report after 20, median error", median(errors), "dB", 3.0),
        at_most("chance, worst tenth", calibration["worst_bin_gap"], "", 0.07),
        Figure("chance, Brier score", calibration["brier"], ""),
        Figure("chance, Brier score of a constant guess", calibration["brier_constant"], ""),
        Figure("periods in which the advised offset was taken", advised / periods, ""),
        at_most("offset taken, advised to 1,500 Hz", advised / fixed, "", 1 / 3),
    ]


def _better(evenings: Sequence[Evening]) -> float:
    return fmean(one.needed_per_hour > one.needed_per_hour_strongest for one in evenings)


def _mean(groups: Iterable[Mapping[str, Any]], name: str) -> float:
    return fmean(group[name] for group in groups if group[name] is not None)


def _rows(evenings: Sequence[Evening]) -> str:
    lines = [f"{'seed':>6}{'needed/h':>10}{'strongest':>11}{'ratio':>7}{'contacts':>10}{'strongest':>11}"]
    for one in evenings:
        ratio = one.needed_per_hour / max(0.01, one.needed_per_hour_strongest)
        lines.append(
            f"{one.seed:>6}{one.needed_per_hour:>10.1f}{one.needed_per_hour_strongest:>11.1f}{ratio:>7.2f}"
            f"{one.made:>10}{one.made_strongest:>11}"
        )
    return "\n".join(lines)


def _of(evening_: Evening) -> dict[str, Any]:
    kept = evening_._asdict()
    for name in ("forecasts", "report_errors_db"):
        del kept[name]
    return kept


def seeds_of(text: str) -> range:
    """``7`` or ``1001-1020`` as numbers."""
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1)


def asked_for(name: str, about: str | None, seeds: str, arguments: Sequence[str]) -> argparse.Namespace:
    """The options of a benchmark that plays evenings: ``seeds``, ``periods``, ``jobs``, ``json``."""
    options = argparse.ArgumentParser(
        prog=f"python -m tests.benchmarks.{name}",
        description=about,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    options.add_argument("--seeds", default=seeds, help=f"one, or from-to ({seeds})")
    options.add_argument("--periods", type=int, default=PERIODS, help=f"how long each evening is ({PERIODS})")
    options.add_argument("--jobs", type=int, default=1, help="evenings at the same time (1)")
    options.add_argument("--json", action="store_true", help="one JSON object")
    return options.parse_args(arguments)


def main(arguments: Sequence[str]) -> int:
    """Play, tell, and say by the exit code whether every goal was met."""
    asked = asked_for("advice", __doc__, SEEDS, arguments)
    with ProcessPoolExecutor(asked.jobs) as pool:
        evenings = list(pool.map(partial(evening, periods=asked.periods), seeds_of(asked.seeds)))
    found = figures(evenings)
    if asked.json:
        rows = [_of(one) for one in evenings]
        print(json.dumps({**machine(), "periods": asked.periods, "seeds": rows, "figures": as_json(found)}))
    else:
        print(_rows(evenings))
        print(table(f"{len(evenings)} evenings of {asked.periods} periods", found))
    return int(any(figure.met is False for figure in found))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
