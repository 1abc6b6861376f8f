"""Declarative views: what a plugin or the core offers to be shown, and every face can draw.

A view says *what*, never *how*: no colour, no width, no markup. Text in a view may come from the air, so faces
pass all of it through the one sanitiser.
"""

from __future__ import annotations

from enum import IntEnum, StrEnum
from typing import Annotated

import msgspec
from msgspec import Meta


class Panel(StrEnum):
    """The six panels, in the order in which an operator needs them."""

    LOOKOUT = "lookout"
    ON_THE_AIR = "on_the_air"
    OPENINGS = "openings"
    REACH = "reach"
    VITALS = "vitals"
    LOG = "log"


class Urgency(IntEnum):
    """How soon a row, a notice or a hail wants the operator's eye. Faces show it in colour *and* by a word or sign."""

    CALM = 0
    NOTE = 1
    WANTED = 2
    URGENT = 3


class View(msgspec.Struct, frozen=True, kw_only=True, tag_field="form", omit_defaults=True):
    """What all views share. ``name`` is unique and stable; ``missing`` says what could be shown with more events."""

    name: str
    panel: Panel
    title: str
    rank: int = 50  # order within the panel, low first
    missing: str | None = None
    at_ms: int | None = None  # event time of the newest evidence


class Column(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One column. The lower its ``keep``, the longer it stays when room is short."""

    key: str
    title: str
    unit: str | None = None
    right: bool = False
    keep: int = 5


class Row(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One row: ``cells`` in the order of the columns; ``data`` is the same for programs (call, band, offset_hz, …)."""

    key: str
    cells: tuple[str, ...]
    urgency: Urgency = Urgency.CALM
    sentence: str | None = None
    data: dict[str, str | int | float | bool | None] = {}


class Table(View, frozen=True, kw_only=True, tag="table", omit_defaults=True):
    """Rows under columns, the most important row first."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    empty: str = "nothing yet"


class Reading(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One gauge: a value in words, its number with bounds where there is one, and a sentence when it needs one."""

    key: str
    label: str
    text: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    urgency: Urgency = Urgency.CALM
    sentence: str | None = None


class Gauges(View, frozen=True, kw_only=True, tag="gauges", omit_defaults=True):
    """A handful of readings."""

    readings: tuple[Reading, ...]


class Line(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One line of a series: points of (event time in ms, value), oldest first, None where nothing was measured."""

    label: str
    points: tuple[tuple[int, float | None], ...]


class Series(View, frozen=True, kw_only=True, tag="series", omit_defaults=True):
    """Values over event time."""

    unit: str
    lines: tuple[Line, ...]


class Dot(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One station on a map. ``strength`` 0..1 sizes it; ``standing`` is a word (needed, worked, hears me, …)."""

    key: str
    latitude: Annotated[float, Meta(ge=-90, le=90)]
    longitude: Annotated[float, Meta(ge=-180, le=180)]
    strength: Annotated[float, Meta(ge=0, le=1)]
    standing: str
    label: str
    urgency: Urgency = Urgency.CALM
    sentence: str | None = None


class Map(View, frozen=True, kw_only=True, tag="map", omit_defaults=True):
    """Dots round a centre (degrees, +N, +E); faces draw bearing rings and outlines of their own."""

    centre_latitude: float
    centre_longitude: float
    dots: tuple[Dot, ...]


class Notice(View, frozen=True, kw_only=True, tag="notice", omit_defaults=True):
    """One sentence the operator should read."""

    text: str
    urgency: Urgency = Urgency.NOTE


AnyView = Table | Gauges | Series | Map | Notice


def counted(number: int, one: str, many: str | None = None) -> str:
    """So many of a thing, in the words of a view: ``1 contact``, ``1,204 contacts``; ``many`` where it takes no s."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def minus(number: str) -> str:
    """A number that is written out, ``-12 dB``, as people are shown it, with a true minus sign: ``−12 dB``."""
    return f"−{number[1:]}" if number.startswith("-") else number
