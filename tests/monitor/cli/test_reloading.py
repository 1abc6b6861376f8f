"""What a reload does to the socket that events come in by: moved, resealed, or left as it was."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from watchkeeper.cli.reloading import reload
from watchkeeper.cli.standing import Standing, stand
from watchkeeper.config import Config, ConfigError, Listen, Loaded, PluginSettings, load_with_origins
from watchkeeper.intake.udp import IntakeError
from watchkeeper.sender import Sender

PATIENCE_S = 20.0
NONE = PluginSettings(allow=())


@pytest.fixture
def ports() -> Iterator[tuple[int, int]]:
    """Two UDP ports that were free a moment ago."""
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as two,
    ):
        one.bind(("127.0.0.1", 0))
        two.bind(("127.0.0.1", 0))
        found = (one.getsockname()[1], two.getsockname()[1])
    yield found  # noqa: PT022 after the sockets are closed


async def acknowledged(address: tuple[str, int], key: bytes | None = None) -> bool:
    """Whether an event that asks for a receipt gets one."""
    sender = Sender("a", address, key=key)
    sender.send("gauge", swr=1.1, ack=True)
    receipts = await asyncio.to_thread(sender.pump, 1.0)
    sender.close()
    return [receipt["status"] for receipt in receipts] == ["stored"]


async def test_the_socket_moves_and_the_counts_go_on(tmp_path: Path, ports: tuple[int, int]) -> None:
    old, new = ports
    async with stand(Config(listen=Listen(port=old), plugins=NONE), tmp_path, port=None) as standing:
        assert await acknowledged(("127.0.0.1", old))
        await standing.go_over(Config(listen=Listen(port=new), plugins=NONE))
        assert standing.listening == f"127.0.0.1:{new}"
        assert await acknowledged(("127.0.0.1", new))
        assert standing.status()["intake"]["received"] == 2
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
            free.bind(("127.0.0.1", old))


async def test_a_port_that_is_taken_changes_nothing(tmp_path: Path, ports: tuple[int, int]) -> None:
    old, new = ports
    before = Config(listen=Listen(port=old), plugins=NONE)
    async with stand(before, tmp_path) as standing:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
            other.bind(("127.0.0.1", new))
            with pytest.raises(IntakeError, match="is taken"):
                await standing.go_over(Config(listen=Listen(port=new), plugins=NONE))
        assert standing.config is before
        assert await acknowledged(("127.0.0.1", old))


async def test_a_new_key_is_asked_for_at_once(tmp_path: Path) -> None:
    key = tmp_path / "key"
    key.write_bytes(b"a key that is long enough to be one")
    async with stand(Config(plugins=NONE), tmp_path / "data", port=0) as standing:
        address = standing.intake.address
        assert await acknowledged(address)
        sealed = Config(listen=Listen(seal_key_file=key), plugins=NONE)
        await standing.go_over(sealed)
        assert not await acknowledged(address)
        assert await acknowledged(address, key.read_bytes())
        key.write_bytes(b"another key that is long enough as well")
        await standing.go_over(sealed)
        assert await acknowledged(address, key.read_bytes())


def loaded(config: Config) -> Loaded:
    return Loaded(config, None, {})


async def told(standing: Standing, config: Config, folder: Path) -> str | None:
    await reload(standing, lambda: loaded(config), lambda _config: folder, lambda: 0)
    return standing.reloads.why


async def test_what_a_standing_watch_cannot_change_is_refused(tmp_path: Path) -> None:
    async with stand(Config(plugins=NONE), tmp_path, port=0) as standing:
        why = await told(standing, Config(plugins=NONE), tmp_path / "elsewhere")
        assert why is not None
        assert why.startswith("log.folder: the record of a standing watch stays in")
        assert any("refused at 00:00 UTC" in notice for notice in standing.status()["notices"])
        assert await told(standing, Config(plugins=NONE), tmp_path) is None
        assert (standing.reloads.done, standing.reloads.refused) == (1, 1)


async def test_what_was_wrong_before_hinders_no_reload(tmp_path: Path) -> None:
    wrong = PluginSettings(allow=(), sections={"nobody": {"x": 1}})
    async with stand(Config(plugins=wrong), tmp_path, port=0) as standing:
        assert await told(standing, Config(plugins=wrong), tmp_path) is None
        other = PluginSettings(allow=(), sections={"nobody": {"x": 2}})
        assert "no plugin 'nobody' is installed" in (await told(standing, Config(plugins=other), tmp_path) or "")


async def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    gone = tmp_path / "gone.toml"
    async with stand(Config(plugins=NONE), tmp_path / "data", port=0) as standing:
        done = await reload(standing, lambda: load_with_origins(gone), lambda _config: standing.folder, lambda: 0)
        assert not done
        assert str(gone) in (standing.reloads.why or "")
        with pytest.raises(ConfigError):
            load_with_origins(gone)
