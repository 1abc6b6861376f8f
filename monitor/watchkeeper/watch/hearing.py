"""From a ``heard`` event to a hearing: who, where, how far, how credible; and one hearing for one text of a period."""

from __future__ import annotations

from collections import OrderedDict

import msgspec

from ..model import Hearing, Own, Period
from ..radio import geodesic, locator
from ..radio.credibility import Evidence, judge
from ..radio.entity import Placed, lookup
from ..radio.message import Reading, matches_own, read
from ..radio.mode import timed
from ..radio.place import Point
from ..schema import events

#: two decodes of one text this far apart are images of an overloaded receiver, not one signal measured twice
IMAGE_HZ = 25.0
#: calls whose whereabouts are kept; the one named longest ago is forgotten first
MAX_CALLS = 4_000
KEPT_PERIODS = 12


class Whereabouts(msgspec.Struct, eq=False):
    """What is known of a call's place: entity, newest locator, and the path from us."""

    placed: Placed
    locator: str | None = None
    distance_km: float | None = None
    azimuth_deg: float | None = None


class Places:
    """Remembers where each call was last said to be: many messages carry no locator, and a rover's newest one wins."""

    def __init__(self) -> None:
        self._known: OrderedDict[str, Whereabouts] = OrderedDict()
        self._own: str | None = None

    def moved(self, own_locator: str | None) -> None:
        """We are elsewhere: every path is to be measured anew."""
        if own_locator == self._own:
            return
        self._own = own_locator
        for found in self._known.values():
            self._measure(found)

    def of(self, call: str, sent_locator: str | None) -> Whereabouts:
        """What is known of ``call``, its locator of this message included."""
        found = self._known.get(call)
        if found is None:
            found = self._known[call] = Whereabouts(lookup(call), sent_locator)
            self._measure(found)
            if len(self._known) > MAX_CALLS:
                self._known.popitem(last=False)
            return found
        self._known.move_to_end(call)
        if sent_locator is not None and not _tells_nothing_new(sent_locator, found.locator):
            found.locator = sent_locator
            self._measure(found)
        return found

    def locator_of(self, call: str) -> str | None:
        """The newest locator known of ``call``; asking keeps nothing."""
        found = self._known.get(call)
        return None if found is None else found.locator

    def _measure(self, found: Whereabouts) -> None:
        found.distance_km = found.azimuth_deg = None
        if self._own is None:
            return
        if found.locator is not None:
            path = geodesic.between(self._own, found.locator)
        elif found.placed.latitude is not None and found.placed.longitude is not None:
            there = Point(found.placed.latitude, found.placed.longitude)
            path = geodesic.inverse(locator.centre(self._own), there)
        else:
            return
        found.distance_km = path.distance_km
        found.azimuth_deg = path.azimuth_deg


class HearingDesk:
    """Makes hearings, and knows those of the last periods so that further copies join them."""

    def __init__(self, places: Places) -> None:
        self._places = places
        self._recent: OrderedDict[tuple[int, str], dict[tuple[int, str], Hearing]] = OrderedDict()

    def hear(
        self, event: events.Heard, period: Period, own: Own, heard_before: int, *, worked_before: bool
    ) -> tuple[Hearing, bool]:
        """(the hearing, whether it is new). A further copy of a known text only improves the one there is."""
        slot = self._slot(period.start_ms, event.mode)
        # the frequency on the air tells two bands apart, and joins two receivers whose dials differ a little
        key = (event.dial_hz // 100_000, event.text)
        known = slot.get(key)
        if known is not None:
            self._join(known, event)
            return known, False
        hearing = self._new(event, period, own, heard_before, worked_before)
        slot[key] = hearing
        return hearing, True

    def _slot(self, start_ms: int, mode: str) -> dict[tuple[int, str], Hearing]:
        slot = self._recent.get((start_ms, mode))
        if slot is None:
            slot = self._recent[start_ms, mode] = {}
            if len(self._recent) > KEPT_PERIODS:
                del self._recent[min(self._recent)]
        return slot

    @staticmethod
    def _join(known: Hearing, event: events.Heard) -> None:
        known.copies += 1
        receiver = _receiver(event)
        if receiver not in known.receivers:
            known.receivers = (*known.receivers, receiver)
        if abs(event.offset_hz - known.offset_hz) > IMAGE_HZ and event.dial_hz == known.dial_hz:
            weaker = known.offset_hz if event.snr_db > known.snr_db else event.offset_hz
            if weaker not in known.images:
                known.images = (*known.images, weaker)
        if event.snr_db > known.snr_db:
            known.snr_db = event.snr_db
            known.offset_hz = event.offset_hz
            known.dial_hz = event.dial_hz
            known.late_s = event.late_s

    def _new(self, event: events.Heard, period: Period, own: Own, heard_before: int, worked_before: bool) -> Hearing:
        reading = read(event.text)
        call = reading.sender
        locator_before = None if call is None else self._places.locator_of(call)
        where = None if call is None else self._places.of(call, reading.locator)
        to_me = own.call is not None and _is_to(own.call, reading)
        mode = timed(event.mode)
        evidence = Evidence(
            call=call,
            reading=reading,
            snr_db=event.snr_db,
            floor_db=None if mode is None else mode.floor_db,
            mode=event.mode,
            aided=event.aided,
            aided_by=event.aided_by,
            low_confidence=event.low_confidence,
            heard_before=heard_before,
            to_me=to_me,
            locator_before=locator_before,
            worked_before=worked_before,
        )
        return Hearing(
            source=event.source,
            receivers=(_receiver(event),),
            period_ms=period.start_ms,
            mode=event.mode,
            band=period.band,
            dial_hz=event.dial_hz,
            offset_hz=event.offset_hz,
            snr_db=event.snr_db,
            text=event.text,
            reading=reading,
            call=call,
            placed=None if where is None else where.placed,
            locator=None if where is None else where.locator,
            distance_km=None if where is None else where.distance_km,
            azimuth_deg=None if where is None else where.azimuth_deg,
            parity=period.parity,
            credibility=judge(evidence),
            late_s=event.late_s,
            aided=event.aided,
            live=event.live,
            late=period.closed,
            to_me=to_me,
        )


def _tells_nothing_new(sent: str, known: str | None) -> bool:
    """A coarser locator of the same place is no move."""
    return sent == known or (known is not None and known.upper().startswith(sent.upper()))


def _receiver(event: events.Heard) -> str:
    return event.source if event.receiver is None else f"{event.source}/{event.receiver}"


def _is_to(own_call: str, reading: Reading) -> bool:
    for part in reading.all_parts:  # noqa: SIM110 a generator would cost as much as the rest of it
        if matches_own(own_call, part.addressee):
            return True
    return False
