"""Logs of a given size for the benchmarks, imported once by the command that a user has."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from .log_import import make


def seed_log(folder: Path, count: int) -> None:
    """Make a data folder whose log holds ``count`` synthetic contacts (fewer where two of them are equal)."""
    folder.mkdir(parents=True, exist_ok=True)
    if count == 0:
        return
    file = folder / "seed.adi"
    make(file, count)
    command = [sys.executable, "-m", "watchkeeper", "log", "import", str(file), "--data", str(folder)]
    subprocess.run(command, check=True, capture_output=True)
    file.unlink()
