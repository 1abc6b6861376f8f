"""The session's contacts as CSV (RFC 4180) for a spreadsheet, in which no cell runs as a formula."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime

from ..clean import formula_safe
from .facts import ContactLine, Report

_HEAD = ("start", "end", "call", "band", "mode", "sent", "received", "locator", "entity", "km")


def contacts(report: Report) -> str:
    """One line a contact behind a heading; times in UTC, one more column for each destination."""
    names = sorted({name for contact in report.contacts for name in contact.forwarded})
    target = io.StringIO()
    writer = csv.writer(target)
    writer.writerow([*_HEAD, *map(formula_safe, names)])
    for contact in report.contacts:
        writer.writerow([*_cells(contact), *(formula_safe(contact.forwarded.get(name, "")) for name in names)])
    return target.getvalue()


def _cells(contact: ContactLine) -> list[str]:
    texts = (
        contact.call,
        contact.band,
        contact.mode,
        contact.report_sent,
        contact.report_received,
        contact.locator,
        contact.entity,
    )
    distance = "" if contact.distance_km is None else f"{contact.distance_km:.0f}"
    times = (_time(contact.started_ms), _time(contact.ended_ms))
    return [*times, *(formula_safe(text or "") for text in texts), distance]


def _time(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S")
