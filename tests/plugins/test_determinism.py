"""The first-party plugins together: the same events give the same hails and views, to the byte."""

from __future__ import annotations

import subprocess
import sys

SESSION = """
import sys
from random import Random
import msgspec
from watchkeeper_forward import Forward
from watchkeeper_lookout import Lookout
from watchkeeper_openings import Openings
from watchkeeper_reach import Reach
from watchkeeper_supply import Supply
from watchkeeper_vitals import Vitals
from watchkeeper_worked import Worked
from watchkeeper.api import Reception, from_ms
from watchkeeper.testing import Bench, worked_index

random = Random(7)
worked = worked_index(("W1QSB", "40m", "FT8"), ("G4QRS", "20m", "FT8"))
bench = Bench(Forward, Lookout, Openings, Reach, Supply, Vitals, Worked, worked=worked,
              config={"supply": {"capacity_ah": 12.0}})
calls = [(f"{prefix}{digit}QR{letter}", grid) for prefix, grid in
         (("CE", "FF46"), ("JA", "PM95"), ("W", "FN42"), ("G", "IO91"), ("VK", "QF56"), ("OE", "JN88"))
         for digit in range(1, 4) for letter in "ABCDE"]
for period in range(60):
    bench.dial_hz = 14_074_000 if period < 40 else 7_074_000
    for call, grid in random.sample(calls, random.randrange(25)):
        to = random.choice(["CQ", "CQ DX", "CQ EU", "DL5QRM", random.choice(calls)[0]])
        bench.hear(f"{to} {call} {grid}", snr_db=random.randrange(-24, 12))
    if period % 7 == 3:
        bench.send("CQ DL5QRM JO62")
    bench.close()
    if period % 5 == 2:
        by, grid = random.choice(calls)
        bench.feed(Reception(v=1, source="web", at=from_ms(bench.start_ms - 90_000), by_call=by, by_locator=grid,
                             call="DL5QRM", snr_db=float(random.randrange(-24, 0)), dial_hz=bench.dial_hz, mode="FT8"))
    if period % 9 == 5:
        bench.log(random.choice(calls)[0], report_sent="-10", report_received="-12")
    if "often" in sys.argv:
        bench.views()
sys.stdout.buffer.write(msgspec.json.encode([bench.hails, bench.views()]))
assert bench.hails and all(status.errors == 0 for status in bench.host.status())
"""


def run(seed: str, *arguments: str) -> bytes:
    environment = {"PYTHONHASHSEED": seed, "PATH": "/usr/bin:/bin"}
    command = [sys.executable, "-c", SESSION, *arguments]
    return subprocess.run(command, env=environment, check=True, capture_output=True).stdout


def test_neither_the_hash_seed_nor_looking_often_changes_a_byte() -> None:
    first = run("1")
    assert first == run("2", "often")
    assert len(first) > 10_000
