"""Plugins that misbehave, in a real daemon: only the three periods before the rest may be late, and nothing is lost."""

from __future__ import annotations

import statistics
import time
from pathlib import Path
from typing import Any

import pytest
from tests.monitor.cli.daemon import PATIENCE_S, Daemon, daemon

from watchkeeper.host.plugin_host import MOST_HAILS
from watchkeeper.sender import Sender

HEAD = """
import asyncio
import sys
import time
from watchkeeper.api import Hail, Urgency, hookimpl

class Bad:
    name = "{name}"
    api = 1

    def __init__(self, config, context):
        self.context = context

    @hookimpl
"""
BAD = {
    "raiser": "    def annotate(self):\n        raise RuntimeError('broken')\n",
    "blocker": "    def burst_judged(self):\n        time.sleep(1)\n",
    "leaver": "    def period_closed(self):\n        raise SystemExit(3)\n",
    "flooder": (
        "    def period_closed(self, period):\n        for number in range(2000):\n"
        "            self.context.hail(Hail(key=f'{period.start_ms}|{number}', urgency=Urgency.NOTE,\n"
        "                sentence='flood', rule='flood', at_ms=self.context.now_ms))\n"
    ),
    "leaker": (
        "    async def async_run(self):\n"
        "        self.left = [asyncio.create_task(asyncio.sleep(3600)) for _ in range(20)]\n"
        "        raise SystemExit(4)\n"
    ),
    "quitter": (
        "    async def async_run(self, stop):\n"
        "        self.task = asyncio.create_task(self.quit())\n"
        "        await stop.wait()\n\n"
        "    async def quit(self):\n"
        "        raise SystemExit(5)\n"
    ),
    "caller": ("    async def async_start(self):\n        asyncio.get_running_loop().call_later(0.01, sys.exit, 6)\n"),
    "hog": (
        "    async def async_run(self, stop):\n"
        "        while not stop.is_set():\n"
        "            time.sleep(0.4)\n"
        "            await asyncio.sleep(0)\n"
    ),
}
#: why each is rested, at the beginning of the reason
WHY = {
    "raiser": "annotate raised 5 times in a row, last RuntimeError: broken",
    "blocker": "overran its time 3 times: burst_judged took",
    "leaver": "period_closed raised 5 times in a row, last SystemExit: 3",
    "flooder": f"flooded 3 times: it raised more than {MOST_HAILS} hails",
    "leaker": "its background task ended: SystemExit: 4",
    "quitter": "a task of its own raised SystemExit: 5",
    "caller": "a callback of its own raised SystemExit: 6",
    "hog": "overran its time 3 times: one step of a task or callback of its own took",
}
HEARD, PERIODS = 12, 14


class Station:
    """A decoder that sends period after period, logs a contact in each, and measures how long the list takes."""

    def __init__(self, running: Daemon) -> None:
        self.running = running
        self.sender = Sender("decoder", running.address)
        self.start = time.time() // 15 * 15 - 15 * (PERIODS + 2)
        self.number = 0

    def period(self) -> float:
        """Seconds from the period's last datagram to a snapshot that covers it."""
        self.number += 1
        self.start += 15
        fields: dict[str, Any] = {"at": self.start, "mode": "FT8", "dial_hz": 14_074_000}
        for slot in range(HEARD):
            text = f"CQ CE{slot % 10}QR{chr(65 + self.number)} FF46"
            self.sender.send("heard", offset_hz=300 + 100 * slot, snr_db=-10, text=text, **fields)
        last = self.sender.send("period", count=HEARD, final=True, **fields)
        begun = time.monotonic()
        self.running.ask(f"/api/snapshot?source=decoder&run={self.sender.run}&seq={last['seq']}&wait=10")
        took_s = time.monotonic() - begun
        ended = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(self.start))
        times: dict[str, Any] = {"at": self.start, "started_at": ended, "ended_at": ended}
        self.sender.send(
            "contact",
            id=f"c{self.number}",
            call=f"JA1QR{chr(64 + self.number)}",
            mode="FT8",
            dial_hz=14_074_000,
            **times,
        )
        return took_s


@pytest.mark.long
def test_bad_plugins_are_contained_and_named(tmp_path: Path) -> None:
    folder = tmp_path / "plugins"
    folder.mkdir()
    for name, body in BAD.items():
        (folder / f"{name}.py").write_text(HEAD.format(name=name) + body)
    config = f'[plugins]\nfolder = "{folder}"\n'
    with daemon(tmp_path / "good") as well, daemon(tmp_path / "bad", config) as running:
        good, station = Station(well), Station(running)
        # turn by turn, so that whatever else the machine does weighs on both
        turns = [(good.period(), station.period()) for _ in range(PERIODS)]
        good.sender.close()
        assert station.sender.close(PATIENCE_S) == []
        assert {receipt["status"] for receipt in station.sender.receipts} == {"stored"}
        assert len(station.sender.receipts) == PERIODS
        status = running.ask("/api/status")
        assert running.ask("/api/snapshot")["contacts"] == PERIODS
        assert running.stop() == 0
    # medians, so that a moment in which the machine does something else decides nothing
    took_s = [took for _, took in turns]
    normal_s = statistics.median(normal for normal, _ in turns)
    assert statistics.median(took_s[3:]) < 2 * normal_s, turns
    assert sum(took > 0.9 for took in took_s) <= 3, turns
    intake = status["intake"]
    assert (intake["lost"], intake["shed"], sum(intake["rejected"].values())) == (0, 0, 0)
    assert intake["accepted"] == station.sender.seq
    found = {one["name"]: one for one in status["plugins"]}
    for name, why in WHY.items():
        assert found[name]["distribution"] == str(folder / f"{name}.py")
        assert found[name]["state"] == "rested", found[name]
        assert found[name]["reason"].startswith(why)


HOLDING = {
    "deaf": "    async def async_run(self):\n        await asyncio.Event().wait()\n",
    "stubborn": (
        "    async def async_run(self):\n        self.task = asyncio.create_task(self.hold())\n"
        "        await self.hold()\n\n"
        "    async def hold(self):\n        while True:\n            try:\n                await asyncio.sleep(3600)\n"
        "            except asyncio.CancelledError:\n                pass\n"
    ),
    "waiting": (
        "    async def async_run(self, stop):\n"
        "        waiting = asyncio.get_running_loop().run_in_executor(None, threading.Event().wait)\n"
        "        await stop.wait()\n"
    ),
    "threaded": (
        "    async def async_start(self):\n"
        "        threading.Thread(target=threading.Event().wait, name='idler').start()\n"
    ),
}


def test_a_plugin_that_does_not_end_does_not_keep_the_daemon(tmp_path: Path) -> None:
    folder = tmp_path / "plugins"
    folder.mkdir()
    for name, body in HOLDING.items():
        (folder / f"{name}.py").write_text("import threading\n" + HEAD.format(name=name) + body)
    names = ", ".join(f'"{name}"' for name in HOLDING)
    with daemon(tmp_path / "data", f'[plugins]\nfolder = "{folder}"\nallow = [{names}]\n') as running:
        assert running.stop() == 0
