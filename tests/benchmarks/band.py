"""The traffic that the benchmarks send: a band in a contest, the same whenever and wherever it is made.

About 300 stations, half of them in either period of 15 s; 100 hearings come a period, then their marker. Stations call
to all, answer, report and acknowledge, fade and come back, and every few periods one leaves and another comes.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

STATIONS = 300
HEARD = 100
PERIOD_MS = 15_000
DIAL_HZ = 14_074_000
SOURCE = "bench"
RUN = "r1"
#: prefix and a locator field in its country
PLACES = (
    ("W1", "FN"), ("K4", "EM"), ("N6", "DM"), ("W9", "EN"), ("DL1", "JO"), ("DK5", "JN"), ("F4", "JN"), ("G3", "IO"),
    ("I2", "JN"), ("EA3", "JN"), ("SP6", "JO"), ("OK1", "JN"), ("OH2", "KP"), ("SM5", "JO"), ("LZ1", "KN"),
    ("UA3", "KO"), ("UR5", "KO"), ("JA1", "PM"), ("JH3", "PM"), ("VK3", "QF"), ("ZL2", "RE"), ("PY2", "GG"),
    ("LU4", "GF"), ("CE3", "FF"), ("VE3", "FN"), ("ZS6", "KG"), ("YB1", "OI"), ("HL2", "PM"), ("9A2", "JN"),
    ("S52", "JN"),
)  # fmt: skip
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


class Station:
    """One station: its call, where it is, and what it says next."""

    def __init__(self, dice: random.Random) -> None:
        prefix, field = dice.choice(PLACES)
        # Q, then R to U: suffixes that are given to nobody
        self.call = f"{prefix}Q{dice.choice('RSTU')}{dice.choice(LETTERS)}"
        self.locator = f"{field}{dice.randrange(100):02d}"
        self.offset_hz = dice.randrange(200, 2900)
        self.snr_db = dice.randrange(-22, 8)
        self.runs = dice.random() < 0.4  # it calls to all, others answer

    def says(self, partner: Station, dice: random.Random) -> str:
        """Its message of this period."""
        step = dice.random()
        if self.runs and step < 0.45:
            return f"CQ {self.call} {self.locator}"
        if step < 0.6:
            return f"{partner.call} {self.call} {self.locator}"
        if step < 0.8:
            return f"{partner.call} {self.call} {'' if step < 0.7 else 'R'}{dice.randrange(-22, 8):+03d}"
        return f"{partner.call} {self.call} {'RR73' if step < 0.9 else '73'}"


def periods(start_ms: int, first_seq: int = 1, seed: int = 7, heard: int = HEARD) -> Iterator[list[bytes]]:
    """For ever: the events of one period after another, each as JSON. Their numbers go on from ``first_seq``."""
    dice = random.Random(seed)
    sides = [[Station(dice) for _ in range(STATIONS // 2)] for _ in range(2)]
    seq = first_seq
    while True:
        side, others = sides[start_ms // PERIOD_MS % 2], sides[1 - start_ms // PERIOD_MS % 2]
        made = []
        for station in dice.sample(side, heard):
            text = station.says(dice.choice(others), dice)
            made.append(_heard(start_ms, seq, station, text, station.snr_db + dice.randrange(-3, 4)))
            seq += 1
        made.append(_marker(start_ms, seq, heard))
        seq += 1
        yield made
        side[dice.randrange(len(side))] = Station(dice)
        start_ms += PERIOD_MS


def events(count: int, start_ms: int, first_seq: int = 1, seed: int = 7) -> list[bytes]:
    """The first ``count`` events of :func:`periods`."""
    made: list[bytes] = []
    for period in periods(start_ms, first_seq, seed):
        made += period
        if len(made) >= count:
            break
    return made[:count]


def datagrams(events: list[bytes], each: int) -> list[bytes]:
    """``events`` in datagrams of ``each`` events."""
    if each == 1:
        return events
    return [b"[" + b",".join(events[at : at + each]) + b"]" for at in range(0, len(events), each)]


def stamp(at_ms: int) -> str:
    """RFC 3339 text of ``at_ms``."""
    from watchkeeper.schema.events import stamp as schema_stamp

    return schema_stamp(at_ms)


def _heard(start_ms: int, seq: int, station: Station, text: str, snr_db: int) -> bytes:
    return (
        f'{{"v":1,"kind":"heard","source":"{SOURCE}","at":"{stamp(start_ms)}","run":"{RUN}","seq":{seq},"mode":"FT8",'
        f'"dial_hz":{DIAL_HZ},"offset_hz":{station.offset_hz},"snr_db":{snr_db},"text":"{text}","late_s":0.2}}'
    ).encode()


def _marker(start_ms: int, seq: int, heard: int) -> bytes:
    return (
        f'{{"v":1,"kind":"period","source":"{SOURCE}","at":"{stamp(start_ms)}","run":"{RUN}","seq":{seq},"mode":"FT8",'
        f'"dial_hz":{DIAL_HZ},"count":{heard},"final":true,"listened_s":15}}'
    ).encode()
