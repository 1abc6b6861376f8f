"""The end of the process comes, whoever has gone before."""

from __future__ import annotations

import subprocess
import sys

import pytest

LEAVING = """
import sys, threading
from watchkeeper.cli.leaving import leave

threading.Thread(target=threading.Event().wait, args=(60,)).start()
{before}
leave(3)
"""


@pytest.mark.parametrize(
    "before",
    [
        'sys.stdout = open(1, "w"); print("a word")',  # nobody reads it
        'sys.stdout = open("/dev/null", "w"); sys.stdout.close()',
    ],
)
def test_a_thread_that_was_left_running_does_not_hold_the_end_up(before: str) -> None:
    with subprocess.Popen([sys.executable, "-c", LEAVING.format(before=before)], stdout=subprocess.PIPE) as running:
        assert running.stdout is not None
        running.stdout.close()
        assert running.wait(30) == 3
