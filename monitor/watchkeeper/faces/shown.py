"""What a face is given: the snapshot of the watch and its status, decoded from plain JSON into typed values.

Faces know no plugin. Beside the views' own fields they read a few well-known keys of ``Row.data``, all of them
optional: ``call``, ``band``, ``mode``, ``parity`` (0 or 1), ``offset_hz``, ``snr_db``, ``chance`` (0..1), ``to_me``
(the station calls us), ``lacks`` and ``hail`` (the key of the hail that the row belongs to). The first row of the
first table of the Lookout panel is the advice: whom to call now; its columns ``why`` and ``doing`` are read as such.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import msgspec

from ..view import AnyView, Panel, Row, Table, Urgency, View
from .clean import scrub


class PeriodNow(msgspec.Struct, frozen=True, kw_only=True):
    """The receive period that the watch judged last."""

    source: str
    mode: str
    band: str | None = None
    start: datetime
    parity: int
    length_s: float
    closed: bool = False
    dial_hz: int | None = None
    sent: bool = False
    heard: int | None = None

    @property
    def start_ms(self) -> int:
        """When it began, in ms since 1970-01-01 UTC."""
        return epoch_ms(self.start)


class OwnStation(msgspec.Struct, frozen=True, kw_only=True):
    """The own station and its settings, as far as they are known."""

    call: str | None = None
    locator: str | None = None
    power_w: float | None = None
    antenna: str | None = None
    activations: tuple[tuple[str, str], ...] = ()
    dial_hz: int | None = None
    mode: str | None = None
    send_parity: int | None = None
    send_offset_hz: float | None = None
    calling: str | None = None


class HailShown(msgspec.Struct, frozen=True, kw_only=True):
    """One alert that went out."""

    key: str
    urgency: Urgency
    sentence: str
    rule: str = ""
    at_ms: int
    call: str | None = None
    band: str | None = None
    reasons: tuple[str, ...] = ()
    act_by_ms: int | None = None


class Cover(msgspec.Struct, frozen=True, kw_only=True):
    """How far the newest run of one source has been worked through."""

    run: str | None = None
    seq: int


class Resting(msgspec.Struct, frozen=True, kw_only=True):
    """A plugin that rests now, and why."""

    plugin: str
    reason: str


class Snapshot(msgspec.Struct, frozen=True, kw_only=True):
    """The watch at one moment of its event clock. It follows from the journal alone."""

    v: int = 1
    event_clock: datetime | None = None
    period: PeriodNow | None = None
    own: OwnStation = OwnStation()
    covers: dict[str, Cover] = {}
    views: tuple[AnyView, ...] = ()
    hails: tuple[HailShown, ...] = ()
    held_back: int = 0  # hails that quiet hours or the limit kept in
    contacts: int = 0
    rested: tuple[Resting, ...] = ()  # plugins; more of them stands in the status

    @property
    def now_ms(self) -> int | None:
        """The event clock in ms since 1970-01-01 UTC, or None before the first event."""
        return None if self.event_clock is None else epoch_ms(self.event_clock)

    def panel(self, panel: Panel) -> tuple[View, ...]:
        """The views of ``panel`` in their order."""
        return tuple(sorted((v for v in self.views if v.panel is panel), key=lambda v: (v.rank, v.name)))

    def tables(self, panel: Panel) -> tuple[Table, ...]:
        """The tables of ``panel`` in their order."""
        return tuple(v for v in self.panel(panel) if isinstance(v, Table))

    def advice(self) -> Row | None:
        """The row that says whom to call now."""
        for table in self.tables(Panel.LOOKOUT)[:1]:
            for row in table.rows:
                return row
        return None

    def advice_words(self) -> str:
        """Why to call that station and what it does: from the columns of these names, else the row's sentence."""
        row = self.advice()
        if row is None:
            return ""
        columns = self.tables(Panel.LOOKOUT)[0].columns
        cells = {column.key: cell for column, cell in zip(columns, row.cells, strict=False)}
        words = [cells[key] for key in ("why", "doing") if cells.get(key)]
        return ", ".join(dict.fromkeys(words)) or row.sentence or ""

    def callers(self) -> tuple[Row, ...]:
        """The rows of the stations that call us, each call once, in the tables' order."""
        found: dict[str, Row] = {}
        for panel in (Panel.ON_THE_AIR, Panel.LOOKOUT):
            for table in self.tables(panel):
                for row in table.rows:
                    if row.data.get("to_me"):
                        found.setdefault(call_of(row), row)
        return tuple(found.values())


class Intake(msgspec.Struct, frozen=True, kw_only=True):
    """What came in by datagram, and what became of it."""

    received: int = 0
    accepted: int = 0
    rejected: dict[str, int] = {}
    lost: int = 0
    shed: int = 0
    kernel_drops: int | None = None
    buffer_bytes: int | None = None


class Outbox(msgspec.Struct, frozen=True, kw_only=True):
    """How forwarding to one destination stands."""

    waiting: int = 0
    delivered: int = 0
    dead: int = 0
    down_since: str | int | float | None = None
    oldest_s: float | None = None
    why: str | None = None


class PluginState(msgspec.Struct, frozen=True, kw_only=True):
    """How one plugin does."""

    name: str
    distribution: str | None = None
    state: str = ""
    reason: str | None = None
    calls: int | None = None
    mean_us: float | None = None
    max_ms: float | None = None
    metrics: dict[str, float] = {}  # its own counters (names ending in _total) and gauges


class SourceState(msgspec.Struct, frozen=True, kw_only=True):
    """What one feeding program sent, and the event time of its newest."""

    received: int = 0
    accepted: int = 0
    lost: int = 0
    last_at_ms: int | None = None


class Reloads(msgspec.Struct, frozen=True, kw_only=True):
    """How often the configuration was read again while the watch stood; ``why`` says what is wrong with it now."""

    done: int = 0
    refused: int = 0
    why: str | None = None


class Status(msgspec.Struct, frozen=True, kw_only=True):
    """What the journal does not hold: intake, outbox, plugins, notices."""

    data_dir: str | None = None
    adif_path: str | None = None
    sources: dict[str, SourceState] = {}
    intake: Intake = Intake()
    outbox: dict[str, Outbox] = {}
    plugins: tuple[PluginState, ...] = ()
    notices: tuple[str, ...] = ()
    reloads: Reloads = Reloads()


def to_snapshot(plain: Mapping[str, Any]) -> Snapshot:
    """Decode a snapshot and clean its texts. A view that does not decode is left out, so that the others are seen.

    Raises ``msgspec.ValidationError`` when the frame around the views is none of ours.
    """
    plain = scrub(dict(plain))
    views = []
    for view in plain.get("views") or ():
        try:
            views.append(msgspec.convert(view, AnyView))
        except msgspec.ValidationError:
            continue
    return msgspec.convert({**plain, "views": views}, Snapshot)


def to_status(plain: Mapping[str, Any]) -> Status:
    """Decode a status and clean its texts. Raises ``msgspec.ValidationError`` when it is none."""
    return msgspec.convert(scrub(dict(plain)), Status)


def epoch_ms(moment: datetime) -> int:
    """Whole milliseconds since 1970-01-01 UTC."""
    return round(moment.timestamp() * 1000)


def number(row: Row, key: str) -> float | None:
    """The finite number under ``key`` of the row's data, or None."""
    value = row.data.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value)


def call_of(row: Row) -> str:
    """The call sign that the row is about: its datum of that name, else its first cell."""
    call = row.data.get("call")
    return call if isinstance(call, str) and call else (row.cells[0] if row.cells else "")
