"""Runs a live watch for ``watch`` and ``serve`` until it is told to stop."""

from __future__ import annotations

import asyncio
import errno
import logging
import os
import signal
from collections.abc import Coroutine
from pathlib import Path
from typing import Any, NamedTuple

import click

from ..config import Config, ConfigError, Loaded, load_with_origins
from ..faces.page.opening import PageError
from ..faces.page.serving import SocketTakenError
from ..host.loop import ContainingLoop
from ..intake.seal import SealKeyError
from ..intake.udp import IntakeError
from ..radio import entity
from ..store.errors import StoreError, StoreHeldError
from ..store.folder import VARIABLE, data_folder
from . import logs
from .dumping import Dump
from .entities import use_newest
from .exits import Exit
from .leaving import in_time
from .options import fail
from .paging import Invite, Page, paged
from .reloading import reload
from .service import mind, reload_on_demand
from .service_manager import ServiceManager
from .showing import face, until_first
from .standing import Standing, keep_what_stands, stand, wall_clock_ms

_log = logging.getLogger(__name__)


class Start(NamedTuple):
    """What the command line asks for; ``look`` is how the watch shows itself on this terminal."""

    data: Path | None
    config_path: Path | None
    port: int | None
    safe: bool
    look: str  # dashboard, plain, dump, or none
    theme: str | None = None
    page: Page = Page.CLOSED
    page_port: int = 0

    def read(self) -> Loaded:
        """The configuration as it reads now. Raises ConfigError."""
        return load_with_origins(self.config_path)

    def folder(self, config: Config) -> Path:
        """The data folder: of the command line, else the environment, else the config, else the platform's place."""
        return data_folder(self.data or (None if os.environ.get(VARIABLE) else config.log.folder))


def run(start: Start) -> None:
    """Stand watch until a signal comes or the operator quits. Ends the process, with the reason, where it cannot."""
    try:
        with asyncio.Runner(loop_factory=ContainingLoop) as runner:
            runner.run(_run(start))
            with in_time(Exit.DONE):
                runner.close()
    except (ConfigError, SealKeyError) as error:
        fail(error, Exit.CONFIG)
    except (StoreHeldError, SocketTakenError) as error:
        fail(error, Exit.HELD)
    except IntakeError as error:
        taken = isinstance(error.__cause__, OSError) and error.__cause__.errno == errno.EADDRINUSE
        fail(error, Exit.HELD if taken else Exit.FAILED)
    except (PageError, StoreError) as error:
        fail(error)


async def _run(start: Start) -> None:
    config = start.read().config
    folder = start.folder(config)
    masking = logs.Masking()
    masking.learn(config)
    dump = Dump() if start.look == "dump" else None
    early = asyncio.Event()
    _on_signals(early)  # a stop that comes while the watch starts must not cut it short
    with logs.logged(masking, folder / logs.FILE if start.look == "dashboard" else None):
        use_newest(folder)
        manager = ServiceManager.of(os.environ)
        watcher = None if dump is None else dump.watch
        try:
            async with stand(config, folder, port=start.port, safe=start.safe, watcher=watcher) as standing:
                keep_what_stands()
                _log.info(
                    "listening on %s, state in %s, country data %s", standing.listening, folder, entity.release().name
                )
                for notice in filter(None, (*standing.store.notices, standing.intake.warning)):
                    _log.warning("%s", notice)
                tell = None if start.look == "dashboard" else click.echo
                async with paged(standing.source, start.page, start.page_port, tell=tell) as invite:
                    if early.is_set():
                        standing.stopped.set()
                    await _until_stopped(start, standing, manager, masking, invite)
                manager.stopping()
        finally:
            if dump is not None:
                dump.close()
        _log.info("ended in good order")


def _on_signals(wanted: asyncio.Event) -> None:
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, wanted.set)


async def _until_stopped(
    start: Start, standing: Standing, manager: ServiceManager, masking: logs.Masking, invite: Invite
) -> None:
    loop = asyncio.get_running_loop()
    wanted = asyncio.Event()
    _on_signals(standing.stopped)
    # a daemon is asked to read its configuration again; a terminal that hangs up ends what ran on it
    loop.add_signal_handler(signal.SIGHUP, wanted.set if start.look == "none" else standing.stopped.set)

    def read() -> Loaded:
        loaded = start.read()
        masking.learn(loaded.config)
        return loaded

    async def again() -> bool:
        return await reload(standing, read, start.folder, wall_clock_ms)

    work: list[Coroutine[Any, Any, Any]] = [
        standing.stopped.wait(),
        standing.failed(),
        reload_on_demand(manager, standing, wanted, again),
    ]
    if manager.address is not None:
        work.append(mind(manager, standing))
    if start.look in ("dashboard", "plain"):
        theme = start.theme or standing.config.display.theme.value
        work.append(face(standing.source, theme, plain=start.look == "plain", invite=invite))
    manager.ready()
    await until_first(*work)
