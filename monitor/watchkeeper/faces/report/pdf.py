"""The report as a PDF to print: sentences and contacts on A4 pages, the figures between them."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path

from ...view import minus
from ..words import band_words
from .facts import Report, cleaned
from .plots import figures, pdf_writer, text_page
from .words import summary, title, when

LINES_PER_PAGE = 62
COLUMNS = 92
Progress = Callable[[str], None]


def write(report: Report, target: Path, progress: Progress = lambda _: None) -> None:
    """Write the report to ``target``. Raises NoPlotsError where the plotting library is missing, and OSError."""
    report = cleaned(report)
    with pdf_writer(target, title(report)) as put:
        for page in _pages(list(_opening(report))):
            put(text_page(page))
        for caption, figure in figures(report):
            progress(caption)
            figure.suptitle(caption, fontsize=10)
            put(figure)
        for page in _pages(list(_lists(report))):
            put(text_page(page))


def _opening(report: Report) -> Iterator[str]:
    yield title(report)
    yield ""
    for sentence in summary(report):
        yield from textwrap.wrap(sentence, COLUMNS, subsequent_indent="  ")
    yield ""
    yield f"Watchkeeper {report.watchkeeper}, session {report.session}. All times UTC."


def _lists(report: Report) -> Iterator[str]:
    if report.contacts:
        yield "CONTACTS"
    for one in report.contacts:
        distance = "" if one.distance_km is None else f"{one.distance_km:,.0f} km"
        reports = f"{minus(one.report_sent or '')} / {minus(one.report_received or '')}"
        where = f"{one.locator or '':<7}{(one.entity or '')[:26]:<27}{distance}"
        yield f"{when(one.ended_ms)}  {one.call:<12}{band_words(one.band or ''):<7}{one.mode:<6}{reports:<12}{where}"
    if report.hails:
        yield ""
        yield "HAILS"
    for hail in report.hails:
        yield from textwrap.wrap(f"{when(hail.at_ms)}  {hail.sentence}", COLUMNS, subsequent_indent="       ")


def _pages(lines: list[str]) -> Iterator[list[str]]:
    for start in range(0, len(lines), LINES_PER_PAGE):
        yield lines[start : start + LINES_PER_PAGE]
