"""What goes on the air of one band, period by period: who sends what to whom, who copies it, who comes and goes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

from watchkeeper.radio import entity
from watchkeeper.radio.mode import timed
from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.decoding import chance, in_time, reported_db
from watchkeeper.rehearsal.exchange import Exchange
from watchkeeper.rehearsal.paths import Paths
from watchkeeper.rehearsal.scenario import Band, Habits
from watchkeeper.rehearsal.station import Population, Station, clear_offset
from watchkeeper.rehearsal.words import Line, Say

#: what still goes wrong between two others: their neighbours, which are not followed one by one
_LOST_TO_NEIGHBOURS = 0.04
_FADE_KEPT = 0.85
_FADE_DB = 3.0
_LOOKS = 5
_REMEMBERED = 4
#: share of looks in which a directed call that means others is answered all the same
_UNINVITED = 0.03
_FAR_KM = 3000.0


@dataclass(frozen=True, slots=True, eq=False)
class Transmission:
    """One message of one station in one period; ``exchanges`` are those it carries on, none for a call to all."""

    station: Station
    line: Line
    offset_hz: float
    exchanges: tuple[Exchange, ...] = ()

    def to(self) -> Iterable[tuple[Station, Line]]:
        """Yield each addressee with what the message tells it."""
        for at, exchange in enumerate(self.exchanges):
            if exchange.partner is None:
                continue
            if at and self.line.second is not None:
                call, report_db = self.line.second
                yield exchange.partner, Line(Say.REPORT, self.line.sender, self.line.locator, call, report_db)
            else:
                yield exchange.partner, self.line


Copied = tuple[Transmission, Line, int]


class Air:
    """One band. ``own`` is the own station as it stands there; it is played by somebody else."""

    def __init__(self, seed: int, band: Band, habits: Habits, paths: Paths, own: Station, start_ms: int) -> None:
        self.own = own
        self.stations: list[Station] = []
        self.joined: list[Station] = []
        #: whether nobody copies the own station's last word
        self.farewell_lost = False
        #: who copied the own station in the period played last, and who could not, because it was sending itself
        self.copied_own: set[str] = set()
        self.deaf: set[str] = set()
        self._band = band
        self._habits = habits
        self._paths = paths
        self._random = rng.stream(seed, "air", band.key)
        found = timed(band.mode)
        assert found is not None  # the scenario was checked
        self.mode = found
        self._population = Population(seed, band.key, band.dial_hz, habits, band.runners)
        self._population.reserve(own.call)
        self._settle(start_ms)

    def parity(self, at_ms: int) -> int:
        """Return 0 or 1 for the period that begins at ``at_ms``."""
        return at_ms // round(self.mode.period_s * 1000) % 2

    def step(self, at_ms: int, own: Transmission | None) -> list[Transmission]:
        """Play one period and return all that is on the air in it, the own transmission included."""
        parity = self.parity(at_ms)
        sent = self._all_sent(at_ms, parity)
        if own is not None:
            sent.append(own)
        inbox = self._delivered(at_ms, sent)
        self._react(at_ms, parity, sent, inbox)
        self._come_and_go(at_ms)
        return sent

    def pile_up(self, callers: int, at_ms: int) -> None:
        """Have so many stations that hear the own one well call it, all in the next period."""
        parity = 1 - self.parity(at_ms)
        free = [one for one in self.stations if not one.runner and not any(other.complete for other in one.exchanges)]
        free.sort(key=lambda one: (-self._paths.snr_db(self.own, one, at_ms), one.call))
        for station in free[:callers]:
            station.parity, station.rest_until_ms = parity, 0
            station.exchanges = [Exchange(self.own.call, self.own, Say.ANSWER, at_ms, self._band.contest)]

    def find(self, call: str) -> Station | None:
        """Return the station on the air that has ``call``, or None."""
        return next((station for station in self.stations if station.call == call), None)

    def _settle(self, start_ms: int) -> None:
        for _ in range(self._band.stations):
            self._join(self._population.make(start_ms, settled=True))

    def _join(self, station: Station) -> None:
        self._paths.meet(self.own, station)
        self.stations.append(station)
        self.joined.append(station)

    def _come_and_go(self, at_ms: int) -> None:
        gone = [station for station in self.stations if station.to_ms <= at_ms and not station.exchanges]
        for station in gone:
            self._population.leave(station)
        if gone:
            self.stations = [station for station in self.stations if station not in gone]
        for _ in range(self._band.stations - len(self.stations)):
            self._join(self._population.make(at_ms))

    def _all_sent(self, at_ms: int, parity: int) -> list[Transmission]:
        sent: list[Transmission] = []
        for station in self.stations:
            if station.parity == parity and station.rest_until_ms <= at_ms:
                sent.extend(self._sent_by(station, at_ms))
        return sent

    def _sent_by(self, station: Station, at_ms: int) -> Iterable[Transmission]:
        due = [exchange for exchange in station.exchanges if exchange.due]
        if not due:
            if station.runner and station.to_ms > at_ms:
                station.free_ms = at_ms
                yield Transmission(station, self._call(station), station.offset_hz)
            return
        due = [exchange for exchange in due if not self._holds_back(station, exchange, at_ms)]
        if len(due) > 1 and {one.say for one in due[:2]} == {Say.ROGER_FAREWELL, Say.REPORT}:
            first, second = sorted(due[:2], key=lambda one: one.say is Say.REPORT)
            line = first.line(station)
            joint = Line(line.say, line.sender, line.locator, line.to, second=(second.call, second.report_sent_db or 0))
            yield self._said(station, joint, 0, at_ms, first, second)
            due = due[2:]
        for at, exchange in enumerate(due):
            yield self._said(station, exchange.line(station), at, at_ms, exchange)

    def _said(self, station: Station, line: Line, slot: int, at_ms: int, *exchanges: Exchange) -> Transmission:
        for exchange in exchanges:
            exchange.said()
        if line.say in (Say.ROGER_FAREWELL, Say.FAREWELL):
            station.free_ms = at_ms
        return Transmission(station, line, station.offset_hz + 60.0 * slot, exchanges)

    def _call(self, station: Station) -> Line:
        word = "TEST" if self._band.contest else station.direction
        return Line(Say.CALL, station.call, station.locator, word=word)

    def _holds_back(self, station: Station, exchange: Exchange, at_ms: int) -> bool:
        """Whether a polite caller waits while the one it calls is busy with another."""
        partner = exchange.partner
        if partner is None or exchange.say not in (Say.ANSWER, Say.REPORT) or not station.polite or station.runner:
            return False
        busy = (
            any(other.partner is not station for other in partner.exchanges)
            and len(partner.exchanges) >= partner.streams
        )
        return busy and partner.free_ms < at_ms - 2 * round(self.mode.period_s * 1000)

    def _delivered(self, at_ms: int, sent: Sequence[Transmission]) -> dict[Station, list[Copied]]:
        """Return what each addressee copies; those that send in the same period copy nothing."""
        sending = {one.station for one in sent}
        self.deaf = {station.call for station in sending}
        self.copied_own.clear()
        inbox: dict[Station, list[Copied]] = {}
        for one in sent:
            if self.farewell_lost and one.station.own and one.line.say is Say.ROGER_FAREWELL:
                continue
            for station, line in one.to():
                if station.own or station in sending:
                    continue
                snr_db = self._snr_db(one, station, at_ms)
                if self._decodes(station, one.station, snr_db):
                    inbox.setdefault(station, []).append((one, line, round(reported_db(snr_db))))
                    if one.station.own:
                        self.copied_own.add(station.call)
        return inbox

    def _snr_db(self, one: Transmission, at: Station, at_ms: int) -> float:
        median_db = self._paths.snr_db(one.station, at, at_ms)
        if one.station.own:
            return median_db
        if not one.exchanges:
            return median_db + self._random.gauss(0, _FADE_DB)
        exchange = one.exchanges[0]
        exchange.fade_db = exchange.fade_db * _FADE_KEPT + self._random.gauss(0, _FADE_DB * (1 - _FADE_KEPT**2) ** 0.5)
        return median_db + exchange.fade_db

    def _decodes(self, at: Station, sender: Station, snr_db: float) -> bool:
        odds = chance(snr_db, self.mode.limit_db) * in_time(sender.clock_s - at.clock_s) * (1 - _LOST_TO_NEIGHBOURS)
        return at.random.random() < odds

    def _react(self, at_ms: int, parity: int, sent: Sequence[Transmission], inbox: dict[Station, list[Copied]]) -> None:
        taken = sorted(one.offset_hz for one in sent)
        open_to_calls = [one for one in sent if one.line.say in (Say.CALL, Say.ROGER_FAREWELL, Say.FAREWELL)]
        sending = {one.station for one in sent}
        for station in self.stations:
            if station in sending:
                continue
            self._take_in(station, inbox.get(station, []), at_ms)
            self._give_up(station, at_ms)
            idle = not station.runner and not station.exchanges and station.rest_until_ms <= at_ms < station.to_ms
            if idle and open_to_calls:
                self._look_for(station, open_to_calls, parity, taken, at_ms)

    def _take_in(self, station: Station, copied: Sequence[Copied], at_ms: int) -> None:
        callers: list[Copied] = []
        for one, line, snr_db in copied:
            known = _with(station.exchanges, one.station) or _with(station.finished, one.station)
            if known is not None:
                known.heard(line, snr_db)
                if known not in station.exchanges and known.due:
                    station.exchanges.append(known)
                    station.finished.remove(known)
            elif line.say in (Say.ANSWER, Say.REPORT):
                callers.append((one, line, snr_db))
        self._put_away(station, at_ms)
        free = station.streams - len(station.exchanges)
        if callers and free > 0 and station.to_ms > at_ms and (station.runner or station.random.random() < 0.4):
            # the strongest catches the ear most often
            callers.sort(key=lambda copy: -copy[2] + station.random.uniform(0, 12 * (1 - station.skill)))
            for one, line, snr_db in callers[:free]:
                station.exchanges.append(self._answer(one, line, snr_db, at_ms))
            if not station.runner:
                station.parity = 1 - self.parity(at_ms)

    def _answer(self, one: Transmission, line: Line, snr_db: int, at_ms: int) -> Exchange:
        exchange = Exchange(one.station.call, one.station, Say.REPORT, at_ms, self._band.contest)
        exchange.say = Say.CALL  # nothing said yet: whatever was heard decides
        exchange.heard(line, snr_db)
        return exchange

    def _put_away(self, station: Station, at_ms: int) -> None:
        """Move what has nothing due to the exchanges that can come back, the oldest of them forgotten."""
        done = [exchange for exchange in station.exchanges if not exchange.due]
        if not done:
            return
        station.exchanges = [exchange for exchange in station.exchanges if exchange.due]
        for exchange in done:
            if exchange.complete:
                station.worked.add(exchange.call)
        station.finished = [*station.finished, *done][-_REMEMBERED:]
        if not station.runner and not station.exchanges:
            self._rest(station, at_ms)

    def _give_up(self, station: Station, at_ms: int) -> None:
        tired = [exchange for exchange in station.exchanges if exchange.tries >= station.patience]
        if tired:
            station.exchanges = [exchange for exchange in station.exchanges if exchange not in tired]
            if not station.runner:
                self._rest(station, at_ms)

    def _rest(self, station: Station, at_ms: int) -> None:
        longest_s = 20.0 if self._band.contest else 120.0
        station.rest_until_ms = at_ms + round(station.random.uniform(0, longest_s) * 1000)

    def _look_for(
        self, station: Station, calls: Sequence[Transmission], parity: int, taken: Sequence[float], at_ms: int
    ) -> None:
        """Let a station without an exchange answer the best of a few calls that it looks at."""
        best: tuple[float, Transmission] | None = None
        for _ in range(_LOOKS):
            one = station.random.choice(calls)
            if not self._welcome(station, one):
                continue
            snr_db = self._snr_db(one, station, at_ms)
            # rare ones are worth some dB
            worth = snr_db - 4.0 * min(2.0, one.station.region.weight / 4)
            if (best is None or worth > best[0]) and self._decodes(station, one.station, snr_db):
                best = worth, one
        if best is None:
            return
        one = best[1]
        say = Say.REPORT if station.short and not self._band.contest else Say.ANSWER
        exchange = Exchange(one.station.call, one.station, say, at_ms, self._band.contest)
        if say is Say.REPORT:
            exchange.report_sent_db = round(reported_db(self._paths.snr_db(one.station, station, at_ms)))
        station.exchanges.append(exchange)
        station.parity = 1 - parity
        if station.random.random() < 0.7:
            station.offset_hz = clear_offset(station.random, taken, self.mode.bandwidth_hz)

    def _welcome(self, station: Station, one: Transmission) -> bool:
        other = one.station
        if other is station or other.call in station.worked:
            return False
        if one.line.say is not Say.CALL and not (other.runner and station.random.random() < self._habits.tail_ending):
            return False
        word = None if self._band.contest else other.direction
        return word is None or is_meant(word, other, station) or station.random.random() < _UNINVITED


def is_meant(word: str | None, caller: Station, other: Station) -> bool:
    """Say whether a directed call means ``other``: a continent, Japan, or DX (another continent, common practice)."""
    there, here = _continent(other.region.dxcc), _continent(caller.region.dxcc)
    if word == "DX":
        return there != here
    return word == there or (word == "JA" and other.region.dxcc == 339)


@cache
def _continent(dxcc: int) -> str | None:
    found = entity.by_code(dxcc)
    return found.continent if found else None


def _with(exchanges: Sequence[Exchange], partner: Station) -> Exchange | None:
    return next((exchange for exchange in exchanges if exchange.partner is partner), None)
