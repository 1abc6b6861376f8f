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
FLOODS = 3
#: overruns, floods and errors beside the hooks that are further apart than this, in event time, do not add up
WINDOW_MS = 600_000


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

    def is_overrun(self, spent_ns: int, before: Usage, allowed_ms: float) -> bool:
        """Whether a call that took ``spent_ns`` took too long of its own, with the usage ``before`` it."""
        allowed_ns = allowed_ms * 1e6
        if spent_ns <= allowed_ns:
            return False
        after = self.usage()
        computed_ns = after.cpu_ns - before.cpu_ns
        waited = after.waits > before.waits and spent_ns - computed_ns > allowed_ns
        return computed_ns > allowed_ns or waited


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
        self.errors_beside = 0  # of what it runs beside its hooks: tasks and callbacks of its own
        self.tasks = 0  # of its own that are not done
        self.hails = 0  # raised since the last judgement
        self.floods = False  # they are too many
        self.asked = False  # a rest is asked for, and not yet in the journal
        self.until_ms: int | None = None
        self._overran_at = _Latest(OVERRUNS)
        self._flooded_at = _Latest(FLOODS)
        self._erred_at = _Latest(ERRORS_IN_A_ROW)

    def out(self, state: State, reason: str) -> None:
        """Take it out of service, for a reason."""
        self.state, self.reason = state, reason

    def say(self, reason: str) -> str:
        """Show what went wrong last; while it rests, the reason of the rest stays. Returns the reason."""
        if self.state is not State.RESTED:
            self.reason = reason
        return reason

    def calm(self) -> None:
        """From now on its hails count anew."""
        self.hails, self.floods = 0, False

    def lose_task(self) -> None:
        """One of its tasks is done."""
        self.tasks -= 1

    def wake(self) -> None:
        """Put it back into service after a rest, with a clean slate."""
        self.out(State.RUNNING, f"tried again after a rest: {self.reason}")
        self.until_ms = None
        for latest in (self._overran_at, self._flooded_at, self._erred_at):
            latest.clear()
        for slot in self.slots.values():
            slot.streak = 0

    def failed(self, slot: Slot, error: BaseException) -> str | None:
        """Count an error of one hook; the reason to rest the plugin once it is due."""
        slot.errors += 1
        slot.streak += 1
        self.say(f"{slot.hook} raised {type(error).__name__}: {error}")
        if slot.streak < ERRORS_IN_A_ROW:
            return None
        return f"{slot.hook} raised {ERRORS_IN_A_ROW} times in a row, last {type(error).__name__}: {error}"

    def failed_beside(self, what: str, error: BaseException, now_ms: int) -> str | None:
        """Count an error of what it runs beside its hooks; the reason to rest the plugin once it is due.

        It is due at once for what would have ended the program.
        """
        self.errors_beside += 1
        reason = self.say(f"{what} raised {type(error).__name__}: {error}")
        if not isinstance(error, Exception):
            return reason
        if not self._erred_at.is_full(now_ms):
            return None
        return f"went wrong {ERRORS_IN_A_ROW} times beside its hooks: {reason}"

    def overran(self, what: str, spent_ns: int, allowed_ms: float, now_ms: int) -> str | None:
        """Count an overrun; the reason to rest the plugin once it is due."""
        reason = self.say(f"{what} took {spent_ns / 1e6:.0f} ms, allowed are {allowed_ms:g}")
        if not self._overran_at.is_full(now_ms):
            return None
        return f"overran its time {OVERRUNS} times: {reason}"

    def flooded(self, allowed: int, now_ms: int) -> str | None:
        """Count a judgement with more hails than ``allowed``; the reason to rest the plugin once it is due."""
        reason = self.say(f"it raised more than {allowed} hails in one judgement; the rest were dropped")
        if not self._flooded_at.is_full(now_ms):
            return None
        return f"flooded {FLOODS} times: {reason}"

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
            errors=sum(hook.errors for hook in hooks.values()) + self.errors_beside,
            mean_us=round(spent_ns / calls / 1000, 3) if calls else 0.0,
            max_ms=max((hook.max_ms for hook in hooks.values()), default=0.0),
            hooks=hooks,
        )


class _Latest:
    """When something happened the last so many times, in event time."""

    def __init__(self, many: int) -> None:
        self._at: deque[int] = deque(maxlen=many)

    def is_full(self, now_ms: int) -> bool:
        """Note that it happens now; whether it happened so many times within the window."""
        self._at.append(now_ms)
        return len(self._at) == self._at.maxlen and now_ms - self._at[0] <= WINDOW_MS

    def clear(self) -> None:
        """Begin anew."""
        self._at.clear()
