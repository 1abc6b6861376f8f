"""The session report: true sentences, figures of what there is, one file without anything to run or fetch."""

from __future__ import annotations

import csv
import io
import json
import math
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import msgspec
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from tests.monitor.faces import scenes
from tests.monitor.faces.test_clean import HOSTILE

from watchkeeper.faces.report import html, pdf, plots, sheet
from watchkeeper.faces.report.facts import Report, quartiles
from watchkeeper.faces.report.words import summary, title

START = scenes.NOW_MS


def facts(**changes: Any) -> Report:
    """A short activation."""
    plain = {
        "watchkeeper": "1.0",
        "session": 7,
        "started_ms": START,
        "ended_ms": START + 3_600_000,
        "running": False,
        "own": {"call": "DL5QRM/P", "locator": "JO50", "power_w": 10.0, "activations": [["PARKS", "XX-0000"]]},
        "own_latitude": 50.5,
        "own_longitude": 11.0,
        "hearings": 410,
        "stations": 88,
        "transmissions": 21,
        "receptions": 4,
        "events_lost": 1,
        "farthest_call": "VK5QSD",
        "farthest_km": 15_900.4,
        "contacts": [
            {"call": "W1QSB", "started_ms": START, "ended_ms": START + 60_000, "band": "20m", "mode": "FT8",
             "report_sent": "-03", "report_received": "-11", "entity": "United States", "latitude": 42.0,
             "longitude": -71.0, "distance_km": 5890.2, "forwarded": {"file": "delivered", "web log": "waiting"}},
            {"call": "G4QRT", "started_ms": START, "ended_ms": START + 120_000, "band": "40m", "mode": "FT8"},
        ],
        "hails": scenes.HAILS,
        "happenings": [{"at_ms": START, "sentence": "decoder tuned to 14.0740 MHz, FT8."}],
        "bins": [
            {"at_ms": START + 60_000 * n, "band": band, "periods": 4, "hearings": 40 + n, "stations": 20,
             "snr_low_db": -18.0, "snr_median_db": -9.0 + n, "snr_high_db": 1.0}
            for n in range(3) for band in ("20m", "40m")
        ],
        "directions": [
            {"sector": "W", "from_km": 4000, "to_km": 8000, "heard": 9, "hear_us": 2},
            {"sector": "E", "from_km": 0, "to_km": 1500, "heard": 4, "hear_us": 0},
        ],
        "gauges": [
            {"at_ms": START + 60_000 * n, "supply_v": 13.2 - n / 10, "swr": 1.3, "host_battery_fraction": 0.9 - n / 50}
            for n in range(5)
        ],
        "views": scenes.snapshot()["views"],
    }  # fmt: skip
    return msgspec.convert({**plain, **changes}, Report)


class Reader(HTMLParser):
    """Collects what a browser would make of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.text: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def test_the_summary_tells_the_session() -> None:
    assert title(facts()) == "DL5QRM/P, 20 June 2026"
    assert list(summary(facts())) == [
        "The watch stood from 18:42 to 19:42 UTC, 60 min.",
        "DL5QRM/P in JO50 with 10 W, activating PARKS XX-0000; 21 transmissions.",
        "2 contacts: 1 on 20 m, 1 on 40 m; 1 entity; the farthest with W1QSB, 5,890 km.",
        "88 stations heard in 410 hearings, most of them on 20 m, 40 m.",
        "The farthest station heard was VK5QSD, 15,900 km away.",
        "4 receptions by others told where the own signal was heard.",
        "Forwarding: file: 1 delivered; web log: 1 waiting.",
        "1 event from the source was lost on the way.",
    ]


def test_an_empty_session_has_a_report_too() -> None:
    bare = Report(watchkeeper="1.0", session=1, started_ms=START, ended_ms=START, running=True, own=facts().own)
    assert "No contact was logged." in list(summary(bare))
    assert "<h1>" in html.page(bare)


def test_the_page_stands_alone_and_holds_everything() -> None:
    page = html.page(facts())
    reader = Reader(page)
    text = " ".join(reader.text)
    for needed in (
        "W1QSB",
        "G4QRT",
        "−05 / −11",
        "−03",
        "Where the contacts are",
        "SWR 1.9, rising",
        "decoder tuned to",
    ):
        assert needed in text
    assert not reader.tags & {"script", "img", "iframe", "object", "link", "form", "base"}
    assert not {name for name in reader.attributes if name.startswith("on")} | (reader.attributes & {"src", "href"})
    assert page.count("<svg") == 6
    assert html.page(facts()) == page


@settings(max_examples=5, deadline=None)
@given(HOSTILE)
def test_hostile_text_is_text_in_the_page(text: str) -> None:
    hostile = f'{text}</svg></style><script>alert("$1")</script><img src=x onerror=y>&lt;'
    contact = {"call": hostile, "started_ms": 0, "ended_ms": 0, "band": hostile, "mode": hostile, "entity": hostile,
               "latitude": 1.0, "longitude": 1.0, "forwarded": {hostile: hostile}}  # fmt: skip
    views = scenes.snapshot()["views"]
    views[2]["rows"][0]["cells"][1] = views[2]["title"] = hostile
    page = html.page(
        facts(
            own={"call": hostile},
            contacts=[contact],
            hails=[{"key": hostile, "urgency": 3, "sentence": hostile, "at_ms": 1}],
            happenings=[{"at_ms": 1, "sentence": hostile}],
            bins=[],
            gauges=[],
            directions=[],
            views=views,
        )
    )
    reader = Reader(page)
    assert not reader.tags & {"script", "img"}
    assert all(character.isprintable() or character in "\n\t" for character in page)


def test_the_sheet_holds_the_contacts() -> None:
    rows = list(csv.DictReader(io.StringIO(sheet.contacts(facts()))))
    assert [row["call"] for row in rows] == ["W1QSB", "G4QRT"]
    assert rows[0]["received"] == "-11"
    assert rows[0]["start"] == "2026-06-20 18:42:06"
    assert (rows[0]["web log"], rows[1]["web log"]) == ("waiting", "")


@given(HOSTILE)
def test_no_cell_of_the_sheet_runs(text: str) -> None:
    contact = {"call": f"={text}", "started_ms": 0, "ended_ms": 0, "mode": f"@{text}", "entity": f"+{text}|x",
               "forwarded": {f"-{text}": f"\t={text}"}}  # fmt: skip
    for row in csv.reader(io.StringIO(sheet.contacts(facts(contacts=[contact])))):
        for cell in row:
            assert not cell.startswith(("=", "@", "\t", "\r", "|", "%"))
            assert not cell.startswith(("+", "-")) or float(cell.rstrip("dBHzkmWVs ").replace(",", ".")) is not None


def test_a_pdf_is_one(tmp_path: Path) -> None:
    target, told = tmp_path / "report.pdf", list[str]()
    pdf.write(facts(), target, told.append)
    data = target.read_bytes()
    assert data.startswith(b"%PDF-")  # ISO 32000-1, 7.5.2
    assert told == ["Where the contacts are", *(caption for caption, _ in plots.figures(facts()))][1:]
    assert data.count(b"/Type /Page ") == len(told) + 2


def test_the_map_is_true_from_its_centre() -> None:
    """Distances and azimuths against GeographicLib; a sphere is off by 0.56 % and some tenths of a degree."""
    for place in ((42.0, -71.0), (-33.4, -70.7), (35.7, 139.7), (50.5, 11.0)):
        truth = Geodesic.WGS84.Inverse(50.5, 11.0, *place)
        x, y = plots.projected((50.5, 11.0), *place)
        assert math.hypot(x, y) * plots.HALF_WAY_KM == pytest.approx(truth["s12"] / 1000, rel=0.0056)
        if truth["s12"]:
            turn = math.degrees(math.atan2(x, y)) - truth["azi1"]
            assert abs((turn + 180) % 360 - 180) < 0.5


def test_quartiles_by_nearest_rank() -> None:
    assert quartiles([5.0]) == (5.0, 5.0, 5.0)
    assert quartiles(range(1, 6)) == (2, 3, 4)


def test_the_json_form_reads_back() -> None:
    assert msgspec.json.decode(msgspec.json.encode(facts()), type=Report) == facts()
    assert json.loads(msgspec.json.encode(facts()))["session"] == 7
