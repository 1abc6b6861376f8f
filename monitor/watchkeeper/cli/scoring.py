"""Measures a rehearsed watch by the truth that the simulated band has written down."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from ..rehearsal.lacking import lacking
from ..rehearsal.score import score
from ..store.database import reading
from ..store.sessions import entries, sessions
from ..view import Table
from ..watch.pipeline import Watch
from ..watch.replay import Replay
from . import logs

TRUTH = "truth.json"
#: the bundled plugins' tables that are measured
RANKED, DIRECTIONS = "lookout.ranked", "openings.directions"


def measure(told: dict[str, Any]) -> dict[str, Any]:
    """All figures of the rehearsal whose last line is ``told``, from its truth and its journal."""
    folder = Path(told["data_dir"])
    truth = msgspec.json.decode((folder / TRUTH).read_bytes())
    with logs.logged(logs.Masking(), folder / logs.FILE):
        out = outputs(folder, first_session=told["session"])
        made = score(truth, out, stored=told["contacts_stored"], forwarded=told["contacts_forwarded"])
    return {**made, "lacking": lacking(made), "data_dir": told["data_dir"]}


def outputs(folder: Path, *, first_session: int = 1) -> Iterator[dict[str, Any]]:
    """What came out of the watch: the journals of the sessions in ``folder``, run again one after another."""
    with reading(folder) as db:
        for row in reversed([row for row in sessions(db) if row.id >= first_session]):
            yield from _session(Replay(_lines(row.header, entries(db, row.id))))


def _lines(header: bytes, journal: Iterator[bytes]) -> Iterator[bytes]:
    yield header
    yield from journal


def _session(replay: Replay) -> Iterator[dict[str, Any]]:
    judged = 0
    for _, out in replay.steps():
        for hail in out.hails:
            yield {"hail": msgspec.to_builtins(hail)}
        for hearing in out.hearings:
            if not hearing.credibility.credible:
                yield {"doubtful": {"source": hearing.source, "period_ms": hearing.period_ms, "text": hearing.text}}
        if replay.watch.judgements != judged:
            judged = replay.watch.judgements
            yield from _shown(replay.watch)


def _shown(watch: Watch) -> Iterator[dict[str, Any]]:
    for view in watch.views():
        if not isinstance(view, Table):
            continue
        if view.name == RANKED:
            yield {"advice": {"at_ms": watch.now_ms, "rows": [row.data for row in view.rows]}}
        elif view.name == DIRECTIONS:
            rows = [row.data for row in view.rows if row.data["open"]]
            yield {"openings": {"at_ms": watch.now_ms, "rows": rows}}


def table(figures: dict[str, Any]) -> str:
    """The figures for a person: a line a figure, under what it belongs to."""
    lines = [f"{figures['scenario']}, seed {figures['seed']}, world {figures['world']}, operator {figures['operator']}"]
    why = figures["lacking"]
    for name, group in figures.items():
        if group is why or not isinstance(group, dict):
            continue
        lines.append(name)
        lines += [f"  {key:<30}{_number(value):>10}{_reason(why.get(f'{name}.{key}'))}" for key, value in group.items()]
    return "\n".join(lines)


def _reason(words: str | None) -> str:
    return "" if words is None else f"  {words}"


def _number(value: object) -> str:
    if value is None:
        return "–"
    return f"{value:.3f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
