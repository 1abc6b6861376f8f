"""MQTT with a real broker, Debian's mosquitto, on loopback: what is told and retained, and a broker that restarts."""

from __future__ import annotations

import asyncio
import contextlib
import getpass
import json
import shutil
import socket
import subprocess
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import aiomqtt
import msgspec
import pytest

from watchkeeper.cli.standing import Standing, stand
from watchkeeper.config import Config, PluginSettings, Station
from watchkeeper.intake.mqtt_bridge import Broker, MqttBridge, run
from watchkeeper.sender import Sender
from watchkeeper.testing import Bench
from watchkeeper_mqtt import Mqtt, MqttConfig

PATIENCE_S = 20.0
MOSQUITTO = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin")


class Mosquitto:
    """A broker that can be restarted on its port. It keeps nothing over a restart: the watch has to tell it again."""

    def __init__(self, folder: Path, *lines: str) -> None:
        assert MOSQUITTO is not None, "Debian's package mosquitto has it"
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port: int = probe.getsockname()[1]
        self._config = folder / "mosquitto.conf"
        anonymous = "" if lines else "allow_anonymous true\n"
        self._config.write_text(f"listener {self.port} 127.0.0.1\n{anonymous}" + "\n".join(lines) + "\n")
        self.start()

    def start(self) -> None:
        assert MOSQUITTO is not None
        self._process = subprocess.Popen([MOSQUITTO, "-c", str(self._config)], stderr=subprocess.DEVNULL)
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port)):
                return
        raise AssertionError("the broker does not come up")

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait(PATIENCE_S)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    made = Mosquitto(tmp_path)
    yield made
    made.stop()


class Listener:
    """Subscribes to everything, again after each loss, and remembers it all."""

    def __init__(self, port: int) -> None:
        self._port = port
        self.got: list[tuple[str, dict[str, Any], bool]] = []
        self._news = asyncio.Event()

    async def run(self) -> None:
        while True:
            with contextlib.suppress(aiomqtt.MqttError):
                async with aiomqtt.Client("127.0.0.1", self._port) as client:
                    await client.subscribe("#", qos=1)
                    async for message in client.messages:
                        assert isinstance(message.payload, bytes)
                        self.got.append((str(message.topic), json.loads(message.payload), message.retain))
                        self._news.set()
            await asyncio.sleep(0.02)

    def of(self, topic: str) -> list[dict[str, Any]]:
        return [payload for name, payload, _ in self.got if name == topic]

    async def until(self, topic: str, seconds: float = PATIENCE_S, **fields: Any) -> dict[str, Any]:
        """The newest message there, as soon as it has those values."""
        async with asyncio.timeout(seconds):
            while True:
                self._news.clear()
                found = self.of(topic)
                if found and fields.items() <= found[-1].items():
                    return found[-1]
                await self._news.wait()


@asynccontextmanager
async def listening(port: int) -> AsyncIterator[Listener]:
    made = Listener(port)
    task = asyncio.create_task(made.run())
    try:
        yield made
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


#: a plugin of the plugin folder that hails whoever is heard
HAILER = """
from watchkeeper.api import Hail, Urgency, hookimpl

class Hailer:
    name, api = "hailer", 1

    def __init__(self, config, context):
        self.context = context

    @hookimpl
    def annotate(self, hearing):
        key, now_ms = str(hearing.call), self.context.now_ms
        self.context.hail(
            Hail(key=key, urgency=Urgency.WANTED, sentence=hearing.text, rule="all", at_ms=now_ms, call=hearing.call)
        )
"""


def config(port: int, folder: Path, **section: Any) -> Config:
    (folder / "own").mkdir(exist_ok=True)
    (folder / "own" / "hailer.py").write_text(HAILER)
    told = {"host": "127.0.0.1", "port": port, "station": "hut", **section}
    return Config(
        station=Station(call="DL5QRM", locator="JO62qm"),
        plugins=PluginSettings(folder=folder / "own", allow=("hailer", "mqtt"), sections={"mqtt": told}),
    )


async def until(condition: Callable[[], bool]) -> None:
    """Wait for what no event tells."""
    async with asyncio.timeout(PATIENCE_S):
        while not condition():  # noqa: ASYNC110 see above
            await asyncio.sleep(0.01)


def is_connected(standing: Standing) -> bool:
    return standing.keeper.session.host.metrics()["mqtt"]["connected"] == 1.0


def sender_of(standing: Standing) -> Sender:
    return Sender("decoder", standing.intake.address)


def log_contact(sender: Sender, key: str, call: str) -> None:
    at = time.time()
    sender.send("contact", id=key, call=call, started_at=stamp(at), ended_at=stamp(at), dial_hz=14_074_000, mode="FT8")


def stamp(at: float) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(at))


@pytest.mark.long
async def test_what_is_told_and_what_is_retained(tmp_path: Path, broker: Mosquitto) -> None:
    async with listening(broker.port) as heard:
        async with stand(config(broker.port, tmp_path), tmp_path / "data", port=0) as standing:
            await heard.until("hut/state", state="standing")
            sender = sender_of(standing)
            start = int(time.time()) // 15 * 15
            at = stamp(start)
            common = {"mode": "FT8", "dial_hz": 14_074_000}
            sender.send("gauge", swr=1.4, supply_v=12.9)
            sender.send("heard", at=at, offset_hz=900, snr_db=-7, text="CQ CE3QRT FF46", **common)
            sender.send("period", at=at, count=1, final=True, **common)
            log_contact(sender, "c-1", "JA1QRV")
            vitals = await heard.until("hut/vitals", swr=1.4)
            assert vitals["supply_v"] == 12.9
            bands = await heard.until("hut/bands")
            assert bands["bands"]["20m"]["stations"] == 1
            assert bands["bands"]["20m"]["best_snr_db"] == -7
            assert bands["bands"]["20m"]["farthest_km"] > 10_000
            assert (await heard.until("hut/hails"))["call"] == "CE3QRT"
            assert (await heard.until("hut/contacts"))["call"] == "JA1QRV"
            sender.close()
        await heard.until("hut/state", state="gone")
        assert {topic for topic, _, _ in heard.got} == {
            f"hut/{w}" for w in ("state", "vitals", "bands", "hails", "contacts")
        }
    async with listening(broker.port) as late:
        await late.until("hut/state", state="gone")
        await late.until("hut/vitals")
        await late.until("hut/bands")
        assert all(retained for _, _, retained in late.got)
        assert not late.of("hut/hails") + late.of("hut/contacts")


@pytest.mark.long
async def test_a_broker_that_restarts_is_put_right_and_gets_each_contact_once(
    tmp_path: Path, broker: Mosquitto
) -> None:
    async with (
        listening(broker.port) as heard,
        stand(config(broker.port, tmp_path), tmp_path / "data", port=0) as standing,
    ):
        sender = sender_of(standing)
        sender.send("gauge", swr=1.4)
        log_contact(sender, "c-1", "JA1QRV")
        await heard.until("hut/contacts", call="JA1QRV")
        await heard.until("hut/vitals", swr=1.4)
        broker.stop()
        log_contact(sender, "c-2", "W1QSB")
        sender.send("gauge", swr=2.1)
        await until(lambda: len(standing.keeper.watch.contacts) == 2)
        before = len(heard.got)
        broker.start()
        await heard.until("hut/vitals", 5.0, swr=2.1)
        await heard.until("hut/contacts", 5.0, call="W1QSB")
        assert ("hut/state", {"state": "standing"}) in [(topic, told) for topic, told, _ in heard.got[before:]]
        log_contact(sender, "c-3", "CE3QRT")
        await heard.until("hut/contacts", call="CE3QRT")
        assert [told["call"] for told in heard.of("hut/contacts")] == ["JA1QRV", "W1QSB", "CE3QRT"]
        sender.close()


@pytest.mark.long
async def test_a_watch_that_dies_is_told_gone_by_its_last_will(tmp_path: Path, broker: Mosquitto) -> None:
    async with (
        listening(broker.port) as heard,
        stand(config(broker.port, tmp_path), tmp_path / "data", port=0) as standing,
    ):
        await heard.until("hut/state", state="standing")
        record = next(one for one in standing.keeper.session.host.running if one.name == "mqtt")
        client: Any = record.instance._broker._client  # nothing public pulls the plug
        client._client.socket().shutdown(socket.SHUT_RDWR)
        await heard.until("hut/state", state="gone")
        await heard.until("hut/state", 5.0, state="standing")


@pytest.mark.long
async def test_a_reload_leaves_the_state_standing(tmp_path: Path, broker: Mosquitto) -> None:
    async with (
        listening(broker.port) as heard,
        stand(config(broker.port, tmp_path), tmp_path / "data", port=0) as standing,
    ):
        await heard.until("hut/state", state="standing")
        await standing.go_over(config(broker.port, tmp_path, contacts=False))
        await until(lambda: is_connected(standing))
        async with listening(broker.port) as late:
            await late.until("hut/state", state="standing")


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that wants a password."""
    passwords = tmp_path / "passwords"
    maker = shutil.which("mosquitto_passwd")
    assert maker is not None, "it comes with mosquitto"
    subprocess.run([maker, "-b", "-c", str(passwords), "hut", "far too secret"], check=True, capture_output=True)
    (tmp_path / "secret").write_text("far too secret\n")
    (tmp_path / "wrong").write_text("guessed\n")
    # a broker that is started as root gives that up, and has to read the file all the same
    made = Mosquitto(tmp_path, "allow_anonymous false", f"password_file {passwords}", f"user {getpass.getuser()}")
    yield made
    made.stop()


@pytest.mark.long
async def test_a_password_from_a_file_is_used(tmp_path: Path, guarded: Mosquitto) -> None:
    told = config(guarded.port, tmp_path, user="hut", password_file=str(tmp_path / "secret"))
    async with stand(told, tmp_path / "data", port=0) as standing:
        await until(lambda: is_connected(standing))


@pytest.mark.long
async def test_a_password_that_is_refused_is_said_and_never_shown(
    tmp_path: Path, guarded: Mosquitto, caplog: pytest.LogCaptureFixture
) -> None:
    told = config(guarded.port, tmp_path, user="hut", password_file=str(tmp_path / "wrong"))
    async with stand(told, tmp_path / "data", port=0) as standing:
        await until(lambda: "no connection to the broker" in caplog.text)
        assert not is_connected(standing)
    assert "uthori" in caplog.text
    assert "guessed" not in caplog.text


@pytest.fixture
def sealed(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that speaks TLS alone, with a certificate of its own making for 127.0.0.1."""
    openssl = shutil.which("openssl")
    assert openssl is not None, "Debian's package openssl has it"
    request = "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj /CN=127.0.0.1"
    names = ["-addext", "subjectAltName=IP:127.0.0.1", "-keyout", "key.pem", "-out", "cert.pem"]
    subprocess.run([openssl, *request.split(), *names], cwd=tmp_path, check=True, capture_output=True)
    files = [f"certfile {tmp_path}/cert.pem", f"keyfile {tmp_path}/key.pem"]
    made = Mosquitto(tmp_path, *files, "allow_anonymous true", f"user {getpass.getuser()}")
    yield made
    made.stop()


@pytest.mark.long
async def test_tls_is_spoken_with_a_certificate_that_is_trusted(tmp_path: Path, sealed: Mosquitto) -> None:
    told = config(sealed.port, tmp_path, tls=True, ca_file=str(tmp_path / "cert.pem"))
    async with stand(told, tmp_path / "data", port=0) as standing:
        await until(lambda: is_connected(standing))


# the library leaves the socket of a handshake that failed to the garbage collector
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.long
async def test_a_certificate_that_nobody_vouches_for_is_refused(
    tmp_path: Path, sealed: Mosquitto, caplog: pytest.LogCaptureFixture
) -> None:
    async with stand(config(sealed.port, tmp_path, tls=True), tmp_path / "data", port=0) as standing:
        await until(lambda: "certificate verify failed" in caplog.text)
        assert not is_connected(standing)


def test_without_a_host_it_does_nothing() -> None:
    bench = Bench(Mqtt)
    bench.period("CQ CE3QRT FF46")
    assert bench.destinations() == []
    assert bench.host.metrics() == {"mqtt": {}}


async def test_without_the_library_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda _name: None)
    bench = Bench(Mqtt, config={"mqtt": {"host": "127.0.0.1"}})
    await bench.host.start()
    assert bench.status("mqtt").state == "blocked"
    assert "extra 'mqtt'" in (bench.status("mqtt").reason or "")


@pytest.mark.parametrize(
    ("section", "words"),
    [
        ({"station": "a/b"}, "station: 'a/b'"),
        ({"station": "+"}, "station"),
        ({"password_env": "P"}, "user: a password needs"),
        ({"user": "u", "password_env": "P", "password_file": Path("p")}, "not both"),
        ({"ca_file": Path("ca.pem")}, "ca_file"),
    ],
)
def test_a_bad_section_says_what_is_wrong(section: dict[str, Any], words: str) -> None:
    with pytest.raises((ValueError, msgspec.ValidationError), match=words.replace("+", r"\+")):
        MqttConfig(**section)


def test_the_port_follows_tls() -> None:
    assert MqttConfig(host="hut").place() == ("hut", 1883)
    assert MqttConfig(host="hut", tls=True).place() == ("hut", 8883)


@pytest.mark.long
async def test_events_from_a_broker_reach_the_watch_and_are_receipted(tmp_path: Path, broker: Mosquitto) -> None:
    bridge_log: list[str] = []
    stopped = asyncio.Event()
    async with (
        listening(broker.port) as heard,
        stand(config(broker.port, tmp_path), tmp_path / "d", port=0) as standing,
    ):
        bridge = MqttBridge(lambda source: Sender(source, standing.intake.address))
        place = Broker(host="127.0.0.1", port=broker.port, topic="shack/events")
        bridging = asyncio.create_task(run(bridge, place, stopped, bridge_log.append))
        await until(lambda: len(bridge_log) == 1)
        at = stamp(time.time())
        contact = {"call": "JA1QRV", "started_at": at, "ended_at": at, "dial_hz": 14_074_000, "mode": "FT8"}
        event = {"v": 1, "kind": "contact", "source": "far", "id": "c-1", "at": at, **contact}
        async with aiomqtt.Client("127.0.0.1", broker.port) as client:
            await client.publish("shack/events", json.dumps(event), qos=1)
            receipt = await heard.until("shack/events/receipts", of="c-1")
            assert receipt["status"] == "stored"
            broker.stop()
            await until(lambda: any("no connection" in said for said in bridge_log))
            broker.start()
            await until(lambda: bridge_log[-1].startswith("listening"))
        async with aiomqtt.Client("127.0.0.1", broker.port) as client:
            await client.publish("shack/events", json.dumps(event), qos=1)
            assert (await heard.until("shack/events/receipts", status="repeated"))["of"] == "c-1"
        assert [one.call for one in standing.keeper.watch.contacts] == ["JA1QRV"]
        stopped.set()
        await bridging
        bridge.close()
