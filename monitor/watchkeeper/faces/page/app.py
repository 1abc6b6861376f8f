"""The HTTP interface: the same for the daemon's Unix socket, for the live page and for programs."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Collection
from typing import Any

import msgspec
from aiohttp import web

from ..clean import scrub
from ..shown import to_status
from ..source import ActRefusedError, NoDaemonError, Source
from .files import add_files
from .guards import COOKIE, SESSION_S, UNIX_HOSTS, Access, bind_browser, host_check, plain_errors, refusal
from .hub import Hub
from .limits import BEAT_S, LARGEST_BODY, LONGEST_CALL, LONGEST_WAIT_S, SEQ_LIMIT, STUCK_S
from .metrics import CONTENT_TYPE, exposition


def make_app(
    source: Source,
    *,
    allowed_hosts: Collection[str] = UNIX_HOSTS,
    access: Access | None = None,
    page: bool = False,
    beat_s: float = BEAT_S,
) -> web.Application:
    """The application. ``access`` None trusts whoever can connect; ``page`` adds the live page's files."""
    app = web.Application(middlewares=[host_check(allowed_hosts), plain_errors], client_max_size=LARGEST_BODY)
    Interface(source, access, beat_s).add_to(app)
    app.on_response_prepare.append(bind_browser)
    if page:
        add_files(app)
    return app


class Interface:
    """The handlers and what they share."""

    def __init__(self, source: Source, access: Access | None, beat_s: float) -> None:
        self._source = source
        self._access = access
        self._beat_s = beat_s
        self._hub = Hub(source)
        self._streams: set[asyncio.Task[Any]] = set()
        self._encoded: tuple[object, bytes] | None = None

    def add_to(self, app: web.Application) -> None:
        """Put the routes on ``app``."""
        app.router.add_get("/livez", self.livez)
        app.router.add_get("/readyz", self.readyz)
        app.router.add_get("/metrics", self.metrics)
        app.router.add_get("/api/snapshot", self.snapshot)
        app.router.add_get("/api/status", self.status)
        app.router.add_get("/api/preflight", self.preflight)
        app.router.add_get("/api/explain", self.explain)
        app.router.add_get("/api/events", self.events)
        app.router.add_get("/api/openapi.json", self.openapi)
        app.router.add_post("/api/act", self.act)
        if self._access is not None:
            app.router.add_post("/api/pair", self.pair)
        app.cleanup_ctx.append(self._run_hub)
        app.on_shutdown.append(self._end_streams)

    async def _run_hub(self, _: web.Application) -> AsyncIterator[None]:
        async with self._hub.running():
            yield

    async def _end_streams(self, _: web.Application) -> None:
        for task in self._streams:
            task.cancel()

    async def livez(self, _: web.Request) -> web.Response:
        """The process answers."""
        return web.json_response({"alive": True})

    async def readyz(self, _: web.Request) -> web.Response:
        """The watch answers."""
        try:
            await self._source.snapshot()
        except (NoDaemonError, ActRefusedError) as error:
            return refusal(503, str(error))
        return web.json_response({"ready": True})

    async def openapi(self, _: web.Request) -> web.Response:
        """What this interface is."""
        from .openapi import document

        return _json(msgspec.json.encode(document()))

    async def metrics(self, request: web.Request) -> web.Response:
        """Counters and gauges."""
        if not self._may_read(request):
            return _unpaired()
        status, snapshot = to_status(await self._source.status()), await self._source.snapshot()
        text = exposition(status, int(snapshot.get("contacts", 0)), self._hub.clients)
        return web.Response(body=text.encode(), headers={"Content-Type": CONTENT_TYPE})

    async def snapshot(self, request: web.Request) -> web.Response:
        """The newest snapshot; with ``source``, ``run``, ``seq`` and ``wait`` the first that covers that event.

        When ``wait`` seconds are over it is the newest all the same: ``covers`` says how far it goes.
        """
        if not self._may_read(request):
            return _unpaired()
        if "wait" in request.query:
            try:
                wait_s, seq = float(request.query["wait"]), int(request.query["seq"])
                named, run = request.query["source"], request.query["run"]
            except (KeyError, ValueError):
                return refusal(400, "wait (seconds) needs source, run and seq (a whole number)")
            if not 0 <= wait_s <= LONGEST_WAIT_S or not 0 <= seq <= SEQ_LIMIT:
                return refusal(400, f"wait is 0 to {LONGEST_WAIT_S:g} seconds, seq 0 to 2^53")
            await self._source.covered(named, run, seq, wait_s)
        plain = await self._source.snapshot()
        if self._encoded is None or self._encoded[0] is not plain:
            self._encoded = plain, msgspec.json.encode(scrub(plain))
        return _json(self._encoded[1])

    async def status(self, request: web.Request) -> web.Response:
        """Intake, outbox, plugins, notices."""
        if not self._may_read(request):
            return _unpaired()
        return _json(msgspec.json.encode(scrub(await self._source.status())))

    async def explain(self, request: web.Request) -> web.Response:
        """Why a station did hail, and why not."""
        if not self._may_read(request):
            return _unpaired()
        call = request.query.get("call", "")
        if not 0 < len(call) <= LONGEST_CALL:
            return refusal(400, f"call must name a station, in at most {LONGEST_CALL} characters")
        try:
            found = await self._source.explain(call)
        except ActRefusedError as error:
            return refusal(422, str(error))
        return _json(msgspec.json.encode(scrub(found)))

    async def act(self, request: web.Request) -> web.Response:
        """An operator's act: ``{"act": …}`` as JSON."""
        if self._access is not None and not self._access.may_act(request):
            return refusal(403, "this needs the page's token")
        if self._source.read_only:
            return refusal(403, "this view is read-only")
        body = await _object(request)
        if body is None or not isinstance(body.get("act"), str):
            return refusal(400, "an act is a JSON object with a text under `act`")
        try:
            answer = await self._source.act(body)
        except ActRefusedError as error:
            return refusal(422, str(error))
        return _json(msgspec.json.encode(answer))

    async def pair(self, request: web.Request) -> web.Response:
        """Trade the pairing code for a session."""
        assert self._access is not None
        body = await _object(request)
        session = self._access.pair(str(body.get("code", ""))) if body is not None else None
        if session is None:
            return refusal(403, "that code is not valid, or no longer: take a new one from the watch")
        answer = web.json_response({"paired": True})
        answer.set_cookie(COOKIE, session, max_age=SESSION_S, httponly=True, samesite="Strict", path="/")
        return answer

    async def preflight(self, request: web.Request) -> web.Response:
        """The checks before the first call."""
        if not self._may_read(request):
            return _unpaired()
        try:
            found = await self._source.preflight()
        except ActRefusedError as error:
            return refusal(422, str(error))
        return _json(msgspec.json.encode(scrub(found)))

    async def events(self, request: web.Request) -> web.StreamResponse:
        """Changes and hails as server-sent events."""
        if not self._may_read(request):
            return _unpaired()
        response = web.StreamResponse(headers={"Content-Type": "text/event-stream", "Cache-Control": "no-store"})
        await response.prepare(request)
        task = asyncio.current_task()
        assert task is not None
        self._streams.add(task)
        try:
            with self._hub.client() as client:
                await response.write(b"retry: 1000\n\n")
                while True:
                    piece = b": still here\n\n"
                    with contextlib.suppress(TimeoutError):
                        async with asyncio.timeout(self._beat_s):
                            piece = await client.next()
                    async with asyncio.timeout(STUCK_S):
                        await response.write(piece)
        except (ConnectionError, TimeoutError):
            return response
        finally:
            self._streams.discard(task)

    def _may_read(self, request: web.Request) -> bool:
        return self._access is None or self._access.may_read(request)


def _unpaired() -> web.Response:
    return refusal(401, "this browser is not paired with the watch")


def _json(body: bytes) -> web.Response:
    return web.Response(body=body, content_type="application/json", headers={"Cache-Control": "no-store"})


async def _object(request: web.Request) -> dict[str, Any] | None:
    """The JSON object in the request's body, or None. A form, which any site can send, is none."""
    if request.content_type != "application/json":
        return None
    try:
        return msgspec.json.decode(await request.read(), type=dict[str, Any])
    except (msgspec.DecodeError, RecursionError):
        return None
