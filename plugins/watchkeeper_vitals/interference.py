"""Interference: noise above its usual level, and stretches of audio that are occupied but never decode."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from watchkeeper.api import Hearing
from watchkeeper.view import Urgency

from .vital import Vital

Stretch = tuple[float, float]

_STEP_HZ = 10
#: listened periods that are looked back on, and how many of them it takes
_KEPT, _LEAST = 12, 8
#: a step is held where it had energy in this share of the periods; once it is jammed, less keeps it so
_HELD, _STILL_HELD = 0.75, 0.5
#: of a stretch as much of the energy lacks a decode, for a strong signal comes through now and then, where it is wider
#: than a signal by this factor; in one that a single station may fill nothing decodes at all
_BARE, _STILL_BARE = 0.6, 0.5
_WIDER = 1.3
#: a stretch this wide costs everybody a place
_WIDE_HZ = 100.0
#: with fewer stations that decode, the band or the clock may be why the rest does not
_LEAST_STATIONS = 3
#: from this SNR on a signal's skirts hold energy too
_STRONG_DB = 0.0
_EDGE_HZ = 5.0


class _Look(NamedTuple):
    """One listened period: the steps that held energy, and those of them in which something decoded."""

    held: frozenset[int]
    decoded: frozenset[int]


class Jammed:
    """Stretches that hold energy in period after period without a decode, or with far too few."""

    def __init__(self) -> None:
        self._looks: deque[_Look] = deque(maxlen=_KEPT)
        self._on: frozenset[int] = frozenset()
        self._width_hz = 0.0
        self.told = False

    def take(self, occupied: Sequence[Stretch], hearings: Iterable[Hearing], width_hz: float) -> None:
        """Take in one listened period: what held energy, and what decoded, each ``width_hz`` wide."""
        self.told = True
        self._width_hz = width_hz
        decoded: set[int] = set()
        stations: set[str | None] = set()
        for one in hearings:
            if not one.credibility.credible:
                continue
            stations.add(one.call)
            skirt_hz = width_hz / 2 if one.snr_db >= _STRONG_DB else _EDGE_HZ
            for offset_hz in (one.offset_hz, *one.images):
                decoded |= _steps(offset_hz - skirt_hz, offset_hz + width_hz + skirt_hz)
        if len(stations) < _LEAST_STATIONS:
            return
        held = frozenset(step for low_hz, high_hz in occupied for step in _steps(low_hz, high_hz))
        self._looks.append(_Look(held, held & decoded))
        self._on = self._judge()

    def _judge(self) -> frozenset[int]:
        size = len(self._looks)
        if size < _LEAST:
            return frozenset()
        held = Counter(step for look in self._looks for step in look.held)
        decoded = Counter(step for look in self._looks for step in look.decoded)
        found: set[int] = set()
        steps = sorted(
            step for step, count in held.items() if count >= size * (_STILL_HELD if step in self._on else _HELD)
        )
        for run in _runs(steps):
            found |= {step for step in run if not decoded[step] and held[step] >= _LEAST}
            bare = [held[step] * (1 - (_STILL_BARE if step in self._on else _BARE)) - decoded[step] for step in run]
            first, last = _best(bare)
            if (last - first) * _STEP_HZ > _WIDER * self._width_hz:
                found |= set(run[first:last])
        return frozenset(found)

    @property
    def stretches(self) -> list[Stretch]:
        """The jammed stretches in Hz, lowest first."""
        return [(run[0] * _STEP_HZ, (run[-1] + 1) * _STEP_HZ) for run in _runs(sorted(self._on))]


def _runs(steps: Sequence[int]) -> list[list[int]]:
    """Neighbouring steps together."""
    found: list[list[int]] = []
    for step in steps:
        if found and found[-1][-1] == step - 1:
            found[-1].append(step)
        else:
            found.append([step])
    return found


def _best(values: Sequence[float]) -> tuple[int, int]:
    """The bounds, first and last plus one, of the neighbours with the largest sum (Kadane, textbook)."""
    best, total, first, found = 0.0, 0.0, 0, (0, 0)
    for at, value in enumerate(values):
        if total <= 0:
            total, first = 0.0, at
        total += value
        if total > best:
            best, found = total, (first, at + 1)
    return found


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
