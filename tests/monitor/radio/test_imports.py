"""What the knowledge of the trade must not load: it has no clock, no event loop and no socket."""

from __future__ import annotations

import subprocess
import sys

MODULES = "callsign entity geodesic itu known locator place polygon region release subdivision zone"


def test_nothing_of_the_outside_is_loaded() -> None:
    code = (
        "import importlib, sys\n"
        f"for name in '{MODULES}'.split(): importlib.import_module('watchkeeper.radio.' + name)\n"
        "print(sorted({'asyncio', 'socket', 'ssl', 'sqlite3', 'selectors', 'aiohttp', 'rich'} & sys.modules.keys()))"
    )
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert loaded.stdout == "[]\n"
