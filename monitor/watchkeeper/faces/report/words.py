"""The session in sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime

from ...view import counted
from ..words import band_words, megahertz, span
from .facts import Report, bands


def title(report: Report) -> str:
    """``DL5QRM, 20 June 2026``."""
    day = datetime.fromtimestamp(report.started_ms / 1000, UTC)
    return f"{report.own.call or 'Own station'}, {day.day} {day:%B %Y}"


def when(at_ms: int) -> str:
    """``18:42`` of that moment in UTC."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).strftime("%H:%M")


def summary(report: Report) -> Iterator[str]:
    """What one would tell a friend, one sentence each."""
    lasted = span((report.ended_ms - report.started_ms) / 1000)
    still = "; the session is open" if report.running else ""
    yield f"The watch stood from {when(report.started_ms)} to {when(report.ended_ms)} UTC, {lasted}{still}."
    yield _station(report)
    if report.contacts:
        yield _contacts(report)
    else:
        yield "No contact was logged."
    if report.hearings:
        yield (
            f"{counted(report.stations, 'station')} heard in {counted(report.hearings, 'hearing')}, most of them on "
            f"{', '.join(band_words(band) for band in bands(report)[:3]) or 'an unknown band'}."
        )
    if report.farthest_call is not None and report.farthest_km is not None:
        yield f"The farthest station heard was {report.farthest_call}, {report.farthest_km:,.0f} km away."
    if report.receptions:
        yield f"{counted(report.receptions, 'reception')} by others told where the own signal was heard."
    yield _forwarding(report)
    if report.events_lost:
        were = "was" if report.events_lost == 1 else "were"
        yield f"{counted(report.events_lost, 'event')} from the source {were} lost on the way."


def _station(report: Report) -> str:
    own = report.own
    parts = [own.call or "An own station without a call sign"]
    if own.locator:
        parts.append(f"in {own.locator}")
    if own.power_w is not None:
        parts.append(f"with {own.power_w:g} W")
    if own.antenna:
        parts.append(f"on {own.antenna}")
    words = " ".join(parts)
    if own.activations:
        words += f", activating {', '.join(' '.join(one) for one in own.activations)}"
    if own.dial_hz is not None:
        words += f", last on {megahertz(own.dial_hz)}"
    return f"{words}; {counted(report.transmissions, 'transmission')}."


def _contacts(report: Report) -> str:
    by_band = Counter(band_words(contact.band or "unknown band") for contact in report.contacts)
    entities = {contact.entity for contact in report.contacts if contact.entity}
    told = ", ".join(f"{number} on {band}" for band, number in by_band.most_common())
    words = f"{counted(len(report.contacts), 'contact')}: {told}"
    if entities:
        words += f"; {counted(len(entities), 'entity', 'entities')}"
    far = max(report.contacts, key=lambda contact: contact.distance_km or 0)
    if far.distance_km:
        words += f"; the farthest with {far.call}, {far.distance_km:,.0f} km"
    return f"{words}."


def _forwarding(report: Report) -> str:
    states = Counter(
        (name, state) for contact in report.contacts for name, state in contact.forwarded.items()
    )  # fmt: skip
    if not states:
        return "No contact had anywhere to be forwarded to." if report.contacts else "Nothing had to be forwarded."
    told = (f"{name}: {number} {_STATES.get(state, state)}" for (name, state), number in sorted(states.items()))
    return f"Forwarding: {'; '.join(told)}."


_STATES = {"dead": "refused for good", "dropped": "left out by the operator"}
