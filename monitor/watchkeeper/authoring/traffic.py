"""A busy evening in a few hundred milliseconds: the events by which a plugin is tried. The same every time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from random import Random

from ..testing import Bench

PERIODS = 24
_PLACES = (("CE", "FF46"), ("JA", "PM95"), ("W", "FN42"), ("G", "IO91"), ("VK", "QF56"), ("OE", "JN88"))
#: call signs with suffixes that nobody is given, each with a place where it could be
CALLS = [
    (f"{prefix}{digit}QR{letter}", locator)
    for prefix, locator in _PLACES
    for digit in range(1, 4)
    for letter in "ABCDEF"
]


def busy(bench: Bench) -> Iterator[int]:
    """Feed the bench period after period, with every kind of event; gives the number of each once it is closed."""
    random = Random(20)  # noqa: S311 no secret hangs on it
    bench.station(call="DL5QRM", locator="JO62qm", power_w=10.0)
    for number in range(PERIODS):
        for act in (act for every, act in _BETWEEN if number % every == every - 1):
            act(bench, random)
        if number % 4 == 3:
            bench.send("CQ DL5QRM JO62")
        else:
            _hear(bench, random)
        bench.close()
        yield number


def _hear(bench: Bench, random: Random) -> None:
    heard = random.sample(CALLS, random.randrange(40, 80))
    for place, (call, locator) in enumerate(heard):
        whom = random.choice(("CQ", "CQ", "CQ DX", "CQ EU", "DL5QRM", random.choice(CALLS)[0]))
        said = random.choice((locator, locator, "-07", "R-12", "RR73", "73")) if not whom.startswith("CQ") else locator
        bench.hear(f"{whom} {call} {said}", snr_db=float(random.randrange(-24, 12)), offset_hz=200.0 + 30 * place)


def _tune(bench: Bench, random: Random) -> None:
    bench.tune(dial_hz=random.choice((7_074_000, 14_074_000, 21_074_000)))


def _read(bench: Bench, random: Random) -> None:
    bench.gauge(
        sending=False, supply_v=12.0 + random.random(), supply_a=0.9, swr=1.3, clock_error_s=random.random() - 0.5
    )


def _reported(bench: Bench, random: Random) -> None:
    call, locator = random.choice(CALLS)
    bench.received_by(call, by_locator=locator, call="DL5QRM", snr_db=float(random.randrange(-24, 0)))


def _log(bench: Bench, random: Random) -> None:
    call, locator = random.choice(CALLS)
    bench.log(call, locator=locator, report_sent="-10", report_received="-12")


#: every so many periods → what happens before it
_BETWEEN: tuple[tuple[int, Callable[[Bench, Random], None]], ...] = ((8, _tune), (2, _read), (3, _reported), (5, _log))
