"""One journal gives the same hails and views: in any process, at any pace, however it was batched."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import msgspec
from tests.monitor.watch.build import contact, heard, marker, sent
from tests.monitor.watch.test_keeper import CONFIG, live

from watchkeeper.config import PluginSettings
from watchkeeper.watch.keeper import Keeper

CALLERS = ("W1QSB FN42", "JA1QRV PM95", "CE3QRT FF46", "VK2QRU QF56", "ZS6QRW KG33", "F5QSA JN18", "PY2QSC GG66")
EVERY_PLUGIN = PluginSettings(allow=("lookout", "openings", "reach", "worked"))


def evening() -> list[Any]:
    """Forty busy periods: calls, answers to us, late and repeated hearings, own transmissions, contacts."""
    dice = random.Random(11)
    talk: list[Any] = []
    for period in range(40):
        texts = [f"{dice.choice(('CQ', 'DL5QRM', 'CQ DX', 'OK1QSD'))} {who}" for who in dice.sample(CALLERS, 5)]
        burst = [
            heard(text, period, snr_db=float(dice.randrange(-24, 10)), offset_hz=float(dice.randrange(200, 2900)))
            for text in texts
        ]
        talk += [*burst[:3], marker(3, period, pass_=1), *burst[3:], marker(5, period, final=True)]
        talk += [heard(texts[0], period, snr_db=3.0), heard("CQ EA5QSE IM98", period)]
        if period % 4 == 1:
            talk.append(sent("JA1QRV DL5QRM -12", period + 1))
        if period % 10 == 9:
            talk.append(contact(f"JA{period // 10}QRV", f"c-{period}", period))
    return talk


async def record(folder: Path, batches: int) -> tuple[bytes, bytes, list[str]]:
    """Stand a live watch through the evening; its journal with header, last snapshot and hails."""
    config = msgspec.structs.replace(CONFIG, plugins=EVERY_PLUGIN)
    talk = evening()
    async with live(folder, config) as watch:
        keeper: Keeper = watch.keeper
        step = max(1, len(talk) // batches)
        for first in range(0, len(talk), step):
            await watch.take(*talk[first : first + step])
        shown = msgspec.json.encode({"snapshot": keeper.snapshot()}, order="deterministic")
        hails = [msgspec.json.encode({"hail": hail}).decode() for hail in keeper.watch.hails.recent]
    exported = run("record", "--data", str(folder))
    return exported, shown, hails


def run(*arguments: str, given: bytes = b"", **environment: str) -> bytes:
    """The command's output in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "watchkeeper", *arguments],
        input=given,
        capture_output=True,
        check=True,
        env={**os.environ, **environment},
    )
    return done.stdout


async def test_replays_agree_with_the_live_watch_to_the_byte(tmp_path: Path) -> None:
    exported, shown, hails = await record(tmp_path / "a", 7)
    assert len(hails) > 5
    outputs = [
        run("replay", "-", "--json", given=exported, PYTHONHASHSEED="0"),
        run("replay", "-", "--json", given=exported, PYTHONHASHSEED="4242"),
        run("replay", "-", "--json", "--pace", "1000", given=exported, PYTHONHASHSEED="7"),
    ]
    assert outputs[0] == outputs[1] == outputs[2]
    *told, last = outputs[0].splitlines()
    assert last == shown
    assert len(told) == len(hails)


async def test_batching_makes_no_difference(tmp_path: Path) -> None:
    one = await record(tmp_path / "a", 1)
    many = await record(tmp_path / "b", 300)
    assert one[1:] == many[1:]


def test_what_is_no_journal_is_named(tmp_path: Path) -> None:
    file = tmp_path / "evening.jsonl"
    file.write_bytes(b'{"n":1,"t":2}\n')
    done = subprocess.run(
        [sys.executable, "-m", "watchkeeper", "replay", str(file)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert done.stderr.startswith("watchkeeper: journal line 1 is no header")
