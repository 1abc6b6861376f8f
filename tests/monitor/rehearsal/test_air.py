"""A simulated band: who sends when, who gets through, and that paths are the same both ways."""

from __future__ import annotations

from collections import Counter, defaultdict
from itertools import pairwise

import msgspec
import pytest

from watchkeeper.rehearsal import rng, scenario, sky
from watchkeeper.rehearsal.air import Transmission, is_meant
from watchkeeper.rehearsal.frequency import Frequency
from watchkeeper.rehearsal.ionosphere import Conditions
from watchkeeper.rehearsal.outlet import Outlets, Pace
from watchkeeper.rehearsal.propagation import geometry
from watchkeeper.rehearsal.station import FADE_DB, Link, Station
from watchkeeper.rehearsal.words import Say

_START = 1_742_059_800_000
_PERIOD = 15_000


def frequency(stations: int = 80, **habits: float) -> Frequency:
    found = scenario.load("evening-20m")
    band = msgspec.structs.replace(found.band[0], stations=stations)
    found = msgspec.structs.replace(found, band=(band,), habits=msgspec.structs.replace(found.habits, **habits))
    heaven = sky.Sky(3, found.sky, _START, _START + 3_600_000, Conditions(1.0, 1.0))
    return Frequency(3, found, band, heaven, Outlets(Pace(None, _START)), 0.0, _START)


def played(here: Frequency, periods: int) -> list[list[Transmission]]:
    return [here.air.step(_START + number * _PERIOD, None) for number in range(periods)]


@pytest.fixture(scope="module")
def hour() -> tuple[Frequency, list[list[Transmission]]]:
    here = frequency()
    return here, played(here, 160)


def test_nobody_sends_more_than_its_streams_allow(hour: tuple[Frequency, list[list[Transmission]]]) -> None:
    for sent in hour[1]:
        for station, count in Counter(one.station for one in sent).items():
            assert count <= station.streams


def test_everybody_sends_in_its_own_parity(hour: tuple[Frequency, list[list[Transmission]]]) -> None:
    together: defaultdict[Station, list[int]] = defaultdict(list)
    for number, sent in enumerate(hour[1]):
        for one in sent:
            together[one.station].append(number)
    in_a_row = sum(b - a == 1 for numbers in together.values() for a, b in pairwise(numbers))
    assert in_a_row < 0.05 * sum(map(len, together.values()))  # only those who have just changed their parity


def test_who_left_is_forgotten_but_for_the_last_contacts_of_those_who_stayed() -> None:
    """A day has many times the stations of a moment: they must not hold on to one another."""
    here = frequency(stay_min=2.0)
    left = 0
    for _ in played(here, 240):
        left += len(here.air.joined)
        here.air.joined.clear()
    held, further = set(here.air.stations), list(here.air.stations)
    while further:
        station = further.pop()
        partners = {one.partner for one in (*station.exchanges, *station.finished) if one.partner is not None}
        further += partners - held
        held |= partners
    assert left > 400
    assert len(held) < 2 * len(here.air.stations)


def test_contacts_are_completed_in_the_order_of_the_trade(hour: tuple[Frequency, list[list[Transmission]]]) -> None:
    here, periods = hour
    said = Counter(one.line.say for sent in periods for one in sent)
    assert said[Say.CALL] > said[Say.ANSWER] > said[Say.ROGER_REPORT] > 30
    assert 0.5 < said[Say.ROGER_FAREWELL] / said[Say.ROGER_REPORT] < 1.5
    assert sum(len(station.worked) for station in here.air.stations) > 30


def test_a_station_that_leaves_is_followed_by_another(hour: tuple[Frequency, list[list[Transmission]]]) -> None:
    here = hour[0]
    assert len(here.air.stations) >= 80
    assert len({station.call for station in here.air.stations}) == len(here.air.stations)
    assert any(station.from_ms > _START for station in here.air.stations)


def test_rare_stations_with_several_streams_answer_two_at_once() -> None:
    here = frequency(stations=160, multi_stream=1.0)
    assert any(one.line.second is not None for sent in played(here, 160) for one in sent)


def test_losses_are_the_same_both_ways() -> None:
    here = frequency()
    stations = here.air.stations
    for a, b in pairwise(stations):
        assert here.paths.loss_db(a, b, _START) == here.paths.loss_db(b, a, _START)
    for station in stations:
        there_db = here.paths.snr_db(here.own, station, _START)
        here_db = here.paths.snr_db(station, here.own, _START)
        difference = here.own.power_dbm - station.power_dbm + here.own.noise_dbm - station.noise_dbm
        assert there_db - here_db == pytest.approx(difference)


def test_fading_has_a_memory() -> None:
    link = Link(geometry((50.0, 10.0), (40.0, -75.0)), rng.stream(1, "fading"))
    values = [link.fading(number * _PERIOD) for number in range(1, 6000)]

    def correlation(lag: int) -> float:
        pairs = list(zip(values, values[lag:], strict=False))
        return sum(a * b for a, b in pairs) / len(pairs) / (sum(a * a for a in values) / len(values))

    spread = (sum(value * value for value in values) / len(values)) ** 0.5
    assert spread == pytest.approx(FADE_DB, rel=0.1)
    assert 0.75 < correlation(1) < 0.92
    assert abs(correlation(40)) < 0.15


def test_most_respect_a_directed_call() -> None:
    here = frequency(stations=160, directed=1.0)
    meant: Counter[bool] = Counter()
    for sent in played(here, 120):
        for one in sent:
            partner = one.exchanges[0].partner if one.exchanges else None
            if one.line.say is Say.ANSWER and partner is not None and partner.runner:
                meant[is_meant(partner.direction, partner, one.station)] += 1
    assert meant[True] > 2 * meant[False]
