"""The HTTP interface: who may ask, what is answered, and what a slow or hostile client can do."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

import pytest
from aiohttp import ClientSession, web
from aiohttp.test_utils import TestClient, TestServer
from tests.monitor.faces.test_source import Watch

from watchkeeper.faces.page.app import make_app
from watchkeeper.faces.page.guards import HEADERS, LOOPBACK_HOSTS, TRIES, Access, host_name
from watchkeeper.faces.page.hub import BOUND, CHANGED, HAIL, RESYNC, Client, Hub

Http = TestClient[web.Request, web.Application]


@pytest.fixture
def watch() -> Watch:
    return Watch()


@pytest.fixture
async def http(watch: Watch) -> AsyncIterator[Http]:
    """The interface as the Unix socket has it, asked over loopback under its allowed name."""
    async with TestClient(TestServer(make_app(watch.source, beat_s=0.02))) as client:
        client.session.headers["Host"] = "watch"
        yield client


@pytest.fixture
def access() -> Access:
    return Access(reading_open=False)


@pytest.fixture
async def guarded(watch: Watch, access: Access) -> AsyncIterator[Http]:
    """The interface as a phone has it."""
    app = make_app(watch.source, allowed_hosts=LOOPBACK_HOSTS, access=access)
    async with TestClient(TestServer(app)) as client:
        yield client


ROUTES = ["/livez", "/readyz", "/metrics", "/api/snapshot", "/api/status", "/api/events", "/", "/nowhere"]


@pytest.mark.parametrize("route", ROUTES)
@pytest.mark.parametrize("host", ["evil.example", "watch.evil.example", "127.0.0.1", ""])
async def test_every_route_checks_the_host(http: Http, route: str, host: str) -> None:
    answer = await http.get(route, headers={"Host": host})
    assert answer.status == 421
    assert (await answer.json())["error"]


@pytest.mark.parametrize(
    ("host", "name"),
    [("localhost:8080", "localhost"), ("[::1]:80", "[::1]"), ("[::1]", "[::1]"), ("WATCH", "watch"), ("", "")],
)
def test_the_port_is_no_part_of_the_name(host: str, name: str) -> None:
    assert host_name(host) == name


@pytest.mark.parametrize("route", [*ROUTES[:5], "/nowhere"])
async def test_every_answer_binds_the_browser(http: Http, route: str) -> None:
    answer = await http.get(route)
    assert {name: answer.headers[name] for name in HEADERS} == HEADERS


def test_the_policy_lets_no_inline_code_run() -> None:
    policy = dict(part.strip().split(" ", 1) for part in HEADERS["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    assert "unsafe" not in HEADERS["Content-Security-Policy"]


async def test_the_snapshot_is_cleaned_and_waits_for_what_is_asked(http: Http, watch: Watch) -> None:
    watch.show(own={"call": "DL5QRM\x1b[31m\u202e"})
    assert (await (await http.get("/api/snapshot")).json())["own"]["call"] == "DL5QRM"
    query = {"source": "decoder", "run": "r1", "seq": "50", "wait": "20"}
    asked = asyncio.create_task(http.get("/api/snapshot", params=query).__aenter__())
    while not asked.done():
        watch.show(covers={"decoder": {"run": "r1", "seq": 50}}, contacts=13)
        await asyncio.sleep(0)
    assert (await (await asked).json())["contacts"] == 13


@pytest.mark.parametrize(
    "query",
    [
        {"wait": "1"},
        {"wait": "x", "source": "a", "run": "r", "seq": "1"},
        {"wait": "nan", "source": "a", "run": "r", "seq": "1"},
        {"wait": "1e9", "source": "a", "run": "r", "seq": "1"},
        {"wait": "1", "source": "a", "run": "r", "seq": "-1"},
        {"wait": "1", "source": "a", "run": "r", "seq": "1.5"},
    ],
)
async def test_a_wrong_wait_is_one_clear_error(http: Http, query: dict[str, str]) -> None:
    answer = await http.get("/api/snapshot", params=query)
    assert answer.status == 400
    assert "wait" in (await answer.json())["error"]


@pytest.mark.parametrize("body", [b"", b"[]", b'"x"', b"{}", b'{"act":1}', b"[" * 9000, b"\xff", b'{"act":"done"'])
async def test_what_is_no_act_is_refused(http: Http, watch: Watch, body: bytes) -> None:
    answer = await http.post("/api/act", data=body, headers={"Content-Type": "application/json"})
    assert answer.status == 400
    assert watch.acts == []


async def test_a_form_is_no_act_and_a_large_body_is_refused(http: Http, watch: Watch) -> None:
    text = json.dumps({"act": "done"})
    assert (await http.post("/api/act", data=text, headers={"Content-Type": "text/plain"})).status == 400
    large = json.dumps({"act": "done", "key": "x" * 100_000})
    assert (await http.post("/api/act", data=large, headers={"Content-Type": "application/json"})).status == 413
    assert watch.acts == []


async def test_a_wrong_method_says_which_are_right(http: Http) -> None:
    answer = await http.delete("/api/act")
    assert answer.status == 405
    assert answer.headers["Allow"] == "POST"


async def test_reading_and_acting_over_the_network_need_a_key(guarded: Http, watch: Watch, access: Access) -> None:
    for route in ("/metrics", "/api/snapshot", "/api/status", "/api/events"):
        assert (await guarded.get(route)).status == 401
    assert (await guarded.get("/livez")).status == 200
    act = {"act": "done", "key": "k"}
    assert (await guarded.post("/api/act", json=act)).status == 403
    wrong = {"Authorization": "Bearer " + "x" * 43}
    assert (await guarded.post("/api/act", json=act, headers=wrong)).status == 403
    right = {"Authorization": f"Bearer {access.token}"}
    assert (await guarded.post("/api/act", json=act, headers=right)).status == 200
    assert watch.acts == [act]


async def test_a_phone_is_paired_once_by_code(guarded: Http, watch: Watch, access: Access) -> None:
    code = access.code
    assert (await guarded.post("/api/pair", json={"code": "WRONG"})).status == 403
    answer = await guarded.post("/api/pair", json={"code": f"{code[:4]}-{code[4:]}".lower()})
    assert answer.status == 200
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    session = {"Cookie": cookie.partition(";")[0]}
    async with ClientSession() as phone:
        url = guarded.make_url("/api/snapshot")
        assert (await phone.get(url, headers=session)).status == 200
        act = {"act": "done", "key": "k"}
        foreign = {**session, "Origin": "http://evil.example"}
        own = {**session, "Origin": f"http://{guarded.host}:{guarded.port}"}
        assert (await phone.post(guarded.make_url("/api/act"), json=act, headers=session)).status == 403
        assert (await phone.post(guarded.make_url("/api/act"), json=act, headers=foreign)).status == 403
        assert (await phone.post(guarded.make_url("/api/act"), json=act, headers=own)).status == 200
    assert (await guarded.post("/api/pair", json={"code": code})).status == 403
    assert watch.acts == [act]


def test_a_code_dies_of_wrong_tries_and_of_age() -> None:
    now = 0.0
    access = Access(reading_open=False, now=lambda: now)
    for _ in range(TRIES):
        assert access.pair("WRONG") is None
    assert access.pair(access.code) is None
    code = access.new_code()
    now = 3600.0
    assert access.pair(code) is None
    assert access.pair(access.new_code()) is not None


async def test_metrics_are_openmetrics(http: Http) -> None:
    """By the text format of the OpenMetrics specification 1.0: counters end in _total, # EOF ends it all."""
    answer = await http.get("/metrics")
    assert answer.headers["Content-Type"].startswith("application/openmetrics-text; version=1.0.0")
    lines = (await answer.text()).splitlines()
    assert lines[-1] == "# EOF"
    kinds = {name: kind for _, _, name, kind in (line.split(" ", 3) for line in lines if line.startswith("# TYPE"))}
    samples = [line for line in lines if not line.startswith("#")]
    assert 'watchkeeper_events_rejected_total{reason="not-json"} 3' in samples
    assert 'watchkeeper_outbox_waiting{destination="web log"} 1' in samples
    for sample in samples:
        name = sample.partition("{")[0].partition(" ")[0]
        family = name.removesuffix("_total") if name.endswith("_total") else name
        assert name.endswith("_total") == (kinds[family] == "counter")


async def _event(stream: Any) -> tuple[str, Any]:
    """The next event of a stream, comments skipped."""
    name = ""
    while True:
        line = (await stream.readline()).decode().rstrip("\n")
        if line.startswith("event: "):
            name = line.removeprefix("event: ")
        elif line.startswith("data: "):
            return name, json.loads(line.removeprefix("data: "))


async def test_the_event_stream_tells_changes_hails_and_that_it_lives(http: Http, watch: Watch) -> None:
    async with asyncio.timeout(30):
        answer = await http.get("/api/events")
        assert answer.headers["Content-Type"].startswith("text/event-stream")
        assert (await _event(answer.content))[0] == "changed"
        watch.show(contacts=13)
        assert (await _event(answer.content))[0] == "changed"
        hail = {"key": "k", "urgency": 2, "sentence": "look \x1b[31mhere", "at_ms": 1}
        watch.show(hails=[*watch.shown["hails"], hail])
        assert await _event(answer.content) == ("hail", {**hail, "sentence": "look here"})
        while await answer.content.readline() != b": still here\n":
            pass


def test_a_client_that_never_reads_costs_a_bounded_queue_and_is_told_to_fetch_again() -> None:
    client = Client()
    for number in range(10 * BOUND):
        client.offer((HAIL, str(number).encode()))
        assert len(client) <= BOUND
    assert client.waiting()[0][0] == RESYNC


def test_changes_in_a_row_take_one_place() -> None:
    client = Client()
    for number in range(1000):
        client.offer((CHANGED, str(number).encode()))
    assert client.waiting() == [(CHANGED, b"999")]


async def test_a_thousand_clients_that_never_read(watch: Watch) -> None:
    hub = Hub(watch.source, gather_s=0)
    async with hub.running():
        held = [hub.client() for _ in range(1000)]
        clients = [one.__enter__() for one in held]
        for number in range(3 * BOUND):
            watch.show(hails=[{"key": str(number), "at_ms": number}])
            await asyncio.sleep(0)
            await asyncio.sleep(0)
        assert max(len(client) for client in clients) <= BOUND
        for one in held:
            one.__exit__(None, None, None)
        assert hub.clients == 0
