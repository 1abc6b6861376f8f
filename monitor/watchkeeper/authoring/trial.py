"""One trial of one plugin, in a process of its own: it may hang, exit or crash, and nobody else is hurt.

``python -m watchkeeper.authoring.trial KIND TARGET NAME RESULT`` appends to the file RESULT a JSON object a line:
``{"rule", "why"}``, ``why`` empty where the rule is kept, or ``{"digest"}`` of all that the plugin hailed and showed.
"""

from __future__ import annotations

import asyncio
import hashlib
import logging
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import msgspec

from .. import hookspecs
from ..config import PluginSettings
from ..host import discovery, fitness
from ..host.discovery import Candidate, LoadError
from ..host.fitness import UnfitError
from ..host.loading import contained
from ..host.loop import ContainingLoop
from ..host.status import PluginStatus, State
from ..model import Hail
from ..testing import Bench
from ..view import AnyView, Table
from . import target, traffic
from .blocking import LoopWatcher, threads
from .imports import beside_the_doors

#: what a plugin may take here: less than a running watch lets it, for a machine may be slow and is not its author's
BUDGETS = PluginSettings(budget_ms=50, burst_budget_ms=100)


class Rules:
    """The rules by name: the words of the report and of its JSON."""

    METADATA = "metadata"
    IMPORTS = "imports"
    CONFIG = "config"
    HOOKS = "hooks"
    FAULTS = "faults"
    TIME = "time"
    VIEWS = "views"
    HAILS = "hails"
    DETERMINISM = "determinism"
    START = "start"
    BACKGROUND = "background"
    BLOCKING = "blocking"
    STOP = "stop"


class Report:
    """The file that the outcome goes to, line by line: what was found out outlives the process."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def tell(self, rule: str, why: str | None) -> None:
        """A rule is kept (``why`` is empty) or broken."""
        self._append({"rule": rule, "why": why or ""})

    def digest(self, digest: str) -> None:
        """What the plugin hailed and showed, in short."""
        self._append({"digest": digest})

    def _append(self, line: dict[str, str]) -> None:
        with self._file.open("ab") as file:
            file.write(msgspec.json.encode(line) + b"\n")


# -- fit to run -------------------------------------------------------------------------------------------------------


def fit(candidate: Candidate, report: Report) -> None:
    """Its metadata, its section of the config, and its hooks, each by a rule; ends at the first that is broken."""
    try:
        traits = fitness.traits(discovery.load(candidate), candidate.name)
    except (LoadError, UnfitError) as error:
        report.tell(Rules.METADATA, str(error))
        return
    report.tell(Rules.METADATA, None)
    why = beside_the_doors(traits.cls.__module__)
    report.tell(Rules.IMPORTS, why)
    if why:
        return
    why = _config_fault(traits.config_type, candidate.name)
    report.tell(Rules.CONFIG, why)
    if why:
        return
    status = Bench(candidates=_with_providers(candidate)).status(candidate.name)
    why = status.reason if status.state is not State.RUNNING else _unmarked(traits.cls)
    report.tell(Rules.HOOKS, why)


def _config_fault(config_type: type[msgspec.Struct], name: str) -> str | None:
    try:
        fields = contained("reading its types", lambda: msgspec.structs.fields(config_type))
        wanting = [field.name for field in fields if field.required]
        if wanting:
            return f"no default for {', '.join(wanting)}"
        own = contained("making it", lambda: msgspec.to_builtins(config_type(), enc_hook=str))
        _, problems = contained("its check", lambda: fitness.checked(config_type, own, f"plugins.{name}"))
        contained("its schema", lambda: msgspec.json.schema(config_type, schema_hook=_text_schema))
    except UnfitError as error:
        return str(error)
    return "; ".join(map(str, problems)) or None


def _text_schema(kind: type) -> dict[str, Any]:
    """Types that the config's file writes as text."""
    if issubclass(kind, Path):
        return {"type": "string"}
    raise NotImplementedError


def _unmarked(cls: Any) -> str | None:
    """A hook without its mark is never called: hardly what its author meant."""
    named = (hook for hook in fitness.HOOKS if callable(getattr(cls, hook, None)))
    missed = [hook for hook in named if not hasattr(getattr(cls, hook), f"{hookspecs.PROJECT}_impl")]
    return f"not marked with @hookimpl, so never called: {', '.join(missed)}" if missed else None


def _with_providers(candidate: Candidate) -> list[Candidate]:
    """The plugin with all installed ones whose notes it reads, and those that these read."""
    installed = {each.name: each for each in discovery.installed() if each.name != candidate.name}
    chosen = [candidate]
    wanted = _read_by(candidate)
    while wanted:
        found = [each for each in installed.values() if _given_by(each) & wanted]
        for each in found:
            del installed[each.name]
        chosen += found
        wanted = set().union(*map(_read_by, found))
    return chosen


def _read_by(candidate: Candidate) -> set[type]:
    traits = _traits(candidate)
    return set() if traits is None else {*traits.needs, *traits.wants}


def _given_by(candidate: Candidate) -> set[type]:
    traits = _traits(candidate)
    return set() if traits is None else set(traits.provides)


def _traits(candidate: Candidate) -> fitness.Traits | None:
    try:
        return fitness.traits(discovery.load(candidate), candidate.name)
    except (LoadError, UnfitError):
        return None


# -- in traffic -------------------------------------------------------------------------------------------------------


def busy(candidate: Candidate, report: Report) -> None:
    """A busy evening: faults, time, views and hails, and the digest of what came of it."""
    bench = Bench(candidates=_with_providers(candidate), settings=BUDGETS)
    name = candidate.name
    digest = hashlib.sha256()
    wrong: list[str] = []
    for _ in traffic.busy(bench):
        shown = dict(bench.host.collect("views", list)).get(name, [])
        wrong += _view_faults(shown)
        digest.update(_encoded(shown))
        _ask(bench)
    hails = [hail for plugin, hail in bench.raised if plugin == name]
    digest.update(_encoded(hails))
    status = bench.status(name)
    report.tell(Rules.FAULTS, _fault(status))
    report.tell(Rules.TIME, _overrun(status))
    report.tell(Rules.VIEWS, wrong[0] if wrong else None)
    report.tell(Rules.HAILS, next(filter(None, map(_hail_fault, hails)), None))
    report.digest(digest.hexdigest())


def _ask(bench: Bench) -> None:
    """Ask what faces ask now and then."""
    host = bench.host
    host.preflight()
    host.explain("CE1QRA")
    host.report_parts(1)
    host.metrics()


def _encoded(things: Sequence[object]) -> bytes:
    try:
        return msgspec.json.encode(things)
    except (TypeError, ValueError, OverflowError):
        return b""  # the rules of views and hails tell it


def _fault(status: PluginStatus) -> str | None:
    if status.errors:
        return f"{status.errors} errors, last: {status.reason}"
    flooded = status.reason is not None and "hails in one judgement" in status.reason
    return status.reason if flooded else None


def _overrun(status: PluginStatus) -> str | None:
    late = [f"{hook} ({figures.max_ms:.0f} ms)" for hook, figures in status.hooks.items() if figures.overruns]
    return f"longer than its time: {', '.join(late)}" if late else None


def _view_faults(views: Sequence[AnyView]) -> list[str]:
    wrong = []
    for view in views:
        told = f"view {getattr(view, 'name', view)!r}"
        try:
            if msgspec.json.decode(msgspec.json.encode(view), type=AnyView) != view:
                wrong.append(f"{told} is another after it was encoded and decoded")
        except (msgspec.MsgspecError, TypeError, ValueError, OverflowError) as error:
            wrong.append(f"{told}: {error}")
        else:
            wrong += _table_faults(view, told) if isinstance(view, Table) else []
    names = [view.name for view in views if isinstance(view, AnyView)]
    return wrong + [f"view {name!r} is there twice" for name in names if names.count(name) > 1]


def _table_faults(table: Table, told: str) -> list[str]:
    columns = len(table.columns)
    return [
        f"{told}, row {row.key!r}: {len(row.cells)} cells under {columns} columns"
        for row in table.rows
        if len(row.cells) != columns
    ]


def _hail_fault(hail: Hail) -> str | None:
    try:
        msgspec.json.decode(msgspec.json.encode(hail), type=Hail)
    except (msgspec.MsgspecError, TypeError, ValueError, OverflowError) as error:
        return f"hail {hail.sentence!r}: {error}"
    empty = [field for field in ("key", "sentence", "rule") if not getattr(hail, field)]
    return f"hail {hail.sentence!r} has no {' and no '.join(empty)}" if empty else None


# -- on a loop --------------------------------------------------------------------------------------------------------


def live(candidate: Candidate, report: Report) -> None:
    """On a loop, with its background task: the start, what blocks, and the stop."""
    watcher = LoopWatcher()
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(candidates=_with_providers(candidate), data_dir=Path(folder), settings=BUDGETS)
        with asyncio.Runner(loop_factory=ContainingLoop) as runner:
            runner.run(_live(bench, candidate, watcher, report))


async def _live(bench: Bench, candidate: Candidate, watcher: LoopWatcher, report: Report) -> None:
    name, host = candidate.name, bench.host
    plugin = next((record.instance for record in host.running if record.name == name), None)
    watcher.watch(type(plugin).__module__.partition(".")[0])
    before = threads()
    await host.start()
    status = bench.status(name)
    report.tell(Rules.START, status.reason if status.state is not State.RUNNING else None)
    for _ in traffic.busy(bench):
        await watcher.breathe()
    for hail in bench.hails[:3]:
        host.deliver(hail)
    await watcher.breathe()
    status = bench.status(name)
    report.tell(Rules.BACKGROUND, _fault_beside(status))
    report.tell(Rules.BLOCKING, watcher.why())
    await host.stop()
    after = bench.status(name)
    left = sorted(threads() - before)
    why = after.reason if after.reason != status.reason else None
    report.tell(Rules.STOP, why or (f"it left the thread {left[0]!r} running" if left else None))


def _fault_beside(status: PluginStatus) -> str | None:
    """A delivery that fails is none: where it should go may not be there."""
    in_hooks = sum(figures.errors for hook, figures in status.hooks.items() if hook != "async_run")
    beside = status.errors - in_hooks
    return f"{beside} errors, last: {status.reason}" if beside else None


KINDS: dict[str, Callable[[Candidate, Report], None]] = {"fit": fit, "busy": busy, "live": live}


def main(arguments: Sequence[str]) -> None:
    """Try the plugin NAME of TARGET."""
    kind, where, name, result = arguments
    logging.disable(logging.CRITICAL)
    candidate = next(each for each in target.find(where) if each.name == name)
    KINDS[kind](candidate, Report(Path(result)))
    os._exit(0)  # a thread that the plugin left running holds nothing up


if __name__ == "__main__":
    main(sys.argv[1:])
