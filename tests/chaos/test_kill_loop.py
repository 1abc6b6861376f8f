"""``kill -9`` at a hundred random moments while 2,000 contacts flow to a file and to an HTTP log full of faults.

The model knows one thing only: the ids whose receipts came back. All else is read from what the daemon left.
"""

from __future__ import annotations

import contextlib
import signal
import sqlite3
import subprocess
import time
from collections import Counter
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from random import Random

import pytest
from tests.benchmarks.daemon import free_port, start
from tests.chaos.faulty_log import FaultyLog

from watchkeeper.adif import read
from watchkeeper.faces.source import NoDaemonError, ask
from watchkeeper.sender import Sender
from watchkeeper.store.folder import DATABASE

pytestmark = pytest.mark.long

KILLS = 100
CONTACTS = 2_000
SEED = 4
#: a life ends this long after its start, seconds: some before the daemon listens, most while contacts flow
LIFE_S = (0.3, 2.2)
#: the decoder's clock runs so much faster than ours, so that its repeats keep pace with the kills
HASTE = 8.0
#: the last life goes on until all is delivered
PATIENCE_S = 90.0
PREFIXES = ("K", "W")
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def call_of(number: int) -> str:
    """Another station for each contact: no two of them are alike."""
    rest, digit = divmod(number, 10)
    rest, letter = divmod(rest, 26)
    rest, middle = divmod(rest, 4)
    return f"{PREFIXES[rest]}{digit}Q{'RSTU'[middle]}{LETTERS[letter]}"


class Decoder:
    """Sends contacts and keeps the model: the ids whose receipts came."""

    def __init__(self, port: int) -> None:
        self.acknowledged: set[str] = set()
        self.sent = 0
        self._sender = Sender("shack", ("127.0.0.1", port), run="one", elapsed=lambda: time.monotonic() * HASTE)

    def go_on(self, seconds: float, upto: int) -> None:
        """For so long: log contacts evenly until ``upto`` of them were sent, and repeat what has no receipt."""
        begun, before = time.monotonic(), self.sent
        while (passed := time.monotonic() - begun) < seconds:
            while self.sent < before + (upto - before) * passed / seconds:
                self._log()
            self._pump()
            time.sleep(0.005)

    def settle(self, seconds: float) -> None:
        """Send what is left to send, and repeat until every receipt is there."""
        end = time.monotonic() + seconds
        while self.sent < CONTACTS:
            self._log()
        while self._sender.pending() and time.monotonic() < end:
            self._pump()
            time.sleep(0.005)

    def close(self) -> list[str]:
        """The ids without a receipt."""
        return self._sender.close()

    def _pump(self) -> None:
        self._sender.pump()
        while self._sender.receipts:
            receipt = self._sender.receipts.popleft()
            assert receipt["status"] in ("stored", "repeated"), receipt
            self.acknowledged.add(receipt["of"])

    def _log(self) -> None:
        now = time.time()
        self._sender.send(
            "contact", id=f"c{self.sent}", call=call_of(self.sent), mode="FT8", dial_hz=14_074_000, offset_hz=1500,
            started_at=datetime.fromtimestamp(now - 60, UTC), ended_at=datetime.fromtimestamp(now, UTC),
            report_sent="-10", report_received="-12",
        )  # fmt: skip
        self.sent += 1


def in_store(folder: Path) -> Counter[str]:
    """The contacts in the log by their id, however often each is there."""
    if not (folder / DATABASE).exists():
        return Counter()
    with contextlib.closing(sqlite3.connect(f"file:{folder / DATABASE}?mode=ro", uri=True)) as db:
        try:
            return Counter(str(key).rpartition("|")[2] for (key,) in db.execute("SELECT key FROM contact"))
        except sqlite3.OperationalError:  # killed before the first table was made
            return Counter()


def calls_in(*texts: bytes) -> Counter[str]:
    """The calls in ADIF, however often each is there."""
    return Counter(record["CALL"] for text in texts for record in read(BytesIO(text)))


def waiting(folder: Path) -> int:
    """How many payloads wait in the outbox."""
    try:
        outbox = ask(folder / "watch.sock", "/api/status")["outbox"]
    except NoDaemonError:
        return -1
    return sum(destination["waiting"] + destination["dead"] for destination in outbox.values())


def kill(process: subprocess.Popen[bytes], folder: Path) -> None:
    """Pull the plug; it must not have ended by itself."""
    assert process.poll() is None, (folder / "serve.log").read_text(encoding="utf-8")
    process.send_signal(signal.SIGKILL)
    process.wait()


def test_a_hundred_kills_lose_nothing_and_double_nothing(tmp_path: Path) -> None:
    folder, port, dice = tmp_path / "data", free_port(), Random(SEED)
    folder.mkdir()
    log = FaultyLog(SEED)
    config = tmp_path / "watch.toml"
    config.write_text(
        '[station]\ncall = "DL5QRM"\n[[plugins.forward.http]]\nname = "home log"\n'
        f'url = "{log.url}"\ntimeout_s = 0.5\n',
        encoding="utf-8",
    )
    decoder = Decoder(port)
    try:
        for life in range(1, KILLS + 1):
            process = start(folder, port, "--config", str(config))
            decoder.go_on(dice.uniform(*LIFE_S), CONTACTS * life // KILLS)
            kill(process, folder)
            assert decoder.acknowledged <= in_store(folder).keys(), f"lost by kill {life}"
        log.heal()
        process = start(folder, port, "--config", str(config))
        decoder.settle(PATIENCE_S)
        end = time.monotonic() + PATIENCE_S
        while waiting(folder) and time.monotonic() < end:
            time.sleep(0.05)
        process.send_signal(signal.SIGTERM)
        assert process.wait(PATIENCE_S) == 0
        assert not decoder.close()
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
        log.close()

    once = {call_of(number): 1 for number in range(CONTACTS)}
    assert decoder.acknowledged == {f"c{number}" for number in range(CONTACTS)}
    assert in_store(folder) == dict.fromkeys(decoder.acknowledged, 1)
    assert calls_in(*(path.read_bytes() for path in (folder / "log").glob("contacts-*.adi"))) == once
    assert calls_in(*log.taken.values()) == once
    assert not log.changed
    print(f"{KILLS} kills, {CONTACTS} contacts; the home log: {dict(log.did)}")
    assert log.did["met again"] > 0, "no key came twice: that was no chaos"
