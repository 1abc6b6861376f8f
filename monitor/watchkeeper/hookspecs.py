"""Everything that a plugin may do: the one page that a plugin author reads first.

``watchkeeper plugin docs`` prints this page, with the types that it speaks of and the bench for tests.

**Begin.** ``watchkeeper plugin new NAME`` writes a whole project: hooks, a section of the config, a view, tests and
packaging. ``watchkeeper plugin check PATH`` judges a plugin by the rules of this page, and ``watchkeeper plugins`` says
how each one does in a running watch. The smallest plugin is one file, here ``portable.py`` in the plugin folder:

    from watchkeeper.api import Hail, Urgency, hookimpl

    class Portable:
        name = "portable"
        api = 1

        def __init__(self, config, context):
            self.context = context

        @hookimpl
        def annotate(self, hearing):
            if hearing.call is not None and hearing.call.endswith("/P"):
                hail = Hail(
                    key=f"portable {hearing.call} {hearing.band}",
                    urgency=Urgency.NOTE,
                    sentence=f"{hearing.call} is portable, on {hearing.band}",
                    rule="portable",
                    at_ms=self.context.now_ms,
                    call=hearing.call,
                    band=hearing.band,
                )
                self.context.hail(hail)

A plugin is a class, named in the entry-point group ``watchkeeper.plugins`` of an installed package, or standing alone
in a ``*.py`` file of the plugin folder (``[plugins] folder``). The host makes it as ``Plugin(config, context)``. Its
class attributes say who it is:

* ``name``: small letters, digits and underscores, the same as its entry point or file; its section of the config is
  ``[plugins.<name>]``.
* ``api``: the edition of this page that it was written for, now 1.
* ``Config``: a ``msgspec.Struct`` with a default for every key; the host checks the section against it.
* ``provides`` and ``needs``: the note types that its ``annotate`` puts on hearings, and those that it reads there, as
  tuples; ``wants`` are those that it can do without. The host runs providers first; where nothing decides, the name
  does.

It marks what it implements with ``@hookimpl`` and may leave out an argument that it does not use. It imports
``watchkeeper.api``, ``watchkeeper.radio``, ``watchkeeper.adif`` and ``watchkeeper.view``, and nothing else of the
program's.

**Time.** Hooks are called one after the other on the event loop and have to return within milliseconds. What waits for
a network, a disk or another program belongs in ``async_run``, ``async_deliver`` or a destination's ``send``, which may
``await`` but never block.

**Determinism.** What a synchronous hook computes follows from its arguments, its config, its own earlier calls and
``context`` alone: no clock but ``context.now_ms``, no randomness, no network, no order of a set. Then a journal that is
replayed gives the same hails and views to the byte.

**Faults.** What a hook raises is counted and contained, even ``SystemExit``; so is what its tasks and callbacks raise.
A plugin is *rested* for some minutes, and every face says which plugin, of which package, and why, when

* a hook raises five times in a row, or callbacks of its own raise five times within ten minutes;
* three calls, or steps of its tasks, take longer than ``[plugins] budget_ms`` within ten minutes, or its notes on all
  hearings of a burst longer than ``burst_budget_ms``;
* three judgements within ten minutes bring more than 250 hails of it and more than there were hearings (those beyond
  are dropped each time);
* more than 500 tasks of its own run at once;
* its ``async_run`` ends by an error, or a task or callback of its own would have ended the program.

While it rests no hook of it is called and its ``async_run`` is stopped, to begin anew afterwards; what it had begun to
forward or to deliver goes on.

**The promise.** Within an edition, hooks, arguments, types and fields are added and never removed, renamed or given
another meaning; a plugin that runs today runs with every later release that knows its edition. A change
that would break one begins a new edition. A plugin of an edition that the program does not know is not started, and
the reason says which of the two needs an update.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import TYPE_CHECKING

import pluggy

if TYPE_CHECKING:
    from .host.context import Check, Context
    from .model import Contact, Destination, Hail, Hearing, Note, Period
    from .schema.events import Event
    from .view import View

API_VERSION = 1
PROJECT = "watchkeeper"
hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@hookspec
def annotate(hearing: Hearing) -> Note | Sequence[Note] | None:
    """For every hearing, before the next one: return the note, or the notes, to put on it.

    The busiest hook, called hundreds of times within a second. Only types named in ``provides`` may be returned.
    """


@hookspec
def burst_judged(period: Period) -> None:
    """After each burst of hearings: ``period.fresh`` holds what it brought, ``period.hearings`` all so far."""


@hookspec
def period_closed(period: Period) -> None:
    """When all of a period is in, or its grace has ended. Hearings that come later are in the next ``burst_judged``."""


@hookspec
def contact_logged(contact: Contact) -> None:
    """After the contact's durable commit, at its place in the journal. A correction comes with the same ``key``."""


@hookspec
def event_seen(event: Event) -> None:
    """For every accepted event that is no hearing and no contact: station, tuning, sent, reception, gauge, …"""


@hookspec
async def async_start(context: Context) -> None:
    """Once, before the first live event: load what must be at hand, open what ``async_run`` needs.

    A plugin whose start raises, or takes longer than 30 s, is not run.
    """


@hookspec
async def async_run(stop: asyncio.Event) -> None:
    """A background task for the plugin's life. Return soon after ``stop`` is set; it is cancelled a second later."""


@hookspec
def destinations() -> Sequence[Destination]:  # type: ignore[empty-body]
    """Where finished contacts go, asked once at the start.

    The core freezes what ``encode`` gives with the contact, in one commit, and keeps trying ``send``, for days. Whoever
    notices that a destination is back says so with ``context.reachable(name)``: what waits for it is tried at once.
    """


@hookspec
async def async_deliver(hail: Hail) -> None:
    """A way to reach the operator. Raise when it failed: the host tries again, four times, and shows it.

    Several hails can be under way at once: none waits for another that is slow or tried again.
    """


@hookspec
def views() -> Sequence[View]:  # type: ignore[empty-body]
    """What to show now; asked after each judgement. Return the same object while nothing changed."""


@hookspec
def explain(call: str) -> Sequence[str]:  # type: ignore[empty-body]
    """Why the station ``call`` did hail, and why not: sentences, drawn from what the plugin knows now."""


@hookspec
def preflight() -> Sequence[Check]:  # type: ignore[empty-body]
    """Checks before the first call: how each stands, on what evidence, and what to do about it."""


@hookspec
def report_parts(session: int) -> Sequence[View]:  # type: ignore[empty-body]
    """Its part of the report on the session of that number."""


@hookspec
def metrics() -> dict[str, float]:  # type: ignore[empty-body]
    """Counters (names ending in ``_total``) and gauges, from start-up on; never labelled by call sign.

    They stand in the status, and at ``/metrics`` as ``watchkeeper_plugin_<plugin>_<name>``.
    """


@hookspec
def migrations() -> Sequence[str]:  # type: ignore[empty-body]
    """SQL scripts for its own tables (``plugin_<name>_…``), the oldest first; each runs once, in order."""
