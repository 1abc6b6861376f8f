"""A bench on the loop that the daemon runs on, and turns of that loop."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any

from watchkeeper.host.loop import ContainingLoop
from watchkeeper.testing import Bench


def on_its_loop(bench: Bench, trial: Callable[[], Coroutine[Any, Any, None]]) -> None:
    """With the plugins started, on the loop that the daemon runs on."""

    async def all_of_it() -> None:
        async with bench.running():
            await trial()

    with asyncio.Runner(loop_factory=ContainingLoop) as runner:
        runner.run(all_of_it())


async def turns(many: int = 6) -> None:
    """Let the loop go round."""
    for _ in range(many):
        await asyncio.sleep(0)
