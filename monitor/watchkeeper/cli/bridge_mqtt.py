"""``watchkeeper bridge-mqtt``: events from a broker, to a watch."""

from __future__ import annotations

import asyncio
import importlib.util
import signal
from functools import partial
from pathlib import Path

import click

from .exits import Exit
from .feed import place
from .options import fail


@click.command()
@click.option(
    "--broker", required=True, metavar="HOST[:PORT]", help="The broker; its port is 1883, or 8883 with --tls."
)
@click.option("--topic", default="watchkeeper/events", show_default=True, help="The topic to listen to.")
@click.option("--to", metavar="HOST:PORT", callback=place, default="127.0.0.1", help="Where the watch listens.")
@click.option("--key-file", type=click.Path(path_type=Path, dir_okay=False), help="Seal what is sent with this key.")
@click.option("--user", help="User name at the broker.")
@click.option("--password-file", type=click.Path(path_type=Path, dir_okay=False), help="File that holds the password.")
@click.option("--tls", is_flag=True, help="Use TLS; the broker's certificate is checked.")
@click.option("--ca-file", type=click.Path(path_type=Path, dir_okay=False), help="Certificates to trust instead.")
def command(
    broker: str,
    topic: str,
    to: tuple[str, int],
    key_file: Path | None,
    user: str | None,
    password_file: Path | None,
    tls: bool,
    ca_file: Path | None,
) -> None:
    """Pass on the events that arrive at a broker to a watch, contacts until their receipt has come.

    A message holds what a datagram may hold: one event as JSON, or an array of them. Receipts are published below the
    topic, at TOPIC/receipts. A contact that has no receipt when this command ends has to come again from its sender.

    \b
    Example:
      watchkeeper bridge-mqtt --broker shack.example --topic hut/events
    """
    if importlib.util.find_spec("aiomqtt") is None:
        fail("the library aiomqtt is missing: install watchkeeper with its extra 'mqtt'")
    if not topic or set(topic) & set("+#\0"):
        raise click.BadParameter(f"{topic!r} is not the name of one topic", param_hint="--topic")
    from ..intake.mqtt_bridge import Broker, MqttBridge, run
    from ..intake.seal import SealKeyError, load_key
    from ..sender import Sender

    host, _, port = broker.rpartition(":") if broker.count(":") == 1 else (broker, "", "")
    if port and not port.isdigit():
        raise click.BadParameter(f"{port!r} is no port", param_hint="--broker")
    try:
        password = None if password_file is None else password_file.read_text(encoding="utf-8").strip()
        key = None if key_file is None else load_key(file=key_file)
    except OSError as error:
        fail(f"{password_file}: {error.strerror}", Exit.CONFIG)
    except SealKeyError as error:
        fail(error, Exit.CONFIG)
    place_of = Broker(
        host=host,
        port=int(port or (8883 if tls else 1883)),
        topic=topic,
        user=user,
        password=password,
        tls=tls,
        ca_file=None if ca_file is None else str(ca_file),
    )
    bridge = MqttBridge(lambda source: Sender(source, to, key=key))

    async def until_stopped() -> None:
        stopped = asyncio.Event()
        for number in (signal.SIGINT, signal.SIGTERM):
            asyncio.get_running_loop().add_signal_handler(number, stopped.set)
        await run(bridge, place_of, stopped, partial(click.echo, err=True))

    asyncio.run(until_stopped())
    pending = bridge.pending()
    bridge.close()
    click.echo(f"{bridge.passed} events passed on, {bridge.refused} refused, {pending} without a receipt")
