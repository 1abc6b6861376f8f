"""How many events a second the whole watch bears without losing one, against a bare asyncio protocol that only counts.

The watch is ``watchkeeper serve`` with all its plugins and a log of 1,000 contacts: it validates, reads, places,
measures, judges, annotates, journals and stores. The rate is found the same way for both: the highest steady one at
which nothing is lost and all is worked through half a second after the last datagram.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from . import band
from .contacts import seed_log
from .daemon import Daemon, serving
from .figures import Figure, at_least
from .flood import Bare, Course, Sent

_SECONDS = 3.0
_SETTLES_S = 0.5
#: from one rate to the next while the limit is not yet enclosed
_STEP = 1.3

#: sends so many events at that rate; whether all were borne
Trial = Callable[[float, int], bool]


def measure(place: Path, *, quick: bool) -> list[Figure]:
    """The figures, in one run."""
    rates: dict[tuple[str, int], float] = {}
    folder = place / "pipeline"
    seed_log(folder, 1_000)
    with serving(folder) as daemon, Bare() as bare:
        course = Course()
        for each in (1, 20):
            trials = {"bare": _of_bare(bare, each), "watch": _of_watch(daemon, each, course)}
            for name, guess in (("bare", 60_000.0 * each), ("watch", 15_000.0)):
                rates[name, each] = sustained(trials[name], guess, _SECONDS / (3 if quick else 1), each)
        plugins = daemon.ask("/api/status")["plugins"]
    running = [plugin["name"] for plugin in plugins if plugin["state"] == "running"]
    assert len(running) == len(plugins), f"not all plugins ran to the end: {running}"
    base = rates["bare", 1]
    return [
        Figure("bare counter, one event a datagram", base, "datagrams/s"),
        Figure("bare counter, 20 events a datagram", rates["bare", 20] / 20, "datagrams/s"),
        Figure("watch, one event a datagram", rates["watch", 1], "events/s"),
        Figure("watch, 20 events a datagram", rates["watch", 20], "events/s"),
        at_least("watch to bare counter, one a datagram", rates["watch", 1] / base, "times", 1.0),
        at_least("watch (20 a datagram) to bare counter (one)", rates["watch", 20] / base, "times", 1.0),
    ]


def sustained(trial: Trial, guess: float, seconds: float, each: int) -> float:
    """The highest rate, events a second, that ``trial`` bears, to about 7 %."""
    borne, failed = 0.0, 0.0
    rate = guess
    while not borne or not failed:
        if _borne(trial, rate, seconds, each):
            borne = rate
            rate *= _STEP
        else:
            failed = rate
            rate /= _STEP
    for _ in range(2):
        middle = (borne * failed) ** 0.5
        if _borne(trial, middle, seconds, each):
            borne = middle
        else:
            failed = middle
    return borne


def _borne(trial: Trial, rate: float, seconds: float, each: int) -> bool:
    """A machine that others share stalls now and then: a rate has failed when it fails twice."""
    count = int(rate * seconds) // each * each
    return trial(rate, count) or trial(rate, count)


def _of_bare(bare: Bare, each: int) -> Trial:
    def trial(rate: float, count: int) -> bool:
        before = bare.count()
        sent = Course().send(bare.port, rate, count, each)
        time.sleep(_SETTLES_S)
        return bare.count() - before == sent.datagrams and _kept_pace(sent, rate)

    return trial


def _of_watch(daemon: Daemon, each: int, course: Course) -> Trial:
    def trial(rate: float, count: int) -> bool:
        before = _lost(daemon)
        sent = course.send(daemon.port, rate, count, each)
        done = daemon.covered(band.SOURCE, band.RUN, course.last_seq, _SETTLES_S)
        lost = _lost(daemon) - before
        if not done:  # let it catch up, so that the next trial begins with empty queues
            daemon.covered(band.SOURCE, band.RUN, course.last_seq, 20)
        return done and not lost and _kept_pace(sent, rate)

    return trial


def _lost(daemon: Daemon) -> int:
    """Events that were lost on the way or shed, so far."""
    intake = daemon.ask("/api/status")["intake"]
    return int(intake["lost"]) + int(intake["shed"]) + int(intake["kernel_drops"])


def _kept_pace(sent: Sent, rate: float) -> bool:
    """Whether the sender itself managed: a rate that was never sent was not borne either."""
    return sent.events / sent.seconds > 0.9 * rate
