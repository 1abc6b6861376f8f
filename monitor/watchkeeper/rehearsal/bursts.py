"""How the hearings of one period leave the decoder: in passes, untidily, each pass followed by its marker.

Decoders work in passes over the recording: hearings come near 12, 13.5 and 14.7 s of a period of 15 s (common practice,
no source), in the same proportion of others. Some come after the last marker, well into the next period; some come
again in a later pass, or from another receiver of the same source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from watchkeeper.radio.mode import TimedMode
from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.outlet import Outlets
from watchkeeper.rehearsal.receiver import Copy, Listened
from watchkeeper.rehearsal.scenario import Band, Decoder
from watchkeeper.schema.events import stamp

#: end of each pass as a share of the period
_PASSES = (0.80, 0.90, 0.98)
_MOST_OCCUPIED = 60


class Bursts:
    """Puts the hearings of one source on their way."""

    def __init__(self, seed: int, band: Band, decoder: Decoder, mode: TimedMode, outlets: Outlets) -> None:
        self._band = band
        self._decoder = decoder
        self._mode = mode
        self._period_ms = round(mode.period_s * 1000)
        self._outlets = outlets
        self._random = rng.stream(seed, "bursts", band.key)

    def silent(self, at_ms: int) -> None:
        """Say that nothing was listened to in a period: the own station was sending."""
        for receiver in self._receivers():
            self._marker(at_ms, _PASSES[-1], receiver, count=0, final=True, listened_s=0.0)

    def listened(self, at_ms: int, listened: Listened) -> None:
        """Put all hearings of a period and its markers on their way."""
        for at, receiver in enumerate(self._receivers()):
            copies = listened.copies if at == 0 else self._heard_elsewhere(listened.copies)
            self._receiver(at_ms, receiver, copies, listened)

    def _receivers(self) -> Sequence[str | None]:
        return self._band.receivers if len(self._band.receivers) > 1 else (None,)

    def _receiver(self, at_ms: int, receiver: str | None, copies: Sequence[Copy], listened: Listened) -> None:
        count = 0
        late = [copy for copy in copies if self._random.random() < self._decoder.late_share]
        again: list[Copy] = []
        for number, share in enumerate(_PASSES, start=1):
            now = [copy for copy in copies if copy.pass_ == number and copy not in late]
            for copy in [*now, *again]:
                self._heard(at_ms, at_ms + round(share * self._period_ms), receiver, copy, number)
            count += len(now) + len(again)
            again = [self._repeated(copy) for copy in now if self._random.random() < self._decoder.repeat_share]
            final = number == len(_PASSES)
            details = self._details(listened) if final else {}
            self._marker(at_ms, share, receiver, count=count, final=final, pass_=number, **details)
        for copy in late:
            due_ms = at_ms + self._period_ms + round(self._random.uniform(0.8, 3.0) * 1000)
            self._heard(at_ms, due_ms, receiver, copy, len(_PASSES))

    def _details(self, listened: Listened) -> dict[str, Any]:
        return {
            "listened_s": self._period_ms / 1000,
            "audio_dbfs": listened.audio_dbfs,
            "noise_dbfs_hz": listened.noise_dbfs_hz,
            "occupied": listened.occupied[:_MOST_OCCUPIED],
        }

    def _heard(self, at_ms: int, due_ms: int, receiver: str | None, copy: Copy, pass_: int) -> None:
        fields: dict[str, Any] = {"pass": pass_, "decoded_at": stamp(due_ms)}
        if copy.aided_by:
            fields |= {"aided": True, "aided_by": copy.aided_by}
        if copy.low_confidence:
            fields["low_confidence"] = True
        self._outlets.put(
            due_ms,
            self._band.source,
            "heard",
            at_ms,
            mode=self._band.mode,
            dial_hz=self._band.dial_hz,
            offset_hz=copy.offset_hz,
            snr_db=copy.snr_db,
            text=copy.text,
            late_s=copy.late_s,
            receiver=receiver,
            **fields,
        )

    def _marker(
        self,
        at_ms: int,
        share: float,
        receiver: str | None,
        *,
        count: int,
        final: bool,
        pass_: int | None = None,
        **details: Any,
    ) -> None:
        self._outlets.put(
            at_ms + round(share * self._period_ms),
            self._band.source,
            "period",
            at_ms,
            mode=self._band.mode,
            dial_hz=self._band.dial_hz,
            count=count,
            final=final,
            receiver=receiver,
            **({} if pass_ is None else {"pass": pass_}),
            **details,
        )

    def _heard_elsewhere(self, copies: Sequence[Copy]) -> list[Copy]:
        """Return what a second receiver makes of the same period: most of it, a little weaker or stronger."""
        random = self._random
        return [
            self._again(copy, round(random.gauss(-1, 1.5)), random.choice((-1, 0, 0, 1)))
            for copy in copies
            if copy.source is not None and random.random() < 0.85
        ]

    def _repeated(self, copy: Copy) -> Copy:
        return self._again(copy, self._random.choice((-1, 0, 0, 1)), 0)

    def _again(self, copy: Copy, more_db: int, more_hz: int) -> Copy:
        """Return the same text as another look at it shows it; never below what the decoder shows at all."""
        snr_db = max(round(self._mode.floor_db), copy.snr_db + more_db)
        return replace(copy, snr_db=snr_db, offset_hz=copy.offset_hz + more_hz)
