"""How each plugin stands, in a form that every face shows."""

from __future__ import annotations

from enum import StrEnum

import msgspec


class State(StrEnum):
    """Where a plugin stands."""

    RUNNING = "running"
    RESTED = "rested"  # raised or overran too often: tried again later
    BLOCKED = "blocked"  # its config, hooks, needs, start or migration are wrong
    FAILED = "failed to load"  # its code could not be imported
    OFF = "off"  # the config or the operator wants it so


class HookStatus(msgspec.Struct, frozen=True, kw_only=True):
    """What one hook of one plugin cost and how often it went wrong."""

    calls: int
    errors: int
    overruns: int
    mean_us: float
    max_ms: float


class PluginStatus(msgspec.Struct, frozen=True, kw_only=True):
    """One plugin. ``reason`` says why it does not run, or what went wrong last while it runs."""

    name: str
    distribution: str | None
    version: str | None
    state: State
    reason: str | None
    calls: int
    errors: int
    mean_us: float
    max_ms: float
    hooks: dict[str, HookStatus]


class Resting(msgspec.Struct, frozen=True, kw_only=True):
    """A plugin that rests now, and why: as the journal says it."""

    plugin: str
    reason: str


class Rest(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A plugin is rested, or tried again: an entry of the journal, since it hangs on timings that no replay has."""

    plugin: str
    resting: bool
    reason: str | None = None
    until_ms: int | None = None  # event time from which it is tried again
