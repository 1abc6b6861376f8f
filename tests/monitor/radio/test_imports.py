"""What the knowledge of the trade must not load: it has no clock, no event loop and no socket."""

from __future__ import annotations

import subprocess
import sys


def test_nothing_of_the_outside_is_loaded() -> None:
    code = (
        "import importlib, pkgutil, sys, watchkeeper.radio as radio\n"
        "for found in pkgutil.iter_modules(radio.__path__, 'watchkeeper.radio.'): importlib.import_module(found.name)\n"
        "print(sorted({'asyncio', 'socket', 'ssl', 'sqlite3', 'selectors', 'aiohttp', 'rich'} & sys.modules.keys()))"
    )
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert loaded.stdout == "[]\n"
