"""The receivers of all sources, by dial frequency: which of them still tell how things are."""

from __future__ import annotations

from operator import itemgetter
from typing import NamedTuple

from watchkeeper.api import Period, Tuning
from watchkeeper.radio import band as bands

from .receiving import Receiving
from .settings import VitalsConfig
from .vital import Vital

_MOST_RECEIVERS = 64
#: a receiver that was not listened to for so long says nothing about now
_OLD_MS = 300_000
#: a source's other frequency counts as listened to for so many periods
_FRESH_PERIODS = 4
#: a source that hears so many stations hears the band
_HEARS = 3
_Key = tuple[str, int]


class Elsewhere(NamedTuple):
    """(Who or which band, stations): of other sources on a period's band, and of its source on other bands."""

    others: tuple[str, int] | None
    bands: tuple[str, int] | None


class Receivers:
    """One for each source and dial frequency; the one whose period ended last stands last."""

    def __init__(self, config: VitalsConfig) -> None:
        self._config = config
        self._all: dict[_Key, Receiving] = {}
        #: when each was listened to, by the event clock: a source may be late by more than its periods say
        self._heard_ms: dict[_Key, int] = {}

    def of(self, period: Period, tuned: Tuning | None) -> Receiving:
        """The receiver of a period, one that begins anew if it was not listened to for long."""
        key = (period.source, period.dial_hz)
        receiver = self._all.pop(key, None)
        if receiver is None or period.start_ms - receiver.last_ms > _OLD_MS:
            receiver = Receiving(self._config)
            receiver.last_ms = period.end_ms
        self._all[key] = receiver
        if len(self._all) > _MOST_RECEIVERS:
            self._drop(next(iter(self._all)))
        if tuned is not None and tuned.dial_hz == period.dial_hz:
            if tuned.search_low_hz is not None and tuned.search_high_hz is not None:
                receiver.width_hz = (tuned.search_low_hz, max(tuned.search_high_hz, tuned.search_low_hz + 500))
            if tuned.filter_low_hz is not None and tuned.filter_high_hz is not None:
                receiver.filter_hz = (tuned.filter_low_hz, tuned.filter_high_hz)
            receiver.sending_hz = tuned.send_offset_hz
        return receiver

    def closed(self, period: Period, now_ms: int) -> None:
        """The receiver of a period has taken it in, if it listened at all."""
        key = (period.source, period.dial_hz)
        if self._all[key].last_ms == period.end_ms:
            self._heard_ms[key] = now_ms

    def fade(self, now_ms: int) -> None:
        """Let go of the sources that were not listened to for long: they have gone, though they did not say so."""
        gone = dict.fromkeys(source for source, _ in self._all)
        for key, one in self._all.items():
            if now_ms - self._heard_ms.get(key, 0) <= max(_OLD_MS, _FRESH_PERIODS * one.length_ms):
                gone.pop(key[0], None)
        for source in gone:
            self.forget(source)

    def forget(self, source: str) -> None:
        """A source has gone."""
        for key in [key for key in self._all if key[0] == source]:
            self._drop(key)

    def _drop(self, key: _Key) -> None:
        del self._all[key]
        self._heard_ms.pop(key, None)

    # -- answers ------------------------------------------------------------------------------------------------------

    @property
    def sources(self) -> frozenset[str]:
        """Those that are listened to."""
        return frozenset(source for source, _ in self._all)

    def listening(self) -> list[Receiving]:
        """The receivers of the frequencies that the sources listen to now, by turns or at once, the newest last."""
        newest_ms: dict[str, int] = {}
        for (source, _), one in self._all.items():
            newest_ms[source] = max(one.last_ms, newest_ms.get(source, 0))
        return [
            one
            for (source, _), one in self._all.items()
            if one.last_ms >= newest_ms[source] - _FRESH_PERIODS * one.length_ms
        ]

    def heard(self, period: Period) -> dict[str, tuple[str, int]]:
        """(Band, stations) by source, of those that listened to a period's frequency in it."""
        return {
            source: (period.band or "", one.count)
            for (source, dial_hz), one in self._all.items()
            if dial_hz == period.dial_hz and one.last_ms >= period.start_ms
        }

    def worst(self, period: Period) -> list[Vital]:
        """The vitals of a source: of the frequencies that it listens to by turns, each vital's worst."""
        since_ms = period.start_ms - _FRESH_PERIODS * period.length_ms
        found: dict[str, Vital] = {}
        for (source, _), receiver in self._all.items():
            if source == period.source and receiver.last_ms >= since_ms:
                for vital in receiver.vitals:
                    best = found.get(vital.key)
                    if best is None or vital.level >= best.level:
                        found[vital.key] = vital
        return list(found.values())

    def elsewhere(self, period: Period) -> Elsewhere:
        """Who else hears most on a period's band, and on which other band its source heard most just before."""
        others: list[tuple[str, int]] = []
        elsewhere: list[tuple[str, int]] = []
        for (source, dial_hz), one in self._all.items():
            if not one.count or one.last_ms < period.start_ms - _OLD_MS:
                continue
            band = bands.of(dial_hz)
            if source != period.source and band == period.band and one.count >= _HEARS:
                others.append((source, one.count))
            elif source == period.source and band is not None and band != period.band:
                elsewhere.append((band, one.count))
        return Elsewhere(
            max(others, key=itemgetter(1), default=None),
            max(elsewhere, key=itemgetter(1), default=None),
        )
