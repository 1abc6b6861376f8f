"""One connection to a broker at a time, made again after every loss; what is retained there is put right each time."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import ssl
from collections.abc import Callable
from typing import TYPE_CHECKING

from .settings import MqttConfig

if TYPE_CHECKING:
    import aiomqtt

#: waits between tries to connect, the last of which stays: a broker that comes back is told within seconds
WAITS_S = (0.2, 0.5, 1.0, 2.0, 3.0)
PUBLISH_S = 5.0
KEEPALIVE_S = 20
MISSING = "the library aiomqtt is missing: install watchkeeper with its extra 'mqtt'"


class NoBrokerError(Exception):
    """Nothing can be told now; the text says why."""


class Broker:
    """Publishes to the broker of ``config`` while :meth:`run` runs.

    ``gone`` is what the broker tells under ``topic`` once this connection is lost without a word (the last will).
    ``on_connect`` is called whenever there is a connection.
    """

    def __init__(
        self, config: MqttConfig, topic: str, gone: bytes, logger: logging.Logger, on_connect: Callable[[], None]
    ) -> None:
        self._config = config
        self._topic = topic
        self._gone = gone
        self._logger = logger
        self._on_connect = on_connect
        self._client: aiomqtt.Client | None = None
        self._kept: dict[str, bytes] = {}
        self._changed: set[str] = set()
        self._news = asyncio.Event()
        self.connections = 0
        #: why there is no connection now
        self.why: str | None = "not connected yet"

    @property
    def connected(self) -> bool:
        """Whether the broker can be told something now."""
        return self._client is not None

    def keep(self, topic: str, payload: bytes) -> None:
        """Have the broker retain ``payload`` as the present state of ``topic``, now and after every reconnect."""
        if self._kept.get(topic) != payload:
            self._kept[topic] = payload
            self._changed.add(topic)
            self._news.set()

    async def publish(self, topic: str, payload: bytes) -> None:
        """Publish once, and wait for the broker's word (QoS 1). Raises NoBrokerError."""
        import aiomqtt

        client = self._client
        if client is None:
            raise NoBrokerError(self.why or "not connected")
        try:
            await client.publish(topic, payload, qos=1, timeout=PUBLISH_S)
        except aiomqtt.MqttError as error:
            raise NoBrokerError(str(error)) from error

    async def run(self, stop: asyncio.Event) -> None:
        """Stay connected until ``stop`` is set; then take leave."""
        import aiomqtt

        tries = 0
        while not stop.is_set():
            before = self.connections
            try:
                async with self._new_client() as client:
                    await self._serve(client, stop)
            except (aiomqtt.MqttError, OSError, ValueError) as error:
                self._lost(str(error) or type(error).__name__)
            finally:
                self._client = None
            tries = 0 if self.connections > before else tries + 1
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(WAITS_S[min(tries, len(WAITS_S) - 1)]):
                    await stop.wait()

    def _new_client(self) -> aiomqtt.Client:
        import aiomqtt

        config = self._config
        host, port = config.place()
        return aiomqtt.Client(
            host,
            port,
            username=config.user,
            password=config.password(),
            tls_context=ssl.create_default_context(cafile=config.ca_file) if config.tls else None,
            will=aiomqtt.Will(self._topic, self._gone, qos=1, retain=True),
            keepalive=KEEPALIVE_S,
            timeout=PUBLISH_S,
        )

    async def _serve(self, client: aiomqtt.Client, stop: asyncio.Event) -> None:
        self._client = client
        self.connections += 1
        self.why = None
        self._logger.info("connected to the broker at %s:%d", *self._config.place())
        await client.subscribe(self._topic, qos=1)
        self._changed = set(self._kept)
        self._news.set()
        self._on_connect()
        listening = asyncio.create_task(self._listen(client), name="mqtt connection")
        stopping = asyncio.create_task(stop.wait(), name="mqtt stop")
        try:
            while not stop.is_set():
                news = asyncio.create_task(self._news.wait(), name="mqtt news")
                await asyncio.wait({news, listening, stopping}, return_when=asyncio.FIRST_COMPLETED)
                news.cancel()
                if listening.done():
                    listening.result()
                await self._put_right(client)
        finally:
            for task in (listening, stopping):
                task.cancel()
            await asyncio.gather(listening, stopping, return_exceptions=True)
        await client.publish(self._topic, self._gone, qos=1, retain=True, timeout=1.0)

    async def _put_right(self, client: aiomqtt.Client) -> None:
        self._news.clear()
        while self._changed:
            topic = min(self._changed)
            await client.publish(topic, self._kept[topic], qos=1, retain=True, timeout=PUBLISH_S)
            self._changed.discard(topic)

    async def _listen(self, client: aiomqtt.Client) -> None:
        """Hear how we are said to stand; ends only with the connection, and with its reason.

        A plugin that a reload has replaced, or the last will of a connection from before, may say that we are gone.
        """
        async for message in client.messages:
            if message.payload != self._kept.get(self._topic):
                self._changed.add(self._topic)
                self._news.set()

    def _lost(self, why: str) -> None:
        if self.why != why:
            self._logger.warning("no connection to the broker at %s:%d: %s", *self._config.place(), why)
        self.why = why
