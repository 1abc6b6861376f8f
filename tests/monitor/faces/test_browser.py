"""The live page in a real Chromium: what it shows, how soon, how it comes back, and what it must never do.

Needs Chromium with its driver and the extra ``browser``.
"""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import AsyncIterator, Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from tests.monitor.faces import scenes
from tests.monitor.faces.test_source import Watch

from watchkeeper.faces.page.opening import OpenPage, open_page

pytestmark = pytest.mark.long

PHONE = (390, 844)
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
HOSTILE = '<img src=x onerror="document.title=1">\x1b[31m\u202e{{7*7}}=1+1</script><script>document.title=2</script>'


class Browser:
    """One tab, driven from a thread."""

    def __init__(self, driver: Any) -> None:
        self._driver = driver

    async def do(self, call: Callable[[Any], Any]) -> Any:
        return await asyncio.to_thread(call, self._driver)

    async def open(self, url: str, size: tuple[int, int] = (1280, 900)) -> None:
        metrics = {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": size[0] < 600}
        await self.do(lambda driver: driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics))
        await self.do(lambda driver: driver.get(url))

    async def ask(self, script: str) -> Any:
        return await self.do(lambda driver: driver.execute_script(f"return {script}"))

    async def wait(self, script: str, seconds: float) -> Any:
        """The first true answer of ``script``, asked on every frame that the browser draws."""
        waiting = (
            "const done = arguments[0]; const look = () => {"
            f"const found = {script}; if (found) done(found); else requestAnimationFrame(look); }}; look();"
        )

        def look(driver: Any) -> Any:
            driver.set_script_timeout(seconds)
            return driver.execute_async_script(waiting)

        return await self.do(look)

    async def text(self, selector: str) -> str:
        return str(await self.ask(f"document.querySelector({selector!r}).innerText"))

    async def complaints(self) -> list[str]:
        log = await self.do(lambda driver: driver.get_log("browser"))
        return [entry["message"] for entry in log]


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    from selenium import webdriver
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service

    options = Options()
    for flag in (*FLAGS, f"--user-data-dir={tmp_path / 'profile'}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    path = shutil.which("chromedriver")
    assert path is not None, "these tests need Chromium's driver"
    driver = webdriver.Chrome(options=options, service=Service(path))
    try:
        yield Browser(driver)
    finally:
        driver.quit()


@pytest.fixture
def watch() -> Watch:
    return Watch()


@pytest.fixture
async def page(watch: Watch) -> AsyncIterator[OpenPage]:
    async with open_page(watch.source, to_network=False, port=0) as page:
        yield page


SHOWN = "document.querySelector('#advice strong')?.textContent === 'CE3QRA'"


async def test_on_a_phone_the_next_action_is_on_the_first_screen(browser: Browser, page: OpenPage) -> None:
    await browser.open(page.urls[0], PHONE)
    await browser.wait(SHOWN, 10)
    advice = await browser.text("#advice")
    for needed in ("CE3QRA", "first Chile for you on 20 m", "call in odd", "start in", "1,432 Hz", "chance 70 %"):
        assert needed in advice
    for section in ("#advice", "#callers"):
        assert await browser.ask(f"document.querySelector('{section}').getBoundingClientRect().bottom") < PHONE[1]
    assert await browser.ask("document.documentElement.scrollWidth") <= PHONE[0]
    assert await browser.complaints() == []


async def test_a_change_is_seen_within_a_second(browser: Browser, page: OpenPage, watch: Watch) -> None:
    await browser.open(page.urls[0])
    await browser.wait(SHOWN, 10)
    views = scenes.snapshot()["views"]
    del views[0]["rows"][0]
    seen = asyncio.create_task(browser.wait("document.querySelector('#advice strong').textContent === 'JA1QRV'", 1))
    await asyncio.sleep(0)
    watch.show(views=views, contacts=13)
    assert await seen
    assert "13 contacts in the log" in await browser.text("#forwarding")


async def test_after_a_restart_nothing_is_missing(browser: Browser, watch: Watch) -> None:
    async with open_page(watch.source, to_network=False, port=0) as page:
        await browser.open(page.urls[0])
        await browser.wait(SHOWN, 10)
    await browser.wait("document.querySelector('#trouble').textContent.includes('no answer from the watch')", 10)
    hail = {"key": "k", "urgency": 3, "sentence": "raised meanwhile", "at_ms": scenes.NOW_MS + 1}
    watch.show(contacts=14, hails=[*scenes.HAILS, hail])
    async with open_page(watch.source, to_network=False, port=page.port):
        await browser.wait("document.querySelector('#forwarding').textContent.includes('14 contacts')", 10)
        assert "raised meanwhile" in await browser.text("#hails")
        assert "no answer" not in await browser.text("#trouble")
        # the announcement reaches screen readers as well
        assert "raised meanwhile" in str(await browser.ask("document.querySelector('#announce').textContent"))


async def test_of_the_newest_period_the_most_urgent_hail_comes_first(
    browser: Browser, page: OpenPage, watch: Watch
) -> None:
    told = [("before", 3, -20), ("first", 3, -6), ("later", 3, -4), ("calm", 1, -3)]
    watch.show(
        hails=[
            {"key": words, "urgency": urgency, "sentence": words, "at_ms": scenes.NOW_MS + seconds * 1000}
            for words, urgency, seconds in told
        ]
    )
    await browser.open(page.urls[0])
    await browser.wait(SHOWN, 10)
    text = await browser.text("#hails")
    found = [text.index(words) for words in ("later", "first", "calm")]
    assert found == sorted(found)
    assert "before" not in text  # but "and 1 more"


async def test_a_paired_phone_marks_a_hail_as_done(browser: Browser, watch: Watch) -> None:
    async with open_page(watch.source, to_network=True, port=0, addresses=["127.0.0.2"]) as page:
        await browser.open(page.urls[0], PHONE)
        await browser.wait("!document.querySelector('#pair').hidden", 10)
        await browser.open("about:blank")
        await browser.open(page.pairing_url, PHONE)
        await browser.wait(SHOWN, 10)
        assert page.access.code == ""
        assert await browser.ask("location.hash") == ""
        await browser.ask("document.querySelector('#hails button').click()")
        await browser.wait("!document.querySelector('#hails').textContent.includes('CE3QRA')", 10)
    assert watch.acts == [{"act": "done", "key": "new-entity/CE/20 m"}]


async def test_hostile_text_is_text(browser: Browser, page: OpenPage, watch: Watch) -> None:
    def poisoned(value: Any, under: str = "") -> Any:
        if isinstance(value, str) and under not in {"form", "panel", "start", "event_clock"}:
            return HOSTILE
        if isinstance(value, dict):
            return {key: poisoned(one, key) for key, one in value.items()}
        return [poisoned(one, under) for one in value] if isinstance(value, list) else value

    watch.shown = poisoned(watch.shown)
    await browser.open(page.urls[0])
    await browser.wait("document.querySelector('#advice strong')", 10)
    assert await browser.ask("document.title") == "Watchkeeper"
    assert await browser.ask("document.querySelectorAll('img, iframe, object').length") == 0
    assert await browser.ask("document.querySelectorAll('script').length") == 1
    assert "onerror" in await browser.text("#advice")
    assert await browser.complaints() == []


NAMELESS = """[...document.querySelectorAll(
    'button, select, input, [role=img], [role=region], section, meter, progress')]
  .filter((node) => node.checkVisibility() && !(node.getAttribute('aria-label') || node.getAttribute('aria-labelledby')
    || node.labels?.length || node.textContent.trim())).map((node) => node.outerHTML)"""
PALE = """(() => {
  const light = (colour) => {
    const [r, g, b] = colour.match(/[\\d.]+/g).map(Number)
      .map((c) => (c /= 255) <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const behind = (node) => {
    for (; node; node = node.parentElement) {
      const colour = getComputedStyle(node).backgroundColor;
      if (!/^rgba.*, 0\\)$/.test(colour)) return colour;
    }
    return 'rgb(255, 255, 255)';
  };
  const pale = [];
  for (const node of document.querySelectorAll('body *')) {
    const own = [...node.childNodes].some((child) => child.nodeType === 3 && child.textContent.trim());
    if (!own || !node.checkVisibility() || node.closest('svg, .unseen, .skip, option')) continue;
    const [a, b] = [light(getComputedStyle(node).color), light(behind(node))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) pale.push(`${node.className} ${node.textContent.slice(0, 30)} ${ratio.toFixed(2)}`);
  }
  return pale;
})()"""


@pytest.mark.parametrize("theme", ["light", "dark", "sunlight"])
async def test_it_is_accessible(browser: Browser, page: OpenPage, theme: str) -> None:
    """WCAG 2.2: language, names (4.1.2), one h1 and no skipped level (1.3.1), contrast 4.5:1 (1.4.3), unique ids."""
    await browser.open(page.urls[0])
    await browser.ask(f"localStorage.setItem('theme', '{theme}')")
    await browser.open(page.urls[0])
    await browser.wait(SHOWN, 10)
    await browser.ask("(document.querySelector('#map-list').open = true)")
    assert await browser.ask("document.documentElement.lang") == "en"
    assert await browser.ask(NAMELESS) == []
    assert await browser.ask(PALE) == []
    levels = await browser.ask("[...document.querySelectorAll('h1, h2, h3')].map((node) => Number(node.tagName[1]))")
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    ids = await browser.ask("[...document.querySelectorAll('[id]')].map((node) => node.id)")
    assert len(ids) == len(set(ids))
    assert await browser.complaints() == []


async def test_the_map_says_with_shape_and_word_what_it_says_with_colour(browser: Browser, page: OpenPage) -> None:
    await browser.open(page.urls[0])
    await browser.wait("document.querySelectorAll('#map .coast')[0]?.getAttribute('d').length > 10000", 10)
    shapes = await browser.ask(
        "[...document.querySelectorAll('#map-drawing .dot')].map((dot) => [dot.classList[1], dot.textContent])"
    )
    by_call = {text.split(":")[0]: shape for shape, text in shapes}
    assert by_call == {"W1QSB": "disc", "EA8QRP": "disc", "CE3QRA": "diamond", "G4QRT": "ring"}
    assert await browser.text("#map-legend") == "hears me\nneeded\nworked"


async def test_the_map_s_geometry(browser: Browser, page: OpenPage) -> None:
    """Paths against GeographicLib: a sphere is off by 0.56 % at most. Equinox and solstice of 2026: from memory."""
    await browser.open(page.urls[0])

    async def geo(call: str) -> Any:
        script = f"import('./geo.js').then((geo) => arguments[0](geo.{call}))"
        return await browser.do(lambda driver: driver.execute_async_script(script))

    for a, b in [((50.5, 9.0), (-33.4, -70.7)), ((50.5, 9.0), (35.7, 139.7)), ((-41.3, 174.8), (64.1, -21.9))]:
        truth = Geodesic.WGS84.Inverse(*a, *b)
        found = await geo(f"path({a[0]}, {a[1]}, {b[0]}, {b[1]})")
        assert found["arc"] * 6371.0088 == pytest.approx(truth["s12"] / 1000, rel=0.0056)
        turn = (found["azimuth"] * 57.29577951 - truth["azi1"] + 180) % 360 - 180
        assert abs(turn) < 0.5
    assert await geo("locatorCentre('JN48QM')") == pytest.approx([48.5208, 9.375], abs=0.001)
    assert abs((await geo("subsolar(Date.UTC(2026, 2, 20, 14, 46))"))[0]) < 0.02
    assert (await geo("subsolar(Date.UTC(2026, 5, 21, 8, 24))"))[0] == pytest.approx(23.436, abs=0.01)
    # the border of the night lies a quarter of the way round the globe from where the Sun stands overhead
    sun = await geo("subsolar(Date.UTC(2026, 5, 21, 8, 24))")
    line = await geo(f"dayLine(50.5, 9, {sun}, 12)")
    assert line["day"] is True
    for azimuth, arc in line["line"]:
        place = Geodesic(6371008.8, 0).Direct(50.5, 9.0, azimuth * 57.29577951, arc * 6371008.8)
        away = Geodesic(6371008.8, 0).Inverse(place["lat2"], place["lon2"], *sun)
        assert away["a12"] == pytest.approx(90, abs=0.01)
