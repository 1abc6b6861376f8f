"""The promise that the benchmark of look-ups has to keep."""

from __future__ import annotations

import pytest
from tests.benchmarks.lookup import measure


@pytest.mark.long
def test_a_first_look_up_is_a_hundred_times_as_fast_as_the_reference() -> None:
    times = measure()["times_reference"]
    assert isinstance(times, float)
    assert times >= 100
