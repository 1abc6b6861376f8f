"""From a broker to the watch: what arrives as MQTT messages goes on as datagrams, contacts until they are receipted.

A message holds what a datagram may hold: one event as JSON, or an array of them. Each source keeps its own run and
numbers, so what is lost on the way to the broker is counted as lost. Receipts go back to the broker, for whoever sent
the contact. The bridge is a sender like any other and needs no place in the watch.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Callable, Coroutine, Iterator
from typing import Any

import msgspec

from ..schema.wire import decode
from ..sender import Sender

#: sources that are told apart; the one that has been silent longest makes room once nothing of it is pending
MAX_SOURCES = 64
#: how often receipts are looked for, and what has none is repeated
PUMP_S = 0.1
#: how soon a broker that is away is tried again
RETRY_S = 1.0


class MqttBridge:
    """Passes on what messages hold. ``sender_of`` makes the sender for one source."""

    def __init__(self, sender_of: Callable[[str], Sender]) -> None:
        self.passed = 0
        self.refused = 0
        #: the reason of the last refusal
        self.why: str | None = None
        self._sender_of = sender_of
        self._senders: OrderedDict[str, Sender] = OrderedDict()

    def take(self, payload: bytes) -> None:
        """Pass on the events of one message; what is no event is counted and dropped, as the watch itself would."""
        decoded = decode(payload)
        for refusal in decoded.refusals:
            self.refused += 1
            self.why = refusal.why
        for event in decoded.events:
            fields: dict[str, Any] = msgspec.to_builtins(event)
            kind, at = fields.pop("kind"), fields.pop("at")
            try:
                self._sender(event.source).send(kind, at=at, **fields)
            except ValueError as error:
                self.refused += 1
                self.why = str(error)
            else:
                self.passed += 1

    def receipts(self) -> Iterator[bytes]:
        """Repeat what is due, and give the receipts that came since the last call, as JSON."""
        for sender in self._senders.values():
            sender.pump()
            while sender.receipts:
                yield msgspec.json.encode(sender.receipts.popleft())

    def pending(self) -> int:
        """How many events wait for their receipt."""
        return sum(len(sender.pending()) for sender in self._senders.values())

    def close(self) -> None:
        """Close all sockets."""
        for sender in self._senders.values():
            sender.close()

    def _sender(self, source: str) -> Sender:
        sender = self._senders.get(source)
        if sender is None:
            sender = self._senders[source] = self._sender_of(source)
            self._make_room()
        self._senders.move_to_end(source)
        return sender

    def _make_room(self) -> None:
        for source in list(self._senders)[:-1]:
            if len(self._senders) <= MAX_SOURCES:
                return
            if not self._senders[source].pending():
                self._senders.pop(source).close()


class Broker(msgspec.Struct, frozen=True, kw_only=True):
    """Where the messages come from."""

    host: str
    port: int
    topic: str
    user: str | None = None
    password: str | None = None
    tls: bool = False
    ca_file: str | None = None


async def run(bridge: MqttBridge, broker: Broker, stopped: asyncio.Event, say: Callable[[str], None]) -> None:
    """Listen to ``broker`` until ``stopped`` is set, again after every loss of the connection."""
    import aiomqtt

    while not stopped.is_set():
        try:
            async with _client(broker) as client:
                await client.subscribe(broker.topic, qos=1)
                say(f"listening to {broker.topic} on {broker.host} port {broker.port}")
                await _until_first(stopped.wait(), _listen(bridge, client), _pump(bridge, client, broker.topic))
        except (aiomqtt.MqttError, OSError) as error:
            say(f"no connection to {broker.host} port {broker.port}: {error}")
            await _pause(stopped, RETRY_S)


async def _until_first(*work: Coroutine[Any, Any, Any]) -> None:
    tasks = [asyncio.create_task(one) for one in work]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


def _client(broker: Broker) -> Any:
    import ssl

    import aiomqtt

    return aiomqtt.Client(
        broker.host,
        broker.port,
        username=broker.user,
        password=broker.password,
        tls_context=ssl.create_default_context(cafile=broker.ca_file) if broker.tls else None,
        timeout=5.0,
        keepalive=20,
    )


async def _listen(bridge: MqttBridge, client: Any) -> None:
    async for message in client.messages:
        if isinstance(message.payload, bytes):
            bridge.take(message.payload)


async def _pump(bridge: MqttBridge, client: Any, topic: str) -> None:
    """Receipts have a topic of their own below the one listened to, so they never come back as events."""
    while True:
        for receipt in bridge.receipts():
            await client.publish(f"{topic}/receipts", receipt, qos=1)
        await asyncio.sleep(PUMP_S)


async def _pause(stopped: asyncio.Event, seconds: float) -> None:
    try:
        async with asyncio.timeout(seconds):
            await stopped.wait()
    except TimeoutError:
        return
