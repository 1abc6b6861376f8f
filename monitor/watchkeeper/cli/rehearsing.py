"""Runs a rehearsal: the simulated band in a process of its own, a real watch in this one, real datagrams between."""

from __future__ import annotations

import asyncio
import json
import socket
import sys
import tempfile
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import click
import msgspec

from ..config import Config, ConfigError, PluginSettings, load
from ..faces.page.opening import PageError
from ..intake.udp import IntakeError
from ..store.errors import StoreError
from ..store.folder import SOCKET
from ..watch.journal import Act
from . import logs
from .paging import Page, paged
from .showing import face, stop_on_signals, wants_plain
from .standing import Standing, keep_what_stands, stand

#: what is still to be forwarded when the band falls silent has this long
FORWARD_S = 30.0
HTTP_LOG = "rehearsal log"
#: where the forwarding plugin writes, below the data folder
ADIF_FOLDER = "log"


class Request(msgspec.Struct, frozen=True, kw_only=True):
    """What the command line asks for."""

    scenario: str
    periods: int | None
    pace: str
    seed: int
    faults: str | None
    operator: str | None
    world: str | None
    plain: bool
    theme: str | None
    silent: bool = False
    page: Page = Page.CLOSED
    page_port: int = 0
    data: Path | None
    config_path: Path | None
    truth: Path | None = None


class BandError(Exception):
    """The simulated band could not be run; the text says why."""


async def rehearse(request: Request) -> dict[str, Any] | str:
    """Run it; the figures of the last line, or what went wrong in words."""
    from ..rehearsal.__main__ import complaint

    refused = complaint(_given(_asked(request)))
    if refused is not None:
        return refused
    folder = request.data or Path(tempfile.mkdtemp(prefix="watchkeeper-rehearsal-"))
    try:
        log_port = _free_port()
        config = _config(request, log_port)
        with logs.logged(_masking(config), folder / logs.FILE if _keeps_quiet(request) else None):
            return await _rehearsed(request, config, folder, log_port)
    except (BandError, ConfigError, IntakeError, PageError, StoreError) as error:
        return str(error)


async def _rehearsed(request: Request, config: Config, folder: Path, log_port: int) -> dict[str, Any]:
    async with stand(config, folder, port=0) as standing:
        keep_what_stands()
        stop_on_signals(standing.stopped)
        if standing.keeper.session.pump.entries:
            await standing.keeper.act(Act(act="session"))  # a rehearsal plays in its own time
        first = standing.keeper.session.number
        async with _shown(standing, request):
            figures = await _band(request, standing, log_port)
            await standing.drained()
            if figures is not None:
                await _forwarded(standing)
            return _told(figures, standing, first)


def _keeps_quiet(request: Request) -> bool:
    """Whether log lines would garble what is shown, or are not asked for: they go to a file then."""
    return request.silent or not wants_plain(request.plain)


def _masking(config: Config) -> logs.Masking:
    masking = logs.Masking()
    masking.learn(config)
    return masking


def _config(request: Request, log_port: int) -> Config:
    """The configuration with the rehearsal's own HTTP log in place of real ones: practice must not reach them."""
    config = load(request.config_path) if request.config_path is not None else Config()
    sections = dict(config.plugins.sections)
    url = f"http://127.0.0.1:{log_port}/contacts"
    sections["forward"] = {"http": [{"name": HTTP_LOG, "url": url}]}
    plugins: PluginSettings = msgspec.structs.replace(config.plugins, sections=sections)
    made: Config = msgspec.structs.replace(config, plugins=plugins)
    return made


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


@asynccontextmanager
async def _shown(standing: Standing, request: Request) -> Any:
    """Show the watch meanwhile; when the operator quits the dashboard, the rehearsal ends."""
    if request.silent:
        yield
        return
    theme = request.theme or standing.config.display.theme.value
    plain = wants_plain(request.plain)
    async with paged(standing.source, request.page, request.page_port, tell=click.echo if plain else None) as invite:
        showing = asyncio.create_task(face(standing.source, theme, plain=plain, invite=invite))
        showing.add_done_callback(lambda _task: standing.stopped.set())
        try:
            yield
            await asyncio.sleep(0)  # let the face see the last change
        finally:
            showing.cancel()
            await asyncio.gather(showing, return_exceptions=True)


async def _band(request: Request, standing: Standing, log_port: int) -> dict[str, Any] | None:
    """Play the band to its end; its figures, or None when it was stopped before."""
    host, port = standing.intake.address
    given = _given(
        _asked(request)
        | {
            "--to": f"{host}:{port}",
            "--watch-socket": standing.folder / SOCKET,
            "--http-log": log_port,
            "--evening": standing.keeper.session.number,
            "--truth": request.truth or standing.folder / "truth.json",
        }
    )
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "watchkeeper.rehearsal",
        *given,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )
    ended = asyncio.create_task(process.communicate())
    stopped = asyncio.create_task(standing.stopped.wait())
    failed = asyncio.create_task(standing.failed())
    try:
        await asyncio.wait({ended, stopped, failed}, return_when=asyncio.FIRST_COMPLETED)
        if failed.done():
            failed.result()
        if not ended.done():
            with suppress(ProcessLookupError):  # it may have gone by itself
                process.terminate()
            await ended
            return None
        out, err = ended.result()
    finally:
        stopped.cancel()
        failed.cancel()
    if process.returncode != 0:
        raise BandError(err.decode(errors="replace").strip() or f"the simulated band ended with {process.returncode}")
    figures: dict[str, Any] = json.loads(out.splitlines()[-1])
    return figures


def _asked(request: Request) -> dict[str, object]:
    """What the command line tells the band, by the band's own options."""
    return {
        "--scenario": request.scenario,
        "--seed": request.seed,
        "--periods": request.periods,
        "--pace": request.pace,
        "--faults": request.faults,
        "--operator": request.operator,
        "--world": request.world,
    }


def _given(options: dict[str, object]) -> list[str]:
    return [f"{name}={value}" for name, value in options.items() if value is not None]


async def _forwarded(standing: Standing) -> None:
    """Wait until nothing waits in the outbox any more, but not for ever: the figures say how much was forwarded."""
    with suppress(TimeoutError):
        async with asyncio.timeout(FORWARD_S):
            while any(one.waiting for one in standing.keeper.dispatcher.status().values()):  # noqa: ASYNC110 a table
                await asyncio.sleep(0.05)


#: a contact that is like an earlier one is forwarded with it, so the first of its group speaks for it
_COUNT = """
SELECT count(*), sum(EXISTS (SELECT 1 FROM outbox AS o WHERE o.contact_id = coalesce(s.first_id, c.id))
                 AND NOT EXISTS (SELECT 1 FROM outbox AS o WHERE o.contact_id = coalesce(s.first_id, c.id)
                                 AND o.state <> 'delivered'))
FROM contact AS c LEFT JOIN same_as AS s ON s.contact_id = c.id
WHERE c.key LIKE '%|' || ? || '-%'
"""


def _told(figures: dict[str, Any] | None, standing: Standing, session: int) -> dict[str, Any]:
    """The figures of the last line: what the band says it did, and what the watch says it got of it.

    ``session`` is the number of the watch's session with which the rehearsal began.
    """
    said = figures or {}
    with standing.store.reader() as db:
        stored, forwarded = db.execute(_COUNT, (said.get("run", ""),)).fetchone()
    counters = standing.intake.counters
    written = sorted((standing.folder / ADIF_FOLDER).glob("contacts-*.adi"))
    return {
        "scenario": said.get("scenario"),
        "seed": said.get("seed"),
        "datagrams_sent": said.get("datagrams_sent", 0),
        "datagrams_received": counters.datagrams,
        "datagrams_rejected": counters.refused_datagrams,
        "events_lost": sum(source.lost for source in counters.sources.values()),
        "heard": said.get("heard", 0),
        "periods": said.get("periods", 0),
        "contacts_made": said.get("contacts_made", 0),
        "contacts_stored": stored,
        "contacts_forwarded": forwarded or 0,
        "hails": standing.keeper.watch.hails.out,
        "adif_path": str(written[-1]) if written else None,
        "session": session,
        "data_dir": str(standing.folder),
    }
