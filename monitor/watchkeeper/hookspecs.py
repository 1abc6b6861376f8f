"""Everything that a plugin may do: the one page that a plugin author reads first.

A plugin is a class, named in the entry-point group ``watchkeeper.plugins`` (or a file in the plugin folder), made as
``Plugin(config, context)``. Its class attributes say who it is:

``name``
    short, lower case; its section of the config is ``[plugins.<name>]``.
``api``
    the number of this page's edition that it was written for (now 1).
``Config``
    a ``msgspec.Struct`` with a default for every key; the host validates the section against it.
``provides`` / ``needs``
    the note types that its ``annotate`` puts on hearings, and those that it reads there. The host runs providers
    first; where nothing decides, the name does.

It marks what it implements with ``@hookimpl`` and may leave out arguments that it does not use. Hooks are called one
after the other on the event loop and have to return within milliseconds; what takes longer belongs in ``async_run``.
A hook that raises is counted and contained; five times in a row, or three overruns, and the plugin is *rested*.

Whatever a plugin computes in a synchronous hook has to follow from its arguments, its config and ``context.now_ms``
alone (no clock, no randomness, no network): then a journal replayed gives the same hails and views.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import pluggy

if TYPE_CHECKING:
    from .host.context import Context
    from .model import Contact, Destination, Hail, Hearing, Note, Period
    from .schema.events import Event
    from .view import View

API_VERSION = 1
PROJECT = "watchkeeper"
hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@hookspec
def annotate(hearing: Hearing) -> Note | Sequence[Note] | None:  # type: ignore[empty-body]
    """For every hearing, before the next one: return the note (or notes) to put on it."""


@hookspec
def burst_judged(period: Period) -> None:
    """After each burst of hearings: ``period.fresh`` holds what it brought, ``period.hearings`` all so far."""


@hookspec
def period_closed(period: Period) -> None:
    """When all of a period is in, or its grace has ended. Later hearings come with the next judgement."""


@hookspec
def contact_logged(contact: Contact) -> None:
    """After the contact's durable commit, at its place in the journal."""


@hookspec
def event_seen(event: Event) -> None:
    """For every accepted event that is no hearing and no contact: station, tuning, sent, reception, gauge, …"""


@hookspec
async def async_start(context: Context) -> None:
    """Once, before the first event: load hot state, open what ``async_run`` needs."""


@hookspec
async def async_run(stop: asyncio.Event) -> None:
    """A background task for the plugin's life. Return soon after ``stop`` is set; it is cancelled a second later."""


@hookspec
def destinations() -> Sequence[Destination]:  # type: ignore[empty-body]
    """Where finished contacts go. The core freezes ``encode``'s payload with the contact and keeps trying ``send``."""


@hookspec
async def async_deliver(hail: Hail) -> None:
    """A way to reach the operator. Raise when it failed: the host tries again and shows it."""


@hookspec
def views() -> Sequence[View]:  # type: ignore[empty-body]
    """What to show now; asked after each judgement. Return the same object while nothing changed."""


@hookspec
def preflight() -> Sequence[Any]:  # type: ignore[empty-body]
    """Checks before the first call: ``Check(name, state, evidence, remedy)`` for each."""


@hookspec
def report_parts(session: int) -> Sequence[View]:  # type: ignore[empty-body]
    """Its part of the session report."""


@hookspec
def metrics() -> dict[str, float]:  # type: ignore[empty-body]
    """Counters (names ending in ``_total``) and gauges, from start-up on; never labelled by call sign."""


@hookspec
def migrations() -> Sequence[str]:  # type: ignore[empty-body]
    """SQL scripts for its own tables (``plugin_<name>_…``), the oldest first; each runs once, in order."""
