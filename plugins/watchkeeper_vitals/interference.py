"""Interference: noise above its usual level, and stretches of audio that are occupied but never decode."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from watchkeeper.api import Hearing
from watchkeeper.view import Urgency

from .vital import Vital

Stretch = tuple[float, float]

_STEP_HZ = 10
#: a stretch is jammed after so many listened periods of energy without a decode, and free again when as many as lie
#: between the two were without energy
_JAMMED, _FREE, _MOST = 8, 4, 10
#: with fewer stations that decode, the band or the clock may be why the rest does not
_LEAST_STATIONS = 3
#: a stretch this wide costs everybody a place
_WIDE_HZ = 100.0


class Jammed:
    """Counts, for each step of audio, the listened periods in which it held energy that did not decode."""

    def __init__(self) -> None:
        self._runs: dict[int, int] = {}
        self._on: set[int] = set()
        self.told = False

    def take(self, occupied: Sequence[Stretch], hearings: Iterable[Hearing], width_hz: float) -> None:
        """Take in one listened period: what held energy, and what decoded, each ``width_hz`` wide."""
        self.told = True
        decoded: set[int] = set()
        stations: set[str | None] = set()
        for one in hearings:
            stations.add(one.call)
            for offset_hz in (one.offset_hz, *one.images):
                # a strong signal's skirts hold energy too
                decoded |= _steps(offset_hz - width_hz / 2, offset_hz + 1.5 * width_hz)
        if len(stations) < _LEAST_STATIONS:
            return
        held = {step for low_hz, high_hz in occupied for step in _steps(low_hz, high_hz)}
        for step in decoded:
            self._runs.pop(step, None)
        for step in held - decoded:
            self._runs[step] = min(_MOST, self._runs.get(step, 0) + 1)
        for step in [one for one in self._runs if one not in held]:
            self._runs[step] -= 1
            if not self._runs[step]:
                del self._runs[step]
        self._on = {step for step, run in self._runs.items() if run >= _JAMMED or (step in self._on and run > _FREE)}

    @property
    def stretches(self) -> list[Stretch]:
        """The jammed stretches in Hz, lowest first."""
        steps = sorted(self._on)
        starts = [step for before, step in pairwise([-2, *steps]) if step > before + 1]
        ends = [step for step, after in pairwise([*steps, 1 << 30]) if after > step + 1]
        return [(low * _STEP_HZ, (high + 1) * _STEP_HZ) for low, high in zip(starts, ends, strict=True)]


def _steps(low_hz: float, high_hz: float) -> set[int]:
    return set(range(int(low_hz // _STEP_HZ), int(-(-high_hz // _STEP_HZ))))


def judge(rose_db: float | None, jammed: Jammed, *, noise_told: bool, sending_hz: float | None) -> Vital:
    """How the interference stands. ``sending_hz``: the audio offset of the own transmissions, where it is told."""
    found = [one for one in (_noise(rose_db), _stretches(jammed.stretches, sending_hz)) if one is not None]
    if not found:
        known = noise_told or jammed.told
        return _vital("none seen" if known else "not told", known=known)
    return _vital(
        "; ".join(one.text for one in found),
        max(one.level for one in found),
        " ".join(one.sentence or "" for one in found),
        " ".join(one.remedy or "" for one in found),
        max(one.confidence for one in found),
    )


def _noise(rose_db: float | None) -> Vital | None:
    if rose_db is None:
        return None
    return _vital(
        f"noise {rose_db:.0f} dB above usual",
        Urgency.WANTED,
        f"The noise rose by {rose_db:.0f} dB: something nearby hides the weak stations.",
        "Look for what was switched on: chargers, lamps, solar inverters; turn the antenna, blank the noise.",
        0.95,
    )


def _stretches(jammed: Sequence[Stretch], sending_hz: float | None) -> Vital | None:
    if not jammed:
        return None
    where = " and ".join(f"{low_hz:.0f}–{high_hz:.0f}" for low_hz, high_hz in _widest(jammed))
    yours = sending_hz is not None and any(low_hz <= sending_hz <= high_hz for low_hz, high_hz in jammed)
    wide = sum(high_hz - low_hz for low_hz, high_hz in jammed) >= _WIDE_HZ
    return _vital(
        f"{where} Hz is jammed",
        Urgency.WANTED if yours or wide else Urgency.NOTE,
        f"{where} Hz holds energy in period after period that never decodes"
        f"{', and you send there' if yours else ''}: no station, or several on top of each other.",
        "Send elsewhere. Turn the dial a little: what moves with it comes in by the antenna, what stays is in the "
        "audio cable or the computer.",
        0.9,
    )


def _vital(
    text: str,
    level: Urgency = Urgency.CALM,
    sentence: str | None = None,
    remedy: str | None = None,
    confidence: float = 0.5,
    *,
    known: bool = True,
) -> Vital:
    return Vital("interference", "Interference", text, level, sentence, remedy, confidence, known=known)


def _widest(stretches: Sequence[Stretch]) -> list[Stretch]:
    """The two widest, lowest first."""
    return sorted(sorted(stretches, key=lambda each: each[0] - each[1])[:2])
