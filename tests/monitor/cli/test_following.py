"""A decoder's own ADIF file, followed by a real daemon: each contact once, across rotation, rewriting and restarts."""

from __future__ import annotations

import time
from collections import Counter
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from sqlite3 import connect

from tests.monitor.cli.daemon import daemon, until

from watchkeeper.store.folder import DATABASE

HEADER = b"a log\n<ADIF_VER:5>3.1.7 <EOH>\n"


def record(call: str, hours_ago: float = 0.1, **more: str) -> bytes:
    then = datetime.fromtimestamp(time.time() - 3600 * hours_ago, UTC)
    fields = {"CALL": call, "QSO_DATE": f"{then:%Y%m%d}", "TIME_ON": f"{then:%H%M%S}", "FREQ": "14.0755", "MODE": "FT8"}
    return ("".join(f"<{name}:{len(value)}>{value} " for name, value in (fields | more).items()) + "<EOR>\n").encode()


def config(path: Path) -> str:
    return f'[station]\ncall = "DL5QRM"\n[[follow.adif]]\npath = "{path}"\nsource = "old-decoder"\n'


def logged(folder: Path) -> Counter[str]:
    with closing(connect(f"file:{folder / DATABASE}?mode=ro", uri=True)) as db:
        return Counter(call for (call,) in db.execute("SELECT call FROM contact"))


def once(folder: Path, *calls: str) -> None:
    """Wait until the log has these, and find each there once."""
    until(lambda: logged(folder).keys() >= set(calls), f"{calls} are in the log")
    assert logged(folder) == dict.fromkeys(calls, 1)


def test_each_contact_comes_once_across_rotation_rewriting_and_restarts(tmp_path: Path) -> None:
    path, folder = tmp_path / "decoder.adi", tmp_path / "data"
    first, second, third = record("JA1QRV"), record("W1QSB", 3), record("VE3QSL", 2)
    with daemon(folder, config(path)) as watch:  # the file is not there yet
        path.write_bytes(HEADER + record("SV1QRZ", 30) + first)
        once(folder, "JA1QRV")
        with path.open("ab") as file:
            file.write(second[:40])
            file.flush()
            file.write(second[40:])
        once(folder, "JA1QRV", "W1QSB")
        fresh = tmp_path / "fresh.adi"
        fresh.write_bytes(HEADER + second + first + third)
        fresh.replace(path)
        once(folder, "JA1QRV", "W1QSB", "VE3QSL")
        assert watch.ask("/api/status")["sources"]["old-decoder"]["accepted"] == 3
        session = watch.ask("/api/status")["session"]
        watch.kill()
    with path.open("ab") as file:
        file.write(record("K4QSU"))  # while no watch stands
    with daemon(folder, config(path)) as watch:
        once(folder, "JA1QRV", "W1QSB", "VE3QSL", "K4QSU")
        assert watch.ask("/api/status")["sources"]["old-decoder"]["accepted"] == 1  # what the log had is not repeated
        assert watch.ask("/api/status")["session"] == session
        until(lambda: not watch.ask("/api/status")["outbox"]["ADIF file"]["waiting"], "all is forwarded")
    text = b"".join(found.read_bytes() for found in (folder / "log").glob("contacts-*.adi"))
    assert [text.count(call) for call in (b"JA1QRV", b"W1QSB", b"VE3QSL", b"K4QSU")] == [1, 1, 1, 1]


def test_a_file_that_cannot_be_followed_is_told_and_taken_once_it_can(tmp_path: Path) -> None:
    path, folder = tmp_path / "decoder.adi", tmp_path / "data"
    path.mkdir()
    with daemon(folder, config(path)) as watch:
        until(lambda: [n for n in watch.ask("/api/status")["notices"] if "cannot be followed" in n], "it is told")
        path.rmdir()
        path.write_bytes(record("JA1QRV"))
        once(folder, "JA1QRV")
        assert not [n for n in watch.ask("/api/status")["notices"] if "cannot be followed" in n]
