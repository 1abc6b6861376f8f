"""How a watch stands, in sentences, for a command that asks once."""

from __future__ import annotations

from collections.abc import Iterator

from ..view import counted
from .shown import Snapshot, Status
from .words import forwarding, intake, logged, megahertz, plugins, utc


def sentences(snapshot: Snapshot, status: Status) -> Iterator[str]:
    """One sentence a line: station, sources, losses, log, forwarding, plugins, notices."""
    own = snapshot.own
    place = [own.call or "own call not known", own.locator, own.mode]
    if own.dial_hz is not None:
        place.append(megahertz(own.dial_hz))
    yield f"Station: {', '.join(part for part in place if part)}."
    if snapshot.now_ms is None:
        yield "No source has spoken yet."
    else:
        yield f"Newest event: {utc(snapshot.now_ms)} UTC."
    for name, source in status.sources.items():
        yield f"Source {name}: {counted(source.accepted, 'event')} accepted, {source.lost} lost."
    for _, words in intake(status):
        yield f"Intake: {words}."
    yield f"Log: {logged(snapshot)} in this session; {status.adif_path or status.data_dir or ''}".rstrip("; ") + "."
    for _, words in forwarding(status):
        yield f"Forwarding: {words}."
    running = sum(plugin.state == "running" for plugin in status.plugins)
    yield f"Plugins: {running} of {len(status.plugins)} running."
    for _, words in plugins(status):
        yield f"{words[0].upper()}{words[1:]}."
    for notice in status.notices:
        yield f"Notice: {notice.rstrip('.')}."
