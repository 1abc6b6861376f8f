"""A page that is open for a day, in a real Chromium beside a real daemon: it is up to date and does not grow."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from tests.benchmarks import band
from tests.benchmarks.daemon import Daemon, serving
from tests.monitor.faces.test_browser import Browser
from tests.monitor.faces.test_browser import browser as browser

from watchkeeper.testing import START_MS

pytestmark = pytest.mark.long

HOURS = 24
PERIODS_PER_HOUR = 240
HEARD = 10
#: periods that are sent at once, so that the page has some hundred changes to draw
AT_ONCE = 12


def hours_of_traffic() -> Iterator[Iterator[list[list[bytes]]]]:
    """Hour by hour: some periods at a time, each with its events."""
    periods = band.periods(START_MS, heard=HEARD)
    for _ in range(HOURS):
        yield (list(islice(periods, AT_ONCE)) for _ in range(PERIODS_PER_HOUR // AT_ONCE))


async def size(tab: Browser) -> dict[str, float]:
    """What the page holds, waste swept out: bytes of its scripts, nodes, listeners."""

    def measured(driver: Any) -> dict[str, float]:
        driver.execute_cdp_cmd("Performance.enable", {})
        driver.execute_cdp_cmd("HeapProfiler.collectGarbage", {})
        found = driver.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
        return {one["name"]: one["value"] for one in found}

    return await tab.do(measured)  # type: ignore[no-any-return]


async def test_a_page_that_is_open_all_day_does_not_grow(browser: Browser, tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:  # of TCP: the browser's driver holds some
        port = free.getsockname()[1]
    with (
        serving(tmp_path, "--page", "--page-port", str(port)) as daemon,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock,
    ):
        await browser.open(f"http://127.0.0.1:{port}/", (390, 844))
        sock.connect(("127.0.0.1", daemon.port))
        sizes, seq = [], 0
        for hour in hours_of_traffic():
            for some in hour:
                for period in some:
                    sock.send(b"[" + b",".join(period) + b"]")
                    seq += len(period)
                assert daemon.covered(band.SOURCE, band.RUN, seq, 20)
            newest = on_the_air(daemon)[0]
            await browser.wait(f"document.body.innerText.includes('{newest}')", 10)
            sizes.append(await size(browser))
        assert await browser.complaints() == []
    for what, most in (("JSHeapUsedSize", 1.25), ("Nodes", 1.25), ("JSEventListeners", 1.0)):
        grown = [one[what] for one in sizes]
        # of five hours, as now and then a sweep is under way still
        assert median(grown[-5:]) <= most * median(grown[3:8]), f"{what} by the hour: {grown}"


def on_the_air(daemon: Daemon) -> list[str]:
    """The calls that the watch heard last, the newest first."""
    views = daemon.ask("/api/snapshot")["views"]
    (table,) = [view for view in views if view["name"] == "lookout.on_the_air"]
    return [row["key"] for row in table["rows"]]
