"""Plugins' destinations as the core's dispatcher gets them: what they raise to end the program is an ordinary error."""

from __future__ import annotations

from collections.abc import Awaitable, Coroutine
from typing import Any

from watchkeeper.model import Contact, Destination, Sending

from .guard import Record
from .tasks import Contained, PluginTaskError


class Lent:
    """A destination of a plugin. A try that is under way goes on to its end, whatever becomes of the plugin."""

    def __init__(self, destination: Destination, record: Record) -> None:
        self.name = destination.name
        self._destination = destination
        self._record = record

    def encode(self, contact: Contact) -> bytes:
        """As the destination does it."""
        try:
            return self._destination.encode(contact)
        except (Exception, KeyboardInterrupt):
            raise
        except BaseException as error:
            raise PluginTaskError(f"encode raised {type(error).__name__}: {error}") from error

    def send(self, payload: bytes, key: str) -> Coroutine[Any, Any, Sending]:
        """As the destination does it."""
        return Contained(_tried(self._destination, payload, key), self._record, awaited=True)


async def _tried(destination: Destination, payload: bytes, key: str) -> Sending:
    sending: Awaitable[Sending] = destination.send(payload, key)
    return await sending
