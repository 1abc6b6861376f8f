"""A watch in the middle of an evening, as plain JSON: what a daemon would tell. All call signs belong to nobody."""

from __future__ import annotations

import copy
from datetime import UTC, datetime
from typing import Any

CLOCK = datetime(2026, 6, 20, 18, 42, 6, tzinfo=UTC)
NOW_MS = round(CLOCK.timestamp() * 1000)


def column(key: str, title: str, *, unit: str | None = None, right: bool = False, keep: int = 5) -> dict[str, Any]:
    return {"key": key, "title": title, "unit": unit, "right": right, "keep": keep}


def row(key: str, *cells: str, urgency: int = 0, sentence: str | None = None, **data: Any) -> dict[str, Any]:
    return {"key": key, "cells": list(cells), "urgency": urgency, "sentence": sentence, "data": data}


LOOKOUT = {
    "form": "table",
    "name": "lookout.ranked",
    "panel": "lookout",
    "title": "Whom to call",
    "rank": 10,
    "columns": [
        column("call", "Call", keep=0),
        column("why", "Why", keep=1),
        column("chance", "Chance", right=True, keep=2),
        column("snr", "SNR", right=True, keep=3),
        column("strength", "Strength", keep=6),
        column("age", "Age", right=True, keep=4),
    ],
    "rows": [
        row(
            "CE3QRA", "CE3QRA", "first Chile for you on 20 m", "70 %", "−12 dB", "weak", "now",
            urgency=3, sentence="first Chile for you on 20 m", call="CE3QRA", band="20 m", mode="FT8",
            parity=0, offset_hz=1432.0, snr_db=-12.0, chance=0.7, hail="new-entity/CE/20 m",
        ),
        row(
            "JA1QRV", "JA1QRV", "first locator PM95 here", "40 %", "−18 dB", "very weak", "15 s",
            urgency=2, sentence="first locator PM95 on 20 m, 9,280 km", call="JA1QRV", band="20 m", mode="FT8",
            parity=1, offset_hz=655.0, snr_db=-18.0, chance=0.4,
        ),
        row(
            "VK5QSD", "VK5QSD", "Australia, unconfirmed", "25 %", "−19 dB", "very weak", "45 s",
            urgency=1, sentence="Australia is worked, not confirmed", call="VK5QSD", band="20 m", parity=0, snr_db=-19,
        ),
        row("W1QSB", "W1QSB", "calls you", "90 %", "−3 dB", "strong", "now", call="W1QSB", band="20 m", parity=0),
        row("OH2QTE", "OH2QTE", "new on 40 m", "80 %", "+4 dB", "strong", "30 s", call="OH2QTE", band="40 m", parity=1),
    ],
}  # fmt: skip
ON_THE_AIR = {
    "form": "table",
    "name": "stations",
    "panel": "on_the_air",
    "title": "Stations",
    "rank": 10,
    "columns": [
        column("call", "Call", keep=0),
        column("doing", "Doing", keep=1),
        column("entity", "Entity", keep=5),
        column("km", "km", right=True, keep=6),
        column("snr", "SNR", unit="dB", right=True, keep=2),
        column("offset", "Offset", unit="Hz", right=True, keep=4),
        column("age", "Age", right=True, keep=3),
    ],
    "rows": [
        row("W1QSB", "W1QSB", "calls you", "United States", "5,890", "−3", "1,204", "now",
            urgency=3, sentence="calls you since 18:41:30, lacks your report", call="W1QSB", band="20 m", snr_db=-3.0,
            to_me=True, parity=0, lacks="report, acknowledgement"),
        row("G4QRT", "G4QRT", "calls you", "England", "640", "+2", "1,904", "15 s",
            urgency=3, call="G4QRT", band="20 m", snr_db=2.0, to_me=True, parity=0),
        row("CE3QRA", "CE3QRA", "calls everyone", "Chile", "12,100", "−12", "1,432", "now", call="CE3QRA", band="20 m"),
        row("JA1QRV", "JA1QRV", "just became free", "Japan", "9,280", "−18", "655", "15 s", call="JA1QRV", band="20 m"),
        *[
            row(f"I{n}QSW", f"I{n}QSW", "reports to EA4QSX", "Italy", f"{700 + n}", f"−{n}", f"{900 + 40 * n}", "30 s",
                call=f"I{n}QSW", band="20 m")
            for n in range(1, 10)
        ],
    ],
}  # fmt: skip
OPENINGS = {
    "form": "table",
    "name": "openings",
    "panel": "openings",
    "title": "By band and direction",
    "columns": [
        column("band", "Band", keep=0),
        column("to", "To", keep=1),
        column("stations", "Stations", right=True, keep=2),
        column("rate", "per period", right=True, keep=4),
        column("best", "Best", unit="dB", right=True, keep=3),
        column("far", "Farthest", unit="km", right=True, keep=5),
        column("trend", "Trend", keep=3),
    ],
    "rows": [
        row("20/NA", "20 m", "North America", "14", "5.2", "−3", "8,120", "rising", band="20 m",
            sentence="20 m: open to North America, rising"),
        row("20/SA", "20 m", "South America", "3", "0.8", "−12", "12,100", "new", urgency=1, band="20 m",
            sentence="20 m: opens to South America"),
        row("20/EU", "20 m", "Europe", "31", "11.4", "+9", "3,010", "steady", band="20 m",
            sentence="20 m: open to Europe"),
        row("40/EU", "40 m", "Europe", "4", "1.0", "+4", "2,100", "falling", band="40 m",
            sentence="40 m: closing to Europe"),
    ],
}  # fmt: skip
REACH_MAP = {
    "form": "map",
    "name": "reach.map",
    "panel": "reach",
    "title": "Who hears me",
    "rank": 20,
    "centre_latitude": 50.5,
    "centre_longitude": 9.0,
    "dots": [
        {"key": "W1QSB", "latitude": 42.0, "longitude": -71.0, "strength": 0.6, "standing": "hears me",
         "label": "W1QSB", "sentence": "W1QSB hears you with −11 dB"},
        {"key": "EA8QRP", "latitude": 28.0, "longitude": -15.5, "strength": 0.8, "standing": "hears me",
         "label": "EA8QRP"},
        {"key": "CE3QRA", "latitude": -33.4, "longitude": -70.7, "strength": 0.4, "standing": "needed",
         "label": "CE3QRA", "urgency": 3, "sentence": "first Chile for you on 20 m"},
        {"key": "G4QRT", "latitude": 52.0, "longitude": -1.0, "strength": 0.9, "standing": "worked",
         "label": "G4QRT"},
    ],
}  # fmt: skip
REACH_RATE = {
    "form": "series",
    "name": "reach.rate",
    "panel": "reach",
    "title": "Receptions",
    "rank": 30,
    "unit": "/min",
    "lines": [
        {"label": "20 m", "points": [[NOW_MS - 60_000 * (20 - n), [2, 3, 5, 8, 4][n % 5]] for n in range(20)]},
        {"label": "40 m", "points": [[NOW_MS - 60_000 * (20 - n), None if n < 8 else n / 2] for n in range(20)]},
    ],
    "missing": "With `reception` events this shows who hears you within minutes.",
}
VITALS = {
    "form": "gauges",
    "name": "vitals",
    "panel": "vitals",
    "title": "Vitals",
    "readings": [
        {"key": "clock", "label": "Clock", "text": "good, 0.1 s"},
        {"key": "passband", "label": "Passband", "text": "wide enough"},
        {"key": "drive", "label": "Drive", "text": "clean, ALC 3 %", "value": 0.03, "low": 0.0, "high": 1.0},
        {"key": "match", "label": "Match", "text": "SWR 1.9, rising", "value": 1.9, "urgency": 2,
         "sentence": "the match went from 1.3 to 1.9 in ten minutes: look at the antenna"},
        {"key": "battery", "label": "Battery", "text": "2 h 10 min left", "value": 0.61, "low": 0.0, "high": 1.0},
    ],
}  # fmt: skip
LOG = {
    "form": "table",
    "name": "log",
    "panel": "log",
    "title": "Newest contacts",
    "columns": [
        column("time", "UTC", keep=1),
        column("call", "Call", keep=0),
        column("band", "Band", keep=3),
        column("reports", "Reports", keep=4),
        column("sent_on", "Forwarded", keep=2),
    ],
    "rows": [
        row("3", "18:40:45", "EA8QRP", "20 m", "−05 / −11", "waiting", call="EA8QRP", band="20 m"),
        row("2", "18:36:15", "SP9QRO", "20 m", "+02 / −04", "yes", call="SP9QRO", band="20 m"),
        row("1", "18:31:45", "ON4QSY", "40 m", "+11 / +01", "yes", call="ON4QSY", band="40 m"),
    ],
}
HAILS = [
    {"key": "vital/match", "urgency": 2, "sentence": "SWR has risen to 1.9", "rule": "vitals",
     "at_ms": NOW_MS - 95_000},
    {"key": "new-entity/CE/20 m", "urgency": 3, "sentence": "CE3QRA: first Chile for you on 20 m", "rule": "new entity",
     "at_ms": NOW_MS - 6_000, "call": "CE3QRA", "band": "20 m",
     "reasons": ["first Chile for you on 20 m", "heard twice", "path in twilight"]},
]  # fmt: skip
SNAPSHOT: dict[str, Any] = {
    "v": 1,
    "event_clock": "2026-06-20T18:42:06Z",
    "period": {"source": "decoder", "mode": "FT8", "band": "20 m", "start": "2026-06-20T18:42:00Z", "parity": 0,
               "length_s": 15.0, "closed": False},
    "own": {"call": "DL5QRM", "locator": "JO40", "power_w": 10.0, "dial_hz": 14_074_000, "mode": "FT8",
            "send_parity": 1},
    "covers": {"decoder": {"run": "r1", "seq": 41}},
    "views": [LOOKOUT, ON_THE_AIR, OPENINGS, REACH_MAP, REACH_RATE, VITALS, LOG],
    "hails": HAILS,
    "contacts": 12,
}  # fmt: skip
STATUS: dict[str, Any] = {
    "data_dir": "data",
    "adif_path": "data/contacts-2026-06-20.adi",
    "sources": {"decoder": {"run": "r1"}},
    "intake": {"received": 4012, "accepted": 4009, "rejected": {"not-json": 3}, "lost": 2, "shed": 0,
               "buffer_bytes": 4_194_304},
    "outbox": {
        "file": {"waiting": 0, "delivered": 12, "dead": 0, "down_since": None, "oldest_s": None, "why": None},
        "web log": {"waiting": 1, "delivered": 11, "dead": 0, "down_since": "2026-06-20T18:40:50Z", "oldest_s": 76.0,
                    "why": "connection refused"},
    },
    "plugins": [
        {"name": "lookout", "distribution": "watchkeeper", "state": "running", "reason": None, "calls": 4009,
         "mean_us": 31.2, "max_ms": 1.4},
    ],
    "notices": [],
}  # fmt: skip


def snapshot(**changes: Any) -> dict[str, Any]:
    """A copy of the scene with some of its keys replaced."""
    return {**copy.deepcopy(SNAPSHOT), **changes}


def status(**changes: Any) -> dict[str, Any]:
    """A copy of the status with some of its keys replaced."""
    return {**copy.deepcopy(STATUS), **changes}
