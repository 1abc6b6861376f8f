"""Whether an event costs more when the log is long or the session old: processor time of the daemon per event.

Daemons on logs of different lengths stand side by side and take the same traffic in turns; for each the cheapest turn
counts, which is the one that the machine disturbed least.
"""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

from . import band
from .contacts import seed_log
from .daemon import Daemon, serving
from .figures import Figure, at_most
from .flood import Course

#: events a second: what is measured a busy machine has to bear as well, while a session is only made old
_RATE = 2_000.0
_FILLING_RATE = 5_000.0
_TURN = 20_200
_FLAT = 1.2


def measure(place: Path, *, quick: bool) -> list[Figure]:
    """The figures, in one run."""
    sizes = (1_000, 20_000) if quick else (1_000, 100_000, 1_000_000)
    folders = {size: place / f"log-{size}" for size in sizes}
    for size, folder in folders.items():
        seed_log(folder, size)
    figures: list[Figure] = []
    with ExitStack() as stack:
        daemons = {size: stack.enter_context(serving(folder)) for size, folder in folders.items()}
        costs = _in_turns(daemons, 3 if quick else 6)
    for size, cost in costs.items():
        figures.append(Figure(f"an event, {size:,} contacts in the log", cost, "µs of CPU"))
    figures.append(at_most(f"{sizes[-1]:,} to 1,000 contacts", costs[sizes[-1]] / costs[1_000], "times", _FLAT))
    return figures + _session(place / "session", 60_000 if quick else 1_000_000)


def _in_turns(daemons: dict[int, Daemon], rounds: int) -> dict[int, float]:
    """The least cost of an event in µs, for each daemon."""
    courses = {size: Course() for size in daemons}
    least = dict.fromkeys(daemons, float("inf"))
    for number in range(rounds + 1):
        for size, daemon in daemons.items():
            cost = _turn(daemon, courses[size])
            if number:  # the first turn fills the caches
                least[size] = min(least[size], cost)
    return least


def _turn(daemon: Daemon, course: Course) -> float:
    """What an event cost, in µs of processor time."""
    before = daemon.cpu_s()
    course.send(daemon.port, _RATE, _TURN)
    assert daemon.covered(band.SOURCE, band.RUN, course.last_seq, 30), "the watch fell behind"
    return (daemon.cpu_s() - before) / _TURN * 1e6


def _session(folder: Path, hearings: int) -> list[Figure]:
    """The same with a young and an old session."""
    seed_log(folder, 1_000)
    with serving(folder) as daemon:
        course = Course()
        course.send(daemon.port, _RATE, 1_010)
        young = min(_turn(daemon, course) for _ in range(3))
        while course.last_seq < hearings:
            course.send(daemon.port, _FILLING_RATE, 5 * _TURN)
        assert daemon.covered(band.SOURCE, band.RUN, course.last_seq, 60), "the watch fell behind"
        old = min(_turn(daemon, course) for _ in range(3))
    return [
        Figure("an event, 1,000 hearings in the session", young, "µs of CPU"),
        Figure(f"an event, {hearings:,} hearings in the session", old, "µs of CPU"),
        at_most(f"{hearings:,} to 1,000 hearings", old / young, "times", _FLAT),
    ]
