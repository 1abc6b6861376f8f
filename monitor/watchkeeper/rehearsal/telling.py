"""What the own station tells the watch beside hearings: who it is, where it stands, what it sent, read and logged."""

from __future__ import annotations

from typing import Any

from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.air import Transmission
from watchkeeper.rehearsal.decoding import chance, reported_db
from watchkeeper.rehearsal.faults import Timeline
from watchkeeper.rehearsal.frequency import Frequency
from watchkeeper.rehearsal.operating import Logged, Operator
from watchkeeper.rehearsal.outlet import Outlets
from watchkeeper.rehearsal.scenario import Own
from watchkeeper.rehearsal.shack import Shack
from watchkeeper.rehearsal.truth import Truth
from watchkeeper.rehearsal.words import HashTable, report_text, text
from watchkeeper.schema.events import stamp

#: who the station is, is said again this often: the first word may have been lost
_STATION_EVERY_MS = 600_000
_GAUGES_EVERY_MS = 60_000
_REPORT_DELAY_MS = (60_000, 420_000)
_REPORTED_AGAIN_MS = 300_000
_REPORTS_LOST = 0.1
#: when within a period the gauges are read, as a share of it: while sending, and while listening
_SENDING_READ, _LISTENING_READ = 0.45, 0.95


class Telling:
    """Puts events of the own station on their way."""

    def __init__(
        self, seed: int, run: str, own: Own, shack: Shack, timeline: Timeline, outlets: Outlets, truth: Truth
    ) -> None:
        self._run = run
        self._own = own
        self._shack = shack
        self._timeline = timeline
        self._outlets = outlets
        self._truth = truth
        self._reports = rng.stream(seed, "reports")
        self._activations = [
            {"programme": one.programme, "reference": one.reference} for one in own.activations
        ] or None
        self._said: object = None
        self._station_due_ms = self._gauges_due_ms = 0
        self.contacts = 0

    def who(self, at_ms: int, here: Frequency, others: list[Frequency], operator: Operator) -> None:
        """Say who the station is, now and then, and where all its receivers are."""
        if at_ms < self._station_due_ms:
            return
        self._station_due_ms = at_ms + _STATION_EVERY_MS
        own = self._own
        for outlet in self._outlets:
            self._outlets.put(
                at_ms,
                outlet.source,
                "station",
                at_ms,
                call=own.call,
                locator=own.locator,
                power_w=own.power_w,
                antenna=own.antenna,
                activations=self._activations,
            )
        for frequency in others:
            self._tuned(frequency, at_ms)
        self._said = None
        self.tuning(at_ms, here, operator)

    def tuning(self, at_ms: int, here: Frequency, operator: Operator) -> None:
        """Say where the own station stands when that has changed."""
        said = (here.band.key, operator.parity, operator.offset_hz, operator.calling)
        if said != self._said:
            self._said = said
            self._tuned(
                here,
                at_ms,
                send_dial_hz=here.band.dial_hz,
                send_offset_hz=operator.offset_hz,
                send_parity=operator.parity,
                calling=operator.calling,
            )

    def sent(self, at_ms: int, here: Frequency, own: Transmission) -> None:
        """Report the own transmission, and let others report it."""
        band, mode = here.band, here.air.mode
        started_ms = at_ms + round(mode.start_s * 1000)
        shown = HashTable(here.own.call)
        if own.line.to is not None:
            shown.hear(own.line.to)
        self._outlets.put(
            started_ms + 100,
            band.source,
            "sent",
            started_ms,
            mode=band.mode,
            dial_hz=band.dial_hz,
            offset_hz=own.offset_hz,
            text=text(own.line, shown),
            power_w=self._own.power_w,
            started_at=stamp(started_ms),
        )
        self._truth.sent(band.source, at_ms, own, here.air, here.paths)
        if self._timeline.active("offline", at_ms) is None:
            self._receptions(here, at_ms, own)

    def gauges(self, at_ms: int, here: Frequency, *, sending: bool) -> None:
        """Read the gauges in the middle of a transmission, and every minute."""
        source = here.band.source
        if sending:
            middle_ms = at_ms + round(_SENDING_READ * here.period_ms)
            self._outlets.put(middle_ms, source, "gauge", middle_ms, **self._shack.sending(at_ms))
        if at_ms >= self._gauges_due_ms:
            self._gauges_due_ms = at_ms + _GAUGES_EVERY_MS
            after_ms = at_ms + round(_LISTENING_READ * here.period_ms)
            self._outlets.put(after_ms, source, "gauge", after_ms, **self._shack.receiving(at_ms))

    def contact(self, due_ms: int, here: Frequency, logged: Logged, offset_hz: float) -> None:
        """Log a contact, and ask for a receipt."""
        self.contacts += 1
        own, band, exchange = self._own, here.band, logged.exchange
        key = f"{self._run}-{self.contacts}"
        ended_ms = logged.ended_ms + here.period_ms
        sent_db = exchange.report_sent_db
        self._outlets.put(
            due_ms,
            band.source,
            "contact",
            ended_ms,
            id=key,
            call=logged.call,
            started_at=stamp(logged.started_ms),
            ended_at=stamp(ended_ms),
            dial_hz=band.dial_hz,
            mode=band.mode,
            offset_hz=offset_hz,
            report_sent=None if sent_db is None else report_text(sent_db),
            report_received=exchange.report_received,
            locator=exchange.locator or None,
            station_call=own.call,
            own_locator=own.locator,
            power_w=own.power_w,
            activations=self._activations,
            exchange_sent=own.locator[:4] if band.contest else None,
            exchange_received=exchange.locator if band.contest else None,
        )
        self._truth.contacts.append(
            {
                "band": band.key,
                "id": key,
                "call": logged.call,
                "at": stamp(ended_ms),
                "real": exchange.partner is not None,
            }
        )

    def _tuned(self, frequency: Frequency, at_ms: int, **sending: Any) -> None:
        band = frequency.band
        self._outlets.put(
            at_ms,
            band.source,
            "tuning",
            at_ms,
            dial_hz=band.dial_hz,
            mode=band.mode,
            sideband="USB",
            search_low_hz=200,
            search_high_hz=2900,
            **sending,
        )

    def _receptions(self, here: Frequency, at_ms: int, own: Transmission) -> None:
        """Let those who copy the own station and report it do so, minutes later; some reports never arrive."""
        band, mode, random = here.band, here.air.mode, self._reports
        for station in here.air.stations:
            if not station.reports or at_ms - station.reported_ms < _REPORTED_AGAIN_MS:
                continue
            snr_db = here.paths.snr_db(here.own, station, at_ms)
            if snr_db < mode.limit_db - 3 or random.random() >= chance(snr_db, mode.limit_db):
                continue
            station.reported_ms = at_ms
            shown_db = round(max(mode.floor_db, reported_db(snr_db) + random.gauss(0, 0.7)))
            self._truth.reports.append(
                {"source": band.source, "at": stamp(at_ms), "by": station.call, "snr_db": round(snr_db, 1)}
            )
            if random.random() < _REPORTS_LOST:
                continue
            self._outlets.put(
                at_ms + random.randint(*_REPORT_DELAY_MS),
                band.source,
                "reception",
                at_ms,
                by_call=station.call,
                by_locator=station.locator,
                call=here.own.call,
                snr_db=shown_db,
                dial_hz=band.dial_hz,
                mode=band.mode,
                offset_hz=own.offset_hz,
            )
