"""The core's part of the preflight: the sources, the schema, the destinations, the log."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from ..host.context import Check, CheckState

#: share of the events, refused or lost, from which a source is not clean
_DIRTY = 0.01
_DIRTY_REMEDY = "`watchkeeper source` says what is wrong with an event; losses: look at the computer's load."


def core_checks(status: Mapping[str, Any], worked: int) -> list[Check]:
    """The checks from a watch's status and the number of contacts that its index holds."""
    return [_speaks(status), _clean(status), *_destinations(status), _log(worked)]


def _speaks(status: Mapping[str, Any]) -> Check:
    sources = status["sources"]
    return Check(
        key="source",
        label="A source speaks",
        state=CheckState.GOOD if sources else CheckState.WAITING,
        evidence=", ".join(sources) if sources else f"nothing has come in on {status['listening']}",
        remedy=None if sources else f"Start the decoder and let it send its events to {status['listening']} (UDP).",
        rank=1,
    )


def _clean(status: Mapping[str, Any]) -> Check:
    intake = status["intake"]
    received, lost = int(intake.get("received") or 0), int(intake.get("lost") or 0)
    rejected: Mapping[str, int] = intake.get("rejected") or {}
    refused = sum(rejected.values())
    remedy: str | None = "Wait for the first events."
    if not received:
        state, evidence = CheckState.WAITING, "no event yet"
    else:
        reason = f" ({max(rejected, key=lambda each: rejected[each])})" if refused else ""
        evidence = f"{received} events, {refused} refused{reason}, {lost} lost"
        # a stray datagram long ago is no trouble of the source
        bad = refused + lost > _DIRTY * received
        state, remedy = (CheckState.POOR, _DIRTY_REMEDY) if bad else (CheckState.GOOD, None)
    return Check(key="schema", label="Schema and sequence", state=state, evidence=evidence, remedy=remedy, rank=2)


def _destinations(status: Mapping[str, Any]) -> Iterator[Check]:
    for name, one in status["outbox"].items():
        down = one.get("down_since") is not None
        dead = int(one.get("dead") or 0)
        yield Check(
            key=f"destination:{name}",
            label=f"Log destination {name}",
            state=CheckState.POOR if down or dead else CheckState.GOOD,
            evidence=one.get("why") or f"down since {one['down_since']}"
            if down
            else f"{one.get('waiting', 0)} waiting, {one.get('delivered', 0)} delivered, {dead} given up",
            remedy="Contacts are kept and forwarded later: `watchkeeper outbox` says more." if down or dead else None,
            rank=50,
        )


def _log(worked: int) -> Check:
    return Check(
        key="log",
        label="Log for duplicates",
        state=CheckState.GOOD if worked else CheckState.WAITING,
        evidence=f"{worked} contacts loaded" if worked else "empty: every station is new",
        remedy=None
        if worked
        else "Import what you have: `watchkeeper log import FILE`. Your first contact fills it too.",
        rank=51,
    )
