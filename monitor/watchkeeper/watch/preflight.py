"""The core's part of the preflight: the sources, the schema, the destinations, the log."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from ..host.context import Check, CheckState


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
    rejected = intake.get("rejected") or {}
    refused = sum(rejected.values()) if isinstance(rejected, Mapping) else int(rejected)
    lost = int(intake.get("lost") or 0)
    if not intake.get("received"):
        return Check(
            key="schema",
            label="Schema and sequence",
            state=CheckState.WAITING,
            evidence="no event yet",
            remedy="Wait for the first events.",
            rank=2,
        )
    bad = bool(refused or lost)
    return Check(
        key="schema",
        label="Schema and sequence",
        state=CheckState.POOR if bad else CheckState.GOOD,
        evidence=f"{intake['received']} events, {refused} refused, {lost} lost",
        remedy="`watchkeeper source` says what is wrong with an event; losses: look at the computer's load."
        if bad
        else None,
        rank=2,
    )


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
        state=CheckState.GOOD,
        evidence=f"{worked} contacts loaded" if worked else "empty: every station is new",
        remedy=None if worked else "Import what you have: `watchkeeper log import FILE`.",
        rank=51,
    )
