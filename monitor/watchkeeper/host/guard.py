"""One guard round each call of a plugin: what it raises stays with it, and its time is measured.

Time decides nothing here but who is rested, and a rest goes through the journal: a replay takes rests from there.
A call *overruns* when it computed, or waited for something, for longer than its budget. One that was merely kept from
the processor by other programs is no overrun: the kernel tells the two apart. Budgets leave room for machines that are
several times slower than those the plugins were written on: a rest is for what is broken, not for what is small.
"""

from __future__ import annotations

import asyncio
import resource
from collections import deque
from collections.abc import Awaitable, Callable
from time import perf_counter_ns
from typing import Any, NamedTuple

from .fitness import HookImplementation, Traits
from .status import HookStatus, PluginStatus, State

ERRORS_IN_A_ROW = 5
OVERRUNS = 3
#: overruns further apart than this, in event time, do not add up
OVERRUN_WINDOW_MS = 600_000


class Usage(NamedTuple):
    """What a thread used so far: processor time, and how often it gave the processor up to wait for something."""

    cpu_ns: int
    waits: int


def thread_usage() -> Usage:
    """The usage of the calling thread."""
    used = resource.getrusage(resource.RUSAGE_THREAD)
    return Usage(int((used.ru_utime + used.ru_stime) * 1e9), used.ru_nvcsw)


class Meter(NamedTuple):
    """The clocks by which calls are measured and retries wait; tests put their own in."""

    wall_ns: Callable[[], int] = perf_counter_ns
    usage: Callable[[], Usage] = thread_usage
    sleep: Callable[[float], Awaitable[None]] = asyncio.sleep


class Slot:
    """One hook of one plugin, ready to be called with the hook's argument, and its figures."""

    __slots__ = ("call", "calls", "errors", "hook", "max_ns", "overruns", "record", "spent_ns", "streak")

    def __init__(self, record: Record, implementation: HookImplementation) -> None:
        method = implementation.method
        self.record = record
        self.hook = implementation.hook
        self.call: Callable[..., Any] = method if implementation.takes_argument else lambda *_: method()
        self.calls = self.errors = self.overruns = self.streak = self.spent_ns = self.max_ns = 0

    def status(self) -> HookStatus:
        """The figures as shown."""
        mean_us = self.spent_ns / self.calls / 1000 if self.calls else 0.0
        return HookStatus(
            calls=self.calls,
            errors=self.errors,
            overruns=self.overruns,
            mean_us=round(mean_us, 3),
            max_ms=round(self.max_ns / 1e6, 3),
        )


class Record:
    """One plugin: what is known of it, whether it runs or not, and how it fares."""

    def __init__(self, name: str, distribution: str | None, version: str | None) -> None:
        self.name = name
        self.distribution = distribution
        self.version = version
        self.state = State.RUNNING
        self.reason: str | None = None
        self.traits: Traits | None = None
        self.config: object = None
        self.instance: Any = None
        self.slots: dict[str, Slot] = {}
        self.burst_ns = 0  # spent on notes since the last judgement
        self.task_errors = 0  # of tasks that it started itself
        self.hails = 0  # raised since the last judgement
        self.asked = False  # a rest is asked for, and not yet in the journal
        self.until_ms: int | None = None
        self.overran_at: deque[int] = deque(maxlen=OVERRUNS)

    def out(self, state: State, reason: str) -> None:
        """Take it out of service, for a reason."""
        self.state, self.reason = state, reason

    def wake(self) -> None:
        """Put it back into service after a rest, with a clean slate."""
        self.out(State.RUNNING, f"tried again after a rest: {self.reason}")
        self.until_ms = None
        self.overran_at.clear()
        for slot in self.slots.values():
            slot.streak = 0

    def failed(self, slot: Slot, error: BaseException) -> str | None:
        """Count an error of one hook; the reason to rest the plugin once it is due."""
        slot.errors += 1
        slot.streak += 1
        self.reason = f"{slot.hook} raised {type(error).__name__}: {error}"
        if slot.streak < ERRORS_IN_A_ROW:
            return None
        return f"{slot.hook} raised {ERRORS_IN_A_ROW} times in a row, last {type(error).__name__}: {error}"

    def overran(self, slot: Slot, spent_ns: int, allowed_ms: float, now_ms: int) -> str | None:
        """Count an overrun of one hook; the reason to rest the plugin once it is due."""
        slot.overruns += 1
        self.overran_at.append(now_ms)
        self.reason = f"{slot.hook} took {spent_ns / 1e6:.0f} ms, allowed are {allowed_ms:g}"
        if len(self.overran_at) < OVERRUNS or now_ms - self.overran_at[0] > OVERRUN_WINDOW_MS:
            return None
        return f"overran its time {OVERRUNS} times: {self.reason}"

    def status(self) -> PluginStatus:
        """The record as shown."""
        hooks = {name: slot.status() for name, slot in sorted(self.slots.items())}
        calls = sum(slot.calls for slot in self.slots.values())
        spent_ns = sum(slot.spent_ns for slot in self.slots.values())
        return PluginStatus(
            name=self.name,
            distribution=self.distribution,
            version=self.version,
            state=self.state,
            reason=self.reason,
            calls=calls,
            errors=sum(hook.errors for hook in hooks.values()) + self.task_errors,
            mean_us=round(spent_ns / calls / 1000, 3) if calls else 0.0,
            max_ms=max((hook.max_ms for hook in hooks.values()), default=0.0),
            hooks=hooks,
        )
