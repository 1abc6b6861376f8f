"""The report's figures, drawn by matplotlib (extra ``report``), which is imported only here and only when asked.

Colours are those of Okabe and Ito; lines also differ by dash and marker, so that a black and white print is readable.
"""

from __future__ import annotations

import io
import json
import math
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from typing import Any

from ..words import SECTORS, band_words
from .facts import ContactLine, Report, bands

# the library's own types want numbers where it takes times, and are there only where it is
Axes = Any
Figure = Any

COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
DASHES = ("-", "--", "-.", ":")
HATCHES = ("", "//", "..", "xx")
MARKS = ("o", "s", "^", "D", "v", "x", "+")
INK = "#10161c"
WIDTH_IN = 7.5
A4_IN = (8.27, 11.69)
HALF_WAY_KM = math.pi * 6371.0088  # IUGG mean radius
RINGS_KM = (5000, 10000, 15000)
#: longer steps of a projected coast (in units of the map's radius) cross the antipode
LONGEST_STEP = 0.25
STYLE = {
    "svg.fonttype": "none",  # text stays text: it can be read, searched and copied
    "svg.hashsalt": "watchkeeper",
    "text.parse_math": False,  # a dollar sign is a dollar sign
    "font.family": "sans-serif",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#d5dadf",
    "axes.edgecolor": INK,
}


class NoPlotsError(Exception):
    """The plotting library is missing; the message says how to get it."""


Drawing = tuple[str, Figure]


def figures(report: Report) -> Iterator[Drawing]:
    """Caption and figure of everything that there is something to draw of. Raises NoPlotsError."""
    for caption, wanted, draw in _DRAWINGS:
        if wanted(report):
            with _styled():
                figure = draw(report)
            yield caption, figure


def svg(figure: Figure) -> str:
    """The figure as an ``<svg>`` element, the same bytes every time."""
    target = io.StringIO()
    with _styled():
        figure.savefig(target, format="svg", bbox_inches="tight", metadata={"Date": None})
    text = target.getvalue()
    return text[text.index("<svg") :]


@contextmanager
def pdf_writer(target: Path, title: str) -> Iterator[Callable[[Figure], None]]:
    """Takes figures as the pages of a PDF in ``target``."""
    with _styled():
        from matplotlib.backends.backend_pdf import PdfPages

        with PdfPages(target, metadata={"Title": title, "CreationDate": None}) as pages:
            yield pages.savefig


def text_page(lines: Sequence[str]) -> Figure:
    """Lines of text on an A4 page."""
    with _styled() as new_figure:
        figure = new_figure(figsize=A4_IN)
        figure.text(0.07, 0.96, "\n".join(lines), family="monospace", fontsize=8.5, va="top", linespacing=1.35)
    return figure


@contextmanager
def _styled() -> Iterator[Callable[..., Figure]]:
    """Our style for a while, and what makes a figure that no global list keeps alive."""
    try:
        import matplotlib as mpl
        from matplotlib.figure import Figure as NewFigure
    except ImportError as error:
        raise NoPlotsError("the plots of a report need matplotlib: pip install 'watchkeeper[report]'") from error
    with mpl.rc_context(STYLE), warnings.catch_warnings():
        # a letter that the font lacks is drawn as a box, which says enough
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        yield NewFigure


def _axes(height_in: float) -> tuple[Figure, Axes]:
    with _styled() as new_figure:
        figure = new_figure(figsize=(WIDTH_IN, height_in), layout="constrained")
        return figure, figure.subplots()


def _moment(at_ms: int) -> datetime:
    return datetime.fromtimestamp(at_ms / 1000, UTC)


def _over_time(axes: Axes, report: Report) -> None:
    import matplotlib.dates as dates

    axes.set_xlim(_moment(report.started_ms), _moment(max(report.ended_ms, report.started_ms + report.bin_ms)))
    axes.xaxis.set_major_formatter(dates.DateFormatter("%H:%M", tz=UTC))
    axes.set_xlabel("UTC")


def _rate(report: Report) -> Figure:
    figure, axes = _axes(2.8)
    for at, band in enumerate(bands(report)):
        points = [one for one in report.bins if one.band == band]
        axes.plot(
            [_moment(one.at_ms + report.bin_ms // 2) for one in points],
            [one.hearings / one.periods for one in points],
            label=band_words(band),
            color=COLOURS[at % len(COLOURS)],
            linestyle=DASHES[at % len(DASHES)],
            marker=MARKS[at % len(MARKS)],
            markersize=3,
        )
    axes.set_ylabel("hearings per period")
    axes.set_ylim(bottom=0)
    axes.legend(frameon=False)
    _over_time(axes, report)
    return figure


def _snr(report: Report) -> Figure:
    figure, axes = _axes(2.8)
    for at, band in enumerate(bands(report)):
        points = [one for one in report.bins if one.band == band]
        times: Any = [_moment(one.at_ms + report.bin_ms // 2) for one in points]
        colour = COLOURS[at % len(COLOURS)]
        axes.plot(
            times,
            [one.snr_median_db for one in points],
            label=f"{band_words(band)}: median, and the middle half",
            color=colour,
            linestyle=DASHES[at % len(DASHES)],
        )
        low, high = [one.snr_low_db for one in points], [one.snr_high_db for one in points]
        axes.fill_between(times, low, high, color=colour, alpha=0.15, linewidth=0)
    axes.set_ylabel("SNR, dB")
    axes.legend(frameon=False)
    _over_time(axes, report)
    return figure


def _reach(report: Report) -> Figure:
    """Stations by direction, stacked by ring of distance: those heard, and beside them those that heard us."""
    sides = [("heard", "stations heard")]
    if any(one.hear_us for one in report.directions):
        sides.append(("hear_us", "stations that heard the own one"))
    with _styled() as new_figure:
        figure = new_figure(figsize=(WIDTH_IN, 2.8), layout="constrained")
        row = figure.subplots(1, len(sides), squeeze=False)
    sectors = [name for name in SECTORS if any(one.sector == name for one in report.directions)]
    rings = sorted({(one.from_km, one.to_km) for one in report.directions})
    for axes, (key, words) in zip(row[0], sides, strict=True):
        base = [0] * len(sectors)
        for at, ring in enumerate(rings):
            found = {one.sector: getattr(one, key) for one in report.directions if (one.from_km, one.to_km) == ring}
            values = [found.get(name, 0) for name in sectors]
            axes.bar(
                sectors,
                values,
                bottom=base,
                label=f"{ring[0]:,}–{ring[1]:,} km",
                color=COLOURS[at % len(COLOURS)],
                hatch=HATCHES[at % len(HATCHES)],
                edgecolor="white",
            )
            base = [a + b for a, b in zip(base, values, strict=True)]
        axes.set_title(words, fontsize=9)
        axes.grid(visible=False, axis="x")
    row[0][0].legend(frameon=False, fontsize=8)
    return figure


def _supply(report: Report) -> Figure:
    figure, axes = _axes(2.4)
    volts = [one for one in report.gauges if one.supply_v is not None]
    axes.plot([_moment(o.at_ms) for o in volts], [o.supply_v for o in volts], color=COLOURS[0], label="supply, V")
    axes.set_ylabel("V")
    host = [one for one in report.gauges if one.host_battery_fraction is not None]
    if host:
        other = axes.twinx()
        times: Any = [_moment(one.at_ms) for one in host]
        other.plot(times, [100 * (one.host_battery_fraction or 0) for one in host], COLOURS[1], linestyle="--")
        other.set_ylabel("computer's battery, % (dashed)")
        other.set_ylim(0, 100)
    _over_time(axes, report)
    return figure


def _match(report: Report) -> Figure:
    figure, axes = _axes(2.2)
    points = [one for one in report.gauges if one.swr is not None]
    axes.plot([_moment(one.at_ms) for one in points], [one.swr for one in points], ".", color=COLOURS[1])
    axes.set_ylabel("SWR")
    axes.set_ylim(bottom=1)
    _over_time(axes, report)
    return figure


def _map(report: Report) -> Figure:
    """Azimuthal equidistant round the own station: every direction and distance from it is true."""
    figure, axes = _axes(5.0)
    assert report.own_latitude is not None
    assert report.own_longitude is not None
    centre = (report.own_latitude, report.own_longitude)
    for line in _coasts():
        for piece in _pieces([projected(centre, latitude, longitude) for latitude, longitude in line]):
            axes.plot([x for x, _ in piece], [y for _, y in piece], color="#7a858f", linewidth=0.5)
    for km in (*RINGS_KM, HALF_WAY_KM):
        _circle(axes, km / HALF_WAY_KM)
    for km in RINGS_KM:
        axes.annotate(f"{km:,} km", (0.01, km / HALF_WAY_KM), fontsize=6, color="#4a5560")
    for name, angle in (("N", 0), ("E", 90), ("S", 180), ("W", 270)):
        bearing = math.radians(angle)
        place = (1.06 * math.sin(bearing), 1.06 * math.cos(bearing))
        axes.annotate(name, place, ha="center", va="center")
    by_band: dict[str, list[ContactLine]] = {}
    for contact in report.contacts:
        if contact.latitude is not None and contact.longitude is not None:
            by_band.setdefault(contact.band or "unknown band", []).append(contact)
    for at, (band, contacts) in enumerate(by_band.items()):
        spots = [projected(centre, c.latitude or 0.0, c.longitude or 0.0) for c in contacts]
        axes.scatter(
            [x for x, _ in spots],
            [y for _, y in spots],
            label=f"contacts on {band_words(band)}",
            color=COLOURS[at % len(COLOURS)],
            marker=MARKS[at % len(MARKS)],
            s=24,
            zorder=3,
        )
    axes.plot([0], [0], marker="+", color=INK, markersize=9)
    axes.set_aspect("equal")
    axes.axis("off")
    if by_band:
        axes.legend(loc="lower left", frameon=False)
    return figure


def _circle(axes: Axes, radius: float) -> None:
    turns = [math.radians(step) for step in range(0, 361, 3)]
    axes.plot(
        [radius * math.sin(t) for t in turns], [radius * math.cos(t) for t in turns], color="#c9d0d6", linewidth=0.7
    )


def projected(centre: tuple[float, float], latitude: float, longitude: float) -> tuple[float, float]:
    """A place (degrees) on the map round ``centre``: the antipode lies on the circle of radius 1, north is up."""
    a, b = math.radians(centre[0]), math.radians(latitude)
    turn = math.radians(longitude - centre[1])
    east = math.sin(turn) * math.cos(b)
    north = math.cos(a) * math.sin(b) - math.sin(a) * math.cos(b) * math.cos(turn)
    up = math.sin(a) * math.sin(b) + math.cos(a) * math.cos(b) * math.cos(turn)
    side = math.hypot(east, north)
    reach = math.atan2(side, up) / math.pi
    return (reach * east / side, reach * north / side) if side else (0.0, 0.0)


def _pieces(points: Sequence[tuple[float, float]]) -> Iterator[list[tuple[float, float]]]:
    piece: list[tuple[float, float]] = []
    for point in points:
        if piece and math.dist(piece[-1], point) > LONGEST_STEP:
            yield piece
            piece = []
        piece.append(point)
    yield piece


def _coasts() -> Iterator[list[tuple[float, float]]]:
    """The coastlines of the live page, as (latitude, longitude) in degrees."""
    text = resources.files("watchkeeper.faces.page").joinpath("static", "land.json").read_text(encoding="utf-8")
    for flat in json.loads(text)["lines"]:
        longitude = latitude = 0
        line = []
        for dx, dy in zip(flat[::2], flat[1::2], strict=True):
            longitude, latitude = longitude + dx, latitude + dy
            line.append((latitude / 10, longitude / 10))
        yield line


_DRAWINGS: tuple[tuple[str, Callable[[Report], bool], Callable[[Report], Figure]], ...] = (
    ("Where the contacts are", lambda report: report.own_latitude is not None, _map),
    ("Hearings per period", lambda report: bool(report.bins), _rate),
    ("How strong they were", lambda report: bool(report.bins), _snr),
    ("Reach by direction and distance", lambda report: bool(report.directions), _reach),
    ("Supply", lambda report: any(one.supply_v is not None for one in report.gauges), _supply),
    ("Match of the antenna", lambda report: any(one.swr is not None for one in report.gauges), _match),
)
