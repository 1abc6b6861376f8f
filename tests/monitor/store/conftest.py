"""A store in a folder of its own, closed behind each test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.monitor.store.making import now
from tests.monitor.store.receivers import TurnedClock

from watchkeeper.store.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(tmp_path, now=now)
    yield opened
    opened.close()


@pytest.fixture
def clock() -> TurnedClock:
    return TurnedClock()
