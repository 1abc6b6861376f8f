"""Every hook of the page that plugin authors read first is documented, and is called."""

from __future__ import annotations

import asyncio
import inspect
from collections.abc import Callable
from typing import Any

from tests.monitor.host.plugins import Plain

from watchkeeper import hookspecs
from watchkeeper.api import Check, CheckState, Gauge, Hail, Urgency, from_ms, hookimpl
from watchkeeper.host.fitness import HOOKS
from watchkeeper.testing import START_MS, Bench

ANSWERS: dict[str, Any] = {
    "preflight": [Check(key="audio", label="Audio", state=CheckState.GOOD, evidence="heard 3")],
    "report_parts": [],
    "views": [],
    "metrics": {"seen_total": 1.0},
    "destinations": [],
    "explain": ["it was heard"],
    "migrations": ["CREATE TABLE plugin_eager_x(y)"],
}


def _noting(hook: str, seen: list[str], delivered: asyncio.Event) -> Callable[..., Any]:
    """An implementation of ``hook`` with the arguments that the page gives it."""
    parameters = list(inspect.signature(getattr(hookspecs, hook)).parameters)

    async def asynchronous(self: Any, *arguments: Any) -> None:
        seen.append(hook)
        if hook == "async_deliver":
            delivered.set()

    def synchronous(self: Any, *arguments: Any) -> Any:
        seen.append(hook)
        return ANSWERS.get(hook)

    made: Any = asynchronous if hook.startswith("async_") else synchronous
    names = ["self", *parameters]
    made.__signature__ = inspect.Signature(
        [inspect.Parameter(n, inspect.Parameter.POSITIONAL_OR_KEYWORD) for n in names]
    )
    marked: Callable[..., Any] = hookimpl(made)
    return marked


async def test_every_hook_is_called_once_its_time_has_come() -> None:
    seen: list[str] = []
    delivered = asyncio.Event()
    implementations = {hook: _noting(hook, seen, delivered) for hook in HOOKS}
    bench = Bench(type("Eager", (Plain,), {"name": "eager", **implementations}))
    host = bench.host
    await host.start()
    bench.period("CQ CE3QRT FF46")
    bench.log("CE3QRT")
    bench.feed(Gauge(v=1, source="bench", at=from_ms(START_MS), swr=1.2))
    host.views()
    assert [check.key for check in host.preflight()] == ["audio"]
    assert host.report_parts(1) == []
    assert host.metrics() == {"eager": {"seen_total": 1.0}}
    assert host.destinations() == []
    assert host.explain("CE3QRT") == ["it was heard"]
    host.deliver(Hail(key="k", urgency=Urgency.NOTE, sentence="s", rule="r", at_ms=START_MS))
    await delivered.wait()
    await host.stop()
    assert set(seen) == set(HOOKS)
    assert bench.status("eager").errors == 0


def test_every_hook_says_what_it_is_for() -> None:
    assert len(HOOKS) == 15
    for hook in HOOKS:
        assert len(inspect.getdoc(getattr(hookspecs, hook)) or "") > 30, hook


def test_an_answer_that_cannot_be_used_is_the_plugins_fault() -> None:
    def late() -> Any:
        yield Check(key="a", label="A", state=CheckState.GOOD, evidence="")
        raise RuntimeError("too late")

    answers = {"preflight": late(), "report_parts": ["text"], "metrics": 3, "destinations": None}
    implementations = {hook: hookimpl(lambda self, hook=hook: answers[hook]) for hook in answers}
    bench = Bench(type("Odd", (Plain,), {"name": "odd", **implementations}))
    assert bench.host.preflight() == []
    assert bench.host.report_parts(1) == []
    assert bench.host.metrics() == {}
    assert bench.host.destinations() == []
    assert bench.status("odd").errors == 4
