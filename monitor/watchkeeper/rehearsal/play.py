"""Plays a session: period after period the world goes on, the decoder reports, the operator looks and decides."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from watchkeeper.radio.period import length_ms
from watchkeeper.rehearsal.air import Transmission
from watchkeeper.rehearsal.faults import Timeline, WireFaults
from watchkeeper.rehearsal.frequency import Frequency
from watchkeeper.rehearsal.httplog import HttpLog, Trouble
from watchkeeper.rehearsal.lookout import Advice, Dashboard, advice
from watchkeeper.rehearsal.operating import Operator, Policy
from watchkeeper.rehearsal.outlet import Address, Outlet, Outlets, Pace
from watchkeeper.rehearsal.scenario import Fault, Scenario
from watchkeeper.rehearsal.shack import Shack
from watchkeeper.rehearsal.sky import QUARTER_MS, Sky
from watchkeeper.rehearsal.telling import Telling
from watchkeeper.rehearsal.truth import Truth
from watchkeeper.rehearsal.variants import VARIANTS, changed
from watchkeeper.schema.events import stamp

#: who the station is, is said again this often: the first word may have been lost
_STATION_EVERY_MS = 600_000
_GAUGES_EVERY_MS = 60_000
_COVER_WAIT_S = 5.0
_FAULTY_COVER_WAIT_S = 0.3
_COVER_TRIES = 24
_RECEIPT_WAIT_S = 10.0
_FORWARD_WAIT_S = 20.0
#: as long as this when no receipt has ever come
_UNHEARD_WAIT_S = 2.0
_REPORT_DELAY_MS = (60_000, 420_000)
_REPORTED_AGAIN_MS = 300_000
#: after the last period the decoder still brings what is late
_LATE_MS = 3_100


@dataclass(frozen=True)
class Order:
    """What the command line asks for; ``pace`` is None for as fast as it goes."""

    scenario: Scenario
    name: str
    seed: int
    periods: int
    pace: float | None
    to: Address
    start_ms: int
    policy: Policy = Policy.STRONGEST
    world: str = "usual"
    wire: WireFaults = field(default_factory=WireFaults)
    socket: Path | None = None
    truth: Path | None = None
    log: HttpLog | None = None
    evening: int = 1  #: which one on the watch's log: what is worked already makes each another one


class Session:
    """One rehearsal from its first period to its farewell."""

    def __init__(self, order: Order) -> None:
        variant = VARIANTS[order.world]
        scenario = changed(order.scenario, variant)
        order = replace(order, start_ms=_next_period(order.start_ms, scenario))
        self._order = order
        self._scenario = scenario
        self._run = hashlib.sha256("/".join(map(str, _identity(order))).encode()).hexdigest()[:12]
        self._pace = Pace(order.pace, order.start_ms)
        self._outlets = Outlets(self._pace)
        self._end_ms = order.start_ms
        own_band = next(band for band in scenario.band if band.own)
        last_ms = order.start_ms + order.periods * 120_000
        sky = Sky(order.seed, scenario.sky, order.start_ms, last_ms, variant.sky)
        self._frequencies = {
            band.key: Frequency(order.seed, scenario, band, sky, self._outlets, variant.noise_db, order.start_ms)
            for band in scenario.band
        }
        for band in scenario.band:
            if band.source not in self._outlets:
                outlet = Outlet(band.source, order.to, self._run, order.seed, order.wire, batched=band.batched)
                self._outlets.add(outlet)
        self._here = self._frequencies[own_band.key]
        self._timeline = Timeline(scenario.fault, order.start_ms)
        self._shack = Shack(order.seed, scenario.own, self._timeline)
        self._operator = Operator(order.seed, order.policy, scenario.own, self._here.air, contest=own_band.contest)
        self._truth = Truth(self._head(), sky)
        self._truth.faults = [
            {"kind": one.kind, "from_s": one.from_s, "to_s": one.to_s, "value": one.value}
            for one in self._timeline.faults
        ]
        self._dashboard = Dashboard(order.socket) if order.socket else None
        self._changes = list(scenario.change)
        self._piled: list[Fault] = []
        self._heard = 0
        self._quarter = -1
        self._telling = Telling(
            order.seed, self._run, scenario.own, self._shack, self._timeline, self._outlets, self._truth
        )

    def play(self) -> dict[str, Any]:
        """Play all periods and return the figures of the last line."""
        for _ in range(self._order.periods):
            self.step()
        return self._finish()

    def step(self) -> None:
        """Play the next period of the own band."""
        at_ms = self._end_ms
        self._change_band(at_ms)
        if at_ms // QUARTER_MS != self._quarter:
            self._quarter = at_ms // QUARTER_MS
            self._note_quarter(at_ms)
        self._period(at_ms)
        self._end_ms = at_ms + self._here.period_ms

    def close(self) -> None:
        """Let go of the sockets without a farewell, as a source that dies does."""
        for outlet in self._outlets:
            outlet.sender.close(wait=0.0)

    @property
    def outlets(self) -> Outlets:
        """What the sources send through."""
        return self._outlets

    @property
    def shack(self) -> Shack:
        """The own station as it really is."""
        return self._shack

    def truth(self) -> dict[str, Any]:
        """Return the truth up to now."""
        return self._truth.whole(self._end_ms, {"periods": self._order.periods})

    def _period(self, at_ms: int) -> None:
        """Play one period of the own band, and all periods of the others that begin within it."""
        self._switch(at_ms)
        self._telling.who(at_ms, self._here, self._others(), self._operator)
        own = None if self._shack.dead else self._operator.transmission(at_ms)
        copies = ()
        end_ms = at_ms + self._here.period_ms
        for frequency in self._frequencies.values():
            begin_ms = -(-at_ms // frequency.period_ms) * frequency.period_ms
            while begin_ms < end_ms:
                here = frequency is self._here
                found = self._listen(frequency, begin_ms, own if here else None)
                copies = found if here else copies
                begin_ms += frequency.period_ms
        sending_s = self._here.air.mode.transmission_s if own else 0.0
        self._shack.period(at_ms, self._here.period_ms / 1000, sending_s)
        self._telling.gauges(at_ms, self._here, sending=own is not None)
        self._outlets.send_until(end_ms - 150)
        # who sends has nothing to decide: world and watch work side by side until the next look
        if own is None:
            self._operator.learn(at_ms, copies, self._look())
        elif self._faulty:
            self._look()  # what was lost or held back on the way is said again
        self._log_contacts(end_ms - 100)
        self._telling.tuning(end_ms - 100, self._here, self._operator)
        self._outlets.send_until(end_ms)
        self._await_receipts()

    def _listen(self, frequency: Frequency, at_ms: int, own: Transmission | None) -> tuple[Any, ...]:
        """Play one period of one band and put what the decoder makes of it on its way."""
        source, air = frequency.band.source, frequency.air
        sent = air.step(at_ms, own)
        if frequency is not self._here and source == self._here.band.source:
            air.joined.clear()
            return ()  # the one radio is elsewhere
        for station in air.joined:
            self._truth.joined(frequency.band.key, frequency.own, station)
        air.joined.clear()
        listened = None
        if own is None:
            talking_to = self._operator.calling if frequency is self._here else None
            listened = frequency.receiver.listen(at_ms, sent, self._shack.condition(at_ms), talking_to)
            self._heard += len(listened.copies)
            self._truth.listened(source, at_ms, listened)
            frequency.bursts.listened(at_ms, listened)
        else:
            frequency.bursts.silent(at_ms)
            self._telling.sent(at_ms, frequency, own)
        self._truth.called(source, at_ms, sent, listened, frequency.own)
        return listened.copies if listened else ()

    def _log_contacts(self, due_ms: int) -> None:
        for logged in self._operator.to_log:
            self._telling.contact(due_ms, self._here, logged, self._operator.offset_hz)
        self._operator.to_log.clear()

    def _change_band(self, at_ms: int) -> None:
        while self._changes and at_ms - self._order.start_ms >= self._changes[0].at_s * 1000:
            change = self._changes.pop(0)
            self._here = self._frequencies[change.band]
            self._quarter = -1  # what can be reached there is noted at once
            self._operator.move(self._here.air, contest=self._here.band.contest)

    def _others(self) -> list[Frequency]:
        """Return the bands on which another radio listens."""
        own = self._here.band.source
        return [frequency for frequency in self._frequencies.values() if frequency.band.source != own]

    def _switch(self, at_ms: int) -> None:
        """Put the faults of the moment in force that are not asked for elsewhere."""
        lossy = self._timeline.value("lossy", at_ms, 0.0)
        for outlet in self._outlets:
            outlet.wire.lossy = lossy
        if self._order.log is not None:
            offline = self._timeline.active("offline", at_ms) is not None
            self._order.log.trouble = (
                Trouble.CLOSES if offline else Trouble(int(self._timeline.value("http", at_ms, 0.0)))
            )
        for frequency in self._frequencies.values():
            frequency.own.clock_s = self._shack.clock_s(at_ms)
            frequency.air.farewell_lost = self._timeline.active("farewell_lost", at_ms) is not None
        pile = self._timeline.active("pile", at_ms)
        if pile is not None and pile not in self._piled:
            self._piled.append(pile)
            self._here.air.pile_up(round(pile.value), at_ms)

    @property
    def _faulty(self) -> bool:
        """Whether events get lost on their way at the moment."""
        return self._order.wire.any or any(outlet.wire.lossy > 0 for outlet in self._outlets)

    def _look(self) -> Sequence[Advice]:
        """Wait until the watch has seen all that was sent, and return what it advises."""
        if self._dashboard is None:
            return ()
        rows: Sequence[Advice] = ()
        for outlet in self._outlets:
            rows = self._covered(outlet, self._dashboard)
        dial_hz = self._here.band.dial_hz
        return [row for row in rows if row.get("dial_hz", dial_hz) == dial_hz]  # a radio is on one frequency

    def _covered(self, outlet: Outlet, dashboard: Dashboard) -> Sequence[Advice]:
        wait_s = _FAULTY_COVER_WAIT_S if self._faulty else _COVER_WAIT_S
        outlet.wire.flush()
        for _ in range(_COVER_TRIES):
            found = dashboard.covering(outlet.source, self._run, outlet.sender.seq, wait_s)
            if found is not None:
                return advice(found)
            outlet.repeat_last()
            outlet.sender.pump()
        return ()

    def _await_receipts(self) -> None:
        """Without a pace, wait for the receipts of contacts: at any pace the session goes on from the same state."""
        if self._pace.held or self._dashboard is None:
            return
        until = time.monotonic() + _RECEIPT_WAIT_S
        for outlet in self._outlets:
            if outlet.sender.pending():
                outlet.wire.flush()
                outlet.sender.pump(max(0.0, until - time.monotonic()))

    def _await_log(self) -> None:
        """Give the watch time to forward the last contacts: the log must not go before they have come."""
        log = self._order.log
        if log is None or self._dashboard is None:
            return
        log.trouble = Trouble.NONE
        until = time.monotonic() + _FORWARD_WAIT_S
        # what was there already, from an earlier run, or was refused is not forwarded
        idle = sum(receipt["status"] != "stored" for outlet in self._outlets for receipt in outlet.sender.receipts)
        while log.received < self._telling.contacts - idle and time.monotonic() < until:
            time.sleep(0.05)

    def _note_quarter(self, at_ms: int) -> None:
        for frequency in self._frequencies.values():
            band = frequency.band
            if frequency is not self._here and band.source == self._here.band.source:
                continue
            self._truth.quarter(band.key, at_ms, frequency.own, frequency.air.stations, frequency.paths)
            self._truth.open_ways(band.key, at_ms, frequency.own, band.dial_hz)

    def _head(self) -> dict[str, Any]:
        order, own = self._order, self._scenario.own
        return {
            "v": 1,
            "scenario": order.name,
            "seed": order.seed,
            "world": order.world,
            "operator": order.policy.value,
            "run": self._run,
            "start": stamp(order.start_ms),
            "own": {"call": own.call, "locator": own.locator, "power_w": own.power_w},
            "bands": [
                {"band": band.key, "source": band.source, "dial_hz": band.dial_hz, "mode": band.mode}
                for band in self._scenario.band
            ],
        }

    def _finish(self) -> dict[str, Any]:
        over_ms = self._end_ms + _LATE_MS
        for outlet in self._outlets:
            self._outlets.put(over_ms, outlet.source, "farewell", over_ms)
        self._outlets.send_until(over_ms + 1)
        self._look()
        pending: list[str] = []
        for outlet in self._outlets:
            outlet.wire.flush()
            known = outlet.listened_to or self._dashboard is not None
            pending += outlet.sender.close(wait=_RECEIPT_WAIT_S if known else _UNHEARD_WAIT_S)
        if self._dashboard is not None:
            self._dashboard.close()
        self._await_log()
        figures = self._figures(pending)
        if self._order.truth is not None:
            self._truth.write(self._order.truth, self._end_ms, {"periods": self._order.periods})
        return figures

    def _figures(self, pending: Sequence[str]) -> dict[str, Any]:
        wire: dict[str, int] = {}
        for outlet in self._outlets:
            for name, count in sorted(outlet.wire.counts.items()):
                wire[name] = wire.get(name, 0) + count
        return {
            "scenario": self._order.name,
            "seed": self._order.seed,
            "run": self._run,
            "periods": self._order.periods,
            "heard": self._heard,
            "events_sent": sum(outlet.sender.seq for outlet in self._outlets),
            "datagrams_sent": wire.pop("sent", 0),
            "datagrams_passed": wire.pop("passed", 0),
            "contacts_made": self._telling.contacts,
            "receipts": self._telling.contacts - len(pending),
            "receipts_missing": len(pending),
            "wire": wire,
            "http_received": self._order.log.received if self._order.log else 0,
        }


def _identity(order: Order) -> tuple[str | int, ...]:
    """Return what makes a run another one: all that changes who is worked."""
    again = (order.evening,) if order.evening > 1 else ()
    return order.name, order.seed, order.world, order.policy.value, order.start_ms, *again


def _next_period(at_ms: int, scenario: Scenario) -> int:
    """Return the start of the first period of the own mode from ``at_ms`` on."""
    own = next(band for band in scenario.band if band.own)
    return -(-at_ms // length_ms(own.mode)) * length_ms(own.mode)
