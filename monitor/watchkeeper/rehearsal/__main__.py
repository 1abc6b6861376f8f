"""Runs a rehearsal, as ``python -m watchkeeper.rehearsal --seed 7``. The last line is one JSON object."""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from watchkeeper.rehearsal import faults, scenario
from watchkeeper.rehearsal.httplog import HttpLog
from watchkeeper.rehearsal.lookout import WatchGoneError
from watchkeeper.rehearsal.operating import Policy
from watchkeeper.rehearsal.play import Order, Session
from watchkeeper.rehearsal.variants import VARIANTS
from watchkeeper.schema.events import to_ms
from watchkeeper.sender import DEFAULT_ADDRESS


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a rehearsal; returns the exit code: 0 done, 1 the watch went away, 2 asked for something impossible."""
    asked = _parser().parse_args(arguments)
    try:
        order = _order(asked)
        if asked.log_port is not None:
            order = dataclasses.replace(order, log=_started(asked.log_port))
    except (ValueError, OSError) as error:
        print(f"rehearsal: {error}", file=sys.stderr)
        return 2
    try:
        figures = Session(order).play()
    except (WatchGoneError, OSError) as error:  # the truth lies on a disk, which may be full
        print(f"rehearsal: {error}", file=sys.stderr)
        return 1
    finally:
        if order.log is not None:
            order.log.stop()
    print(json.dumps(figures), flush=True)
    return 0


def complaint(arguments: Sequence[str]) -> str | None:
    """Say why a rehearsal with these arguments would be refused, without running it; None where it would not."""
    try:
        _order(_parser().parse_args(arguments))
    except (ValueError, OSError) as error:
        return f"rehearsal: {error}"
    return None


def _started(port: int) -> HttpLog:
    log = HttpLog(port)
    log.start()
    return log


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m watchkeeper.rehearsal", description=__doc__)
    parser.add_argument("--scenario", default=scenario.DEFAULT, metavar="NAME|FILE")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--periods", type=int, help="how many periods (default: the scenario's)")
    parser.add_argument("--pace", default="max", help="1 is real time, 10 ten times as fast, max as fast as it goes")
    parser.add_argument("--to", default=":".join(map(str, DEFAULT_ADDRESS)), metavar="HOST:PORT")
    parser.add_argument(
        "--watch-socket", type=Path, metavar="PATH", help="the watch's local socket, to look at its advice"
    )
    parser.add_argument("--log-port", "--http-log", type=int, metavar="PORT", help="run a small HTTP log there")
    parser.add_argument(
        "--faults", metavar="SPEC", help="wire, or loss=0.1,…, or kinds of the scenario file: clock=3@600-1200"
    )
    parser.add_argument(
        "--operator", choices=[policy.value for policy in Policy], help="(default: advice when it can be seen)"
    )
    parser.add_argument("--world", default="usual", metavar="NAME", help=f"one of {', '.join(VARIANTS)}")
    parser.add_argument("--truth", type=Path, metavar="FILE", help="write the truth there")
    parser.add_argument("--evening", type=int, default=1, metavar="N", help="the Nth on the watch's log (default: 1)")
    parser.add_argument("--start", metavar="RFC3339", help="event time of the start, or now (default: the scenario's)")
    return parser


def _order(asked: argparse.Namespace) -> Order:
    """Return the order; ValueError or OSError where it cannot be carried out."""
    found = scenario.load(asked.scenario)
    wire, further = faults.parse(asked.faults)
    found = msgspec.structs.replace(found, fault=(*further, *found.fault))
    pace = _pace(asked.pace)
    periods = found.periods if asked.periods is None else asked.periods
    if periods < 1:
        raise ValueError(f"--periods {periods}: at least one")
    if asked.evening < 1:
        raise ValueError(f"--evening {asked.evening}: the first is 1")
    if asked.world not in VARIANTS:
        raise ValueError(f"no world is named {asked.world!r}: there are {', '.join(sorted(VARIANTS))}")
    policy = asked.operator or (Policy.ADVICE if asked.watch_socket else Policy.STRONGEST)
    to = _address(asked.to)
    start_ms = _start_ms(asked.start, found, pace)
    return Order(
        scenario=found,
        name=Path(asked.scenario).stem,
        seed=asked.seed,
        periods=periods,
        pace=pace,
        to=to,
        start_ms=start_ms,
        policy=Policy(policy),
        world=asked.world,
        wire=wire,
        socket=asked.watch_socket,
        truth=asked.truth,
        evening=asked.evening,
    )


def _pace(text: str) -> float | None:
    if text == "max":
        return None
    try:
        pace = float(text)
    except ValueError as error:
        raise ValueError(f"--pace {text}: a number, or max") from error
    if not 0 < pace < float("inf"):
        raise ValueError(f"--pace {text}: must be positive")
    return pace


def _address(text: str) -> tuple[str, int]:
    host, _, port = text.rpartition(":")
    if not host or not port.isdecimal() or not 0 < int(port) < 65536:
        raise ValueError(f"--to {text}: of the form HOST:PORT")
    return host.strip("[]"), int(port)


def _start_ms(text: str | None, found: scenario.Scenario, pace: float | None) -> int:
    """Return the start; a session that outruns the clock must not begin now, or it would run into the future."""
    if text is None:
        return to_ms(found.start)
    if text == "now":
        if pace is None or pace > 1:
            raise ValueError("--start now goes with a pace of at most 1: events from the future are refused")
        return to_ms(datetime.now(UTC))
    try:
        start = datetime.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"--start {text}: RFC 3339, as 2025-03-15T18:00:00Z, or now") from error
    if start.tzinfo is None:
        raise ValueError(f"--start {text}: needs a time zone, as 2025-03-15T18:00:00Z")
    return to_ms(start)


if __name__ == "__main__":
    sys.exit(main())
