"""Shuts the developer's own machine out of the tests: no environment, no config and no data of theirs is seen."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import Phase, settings

# a slow or busy machine is no fault of the code: how long an example takes is for the benchmarks to say
settings.register_profile("watchkeeper", deadline=None, max_examples=50)
settings.load_profile("watchkeeper")
# thousands of runs that want to know only whether something fails: no shrinking, the same examples each time
settings.register_profile(
    "mutation", deadline=None, max_examples=12, derandomize=True, database=None, phases=[Phase.explicit, Phase.generate]
)


@pytest.fixture(autouse=True)
def foreign_machine(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home of its own for each test, and none of the variables that steer us."""
    home = tmp_path_factory.mktemp("home")
    for name in list(os.environ):
        if name.startswith(("WATCHKEEPER_", "XDG_")) or name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LINES"):
            monkeypatch.delenv(name)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("TERM", "xterm-256color")
    return home
