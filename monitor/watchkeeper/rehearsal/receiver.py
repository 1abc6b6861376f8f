"""The own receiver and its decoder: what it makes of all that is on the air, phantoms included."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import log10
from random import Random

from watchkeeper.radio.mode import TimedMode
from watchkeeper.rehearsal import phantoms, rng
from watchkeeper.rehearsal.air import Transmission
from watchkeeper.rehearsal.decoding import chance, disturbed_db, in_time
from watchkeeper.rehearsal.paths import Paths
from watchkeeper.rehearsal.scenario import Decoder
from watchkeeper.rehearsal.station import Station
from watchkeeper.rehearsal.words import HashTable, Line, Say, in_full, text

#: what a filter does to a signal outside of its passband
_OUT_OF_BAND_DB = 50.0
_JAMMED_DB = 30.0
#: below this nothing is worth a look, whatever the decoder knows
_HOPELESS_DB = -30.0
_ENERGY_SEEN_DB = -18.0
#: how much weaker a message may be when a part of it is known beforehand (common practice, no source)
_KNOWN_CALL_DB = 1.0
_OWN_CALL_DB = 2.5
_OWN_AND_THEIR_CALL_DB = 3.5
#: what a transmission spreads over the whole passband lies so far below it (no source)
_SPLATTER_DB = 26.0
#: weakest SNR that the first pass finds
_FIRST_PASS_DB = -16.0
_KM_PER_S = 299_792.458
#: a strong signal overloads the receiver and appears a second time, this far away
_OVERLOAD_DB = 25.0


@dataclass(slots=True)
class Condition:
    """The state of the receiver at the moment, faults included."""

    low_hz: float = 200.0
    high_hz: float = 2900.0
    clock_s: float = 0.0
    loss_db: float = 0.0
    noise_db: float = 0.0
    audio_dbfs: float = -30.0
    farewell_lost: bool = False
    #: stretch of the passband that somebody else's noise fills
    jammed_hz: tuple[float, float] | None = None

    def passes(self, offset_hz: float, width_hz: float) -> bool:
        """Whether the passband lets all of a signal through."""
        return self.low_hz <= offset_hz and offset_hz + width_hz <= self.high_hz

    def jams(self, offset_hz: float, width_hz: float) -> bool:
        """Whether somebody else's noise lies over a signal."""
        jammed = self.jammed_hz
        return jammed is not None and jammed[0] - width_hz < offset_hz < jammed[1]


@dataclass(frozen=True, slots=True, eq=False)
class Copy:
    """One hearing: ``source`` and ``line`` are the truth behind it, both None for a phantom."""

    text: str
    snr_db: int
    offset_hz: float
    late_s: float
    pass_: int
    source: Transmission | None = None
    aided_by: tuple[str, ...] = ()
    low_confidence: bool = False
    true_snr_db: float = 0.0

    @property
    def line(self) -> Line | None:
        """What was really sent."""
        return self.source.line if self.source else None


@dataclass(frozen=True, slots=True)
class Listened:
    """What one period brought."""

    copies: tuple[Copy, ...]
    occupied: tuple[tuple[float, float], ...]
    audio_dbfs: float
    noise_dbfs_hz: float


class Receiver:
    """The receiver of one source."""

    def __init__(self, seed: int, name: str, mode: TimedMode, settings: Decoder, own: Station, paths: Paths) -> None:
        self._random = rng.stream(seed, "receiver", name)
        self._phantom_random = rng.stream(seed, "phantoms", name)
        self._mode = mode
        self._settings = settings
        self._own = own
        self._paths = paths
        self._hashes = HashTable(own.call)

    def listen(
        self, at_ms: int, sent: Sequence[Transmission], condition: Condition, talking_to: str | None
    ) -> Listened:
        """Return what is decoded of a period in which the own station is silent."""
        signals = sorted(self._signals(at_ms, sent, condition), key=lambda signal: signal[0])
        clean = disturbed_db([(offset_hz, snr_db) for offset_hz, snr_db, _ in signals], self._mode.bandwidth_hz)
        copies: list[Copy] = []
        for (offset_hz, snr_db, one), clean_db in zip(signals, clean, strict=True):
            found = self._decode(offset_hz, snr_db, clean_db, one, condition, talking_to)
            if found is not None:
                copies.append(found)
                if snr_db > _OVERLOAD_DB and self._random.random() < 0.3:
                    copies.append(self._image(found))
        copies.extend(self._phantoms(talking_to))
        copies.sort(key=lambda copy: (copy.pass_, copy.offset_hz, copy.text))
        return Listened(
            tuple(copies),
            tuple(self._energy(signals, condition)),
            round(condition.audio_dbfs + self._random.gauss(0, 0.7), 1),
            round(condition.audio_dbfs - 34.0 + condition.noise_db - condition.loss_db + self._random.gauss(0, 0.5), 1),
        )

    def _energy(
        self, signals: Sequence[tuple[float, float, Transmission]], condition: Condition
    ) -> Iterator[tuple[float, float]]:
        if condition.jammed_hz is not None:
            yield condition.jammed_hz
        for low_hz, snr_db, _ in signals:
            if snr_db > _ENERGY_SEEN_DB:
                yield low_hz, round(low_hz + self._mode.bandwidth_hz, 1)

    def _signals(
        self, at_ms: int, sent: Sequence[Transmission], condition: Condition
    ) -> list[tuple[float, float, Transmission]]:
        signals: list[tuple[float, float, Transmission]] = []
        own = self._own.call
        lost_db = condition.loss_db + condition.noise_db
        for one in sent:
            if condition.farewell_lost and one.line.to == own and one.line.say is Say.ROGER_FAREWELL:
                continue
            snr_db = self._paths.snr_db(one.station, self._own, at_ms) - lost_db + self._random.gauss(0, 0.8)
            if not condition.passes(one.offset_hz, self._mode.bandwidth_hz):
                snr_db -= _OUT_OF_BAND_DB
            elif condition.jams(one.offset_hz, self._mode.bandwidth_hz):
                snr_db -= _JAMMED_DB
            if snr_db > _HOPELESS_DB:
                signals.append((one.offset_hz, snr_db, one))
        rise_db = 10 * log10(1 + sum(10 ** ((snr_db - _SPLATTER_DB) / 10) for _, snr_db, _ in signals))
        return [(offset_hz, snr_db - rise_db, one) for offset_hz, snr_db, one in signals]

    def _decode(
        self,
        offset_hz: float,
        snr_db: float,
        clean_db: float,
        one: Transmission,
        condition: Condition,
        talking_to: str | None,
    ) -> Copy | None:
        """Return the hearing of one signal, or None: ``clean_db`` is its SNR among its neighbours."""
        late_s = self._late_s(one.station, condition)
        aided_by = self._luck(in_time(late_s), clean_db, one, talking_to)
        if aided_by is None:
            return None
        if in_full(one.line):
            self._hashes.hear(one.line.sender)
        random = self._random
        first = clean_db > _FIRST_PASS_DB and clean_db > snr_db - 3
        return Copy(
            text=text(one.line, self._hashes),
            snr_db=round(max(self._mode.floor_db, snr_db + random.gauss(0, 0.7))),
            offset_hz=round(offset_hz + random.gauss(0, 0.6)),
            late_s=round(late_s + random.gauss(0, 0.03), 1),
            pass_=1 if first else 2 if random.random() < 0.8 else 3,
            source=one,
            aided_by=aided_by,
            low_confidence=bool(aided_by) and random.random() < 0.4,
            true_snr_db=snr_db,
        )

    def _late_s(self, station: Station, condition: Condition) -> float:
        """Return how late a transmission seems: a clock that is ahead sends early, and hears others late."""
        assert station.link is not None
        travel_s = station.link.path.distance_km / _KM_PER_S
        return condition.clock_s - station.clock_s + self._settings.habitual_late_s + travel_s

    def _luck(
        self, in_time_share: float, clean_db: float, one: Transmission, talking_to: str | None
    ) -> tuple[str, ...] | None:
        """Return what helped a decode, nothing for one that needed no help, None for no decode."""
        draw = self._random.random()
        limit_db = self._mode.limit_db + self._settings.limit_db
        if draw < in_time_share * chance(clean_db, limit_db):
            return ()
        gain_db, aided_by = self._known_beforehand(one, talking_to)
        if aided_by and draw < in_time_share * chance(clean_db, limit_db - gain_db):
            return aided_by
        return None

    def _known_beforehand(self, one: Transmission, talking_to: str | None) -> tuple[float, tuple[str, ...]]:
        """Return by how many dB knowing a part of the message helps, and which part."""
        to_own = one.line.to == self._own.call
        if to_own and one.line.sender == talking_to:
            return _OWN_AND_THEIR_CALL_DB, ("own_call", "their_call")
        if to_own:
            return _OWN_CALL_DB, ("own_call",)
        if one.line.say is Say.CALL:
            return _KNOWN_CALL_DB, ("general_call",)
        return 0.0, ()

    def _image(self, of: Copy) -> Copy:
        offset_hz = of.offset_hz + self._random.choice((-60, 60, 120))
        return Copy(of.text, of.snr_db - 22, offset_hz, of.late_s, 3, of.source, true_snr_db=of.true_snr_db)

    def _phantoms(self, talking_to: str | None) -> list[Copy]:
        """Draw the messages that nobody sent: rare ones out of noise, and some made up of the own call and noise."""
        random = self._phantom_random
        found: list[Copy] = []
        if random.random() < self._settings.phantoms_per_period:
            found.append(_phantom(phantoms.out_of_noise(random), random, ()))
        per_period = self._settings.own_call_phantoms_per_hour * self._mode.period_s / 3600
        if random.random() < per_period * (2.0 if talking_to else 1.0):
            found.append(self._aided_phantom(talking_to))
        return found

    def _aided_phantom(self, talking_to: str | None) -> Copy:
        random, own_call = self._phantom_random, self._own.call
        if talking_to and random.random() < 0.3:
            words = phantoms.out_of_both_calls(own_call, talking_to, random)
            return _phantom(words, random, ("own_call", "their_call"))
        return _phantom(phantoms.out_of_own_call(own_call, random), random, ("own_call",))


def _phantom(words: str, random: Random, aided_by: tuple[str, ...]) -> Copy:
    late_s = round(random.uniform(-2.0, 2.4), 1)
    doubtful = random.random() < (0.7 if aided_by else 0.2)
    return Copy(words, random.randint(-24, -19), round(random.uniform(200, 2800)), late_s, 3, None, aided_by, doubtful)
