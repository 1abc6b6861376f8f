"""Gathers what a session report is made of: from the record, and from the session's journal run again."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterable
from pathlib import Path

import msgspec

from .. import __version__
from ..faces.report.facts import ContactLine, GaugePoint, Happening, Report
from ..faces.shown import HailShown, OwnStation
from ..model import Contact, Hail
from ..radio import entity, geodesic, locator
from ..radio.place import Point
from ..schema import events
from ..store import contacts as contact_rows
from ..store.database import reading
from ..store.sessions import SessionRow, entries, sessions
from ..store.worked import WorkedIndex
from ..store.worked_rows import index_before
from ..watch.journal import Entry, Header
from ..watch.replay import Replay
from .reporting_heard import Best, Hearings, Spot, directions

#: readings closer together than this say nothing more on a plot
GAUGE_STEP_MS = 10_000
Progress = Callable[[int, int], None]


class NoSessionError(ValueError):
    """There is no such session; the message names those that there are."""


class Gathering:
    """The session while its journal is read."""

    def __init__(self) -> None:
        self.hails: list[Hail] = []
        self.contact_ids: list[int] = []
        self.receptions: list[events.Reception] = []
        self.gauges: list[GaugePoint] = []
        self.happenings: list[Happening] = []
        self.transmissions = 0
        self.lost = 0
        self.first_ms: int | None = None
        self._last_seq: dict[tuple[str, str | None], int] = {}
        self._dial: int | None = None

    def take(self, entry: Entry, hails: Iterable[Hail], now_ms: int) -> None:
        """Note what one entry brought."""
        self.hails += hails
        if entry.outcome is not None and entry.outcome.contact is not None:
            self.contact_ids.append(entry.outcome.contact)
        if entry.rest is not None:
            word = "was rested" if entry.rest.resting else "is tried again"
            reason = f": {entry.rest.reason}" if entry.rest.reason else ""
            self.happenings.append(Happening(at_ms=now_ms, sentence=f"Plugin {entry.rest.plugin} {word}{reason}."))
        if entry.event is not None:
            self._event(entry.event)

    def _event(self, event: events.AnyEvent) -> None:
        self.first_ms = event.at_ms if self.first_ms is None else self.first_ms
        self._gap(event)
        match event:
            case events.Sent():
                self.transmissions += not event.aborted
            case events.Reception():
                self.receptions.append(event)
            case events.Tuning() if event.dial_hz != self._dial:
                self._dial = event.dial_hz
                sentence = f"{event.source} tuned to {event.dial_hz / 1e6:.4f} MHz, {event.mode}."
                self.happenings.append(Happening(at_ms=event.at_ms, sentence=sentence))
            case events.Farewell():
                self.happenings.append(Happening(at_ms=event.at_ms, sentence=f"{event.source} said farewell."))
            case events.Gauge() if not self.gauges or event.at_ms - self.gauges[-1].at_ms >= GAUGE_STEP_MS:
                self.gauges.append(
                    GaugePoint(
                        at_ms=event.at_ms,
                        supply_v=event.supply_v,
                        supply_a=event.supply_a,
                        host_battery_fraction=event.host_battery_fraction,
                        forward_w=event.forward_w,
                        swr=event.swr,
                    )
                )

    def _gap(self, event: events.AnyEvent) -> None:
        if event.seq is None:
            return
        run = (event.source, event.run)
        before = self._last_seq.get(run)
        if before is not None and event.seq > before + 1:
            self.lost += event.seq - before - 1
        self._last_seq[run] = max(event.seq, before if before is not None else event.seq)


def gather(folder: Path, session: int | None, progress: Progress) -> Report:
    """The report of ``session``, the newest where it is None.

    ``progress(done, all)`` counts journal entries. Raises StoreError, NoSessionError and JournalError.
    """
    with reading(folder) as db:
        row = _session(db, session)
        header = msgspec.json.decode(row.header, type=Header)
        lines = [msgspec.json.encode(msgspec.structs.replace(header, baseline=row.baseline)), *entries(db, row.id)]
    replay = Replay(lines, load_worked=lambda baseline: _worked(folder, baseline))
    found = Gathering()
    for done, (entry, out) in enumerate(replay.steps(), start=1):
        found.take(entry, out.hails, replay.watch.now_ms)
        progress(done, len(lines) - 1)
    with reading(folder) as db:
        heard = Hearings.read(db, row.id)
        contacts = tuple(_contact(db, row_id) for row_id in dict.fromkeys(found.contact_ids))
    return _report(row, replay, found, heard, contacts)


def _report(
    row: SessionRow, replay: Replay, found: Gathering, heard: Hearings, contacts: tuple[ContactLine, ...]
) -> Report:
    watch = replay.watch
    here = place(watch.own.locator)
    # a session begins with its first event: the computer's clock says nothing about a rehearsal
    ended_ms = max(watch.now_ms, heard.first_ms)
    return Report(
        watchkeeper=__version__,
        session=row.id,
        started_ms=min(found.first_ms or ended_ms, heard.first_ms or ended_ms),
        ended_ms=ended_ms,
        running=not row.closed,
        own=msgspec.convert(watch.own, OwnStation, from_attributes=True),
        own_latitude=here.latitude if here is not None else None,
        own_longitude=here.longitude if here is not None else None,
        hearings=heard.count,
        stations=len(heard.best),
        transmissions=found.transmissions,
        receptions=len(found.receptions),
        events_lost=found.lost,
        farthest_call=heard.farthest_call,
        farthest_km=heard.farthest_km,
        contacts=contacts,
        hails=tuple(msgspec.convert(hail, HailShown, from_attributes=True) for hail in found.hails),
        happenings=tuple(found.happenings),
        bins=heard.bins(),
        bin_ms=heard.bin_ms,
        directions=directions(heard.best, _hearing_us(found.receptions, contacts, watch.own.call, here)),
        gauges=tuple(found.gauges),
        views=(*watch.views(), *replay.host.report_parts(row.id)),
    )


def _session(db: sqlite3.Connection, wanted: int | None) -> SessionRow:
    rows = list(sessions(db))
    row = next((one for one in rows if wanted in (None, one.id)), None)
    if row is None:
        known = ", ".join(str(one.id) for one in rows[:10]) or "none"
        raise NoSessionError(f"no session{'' if wanted is None else f' {wanted}'} there; there are: {known}")
    return row


def _worked(folder: Path, baseline: int) -> WorkedIndex:
    with reading(folder) as db:
        worked, _ = index_before(db, baseline + 1)
    worked.begin_session()
    return worked


def _contact(db: sqlite3.Connection, row_id: int) -> ContactLine:
    contact = contact_rows.by_id(db, row_id)
    assert contact is not None
    states = db.execute("SELECT destination, state FROM outbox WHERE contact_id = ? ORDER BY destination", (row_id,))
    where = _where(contact)
    return ContactLine(
        call=contact.call,
        started_ms=contact.started_ms,
        ended_ms=contact.ended_ms,
        band=contact.band,
        mode=contact.mode,
        report_sent=contact.report_sent,
        report_received=contact.report_received,
        entity=contact.entity,
        locator=contact.locator,
        latitude=where.latitude if where is not None else None,
        longitude=where.longitude if where is not None else None,
        distance_km=contact.distance_km,
        forwarded=dict(states),
    )


def _where(contact: Contact) -> Point | None:
    """Where the other station is: its locator's middle, else what the country data say of its call."""
    found = place(contact.locator)
    if found is not None:
        return found
    placed = entity.lookup(contact.call)
    if placed.latitude is None or placed.longitude is None:
        return None
    return Point(placed.latitude, placed.longitude)


def place(text: str | None) -> Point | None:
    """The middle of a locator, or None where there is none to be had."""
    return locator.centre(text) if text and locator.is_locator(text) else None


def _hearing_us(
    receptions: Iterable[events.Reception], contacts: Iterable[ContactLine], own: str | None, here: Point | None
) -> Best:
    """The best report of each station that heard us, with where it is: receptions, and reports in contacts."""
    best: Best = {}
    for one in receptions:
        if one.call in (None, own):
            _better(best, one.by_call, one.snr_db, place(one.by_locator), here)
    for contact in contacts:
        if contact.latitude is not None and contact.longitude is not None and _is_db(contact.report_received):
            there = Point(contact.latitude, contact.longitude)
            _better(best, contact.call, float(contact.report_received or 0), there, here)
    return best


def _better(best: Best, call: str, snr_db: float, there: Point | None, here: Point | None) -> None:
    known = best.get(call)
    if here is not None and there is not None and (known is None or snr_db > known.snr_db):
        path = geodesic.inverse(here, there)
        best[call] = Spot(snr_db, path.distance_km, path.azimuth_deg)


def _is_db(report: str | None) -> bool:
    """Whether a report is a signal-to-noise ratio (``-12``), and no ``599``."""
    return report is not None and re.fullmatch(r"[+-]\d{1,2}", report) is not None
