"""The report as one HTML file that needs nothing else: to read, to print, to hand on."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from html import escape
from importlib import resources

from ...view import Gauges, Notice, Panel, Table, View, minus
from ..words import PANEL_NAMES, URGENCY_WORDS, band_words
from .facts import Report, cleaned
from .plots import figures, svg
from .words import summary, title, when

Progress = Callable[[str], None]


def page(report: Report, progress: Progress = lambda _: None) -> str:
    """The whole file. Raises NoPlotsError where the plotting library is missing."""
    report = cleaned(report)
    style = resources.files(__package__).joinpath("report.css").read_text(encoding="utf-8")
    parts = [
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
        f"<title>{escape(title(report))}</title>\n<style>\n{style}</style>\n</head>\n<body>",
        f"<h1>{escape(title(report))}</h1>",
        _list(summary(report), "summary"),
    ]
    for caption, figure in figures(report):
        progress(caption)
        parts.append(f'<section><h2>{escape(caption)}</h2><figure role="img" aria-label="{escape(caption)}">')
        parts.append(f"{svg(figure)}</figure></section>")
    progress("tables")
    parts += [_contacts(report), _hails(report), *_views(report.views), _happenings(report)]
    parts.append(f"<footer>Watchkeeper {escape(report.watchkeeper)}, session {report.session}. All times UTC.</footer>")
    return "\n".join(part for part in parts if part) + "\n</body>\n</html>\n"


def _contacts(report: Report) -> str:
    if not report.contacts:
        return ""
    names = sorted({name for contact in report.contacts for name in contact.forwarded})
    head = ["UTC", "Call", "Band", "Mode", "Sent", "Received", "Locator", "Entity", "km", *names]
    rows = (
        [
            when(one.ended_ms),
            one.call,
            band_words(one.band or ""),
            one.mode,
            minus(one.report_sent or ""),
            minus(one.report_received or ""),
            one.locator or "",
            one.entity or "",
            "" if one.distance_km is None else f"{one.distance_km:,.0f}",
            *(one.forwarded.get(name, "") for name in names),
        ]
        for one in report.contacts
    )
    return _section("Contacts", _table(head, rows))


def _hails(report: Report) -> str:
    rows = [[when(one.at_ms), URGENCY_WORDS[one.urgency], one.sentence, ", ".join(one.reasons)] for one in report.hails]
    return _section("Hails", _table(["UTC", "Urgency", "Hail", "Because"], rows)) if rows else ""


def _happenings(report: Report) -> str:
    rows = [[when(one.at_ms), one.sentence] for one in report.happenings]
    return _section("What happened when", _table(["UTC", "What"], rows)) if rows else ""


def _views(views: Sequence[View]) -> Iterator[str]:
    """What the plugins showed at the end, but the moment's advice, which is over."""
    for panel in (Panel.OPENINGS, Panel.REACH, Panel.VITALS, Panel.LOG):
        chosen = sorted((view for view in views if view.panel is panel), key=lambda view: (view.rank, view.name))
        body = "".join(_view(view) for view in chosen)
        if body:
            yield _section(PANEL_NAMES[panel], body)


def _view(view: View) -> str:
    match view:
        case Table() if view.rows:
            head = [f"{column.title} {column.unit or ''}".strip() for column in view.columns]
            return f"<h3>{escape(view.title)}</h3>" + _table(head, (row.cells for row in view.rows))
        case Gauges():
            rows = ([one.label, one.text, one.sentence or ""] for one in view.readings)
            return f"<h3>{escape(view.title)}</h3>" + _table(["", "Reading", ""], rows)
        case Notice():
            return f"<p>{escape(view.text)}</p>"
        case _:
            return ""


def _section(name: str, body: str) -> str:
    return f"<section><h2>{escape(name)}</h2>{body}</section>"


def _list(lines: Iterable[str], name: str) -> str:
    return f'<ul class="{name}">' + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    titles = "".join(f'<th scope="col">{escape(name)}</th>' for name in head)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{titles}</tr></thead><tbody>{body}</tbody></table>"
