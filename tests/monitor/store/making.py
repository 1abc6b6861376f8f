"""What the tests of the store share: contacts that belong to nobody, and a clock that stands."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from watchkeeper.model import Contact

NOW = datetime(2026, 5, 1, 21, 20, tzinfo=UTC)
STARTED_MS = 1_777_670_100_000  # 2026-05-01 21:15:00 UTC


def now() -> datetime:
    """The same moment, always."""
    return NOW


def contact(source_id: str = "1", **changes: Any) -> Contact:
    """A contact of DL5QRM with W1QSB on 20 m."""
    values: dict[str, Any] = {
        "key": f"DL5QRM|shack|{source_id}",
        "source": "shack",
        "source_id": source_id,
        "call": "W1QSB",
        "started_ms": STARTED_MS,
        "ended_ms": STARTED_MS + 75_000,
        "band": "20m",
        "frequency_hz": 14_075_523,
        "mode": "FT8",
        "station_call": "DL5QRM",
    }
    return Contact(**(values | changes))
