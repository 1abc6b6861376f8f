"""The sky over the whole session: the ionosphere every quarter of an hour, its moods, and clouds of sporadic E."""

from __future__ import annotations

from collections import OrderedDict
from math import cos, exp, pi

from watchkeeper.rehearsal import rng
from watchkeeper.rehearsal.ionosphere import Cloud, Conditions, Ionosphere, ionosphere
from watchkeeper.rehearsal.propagation import Geometry, loss_db
from watchkeeper.rehearsal.scenario import Sky as SkySettings
from watchkeeper.schema.events import from_ms

QUARTER_MS = 900_000
_DAY_MS = 86_400_000
_KEPT = 4
#: the MUF strays from its median by this share, with a memory of a few hours (deciles of P.1240 are about 10 %; from
# memory)
_MUF_SPREAD = 0.07
_MUF_MEMORY_QUARTERS = 12.0


class Sky:
    """Losses over any path at any moment of the session."""

    def __init__(self, seed: int, settings: SkySettings, start_ms: int, end_ms: int, variant: Conditions) -> None:
        self._settings = settings
        self._variant = variant
        self._first = start_ms // QUARTER_MS
        self._moods = self._stray(seed, (end_ms - start_ms) // QUARTER_MS + 3)
        self.clouds = self._clouds(seed, start_ms, end_ms)
        self._layers: OrderedDict[int, Ionosphere] = OrderedDict()

    def layers(self, quarter: int) -> Ionosphere:
        """Return the ionosphere at the beginning of a quarter hour, counted from 1970."""
        found = self._layers.get(quarter)
        if found is None:
            found = ionosphere(quarter * QUARTER_MS, self._conditions(quarter), self.clouds)
            self._layers[quarter] = found
            if len(self._layers) > _KEPT:
                self._layers.popitem(last=False)
        return found

    def loss_db(self, path: Geometry, frequency_hz: float, quarter: int) -> float:
        """Return the median loss over a path at the beginning of a quarter hour."""
        return loss_db(path, self.layers(quarter), frequency_hz)

    def _conditions(self, quarter: int) -> Conditions:
        mood = self._moods[min(max(0, quarter - self._first), len(self._moods) - 1)]
        return Conditions(
            self._settings.sunspots * self._variant.sunspots,
            self._settings.k_index * self._variant.k_index,
            self._variant.muf_factor * (1 + _MUF_SPREAD * mood),
            self._variant.absorption_factor,
        )

    def _stray(self, seed: int, quarters: int) -> list[float]:
        random = rng.stream(seed, "moods")
        kept = exp(-1 / _MUF_MEMORY_QUARTERS)
        moods = [random.gauss(0, 1)]
        for _ in range(quarters):
            moods.append(moods[-1] * kept + random.gauss(0, 1) * (1 - kept * kept) ** 0.5)
        return moods

    def _clouds(self, seed: int, start_ms: int, end_ms: int) -> tuple[Cloud, ...]:
        """Draw the clouds: most in the summer of their hemisphere (season after common practice, no source)."""
        random = rng.stream(seed, "sporadic")
        clouds: list[Cloud] = []
        # those that began up to three hours before are still there
        at_ms = float(start_ms - 3 * 3_600_000)
        while self._settings.sporadic_per_day > 0:
            at_ms += random.expovariate(self._settings.sporadic_per_day) * _DAY_MS
            if at_ms >= end_ms:
                break
            day = from_ms(round(at_ms)).timetuple().tm_yday
            summer = 0.5 + 0.45 * cos(2 * pi * (day - 172) / 365.25)
            north = random.random() < summer
            latitude = random.uniform(25, 60) * (1 if north else -1)
            life_ms = random.uniform(20, 150) * 60_000
            clouds.append(
                Cloud(
                    latitude,
                    random.uniform(-180, 180),
                    random.uniform(300, 900),
                    min(15.0, 3.5 + random.expovariate(1 / 3.0)),
                    round(at_ms),
                    round(at_ms + life_ms),
                )
            )
        return tuple(clouds)
