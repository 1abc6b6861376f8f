"""The single ways: each delivers one hail, or raises DeliveryError with the reason in words."""

from __future__ import annotations

import asyncio
import os
from collections import OrderedDict
from collections.abc import Sequence
from typing import Protocol

import aiohttp
import msgspec

from watchkeeper.api import Hail, Urgency, stamp

from .settings import LEVELS, Webhook

#: a sound or a notification that has not ended by then is stopped
COMMAND_S = 20.0
#: hails that a way remembers having delivered
MOST_DONE = 200
_DESKTOP_LEVEL = {Urgency.CALM: "low", Urgency.NOTE: "low", Urgency.WANTED: "normal", Urgency.URGENT: "critical"}


class DeliveryError(Exception):
    """A hail did not get through; the text says which way and why."""


class Way(Protocol):
    """One way to the operator."""

    name: str
    least: Urgency

    async def deliver(self, hail: Hail) -> None:
        """Deliver once. Raises DeliveryError."""
        ...


class Bell:
    """The terminal's bell: of the terminal that the watch belongs to, whatever its output goes to."""

    name = "bell"

    def __init__(self, least: str, terminal: str = "/dev/tty") -> None:
        self.least = LEVELS[least]
        self._terminal = terminal

    async def deliver(self, hail: Hail) -> None:
        """Ring it."""
        try:
            terminal = os.open(self._terminal, os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError as error:
            raise DeliveryError(f"bell: no terminal to ring: {error.strerror}") from error
        try:
            os.write(terminal, b"\a")
        except OSError as error:
            raise DeliveryError(f"bell: {error.strerror}") from error
        finally:
            os.close(terminal)


class Command:
    """A program that is run for each hail, without a shell, with nothing to read and nowhere to write.

    It runs once at a time, so that two hails together are two sounds one after the other.
    """

    def __init__(self, name: str, words: Sequence[str], least: str) -> None:
        self._turn = asyncio.Lock()
        self.name = name
        self.least = LEVELS[least]
        self._words = tuple(words)

    def words(self, hail: Hail) -> Sequence[str]:
        """The command and its arguments."""
        return self._words

    async def deliver(self, hail: Hail) -> None:
        """Run it to its end."""
        async with self._turn:
            await self._run(self.words(hail))

    async def _run(self, words: Sequence[str]) -> None:
        nothing = asyncio.subprocess.DEVNULL
        try:
            process = await asyncio.create_subprocess_exec(*words, stdin=nothing, stdout=nothing, stderr=nothing)
        except (OSError, ValueError) as error:
            raise DeliveryError(f"{self.name}: {words[0]!r} cannot be run: {error}") from error
        try:
            async with asyncio.timeout(COMMAND_S):
                status = await process.wait()
        except TimeoutError:
            raise DeliveryError(f"{self.name}: {words[0]!r} ran longer than {COMMAND_S:g} s") from None
        finally:
            if process.returncode is None:
                process.kill()
                await process.wait()
        if status != 0:
            raise DeliveryError(f"{self.name}: {words[0]!r} ended with status {status}")


class Desktop(Command):
    """A desktop notification."""

    def __init__(self, least: str, program: str = "notify-send") -> None:
        super().__init__("desktop", (program,), least)

    def words(self, hail: Hail) -> Sequence[str]:
        """What came off the air is an argument of its own behind ``--``, so that it can be no option."""
        level = _DESKTOP_LEVEL[hail.urgency]
        return (*self._words, f"--urgency={level}", "--app-name=Watchkeeper", "--", hail.rule, hail.sentence)


class Post:
    """A webhook: the hail as JSON by HTTP POST, with a key that lets the other side drop repeats."""

    def __init__(self, hook: Webhook) -> None:
        self.name = hook.name
        self.least = LEVELS[hook.least]
        self._hook = hook

    async def deliver(self, hail: Hail) -> None:
        """Post it; any answer of the 200s is taken as delivered."""
        try:
            secret = self._hook.secret()
        except (OSError, LookupError) as error:
            raise DeliveryError(f"{self.name}: no secret: {error}") from error
        headers = {"Content-Type": "application/json", "Idempotency-Key": f"{hail.key}|{hail.at_ms}"}
        if secret is not None:
            headers[self._hook.secret_header] = secret
        timeout = aiohttp.ClientTimeout(total=self._hook.timeout_s)
        try:
            async with (
                aiohttp.ClientSession(timeout=timeout) as session,
                session.post(self._hook.url, data=body(hail), headers=headers, allow_redirects=False) as answer,
            ):
                status = answer.status
        except TimeoutError as error:
            raise DeliveryError(f"{self.name}: no answer within {self._hook.timeout_s:g} s") from error
        except (aiohttp.ClientError, OSError, ValueError) as error:
            raise DeliveryError(f"{self.name}: {str(error) or type(error).__name__}") from error
        if not 200 <= status < 300:
            raise DeliveryError(f"{self.name}: answered {status}")


def body(hail: Hail) -> bytes:
    """The hail as JSON: all of its fields, the urgency as a word and times in RFC 3339 as well."""
    told = msgspec.to_builtins(hail)
    told |= {"urgency": hail.urgency.name.lower(), "at": stamp(hail.at_ms)}
    if hail.act_by_ms is not None:
        told["act_by"] = stamp(hail.act_by_ms)
    return msgspec.json.encode(told)


class Remembering:
    """A way with a memory: a hail that is tried again, because another way failed, is not delivered twice."""

    def __init__(self, way: Way) -> None:
        self.way = way
        self._done: OrderedDict[tuple[str, int], None] = OrderedDict()

    async def deliver(self, hail: Hail) -> None:
        """Deliver unless it was. Raises DeliveryError."""
        key = (hail.key, hail.at_ms)
        if hail.urgency < self.way.least or key in self._done:
            return
        await self.way.deliver(hail)
        self._done[key] = None
        if len(self._done) > MOST_DONE:
            self._done.popitem(last=False)
