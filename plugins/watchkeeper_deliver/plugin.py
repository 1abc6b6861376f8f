"""The plugin: hands each hail to every way at once. What fails is raised, so that the host tries again and shows it."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator

from watchkeeper.api import Context, Hail, hookimpl

from .settings import DeliverConfig
from .ways import Bell, Command, DeliveryError, Desktop, Post, Remembering, Way


class Deliver:
    """Brings hails to the operator."""

    name = "deliver"
    api = 1
    Config = DeliverConfig

    def __init__(self, config: DeliverConfig, context: Context) -> None:
        self._ways = [Remembering(way) for way in _ways(config)]
        self._delivered = 0
        self._failed = 0

    @hookimpl
    async def async_deliver(self, hail: Hail) -> None:
        """Deliver by all ways at once; one that is slow or fails keeps no other waiting."""
        outcomes = await asyncio.gather(*(way.deliver(hail) for way in self._ways), return_exceptions=True)
        failures = [outcome for outcome in outcomes if isinstance(outcome, BaseException)]
        self._delivered += len(outcomes) - len(failures)
        self._failed += len(failures)
        unexpected = [each for each in failures if not isinstance(each, DeliveryError)]
        if unexpected:
            raise unexpected[0]
        if failures:
            raise DeliveryError("; ".join(str(each) for each in failures))

    @hookimpl
    def metrics(self) -> dict[str, float]:
        """How many deliveries went through, and how many tries failed."""
        return {"delivered_total": float(self._delivered), "failed_total": float(self._failed)}


def _ways(config: DeliverConfig) -> Iterator[Way]:
    if config.bell:
        yield Bell(config.bell_least)
    if config.sound:
        yield Command("sound", config.sound, config.sound_least)
    if config.desktop:
        yield Desktop(config.desktop_least)
    for hook in config.webhook:
        yield Post(hook)
