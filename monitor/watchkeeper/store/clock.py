"""The computer's clock, for what happens outside the journal: retries and their waiting."""

from __future__ import annotations

import asyncio
import contextlib
from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """Tells the time and waits; tests bring one of their own."""

    def now_ms(self) -> int:
        """Milliseconds since 1970-01-01 UTC."""
        ...

    async def wait(self, event: asyncio.Event, seconds: float | None) -> None:
        """Return when ``event`` is set, or after ``seconds`` (None: only then when it is set)."""
        ...


class SystemClock:
    """The real one."""

    def now_ms(self) -> int:
        """Milliseconds since 1970-01-01 UTC."""
        return round(datetime.now(UTC).timestamp() * 1000)

    async def wait(self, event: asyncio.Event, seconds: float | None) -> None:
        """Return when ``event`` is set, or after ``seconds`` (None: only then when it is set)."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await event.wait()
