"""Forward: each contact once in the file, whatever crash; and what each answer of an HTTP log means."""

from __future__ import annotations

import asyncio
import errno
import os
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import adif_io
import pytest
from aiohttp import web

from watchkeeper.api import Contact, Destination, SendResult
from watchkeeper.host.status import State
from watchkeeper.testing import Bench
from watchkeeper_forward import Forward

Answer = Callable[[web.Request], Awaitable[web.Response]]


def destinations(tmp_path: Path, **config: Any) -> list[Destination]:
    on = Bench(Forward, config={"forward": config}, data_dir=tmp_path)
    assert on.status("forward").state is State.RUNNING, on.status("forward").reason
    return on.destinations()


def contact(call: str = "CE3QRT", **fields: Any) -> Contact:
    return Bench().log(call, locator="FF46", report_sent="-10", report_received="-12", **fields)


def records(path: Path) -> list[dict[str, str]]:
    found, _ = adif_io.read_from_file(str(path))
    return [dict(record) for record in found]


# -- the ADIF file ----------------------------------------------------------------------------------------------------


async def test_a_contact_goes_to_the_file_of_its_day_and_an_independent_reader_reads_it(tmp_path: Path) -> None:
    (file,) = destinations(tmp_path)
    for call in ("CE3QRT", "VK2QRM"):
        sending = await file.send(file.encode(contact(call)), call)
        assert sending.result is SendResult.DELIVERED
    path = tmp_path / "log" / "contacts-2026-05-01.adi"
    assert [record["CALL"] for record in records(path)] == ["CE3QRT", "VK2QRM"]
    first = records(path)[0]
    assert (first["MODE"], first["BAND"], first["GRIDSQUARE"]) == ("FT8", "20m", "FF46")
    assert (first["RST_SENT"], first["RST_RCVD"], first["MY_GRIDSQUARE"]) == ("-10", "-12", "JO62qm")
    assert "COMMENT" not in first, "it is the operator's alone"


async def test_what_is_there_already_is_not_written_again(tmp_path: Path) -> None:
    (file,) = destinations(tmp_path)
    payload = file.encode(contact())
    await file.send(payload, "k")
    (again,) = destinations(tmp_path)
    sending = await again.send(payload, "k")
    assert sending.result is SendResult.ALREADY_THERE
    assert len(records(tmp_path / "log" / "contacts-2026-05-01.adi")) == 1


async def test_a_crash_anywhere_in_the_write_leaves_each_contact_once(tmp_path: Path) -> None:
    """Cut the file after every byte that the second write put there, as a crash would; then send it again."""
    (file,) = destinations(tmp_path)
    first, second = file.encode(contact("CE3QRT")), file.encode(contact("VK2QRM"))
    await file.send(first, "1")
    path = tmp_path / "log" / "contacts-2026-05-01.adi"
    whole = path.read_bytes()
    for cut in range(len(second)):
        path.write_bytes(whole + second[:cut])
        sending = await file.send(second, "2")
        assert path.read_bytes() == whole + second
        assert (sending.result is SendResult.ALREADY_THERE) == (cut == len(second) - 1), "its line feed alone was lost"
    aside = path.with_suffix(".torn").read_bytes()
    assert second[:-2] in aside, "nothing is thrown away"


async def test_a_torn_header_is_written_anew(tmp_path: Path) -> None:
    (file,) = destinations(tmp_path)
    payload = file.encode(contact())
    (tmp_path / "log").mkdir()
    path = tmp_path / "log" / "contacts-2026-05-01.adi"
    path.write_bytes(b"ADIF log written by\n<ADIF_VER:5>3.1")
    await file.send(payload, "k")
    assert len(records(path)) == 1


async def test_a_file_that_another_editor_saved_is_gone_on_with(tmp_path: Path) -> None:
    (file,) = destinations(tmp_path)
    await file.send(file.encode(contact("CE3QRT")), "1")
    path = tmp_path / "log" / "contacts-2026-05-01.adi"
    path.write_bytes(path.read_bytes().replace(b"<EOR>\n", b"<eor>"))
    await file.send(file.encode(contact("VK2QRM")), "2")
    assert [record["CALL"] for record in records(path)] == ["CE3QRT", "VK2QRM"]


async def test_the_record_is_synced_before_it_counts_as_delivered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (file,) = destinations(tmp_path)
    order: list[str] = []

    def noted(name: str) -> Callable[..., Any]:
        real = getattr(os, name)

        def call(*arguments: Any) -> Any:
            order.append(name)
            return real(*arguments)

        return call

    for name in ("write", "fsync"):
        monkeypatch.setattr(os, name, noted(name))
    await file.send(file.encode(contact()), "k")
    assert order == ["write", "fsync", "fsync"], "the record, and the name of the new file"


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS, errno.EIO])
async def test_a_disk_that_does_not_take_it_is_tried_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    (file,) = destinations(tmp_path)
    payload = file.encode(contact())

    def fail(*_: Any) -> int:
        raise OSError(code, os.strerror(code))

    with monkeypatch.context() as patched:
        patched.setattr(os, "write", fail)
        sending = await file.send(payload, "k")
    assert sending.result is SendResult.TRY_LATER
    assert os.strerror(code) in (sending.why or "")
    assert (await file.send(payload, "k")).result is SendResult.DELIVERED


async def test_the_folder_can_be_elsewhere_and_the_file_switched_off(tmp_path: Path) -> None:
    (file,) = destinations(tmp_path, folder=str(tmp_path / "stick"))
    await file.send(file.encode(contact()), "k")
    assert (tmp_path / "stick" / "contacts-2026-05-01.adi").exists()
    assert destinations(tmp_path, file=False) == []


# -- HTTP -------------------------------------------------------------------------------------------------------------


@asynccontextmanager
async def http_log(answer: Answer) -> AsyncIterator[str]:
    app = web.Application()
    app.router.add_post("/contacts", answer)
    runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.1)
    await runner.setup()
    site = web.TCPSite(runner, "127.0.0.1", 0)
    await site.start()
    try:
        port = runner.addresses[0][1]
        yield f"http://127.0.0.1:{port}/contacts"
    finally:
        await runner.cleanup()


def http(tmp_path: Path, url: str, **more: Any) -> Destination:
    (found,) = destinations(tmp_path, file=False, http=[{"name": "home log", "url": url, **more}])
    return found


async def test_every_try_posts_the_same_bytes_under_the_same_key(tmp_path: Path) -> None:
    seen: list[tuple[bytes, str, str]] = []

    async def answer(request: web.Request) -> web.Response:
        seen.append((await request.read(), request.headers["Idempotency-Key"], request.headers["Content-Type"]))
        return web.Response(status=503 if len(seen) == 1 else 201)

    async with http_log(answer) as url:
        log = http(tmp_path, url)
        payload = log.encode(contact())
        first, second = await log.send(payload, 'DL5QRM|sim|"1"ü'), await log.send(payload, 'DL5QRM|sim|"1"ü')
    assert (first.result, second.result) == (SendResult.TRY_LATER, SendResult.DELIVERED)
    assert seen[0] == seen[1] == (payload, '"DL5QRM|sim|%221%22%C3%BC"', "text/plain; charset=us-ascii")
    assert b"<CALL:6>CE3QRT" in payload


@pytest.mark.parametrize(
    ("status", "headers", "result", "retry_after_s"),
    [
        (200, {}, SendResult.DELIVERED, None),
        (204, {}, SendResult.DELIVERED, None),
        (302, {"Location": "/login"}, SendResult.TRY_LATER, None),
        (400, {}, SendResult.REFUSED, None),
        (401, {}, SendResult.REFUSED, None),
        (408, {}, SendResult.TRY_LATER, None),
        (409, {}, SendResult.ALREADY_THERE, None),
        (422, {}, SendResult.REFUSED, None),
        (425, {}, SendResult.TRY_LATER, None),
        (429, {"Retry-After": "120"}, SendResult.TRY_LATER, 120.0),
        (500, {}, SendResult.TRY_LATER, None),
        (503, {"Retry-After": "Fri, 01 May 2026 18:02:00 GMT", "Date": "Fri, 01 May 2026 18:00:00 GMT"},
         SendResult.TRY_LATER, 120.0),
        (503, {"Retry-After": "soon"}, SendResult.TRY_LATER, None),
    ],
)  # fmt: skip
async def test_what_each_answer_means(
    tmp_path: Path, status: int, headers: dict[str, str], result: SendResult, retry_after_s: float | None
) -> None:
    """Meaning of the codes: RFC 9110, section 15, RFC 6585 (429), RFC 8470 (425); 409 by our own rule."""

    async def answer(_: web.Request) -> web.Response:
        return web.Response(status=status, headers=headers, text=None if status in (204, 302) else "because\nof this")

    async with http_log(answer) as url:
        log = http(tmp_path, url)
        sending = await log.send(log.encode(contact()), "k")
    assert (sending.result, sending.retry_after_s) == (result, retry_after_s)
    if result is SendResult.REFUSED:
        assert sending.why == f"answered {status}: because of this"


async def test_a_log_that_is_not_there_or_does_not_answer_is_tried_later(tmp_path: Path) -> None:
    async def never(_: web.Request) -> web.Response:
        await asyncio.Event().wait()
        raise AssertionError

    async with http_log(never) as url:
        slow = http(tmp_path, url, timeout_s=0.05)
        sending = await slow.send(b"x", "k")
        assert (sending.result, sending.why) == (SendResult.TRY_LATER, "no answer in 0.05 s")
    gone = await slow.send(b"x", "k")
    assert gone.result is SendResult.TRY_LATER


async def test_a_log_that_closes_early_is_tried_later(tmp_path: Path) -> None:
    async def close(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        writer.close()

    server = await asyncio.start_server(close, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    log = http(tmp_path, f"http://127.0.0.1:{port}/")
    closed = await log.send(b"x", "k")
    assert (closed.result, closed.why) == (SendResult.TRY_LATER, "closed the connection without an answer")
    server.close()
    await server.wait_closed()


async def test_the_secret_comes_from_a_file_or_the_environment_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[str | None] = []

    async def answer(request: web.Request) -> web.Response:
        seen.append(request.headers.get("Authorization") or request.headers.get("X-Token"))
        return web.Response()

    (tmp_path / "token").write_text("s3cret\n")
    monkeypatch.setenv("LOG_TOKEN", "from-env")
    async with http_log(answer) as url:
        await http(tmp_path, url, secret_file=str(tmp_path / "token")).send(b"x", "k")
        await http(tmp_path, url, secret_env="LOG_TOKEN", secret_header="X-Token", secret_scheme="").send(b"x", "k")
        missing = await http(tmp_path, url, secret_file=str(tmp_path / "gone")).send(b"x", "k")
        monkeypatch.delenv("LOG_TOKEN")
        unset = await http(tmp_path, url, secret_env="LOG_TOKEN").send(b"x", "k")
    assert seen == ["Bearer s3cret", "from-env"]
    assert missing.result is unset.result is SendResult.TRY_LATER
    assert "s3cret" not in str(missing.why)


async def test_json_holds_what_the_log_holds(tmp_path: Path) -> None:
    import msgspec

    log = http(tmp_path, "http://127.0.0.1:9/", body="json")
    made = contact()
    assert msgspec.json.decode(log.encode(made), type=Contact) == made


@pytest.mark.parametrize(
    ("config", "words"),
    [
        ({"http": [{"name": "a", "url": "ftp://x/"}]}, "is no http:// or https:// address"),
        ({"http": [{"name": "a", "url": "http://[x/"}]}, "is no http:// or https:// address"),
        ({"http": [{"name": "a", "url": "http://me:pw@x/"}]}, "put the secret into secret_file"),
        ({"http": [{"name": "a", "url": "http://x/", "headers": {"Authorization": "x"}}]}, "carries a secret"),
        ({"http": [{"name": "a", "url": "http://x/", "headers": {"Idempotency-Key": "x"}}]}, "is set by Watchkeeper"),
        ({"http": [{"name": "a", "url": "http://x/", "headers": {"X": "a\r\nb"}}]}, "not printable ASCII"),
        ({"http": [{"name": "a", "url": "http://x/", "headers": {"a b": "x"}}]}, "no name of a header field"),
        ({"http": [{"name": "a", "url": "http://x/", "secret_env": "A", "secret_file": "b"}]}, "not both"),
        ({"http": [{"name": "a", "url": "http://x/"}, {"name": "a", "url": "http://y/"}]}, "two destinations"),
        ({"udp": [{"name": "ADIF file", "host": "x", "port": 1}]}, "two destinations"),
        ({"http": [{"nam": "a", "url": "http://x/"}]}, "did you mean 'name'"),
    ],
)
def test_settings_that_cannot_be_meant_are_told(tmp_path: Path, config: dict[str, Any], words: str) -> None:
    on = Bench(Forward, config={"forward": config}, data_dir=tmp_path)
    assert on.status("forward").state is State.BLOCKED
    assert words in (on.status("forward").reason or "")


# -- lines ------------------------------------------------------------------------------------------------------------


async def test_a_line_over_tcp(tmp_path: Path) -> None:
    got: list[bytes] = []

    async def take(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        got.append(await reader.read())
        writer.close()

    server = await asyncio.start_server(take, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    (log,) = destinations(
        tmp_path, file=False, tcp=[{"name": "board", "host": "127.0.0.1", "port": port, "body": "json"}]
    )
    payload = log.encode(contact())
    assert (await log.send(payload, "k")).result is SendResult.DELIVERED
    assert got == [payload]
    assert payload.count(b"\n") == 1
    server.close()
    await server.wait_closed()
    assert (await log.send(payload, "k")).result is SendResult.TRY_LATER


async def test_a_tcp_listener_that_stays_open_gets_the_line_once(tmp_path: Path) -> None:
    stay = asyncio.Event()

    async def keep(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await stay.wait()
        writer.close()

    server = await asyncio.start_server(keep, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    log = {"name": "board", "host": "127.0.0.1", "port": port, "timeout_s": 0.05}
    (destination,) = destinations(tmp_path, file=False, tcp=[log])
    sending = await destination.send(b"x\n", "k")
    assert (sending.result, sending.why) == (SendResult.DELIVERED, "the other side kept the connection open")
    stay.set()
    server.close()
    await server.wait_closed()


async def test_a_datagram_over_udp(tmp_path: Path) -> None:
    got: asyncio.Queue[bytes] = asyncio.Queue()

    class Take(asyncio.DatagramProtocol):
        def datagram_received(self, data: bytes, addr: Any) -> None:
            got.put_nowait(data)

    transport, _ = await asyncio.get_running_loop().create_datagram_endpoint(Take, local_addr=("127.0.0.1", 0))
    port = transport.get_extra_info("sockname")[1]
    (log,) = destinations(tmp_path, file=False, udp=[{"name": "board", "host": "127.0.0.1", "port": port}])
    payload = log.encode(contact())
    assert (await log.send(payload, "k")).result is SendResult.DELIVERED
    assert await got.get() == payload
    transport.close()
