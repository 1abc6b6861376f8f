"""Whether the logs can be reached, found out before the first contact: a connection that says nothing and closes."""

from __future__ import annotations

import asyncio
import os
import socket
from collections.abc import Callable, Sequence
from pathlib import Path
from urllib.parse import urlsplit

from watchkeeper.api import Check, CheckState

from .settings import ForwardConfig

_PATIENCE_S = 10.0
#: what cannot be reached is tried again after so long
_AGAIN_S = 60.0
_REMEDY = "Look at its address, at the network, and whether it runs. Contacts are kept and forwarded later."


class Reaching:
    """What each log that nobody reached yet said when it was last tried: None while it was not.

    ``reachable`` is told the name of each that could be reached; from then on its outbox tells how it stands.
    """

    def __init__(self, config: ForwardConfig, folder: Path, reachable: Callable[[str], None]) -> None:
        self._reachable = reachable
        self._folder = folder if config.file else None
        self._places: dict[str, tuple[str, int]] = {}
        for http in config.http:
            url = urlsplit(http.url)
            self._places[http.name] = (url.hostname or "", url.port or (443 if url.scheme == "https" else 80))
        self._places |= {tcp.name: (tcp.host, tcp.port) for tcp in config.tcp}
        self._hosts = {udp.name: udp.host for udp in config.udp}
        self._said: dict[str, str | None] = dict.fromkeys([*self._places, *self._hosts])

    async def run(self, stop: asyncio.Event) -> None:
        """Try until all were reached once."""
        while True:
            await self._try_all()
            if not self._said:
                return
            try:
                async with asyncio.timeout(_AGAIN_S):
                    await stop.wait()
            except TimeoutError:
                continue
            return

    async def _try_all(self) -> None:
        for name in list(self._said):
            try:
                async with asyncio.timeout(_PATIENCE_S):
                    await self._reach(name)
            except TimeoutError:
                self._said[name] = f"no connection in {_PATIENCE_S:g} s"
            except OSError as error:
                # asyncio puts the address into the words, and not into every one
                number = error.errno or 0
                self._said[name] = os.strerror(number) if number > 0 else error.strerror or str(error)
            else:
                del self._said[name]
                self._reachable(name)

    async def _reach(self, name: str) -> None:
        if name in self._hosts:
            loop = asyncio.get_running_loop()
            await loop.getaddrinfo(self._hosts[name], None, type=socket.SOCK_DGRAM)
            return
        _, writer = await asyncio.open_connection(*self._places[name])
        writer.close()

    def checks(self) -> list[Check]:
        """A line for each log that nobody reached yet, and one for the folder of the ADIF file."""
        found = [] if self._folder is None else [_folder(self._folder)]
        return [*found, *(self._log(name, said) for name, said in self._said.items())]

    def _log(self, name: str, said: str | None) -> Check:
        place = self._hosts[name] if name in self._hosts else "{} port {}".format(*self._places[name])
        state = CheckState.WAITING if said is None else CheckState.POOR
        return _check(name, state, f"{place}: {said or 'not tried yet'}", _REMEDY)


def _folder(folder: Path) -> Check:
    """The folder, or the nearest above it that is there, has to take a file."""
    there = next((each for each in _upwards(folder) if each.exists()), folder)
    good = there.is_dir() and os.access(there, os.W_OK | os.X_OK)
    evidence = f"{folder} takes files" if good else f"nothing can be written to {there}"
    return _check("ADIF file", CheckState.GOOD if good else CheckState.POOR, evidence, "Make the folder writable.")


def _upwards(folder: Path) -> Sequence[Path]:
    absolute = folder.absolute()
    return (absolute, *absolute.parents)


def _check(name: str, state: CheckState, evidence: str, remedy: str) -> Check:
    return Check(
        key=f"reach:{name}",
        label=f"{name} within reach",
        state=state,
        evidence=evidence,
        remedy=None if state is CheckState.GOOD else remedy,
        rank=49,
    )
