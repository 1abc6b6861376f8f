"""The lines above and below the panels: period, station, advice, callers, hail, keys."""

from __future__ import annotations

from rich.cells import cell_len
from rich.text import Text

from ...view import Row, Urgency
from ..shown import HailShown, Snapshot, Status, call_of, number
from ..words import (
    PARITY_WORDS,
    URGENCY_SIGNS,
    band_words,
    decibel,
    forwarding,
    intake,
    left_s,
    logged,
    megahertz,
    parity_at,
    plugins,
    silence_s,
    span,
    utc,
)
from .big import big_lines
from .cells import cropped, spread
from .theme import Theme
from .viewing import Viewing

BAR_WIDTH = 10
LATE_START_S = 1.5


def period_line(snapshot: Snapshot, width: int, theme: Theme, now_ms: int) -> Text:
    """Band, mode and dial; the period that runs, its parity and its countdown; the time; the own station."""
    own, period = snapshot.own, snapshot.period
    line = Text()
    band = band_words(period.band) if period is not None and period.band else None
    mode = own.mode or (period.mode if period is not None else None)
    place = " ".join(part for part in (band, mode) if part) or "waiting for a source"
    line.append(place, style=theme.strong)
    dial_hz = own.dial_hz if own.dial_hz is not None or period is None else period.dial_hz
    if dial_hz is not None:
        line.append(f" {megahertz(dial_hz)}")
    if period is not None:
        line.append("   ")
        line.append_text(_countdown(snapshot, theme, now_ms))
    line.append(f"   {utc(now_ms)} UTC", style=theme.dim)
    who = [part for part in (own.call, own.locator, _watts(own.power_w)) if part]
    while who and len(" ".join(who)) + 2 > width - line.cell_len:
        who.pop()
    return spread(line, Text(" ".join(who), style=theme.dim), width)


def _watts(power_w: float | None) -> str | None:
    return None if power_w is None else f"{power_w:g} W"


def _countdown(snapshot: Snapshot, theme: Theme, now_ms: int) -> Text:
    period = snapshot.period
    assert period is not None
    parity, left = parity_at(period, now_ms), left_s(period, now_ms)
    done = round(BAR_WIDTH * (1 - left / period.length_s))
    line = Text(f"{PARITY_WORDS[parity]} ")
    line.append("━" * done, style=theme.bar)
    line.append("╌" * (BAR_WIDTH - done), style=theme.bar_rest)
    line.append(f" {max(1, round(left)):>2} s", style=theme.strong)
    if snapshot.own.send_parity is not None:
        line.append(" yours" if snapshot.own.send_parity == parity else " theirs", style=theme.dim)
    return line


def state_line(snapshot: Snapshot, status: Status, width: int, theme: Theme, now_ms: int, viewing: Viewing) -> Text:
    """Log and forwarding, then whatever is wrong: silence, losses, plugins, notices; the worst first."""
    told: list[tuple[Urgency, str]] = []
    if viewing.lost_s is not None:
        told.append((Urgency.URGENT, f"no answer from the watch for {span(viewing.lost_s)}, this picture is old"))
    silent = silence_s(snapshot, now_ms)
    if silent is not None:
        told.append((Urgency.URGENT, f"nothing from any source for {span(silent)}"))
    told += [*forwarding(status), *plugins(status), *intake(status)]
    told += [(Urgency.NOTE, notice) for notice in status.notices]
    told.sort(key=lambda part: -part[0])
    line = Text()
    urgent = [part for part in told if part[0] is Urgency.URGENT]
    for urgency, words in [*urgent, (Urgency.CALM, logged(snapshot)), *told[len(urgent) :]]:
        if line:
            line.append("  │ ", style=theme.rule)
        if URGENCY_SIGNS[urgency]:
            line.append(URGENCY_SIGNS[urgency], style=theme.urgency[urgency])
            line.append(" ")
        line.append(words)
    return cropped(line, width)


def advice_lines(snapshot: Snapshot, width: int, height: int, theme: Theme, now_ms: int) -> list[Text]:
    """Whom to call or answer now, why, and where: two or three lines, the call in large letters where there is room."""
    row = snapshot.advice()
    if row is None:
        return [cropped(Text("CALL  nobody yet: no lookout matches", style=theme.dim), width)]
    call = call_of(row)
    lines: list[Text] = []
    if theme.roomy and height >= 8:
        lines = [cropped(Text(line, style=theme.strong), width) for line in big_lines(call, width)]
    first = Text()
    verb = "ANSWER" if row.data.get("to_me") else "CALL"
    first.append(f"{verb} {URGENCY_SIGNS[row.urgency]}".rstrip(), style=theme.urgency[row.urgency] or theme.heading)
    first.append(f" {call} ", style="bold reverse")
    first.append(f"  {snapshot.advice_words()}", style=theme.strong)
    second = Text("     " + " · ".join(_particulars(row, snapshot, now_ms)))
    lines += [cropped(first, width), cropped(second, width)]
    reasons = _reasons(row, snapshot)
    if reasons:
        lines.append(cropped(Text("     because " + ", ".join(reasons), style=theme.dim), width))
    return lines[:height]


def _particulars(row: Row, snapshot: Snapshot, now_ms: int) -> list[str]:
    """What the hand needs first: when to start, where, and what to expect."""
    offset, snr, chance, parity = (number(row, key) for key in ("offset_hz", "snr_db", "chance", "parity"))
    parts = []
    if parity in (0, 1):
        own = 1 - int(parity)
        start = "" if snapshot.period is None else f", {_start(snapshot, own, now_ms)}"
        parts.append(f"call in {PARITY_WORDS[own]}{start}")
    if offset is not None:
        parts.append(f"{offset:,.0f} Hz")
    if snr is not None:
        parts.append(decibel(snr))
    if chance is not None:
        parts.append(f"chance {round(100 * chance)} %")
    place = " ".join(band_words(str(row.data[key])) for key in ("band", "mode") if row.data.get(key))
    return [*parts, place] if place else parts


def _start(snapshot: Snapshot, send_parity: int, now_ms: int) -> str:
    """When the next period of that parity begins: starting a second late still works (common practice, no source)."""
    assert snapshot.period is not None
    left = left_s(snapshot.period, now_ms)
    if parity_at(snapshot.period, now_ms) == send_parity:
        if snapshot.period.length_s - left <= LATE_START_S:
            return "start now"
        left += snapshot.period.length_s
    return f"start in {max(1, round(left))} s"


def _reasons(row: Row, snapshot: Snapshot) -> tuple[str, ...]:
    key, call = row.data.get("hail"), call_of(row)
    for hail in reversed(snapshot.hails):
        if hail.key == key or (key is None and hail.call == call):
            words = snapshot.advice_words()
            return tuple(reason for reason in hail.reasons if reason not in words)
    return ()


def callers_line(snapshot: Snapshot, width: int, theme: Theme) -> Text | None:
    """Who calls us, in order; None while nobody does."""
    callers = snapshot.callers()
    if not callers:
        return None
    line = Text()
    line.append("CALLS YOU !!", style=theme.urgency[Urgency.URGENT])
    for at, row in enumerate(callers):
        line.append("  ·  " if at else "  ", style=theme.rule)
        line.append(call_of(row), style=theme.strong)
        snr = number(row, "snr_db")
        if snr is not None:
            line.append(f" {decibel(snr)}")
        lacks = row.data.get("lacks")
        if isinstance(lacks, str) and lacks:
            line.append(f" (still lacks {lacks})")
    return cropped(line, width)


def hail_line(hails: tuple[HailShown, ...], width: int, theme: Theme, viewing: Viewing) -> Text | None:
    """The hail that the keys act on, with its place among the open ones; None where all are done."""
    if not hails:
        return None
    at = min(viewing.chosen, len(hails) - 1)
    hail = hails[-1 - at]
    line = Text()
    sign = URGENCY_SIGNS[hail.urgency]
    line.append(f"HAIL {sign}".rstrip(), style=theme.urgency[hail.urgency] or theme.heading)
    line.append(f" {utc(hail.at_ms)} ", style=theme.dim)
    line.append(hail.sentence)
    place = Text(f"{at + 1} of {len(hails)}", style=theme.dim) if len(hails) > 1 else Text()
    return spread(cropped(line, width - 10) if line.cell_len > width - 10 else line, place, width)


def key_line(width: int, theme: Theme, viewing: Viewing) -> Text:
    """The keys, or for a moment what the last key did."""
    line = Text()
    if viewing.message:
        line.append(viewing.message, style=theme.strong)
        return cropped(line, width)
    keys = [("?", "help"), ("q", "quit"), ("b", f"band: {band_words(viewing.band or 'all')}"), ("↑↓", "hail")]
    if not viewing.read_only:
        keys[3:3] = [("d", "done"), ("r", "release"), ("p", "pause")]
    if viewing.can_invite:
        keys.append(("i", "phone"))
    # every key is named: where there is little room, the gaps yield before any name does
    roomy = sum(cell_len(key) + cell_len(words) + 5 for key, words in keys) <= width
    for key, words in keys:
        line.append(f" {key} " if roomy else key, style=theme.key)
        line.append(f" {words}  ", style=theme.dim)
    return spread(line, Text("read-only" if viewing.read_only else "", style=theme.dim), width)
