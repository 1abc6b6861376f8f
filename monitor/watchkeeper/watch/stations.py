"""The stations on the air: one row a station, whatever the bands, sources and receivers that hear it."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator

from ..model import Doing, Hearing, OnAir

#: a station not heard for this long has left
GONE_MS = 15 * 60_000
MAX_STATIONS = 5_000
#: share of a new offset that counts as drift of the old; larger steps are a new offset
DRIFT_HZ = 10.0
#: levels that a row remembers, and what makes them a fade: each so much below the one before, all of them together so
KEPT_LEVELS = 4
FADE_STEP_DB = 2.0
FADE_DB = 7.0


class Stations:
    """Calls in the order in which they were heard last."""

    def __init__(self) -> None:
        self._on_air: OrderedDict[str, OnAir] = OrderedDict()

    def __len__(self) -> int:
        return len(self._on_air)

    def get(self, call: str) -> OnAir | None:
        """The row of ``call``, or None."""
        return self._on_air.get(call)

    def newest_first(self) -> Iterator[OnAir]:
        """All rows, the one heard last first."""
        return reversed(self._on_air.values())

    def heard(self, hearing: Hearing) -> OnAir | None:
        """Enter one new hearing; None when nobody knows who sends."""
        call = hearing.call
        if call is None:
            return None
        row = self._on_air.get(call)
        if row is None:
            row = self._on_air[call] = _row(call, hearing)
            if len(self._on_air) > MAX_STATIONS:
                self._on_air.popitem(last=False)
            return row
        if hearing.period_ms < row.last_ms:
            return row  # a late one of an older period tells nothing new of the station
        if hearing.period_ms > row.last_ms:
            row.copied += 1
            self._on_air.move_to_end(call)
            row.trail = (*row.trail, (hearing.period_ms, hearing.snr_db))[-KEPT_LEVELS:]
            row.fading = _fades(row.trail)
        step = hearing.offset_hz - row.offset_hz
        row.drift_hz = step if abs(step) <= DRIFT_HZ and hearing.dial_hz == row.dial_hz else 0.0
        row.band, row.mode, row.source = hearing.band, hearing.mode, hearing.source
        row.dial_hz, row.offset_hz, row.parity = hearing.dial_hz, hearing.offset_hz, hearing.parity
        row.snr_db, row.last_ms = hearing.snr_db, hearing.period_ms
        row.locator, row.distance_km, row.azimuth_deg = hearing.locator, hearing.distance_km, hearing.azimuth_deg
        row.best = hearing
        return row

    def forget(self, now_ms: int) -> None:
        """Drop who has not been heard for :data:`GONE_MS`."""
        gone = [call for call, row in self._on_air.items() if row.last_ms < now_ms - GONE_MS]
        for call in gone:
            del self._on_air[call]


def _row(call: str, hearing: Hearing) -> OnAir:
    return OnAir(
        call=call,
        band=hearing.band,
        mode=hearing.mode,
        source=hearing.source,
        placed=hearing.placed,
        locator=hearing.locator,
        distance_km=hearing.distance_km,
        azimuth_deg=hearing.azimuth_deg,
        dial_hz=hearing.dial_hz,
        offset_hz=hearing.offset_hz,
        snr_db=hearing.snr_db,
        parity=hearing.parity,
        first_ms=hearing.period_ms,
        last_ms=hearing.period_ms,
        copied=1,
        doing=Doing.UNKNOWN,
        since_ms=hearing.period_ms,
        best=hearing,
        trail=((hearing.period_ms, hearing.snr_db),),
    )


def _fades(trail: tuple[tuple[int, float], ...]) -> bool:
    if len(trail) < 3:
        return False
    (_, first_db), (_, second_db), (_, third_db) = trail[-3:]
    step_db, further_db = first_db - second_db, second_db - third_db
    return step_db >= FADE_STEP_DB and further_db >= FADE_STEP_DB and step_db + further_db >= FADE_DB
