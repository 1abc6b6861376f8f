"""Each row of the table in docs/commit-path.md: the process is killed exactly there, then started again."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import adif_io
import pytest
from tests.monitor.store.making import now

from watchkeeper.store import contacts
from watchkeeper.store.store import Store

ROOT = Path(__file__).parents[3]
#: window → (in the log after the kill, acknowledged, what the receiver had got, the copies it got in the end)
WINDOWS = {
    "received": (False, False, 0, 1),
    "journaled": (False, False, 0, 1),
    "begun": (False, False, 0, 1),
    "written": (False, False, 0, 1),
    "committed": (True, False, 0, 1),
    "outcome": (True, False, 0, 1),
    "receipt sent": (True, True, 0, 1),
    "followed": (True, True, 0, 1),
    "sent": (True, True, 1, 2),
    "marked": (True, True, 1, 1),
}


def run(folder: Path, window: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(Path(__file__).with_name("crashing.py")), str(folder), window],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
    )


def received(folder: Path) -> list[str]:
    path = folder / "received"
    return path.read_text().splitlines() if path.exists() else []


@pytest.mark.parametrize("window", WINDOWS)
def test_a_kill_in_this_window_loses_nothing_and_doubles_nothing(tmp_path: Path, window: str) -> None:
    stored, acknowledged, got, got_in_the_end = WINDOWS[window]
    killed = run(tmp_path, window)
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert ("acknowledged stored" in killed.stdout) == acknowledged
    assert len(received(tmp_path)) == got
    store = Store.open(tmp_path, now=now)
    with store.reader() as db:
        assert len(list(contacts.standing(db))) == stored
    store.close()

    again = run(tmp_path, "none")  # the sender repeats what was not acknowledged; the outbox is taken up again
    assert again.returncode == 0, again.stderr
    assert f"acknowledged {'repeated' if stored else 'stored'}" in again.stdout
    assert len(received(tmp_path)) == got_in_the_end
    assert len(set(received(tmp_path))) == 1  # the same key and the same bytes, however often
    store = Store.open(tmp_path, now=now)
    with store.reader() as db:
        assert len(list(contacts.standing(db))) == 1
    assert list(store.read_journal(1)) == [b'{"n":0}', b'{"n":1}']
    store.close()
    (copy,) = (tmp_path / "adif-copy").iterdir()
    records, _ = adif_io.read_from_file(str(copy))
    assert len(records) == 1


def test_the_page_has_a_row_for_each_window() -> None:
    page = (ROOT / "docs" / "commit-path.md").read_text(encoding="utf-8")
    named = re.findall(r"^\| `([a-z ]+)` \|", page, re.MULTILINE)
    assert named == list(WINDOWS)
