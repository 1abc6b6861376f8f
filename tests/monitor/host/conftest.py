"""What all tests of the plugin host share."""

from __future__ import annotations

import logging

import pytest


@pytest.fixture(autouse=True)
def _quiet(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.CRITICAL)
