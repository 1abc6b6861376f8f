"""The plugin: what it tells, and under which topic.

Topics of our own, the same for every station, with all details in the payload (JSON): ``<station>/state``,
``<station>/vitals`` and ``<station>/bands`` are retained, ``<station>/hails`` and ``<station>/contacts`` are not.
A contact goes through the core's outbox, so it survives a broker that is away; its ``key`` is the same on every try.
"""

from __future__ import annotations

import asyncio
import importlib.util
from typing import Any

import msgspec

from watchkeeper.api import (
    Contact,
    Context,
    Destination,
    Event,
    Gauge,
    Hail,
    Period,
    Sending,
    SendResult,
    hookimpl,
    stamp,
)

from .broker import MISSING, Broker, NoBrokerError
from .settings import MqttConfig

#: how long a station counts for the summary of a band
WINDOW_MS = 15 * 60_000
#: a contact that found no broker is tried again after this time
AGAIN_S = 2.0
_ENVELOPE = frozenset({"v", "kind", "source", "receiver", "at", "run", "seq", "id", "ack", "live"})


class Mqtt:
    """Tells a broker how the watch stands."""

    name = "mqtt"
    api = 1
    Config = MqttConfig

    def __init__(self, config: MqttConfig, context: Context) -> None:
        self._config = config
        self._context = context
        self._vitals: dict[str, Any] = {}
        self._broker: Broker | None = None
        if config.host is not None:
            gone = msgspec.json.encode({"state": "gone"})
            self._broker = Broker(config, self._topic("state"), gone, context.logger, self._on_connect)
            self._broker.keep(self._topic("state"), msgspec.json.encode({"state": "standing"}))

    def _on_connect(self) -> None:
        self._context.reachable(MqttDestination.name)

    def _topic(self, what: str) -> str:
        return f"{self._config.station}/{what}"

    # -- what follows from the journal --------------------------------------------------------------------------------

    @hookimpl
    def event_seen(self, event: Event) -> None:
        """Keep the newest reading of each gauge."""
        if self._broker is None or not isinstance(event, Gauge):
            return
        told = {name: value for name, value in msgspec.structs.asdict(event).items() if name not in _ENVELOPE}
        self._vitals |= {name: value for name, value in told.items() if value is not None}
        self._broker.keep(
            self._topic("vitals"), msgspec.json.encode({"at": stamp(self._context.now_ms), **self._vitals})
        )

    @hookimpl
    def period_closed(self, period: Period) -> None:
        """Sum up the bands."""
        if self._broker is None:
            return
        now_ms = self._context.now_ms
        bands: dict[str, dict[str, Any]] = {}
        for station in self._context.stations():
            if station.band is None or station.last_ms < now_ms - WINDOW_MS:
                continue
            band = bands.setdefault(station.band, {"stations": 0, "best_snr_db": station.snr_db, "farthest_km": None})
            band["stations"] += 1
            band["best_snr_db"] = max(band["best_snr_db"], station.snr_db)
            if station.distance_km is not None:
                band["farthest_km"] = round(max(band["farthest_km"] or 0.0, station.distance_km))
        told = {"at": stamp(now_ms), "window_min": WINDOW_MS // 60_000, "bands": bands}
        self._broker.keep(self._topic("bands"), msgspec.json.encode(told, order="deterministic"))

    # -- what goes out ------------------------------------------------------------------------------------------------

    @hookimpl
    async def async_start(self) -> None:
        """Say clearly what is missing."""
        if self._broker is not None and importlib.util.find_spec("aiomqtt") is None:
            raise RuntimeError(MISSING)

    @hookimpl
    async def async_run(self, stop: asyncio.Event) -> None:
        """Stay connected."""
        if self._broker is not None:
            await self._broker.run(stop)

    @hookimpl
    async def async_deliver(self, hail: Hail) -> None:
        """Publish the hail; without a broker the host tries again while the hail is worth it."""
        if self._broker is not None:
            await self._broker.publish(self._topic("hails"), msgspec.json.encode(hail))

    @hookimpl
    def destinations(self) -> list[Destination]:
        """Contacts, if they are wanted there."""
        if self._broker is None or not self._config.contacts:
            return []
        return [MqttDestination(self._broker, self._topic("contacts"))]

    @hookimpl
    def metrics(self) -> dict[str, float]:
        """Whether there is a connection, and how many there were."""
        if self._broker is None:
            return {}
        return {"connected": float(self._broker.connected), "connections_total": float(self._broker.connections)}


class MqttDestination:
    """Publishes contacts, each once the broker has said that it has the one before (QoS 1)."""

    name = "mqtt"

    def __init__(self, broker: Broker, topic: str) -> None:
        self._broker = broker
        self._topic = topic

    def encode(self, contact: Contact) -> bytes:
        """The contact as JSON; ``key`` tells a receiver that it has it already."""
        return msgspec.json.encode(contact)

    async def send(self, payload: bytes, key: str) -> Sending:
        """One try; that the broker has acknowledged it counts as delivered."""
        try:
            await self._broker.publish(self._topic, payload)
        except NoBrokerError as error:
            return Sending(result=SendResult.TRY_LATER, why=str(error), retry_after_s=AGAIN_S)
        return Sending(result=SendResult.DELIVERED)
