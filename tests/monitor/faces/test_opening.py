"""Opening the live page: only when asked, only on named addresses, with an invitation that a phone can read."""

from __future__ import annotations

import re

import pytest
from aiohttp import ClientSession
from tests.monitor.faces.test_source import Watch

from watchkeeper.faces.page.opening import PageError, invite, open_page, own_addresses, printed, qr_rows


async def test_on_this_computer_reading_is_open_and_acting_is_not() -> None:
    async with open_page(Watch().source, to_network=False, port=0) as page, ClientSession() as browser:
        assert page.urls == (f"http://127.0.0.1:{page.port}/",)
        assert (await browser.get(page.urls[0] + "api/snapshot")).status == 200
        assert (await browser.post(page.urls[0] + "api/act", json={"act": "done", "key": "k"})).status == 403


async def test_for_the_network_reading_needs_pairing_and_the_files_do_not() -> None:
    # another address of the loopback network stands for that of a real one
    async with open_page(Watch().source, to_network=True, port=0, addresses=["127.0.0.2"]) as page:
        async with ClientSession() as browser:
            for url in (page.urls[0], f"http://127.0.0.1:{page.port}/"):
                assert (await browser.get(url)).status == 200
                assert (await browser.get(url + "page.js")).status == 200
                assert (await browser.get(url + "api/snapshot")).status == 401
            rebound = await browser.get(page.urls[0], headers={"Host": f"evil.example:{page.port}"})
            assert rebound.status == 421
        assert page.pairing_url == f"http://127.0.0.2:{page.port}/#pair={page.access.code}"


async def test_a_port_in_use_and_a_missing_network_are_clear_errors() -> None:
    async with open_page(Watch().source, to_network=False, port=0) as page:
        with pytest.raises(PageError, match=f"cannot listen on 127.0.0.1:{page.port}"):
            async with open_page(Watch().source, to_network=False, port=page.port):
                raise AssertionError("two pages on one port")
    with pytest.raises(PageError, match="no network address"):
        async with open_page(Watch().source, to_network=True, port=0, addresses=[]):
            raise AssertionError("a page on no address")


async def test_the_files_are_served_with_their_types_and_tags() -> None:
    async with open_page(Watch().source, to_network=False, port=0) as page, ClientSession() as browser:
        answer = await browser.get(page.urls[0] + "page.js")
        assert answer.content_type == "text/javascript"
        again = await browser.get(page.urls[0] + "page.js", headers={"If-None-Match": answer.headers["ETag"]})
        assert again.status == 304
        text = await (await browser.get(page.urls[0])).text()
        assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=|https?://", text)


async def test_the_worker_keeps_every_file_that_the_page_needs() -> None:
    async with open_page(Watch().source, to_network=False, port=0) as page, ClientSession() as browser:
        worker = await (await browser.get(page.urls[0] + "worker.js")).text()
        found = re.search(r"FILES = \[(.*?)\]", worker, re.DOTALL)
        assert found is not None
        named = re.findall(r'"([^"]+)"', found[1])
        for name in named:
            assert (await browser.get(page.urls[0] + name.removeprefix("./"))).status == 200
        for name in named:
            if name.endswith(".js"):
                source = await (await browser.get(page.urls[0] + name)).text()
                assert set(re.findall(r'from "\./([^"]+)"', source)) <= set(named)


def test_no_address_of_this_computer_is_loopback() -> None:
    assert not [address for address in own_addresses() if address.startswith("127.")]


async def test_the_invitation_shows_address_code_and_qr_code() -> None:
    async with open_page(Watch().source, to_network=True, port=0, addresses=["127.0.0.2"]) as page:
        told = "\n".join(printed(invite(page)))
        assert f"http://127.0.0.2:{page.port}/" in told
        assert f"{page.access.code[:4]}-{page.access.code[4:]}" in told
        used = page.access.code
        assert page.access.pair(used) is not None
        assert used[:4] not in invite(page).words[1]


def test_a_qr_code_has_its_three_finder_patterns() -> None:
    """ISO/IEC 18004: a finder pattern in three corners, 1:1:3:1:1 dark and light, inside a margin of four modules."""
    rows: list[str] = []
    for blocks in qr_rows("http://127.0.0.2:41816/#pair=ABCDEFGH"):
        rows.append("".join("1" if block in "▀█" else "0" for block in blocks))
        rows.append("".join("1" if block in "▄█" else "0" for block in blocks))
    size = len(rows[0])
    finder = "1011101"
    for top, left in ((4, 4), (4, size - 11), (size - 11, 4)):
        assert rows[top + 3][left : left + 7] == finder
        assert "".join(rows[top + at][left + 3] for at in range(7)) == finder
    assert set("".join(rows[:4])) == {"0"}
