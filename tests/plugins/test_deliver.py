"""Deliveries: what goes out, to whom, and what happens when it does not get through."""

from __future__ import annotations

import asyncio
import json
import os
import pty
import sys
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from aiohttp import web
from aiohttp.test_utils import TestServer

from watchkeeper.api import Hail, Urgency
from watchkeeper.host.guard import Meter
from watchkeeper.host.status import State
from watchkeeper.testing import START_MS, Bench
from watchkeeper_deliver import Deliver
from watchkeeper_deliver.ways import Bell, Command, DeliveryError, Desktop


def hail(urgency: Urgency = Urgency.WANTED, number: int = 0) -> Hail:
    return Hail(
        key=f"lookout|new|{number}", urgency=urgency, sentence="first Chile for you: CE3QRT", rule="new", call="CE3QRT",
        at_ms=START_MS + number, act_by_ms=START_MS + 16_000,
    )  # fmt: skip


class Receiver:
    """A webhook's other side: answers with the statuses in turn, the last one for ever."""

    def __init__(self, *statuses: int) -> None:
        self.statuses = list(statuses)
        self.got: list[tuple[dict[str, Any], dict[str, str]]] = []
        self.second = asyncio.Event()

    async def take(self, request: web.Request) -> web.Response:
        self.got.append((await request.json(), dict(request.headers)))
        if len(self.got) == 2:
            self.second.set()
        status = self.statuses.pop(0) if len(self.statuses) > 1 else self.statuses[0]
        return web.Response(status=status)


@asynccontextmanager
async def receiving(*statuses: int) -> AsyncIterator[tuple[Receiver, str]]:
    receiver = Receiver(*statuses)
    app = web.Application()
    app.router.add_post("/hails", receiver.take)
    async with TestServer(app) as server:
        yield receiver, str(server.make_url("/hails"))


def plugin(**config: Any) -> Deliver:
    bench = Bench(Deliver, config={"deliver": config})
    assert bench.status("deliver").state is State.RUNNING, bench.status("deliver").reason
    made = next(record.instance for record in bench.host._fleet.records)
    assert isinstance(made, Deliver)
    return made


async def test_a_webhook_gets_the_hail_as_json_with_its_secret(tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("Bearer abc\n")
    async with receiving(204) as (receiver, url):
        await plugin(webhook=[{"name": "phone", "url": url, "secret_file": str(secret)}]).async_deliver(hail())
    ((told, headers),) = receiver.got
    assert told["sentence"] == "first Chile for you: CE3QRT"
    assert (told["urgency"], told["call"], told["at"]) == ("wanted", "CE3QRT", "2026-05-01T18:00:00.000Z")
    assert headers["Authorization"] == "Bearer abc"
    assert headers["Idempotency-Key"] == f"lookout|new|0|{START_MS}"


async def test_what_is_less_urgent_than_asked_for_stays_here() -> None:
    async with receiving(200) as (receiver, url):
        made = plugin(webhook=[{"name": "phone", "url": url, "least": "urgent"}])
        await made.async_deliver(hail(Urgency.WANTED))
        await made.async_deliver(hail(Urgency.URGENT))
    assert [told["urgency"] for told, _ in receiver.got] == ["urgent"]


async def test_a_failure_says_which_way_and_why_and_another_try_repeats_only_that_one() -> None:
    async with receiving(200) as (good, good_url), receiving(503, 200) as (bad, bad_url):
        made = plugin(webhook=[{"name": "good", "url": good_url}, {"name": "bad", "url": bad_url}])
        with pytest.raises(DeliveryError, match=r"^bad: answered 503$"):
            await made.async_deliver(hail())
        await made.async_deliver(hail())
    assert (len(good.got), len(bad.got)) == (1, 2)
    assert made.metrics() == {"delivered_total": 3.0, "failed_total": 1.0}


async def test_nobody_there_is_told_and_harms_nothing_else() -> None:
    async with receiving(200) as (receiver, url):
        gone = "http://127.0.0.1:9/hails"
        made = plugin(webhook=[{"name": "gone", "url": gone}, {"name": "here", "url": url}])
        with pytest.raises(DeliveryError, match=r"^gone: "):
            await made.async_deliver(hail())
    assert len(receiver.got) == 1


async def test_one_that_does_not_answer_is_told_as_such() -> None:
    async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read()
        writer.close()

    async with await asyncio.start_server(silent, "127.0.0.1", 0) as server:
        url = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}/hails"
        with pytest.raises(DeliveryError, match=r"^slow: no answer within 0\.05 s$"):
            await plugin(webhook=[{"name": "slow", "url": url, "timeout_s": 0.05}]).async_deliver(hail())


async def test_a_redirect_is_not_followed_with_the_secret() -> None:
    async with receiving(307) as (_, url):
        with pytest.raises(DeliveryError, match="answered 307"):
            await plugin(webhook=[{"name": "moved", "url": url}]).async_deliver(hail())


async def test_the_host_tries_again_and_shows_why() -> None:
    waits: list[float] = []

    async def at_once(seconds: float) -> None:
        waits.append(seconds)

    async with receiving(500, 200) as (receiver, url):
        config = {"deliver": {"webhook": [{"name": "phone", "url": url}]}}
        bench = Bench(Deliver, config=config, meter=Meter(sleep=at_once))
        await bench.host.start()
        bench.host.deliver(hail())
        async with asyncio.timeout(5):
            await receiver.second.wait()
        await bench.host.stop()
    assert waits == [1.0]
    assert "phone: answered 500" in (bench.status("deliver").reason or "")


async def test_a_sound_is_played_by_a_command_without_a_shell(tmp_path: Path) -> None:
    mark = tmp_path / "a b;c"
    play = [sys.executable, "-c", "import sys; open(sys.argv[1], 'w').close()", str(mark)]
    await plugin(sound=play, sound_least="note").async_deliver(hail(Urgency.NOTE))
    assert mark.exists()


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ([sys.executable, "-c", "raise SystemExit(3)"], "ended with status 3"),
        (["/nowhere/player"], "cannot be run"),
    ],
)
async def test_a_command_that_fails_is_told(words: list[str], why: str) -> None:
    with pytest.raises(DeliveryError, match=why):
        await Command("sound", words, "note").deliver(hail())


class Player(Command):
    """Says when it is on and when it is off; in between it waits until it is let go on."""

    def __init__(self, folder: Path) -> None:
        told, gate = folder / "told", folder / "gate"
        os.mkfifo(told)
        os.mkfifo(gate)
        script = 'echo on > "$1"; read -r word < "$2"; echo off > "$1"'
        super().__init__("sound", ["/bin/sh", "-c", script, "player", str(told), str(gate)], "note")
        self.begun = 0
        self._told, self._gate = (os.open(pipe, os.O_RDWR | os.O_NONBLOCK) for pipe in (told, gate))

    def words(self, hail: Hail) -> Sequence[str]:
        self.begun += 1
        return super().words(hail)

    def let_go_on(self) -> None:
        os.write(self._gate, b"\n")

    @asynccontextmanager
    async def listened_to(self) -> AsyncIterator[asyncio.StreamReader]:
        reader = asyncio.StreamReader()
        transport, _ = await asyncio.get_running_loop().connect_read_pipe(
            lambda: asyncio.StreamReaderProtocol(reader), os.fdopen(self._told, "rb", buffering=0)
        )
        try:
            yield reader
        finally:
            transport.close()
            os.close(self._gate)


async def test_two_hails_at_once_are_two_sounds_one_after_the_other(tmp_path: Path) -> None:
    player = Player(tmp_path)
    async with asyncio.timeout(30), player.listened_to() as told:
        both = asyncio.gather(player.deliver(hail(number=1)), player.deliver(hail(number=2)))
        assert await told.readline() == b"on\n"
        assert player.begun == 1
        player.let_go_on()
        assert [await told.readline(), await told.readline()] == [b"off\n", b"on\n"]
        assert player.begun == 2
        player.let_go_on()
        assert await told.readline() == b"off\n"
        await both


async def test_a_command_that_does_not_end_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("watchkeeper_deliver.ways.COMMAND_S", 0.05)
    with pytest.raises(DeliveryError, match="ran longer"):
        await Command("sound", [sys.executable, "-c", "import time; time.sleep(60)"], "note").deliver(hail())


async def test_what_came_off_the_air_can_be_no_option_of_the_notification(tmp_path: Path) -> None:
    out = tmp_path / "arguments"
    program = tmp_path / "notify"
    program.write_text(f"#!{sys.executable}\nimport json, sys\njson.dump(sys.argv[1:], open({str(out)!r}, 'w'))\n")
    program.chmod(0o755)
    nasty = Hail(key="k", urgency=Urgency.URGENT, sentence="--icon=/etc/passwd", rule="new", at_ms=START_MS)
    await Desktop("note", str(program)).deliver(nasty)
    told = json.loads(out.read_text())
    assert told[-3:] == ["--", "new", "--icon=/etc/passwd"]
    assert "--urgency=critical" in told


async def test_the_bell_rings_the_terminal() -> None:
    ours, theirs = pty.openpty()
    try:
        await Bell("urgent", os.ttyname(theirs)).deliver(hail(Urgency.URGENT))
        assert os.read(ours, 10) == b"\a"
    finally:
        os.close(ours)
        os.close(theirs)


async def test_without_a_terminal_the_bell_says_so() -> None:
    with pytest.raises(DeliveryError, match="no terminal"):
        await Bell("urgent", "/nowhere/tty").deliver(hail())


@pytest.mark.parametrize(
    ("config", "words"),
    [
        ({"webhook": [{"name": "x", "url": "ftp://x"}]}, "neither http"),
        ({"webhook": [{"name": "x", "url": "http://x", "secret_file": "a", "secret_env": "B"}]}, "not both"),
        ({"webhook": [{"name": "x", "url": "http://x", "secret_header": "a b"}]}, "no name of a header field"),
        ({"webhook": [{"name": "x", "url": "http://x"}, {"name": "x", "url": "http://y"}]}, "two are called 'x'"),
        ({"sound_least": "loud"}, "sound_least"),
    ],
)
def test_what_cannot_be_meant_is_told(config: dict[str, Any], words: str) -> None:
    status = Bench(Deliver, config={"deliver": config}).status("deliver")
    assert status.state is State.BLOCKED
    assert words in (status.reason or "")
