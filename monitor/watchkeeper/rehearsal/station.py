"""The simulated stations: what each has, and what its operator is like."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import accumulate
from math import exp, log10
from random import Random
from typing import TypeVar

from watchkeeper.radio import link, noise
from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.exchange import Exchange
from watchkeeper.rehearsal.propagation import Geometry, Place
from watchkeeper.rehearsal.regions import CallBook, Region, locator_of, place_in, regions
from watchkeeper.rehearsal.scenario import Habits
from watchkeeper.rehearsal.words import LONGEST_CALL, is_standard

#: share of stations and their power in W: plausible figures of our own
_POWERS: tuple[tuple[float, float], ...] = (
    (0.06, 5.0), (0.10, 10.0), (0.12, 20.0), (0.17, 30.0), (0.18, 50.0), (0.25, 100.0), (0.06, 200.0), (0.06, 500.0),
)  # fmt: skip
_SURROUNDINGS: tuple[tuple[float, noise.Environment], ...] = (
    (0.18, "city"), (0.47, "residential"), (0.30, "rural"), (0.05, "quiet rural"),
)  # fmt: skip
#: an antenna's gain at low angles less line, ground and matching: few stations are as a textbook has them (no source)
_GAIN_DBI = -7.0
_GAIN_SPREAD_DB = 4.0
#: regions of at most this weight draw crowds
_RARE_WEIGHT = 0.5
_DIRECTIONS = ("DX", "EU", "NA", "SA", "AS", "AF", "OC", "JA")
_QUARTER_MS = 900_000
#: memory of slow fading: after this time 1/e of a deviation is left
FADE_MEMORY_S = 90.0
FADE_DB = 3.5
_OFFSETS_HZ = (250.0, 2750.0)

T = TypeVar("T")


@dataclass(slots=True, eq=False)
class Link:
    """The way between the own station and another: the medians of both directions, and fading that both share."""

    path: Geometry
    random: Random
    loss_db: float = 0.0
    slope_db_per_ms: float = 0.0
    since_ms: int = 0
    fade_db: float = 0.0
    faded_ms: int = 0

    def loss_at(self, at_ms: int) -> float:
        """Return the median loss in dB at a moment: between two quarter hours it changes evenly."""
        return self.loss_db + self.slope_db_per_ms * (at_ms - self.since_ms)

    def fading(self, at_ms: int) -> float:
        """Return the present deviation in dB: first-order autoregressive over the time."""
        if at_ms > self.faded_ms:
            kept = exp(-(at_ms - self.faded_ms) / 1000 / FADE_MEMORY_S)
            self.fade_db = self.fade_db * kept + self.random.gauss(0.0, FADE_DB) * (1 - kept * kept) ** 0.5
            self.faded_ms = at_ms
        return self.fade_db


@dataclass(slots=True, eq=False)
class Station:
    """One station on the air and its operator."""

    call: str
    region: Region
    place: Place
    locator: str
    power_w: float
    gain_dbi: float
    noise_dbm: float
    clock_s: float
    patience: int
    skill: float
    polite: bool
    short: bool  # starts with the report instead of the locator
    direction: str | None
    streams: int
    runner: bool
    reports: bool
    from_ms: int
    to_ms: int
    parity: int
    offset_hz: float
    random: Random
    link: Link | None = None
    exchanges: list[Exchange] = field(default_factory=list)
    finished: list[Exchange] = field(default_factory=list)
    worked: set[str] = field(default_factory=set)
    rest_until_ms: int = 0
    free_ms: int = -1  # start of the last period in which it showed that it is free
    reported_ms: int = -1
    own: bool = False

    @property
    def compound(self) -> bool:
        """Whether the call does not fit a standard message and goes over the air hashed."""
        return not is_standard(self.call)

    @property
    def power_dbm(self) -> float:
        """The power at the antenna's feed plus its gain, dBm."""
        return link.w_to_dbm(self.power_w) + self.gain_dbi


def noise_power_dbm(surroundings: noise.Environment, frequency_hz: float) -> float:
    """Return the median noise in 2,500 Hz: man-made and galactic, added in power (P.372). Atmospheric is left out."""
    return 10 * log10(sum(10 ** (noise.power_dbm(kind, frequency_hz) / 10) for kind in (surroundings, "galactic")))


class Population:
    """Makes the stations of one band as they come on the air."""

    def __init__(self, seed: int, name: str, frequency_hz: int, habits: Habits, runners: float) -> None:
        self._seed = seed
        self._name = name
        self._frequency_hz = frequency_hz
        self._habits = habits
        self._runners = runners
        self._random = rng.stream(seed, "population", name)
        self._book = CallBook(rng.stream(seed, "calls", name))
        self._made = 0
        self._lent: dict[str, str] = {}

    def reserve(self, call: str) -> None:
        """Keep a call sign from being handed out."""
        self._book.reserve(call)

    def make(self, at_ms: int, *, settled: bool = False) -> Station:
        """Return a station that comes on the air at ``at_ms``; ``settled``: it has been there for a while already."""
        region = self._random.choices(regions(), cum_weights=self._weights(at_ms))[0]
        self._made += 1
        random = rng.stream(self._seed, "station", self._name, self._made)
        stay_ms = round(random.expovariate(1.0) * self._habits.stay_min * 60_000) + 120_000
        if settled:
            stay_ms = round(stay_ms * random.uniform(0.1, 1.0))
        return self._station(region, random, at_ms, at_ms + stay_ms)

    def leave(self, station: Station) -> None:
        """Take a station off the air. Whom it worked is forgotten: else each would hold on to all before it."""
        station.finished.clear()
        self._book.give_back(self._lent.pop(station.call))

    def _station(self, region: Region, random: Random, from_ms: int, to_ms: int) -> Station:
        habits, place = self._habits, place_in(region, random)
        call = self._call(region, random)
        streams = 3 if region.weight <= _RARE_WEIGHT and random.random() < habits.multi_stream else 1
        surroundings = _pick(_SURROUNDINGS, random)
        noise_dbm = noise_power_dbm(surroundings, self._frequency_hz)
        noise_dbm += random.gauss(0, noise.spread_db(surroundings) / 2)
        return Station(
            call=call,
            region=region,
            place=place,
            locator=locator_of(place),
            power_w=500.0 if streams > 1 else _pick(_POWERS, random),
            gain_dbi=random.gauss(0.0 if streams > 1 else _GAIN_DBI, _GAIN_SPREAD_DB),
            noise_dbm=noise_dbm,
            clock_s=random.gauss(0.0, 0.12) if random.random() < 0.93 else random.uniform(-2.2, 2.2),
            patience=max(1, round(random.choice((2, 3, 3, 4, 4, 5, 6, 8)) * habits.patience)),
            skill=random.uniform(0.5, 1.0),
            polite=random.random() < 0.75,
            short=random.random() < 0.08,
            direction=random.choice(_DIRECTIONS) if random.random() < habits.directed else None,
            streams=streams,
            runner=streams > 1 or random.random() < self._runners,
            reports=random.random() < habits.reporting,
            from_ms=from_ms,
            to_ms=to_ms,
            parity=random.randrange(2),
            offset_hz=round(random.uniform(*_OFFSETS_HZ)),
            random=random,
        )

    def _call(self, region: Region, random: Random) -> str:
        """Return a call sign; a few are portable, or visitors from another country."""
        draw = random.random()
        visits = self._habits.compound / 2 <= draw < self._habits.compound
        lent = self._book.take(random.choice(regions()) if visits else region)
        call = lent
        if draw < self._habits.compound / 2:
            call = f"{lent}/P"
        elif visits:
            call = f"{random.choice(region.prefixes)}/{lent}"
        if call.count("/") > 1 or len(call) > LONGEST_CALL:
            call = lent
        self._lent[call] = lent
        return call

    def _weights(self, at_ms: int) -> Sequence[float]:
        return _awake_weights(at_ms // _QUARTER_MS % 96)


@lru_cache(maxsize=96)
def _awake_weights(quarter: int) -> tuple[float, ...]:
    """Return the running sum of all regions' activity in a quarter hour of the UTC day."""
    hour = quarter / 4
    return tuple(accumulate(one.weight * awake((hour + one.longitude / 15.0) % 24.0) for one in regions()))


def awake(local_h: float) -> float:
    """Return the share of operators on the air at a local solar hour, 1 at its most: few at four, most at twenty."""
    away = min(abs(local_h - 19.5), 24 - abs(local_h - 19.5))
    return 0.08 + 0.92 * exp(-((away / 6.5) ** 2))


def clear_offset(random: Random, taken: Sequence[float], width_hz: float) -> float:
    """Return an audio offset in Hz where little is going on: the best of four looks, as an operator would choose.

    ``taken`` are the offsets in use, rising. A whole band asks at every period: looking at the two nearest is enough.
    """
    looks = [round(random.uniform(*_OFFSETS_HZ)) for _ in range(4)]
    return float(max(looks, key=lambda look: _room_hz(look, taken, width_hz)))


def _room_hz(look: float, taken: Sequence[float], width_hz: float) -> float:
    at = bisect_left(taken, look)
    return min((abs(look - other) for other in taken[max(0, at - 1) : at + 1]), default=width_hz)


def _pick(table: Sequence[tuple[float, T]], random: Random) -> T:
    at = random.random()
    for share, value in table:
        at -= share
        if at < 0:
            return value
    return table[-1][1]
