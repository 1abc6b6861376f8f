"""Timing, width and decoding limit of the timed modes, and their customary frequencies.

Each figure of the symbol clock is plain arithmetic: symbols × samples ÷ 12,000 per second. FT8 and FT4: Franke,
Somerville and Taylor, QEX July/August 2020 (period, symbols, limits; the paper from memory). The others: the
protocols' published descriptions, from memory. The frequencies are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

_SAMPLES_PER_S = 12_000


@dataclass(frozen=True, slots=True)
class TimedMode:
    """A mode whose transmissions fill fixed periods of UTC."""

    name: str
    #: length of a period, seconds
    period_s: float
    #: length of a transmission, seconds
    transmission_s: float
    #: nominal start of a transmission within its period, seconds
    start_s: float
    #: occupied bandwidth, Hz
    bandwidth_hz: float
    #: SNR in 2,500 Hz at which half of all transmissions decode
    limit_db: float
    #: lowest SNR usually displayed: a value there is censored, the true one may be lower (common practice, no source)
    floor_db: float
    adif_mode: str
    adif_submode: str | None = None

    @property
    def duty(self) -> float:
        """Share of time on the air when every second period is sent (0…1)."""
        return self.transmission_s / (2 * self.period_s)


def _timed() -> Iterator[TimedMode]:
    yield TimedMode("FT8", 15.0, 79 * 1920 / _SAMPLES_PER_S, 0.5, 8 * 6.25, -21.0, -24.0, "FT8")
    yield TimedMode("FT4", 7.5, 105 * 576 / _SAMPLES_PER_S, 0.5, 4 * _SAMPLES_PER_S / 576, -17.5, -21.0, "MFSK", "FT4")
    # the normal speed: FT8's waveform with other contents
    yield TimedMode("JS8", 15.0, 79 * 1920 / _SAMPLES_PER_S, 0.5, 8 * 6.25, -21.0, -24.0, "MFSK", "JS8")
    yield TimedMode("JT65", 60.0, 126 * 4096 / 11025, 1.0, 177.6, -25.0, -30.0, "JT65")
    yield TimedMode("JT9", 60.0, 85 * 6912 / _SAMPLES_PER_S, 1.0, 15.6, -27.0, -30.0, "JT9")
    yield TimedMode("WSPR", 120.0, 162 * 8192 / _SAMPLES_PER_S, 1.0, 5.9, -31.0, -33.0, "WSPR")
    yield from _fst4("FST4", ((15, 720, -20.7), (30, 1680, -24.2), (60, 3888, -28.1), (120, 8200, -31.3),
                              (300, 21504, -35.3), (900, 66560, -40.2), (1800, 134400, -43.2)))  # fmt: skip
    yield from _fst4("FST4W", ((120, 8200, -32.8), (300, 21504, -36.8), (900, 66560, -41.7), (1800, 134400, -44.8)))
    for period, samples, limit_db in ((15, 1800, -22.2), (30, 3600, -24.8), (60, 7200, -27.6), (120, 16000, -30.8),
                                      (300, 41472, -33.8)):  # fmt: skip
        sent_s = 85 * samples / _SAMPLES_PER_S
        # sub-mode A, the narrowest: 65 tones one symbol rate apart
        width_hz = 65 * _SAMPLES_PER_S / samples
        start_s = 0.5 if period <= 30 else 1.0
        yield TimedMode(f"Q65-{period}", period, sent_s, start_s, width_hz, limit_db, limit_db - 3, "MFSK", "Q65")


def _fst4(name: str, rows: tuple[tuple[int, int, float], ...]) -> Iterator[TimedMode]:
    """Yield the period lengths of the FST4 family: 160 symbols, four tones one symbol rate apart."""
    for period, samples, limit_db in rows:
        sent_s = 160 * samples / _SAMPLES_PER_S
        width_hz = 4 * _SAMPLES_PER_S / samples
        start_s = 0.5 if period == 15 else 1.0
        yield TimedMode(f"{name}-{period}", period, sent_s, start_s, width_hz, limit_db, limit_db - 3, "MFSK", name)


#: timed modes by name; the bare names of the families stand for their usual period length
TIMED: dict[str, TimedMode] = {timed.name: timed for timed in _timed()}
TIMED |= {"FST4": TIMED["FST4-60"], "FST4W": TIMED["FST4W-120"], "Q65": TIMED["Q65-60"]}


def _everywhere(**khz: float) -> dict[str, dict[int, int]]:
    """Return band → region → Hz for frequencies in kHz that hold in all regions (``m20=14074``)."""
    return {f"{band[1:]}m": dict.fromkeys((1, 2, 3), round(value * 1000)) for band, value in khz.items()}


#: mode → band → ITU region → dial frequency in Hz (common practice, no source)
CALLING_HZ: dict[str, dict[str, dict[int, int]]] = {
    "FT8": _everywhere(
        m160=1840, m80=3573, m60=5357, m40=7074, m30=10136, m20=14074, m17=18100, m15=21074, m12=24915, m10=28074,
        m6=50313, m2=144174,
    ) | {"4m": {1: 70_154_000}, "1.25m": {2: 222_065_000}, "70cm": dict.fromkeys((1, 2, 3), 432_174_000)},
    "FT4": _everywhere(
        m80=3575, m40=7047.5, m30=10140, m20=14080, m17=18104, m15=21140, m12=24919, m10=28180, m6=50318, m2=144170,
    ) | {"80m": {1: 3_575_000, 2: 3_575_000, 3: 3_568_000}},
    "JS8": _everywhere(
        m160=1842, m80=3578, m40=7078, m30=10130, m20=14078, m17=18104, m15=21078, m12=24922, m10=28078, m6=50318,
    ),
    "JT65": _everywhere(
        m160=1838, m80=3570, m40=7076, m30=10138, m20=14076, m17=18102, m15=21076, m12=24917, m10=28076, m6=50276,
    ),
    "JT9": _everywhere(
        m160=1839, m80=3572, m40=7078, m30=10140, m20=14078, m17=18104, m15=21078, m12=24919, m10=28078,
    ),
    "WSPR": _everywhere(
        m2190=136, m630=474.2, m160=1836.6, m80=3568.6, m40=7038.6, m30=10138.7, m20=14095.6, m17=18104.6,
        m15=21094.6, m12=24924.6, m10=28124.6, m6=50293, m2=144489,
    ),
    "FST4": _everywhere(m2190=136, m630=474.2, m160=1839),
    "FST4W": _everywhere(m2190=136, m630=474.2, m160=1836.8),
    "Q65": _everywhere(m6=50275),
}  # fmt: skip
