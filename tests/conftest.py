"""Shuts the developer's own machine out of the tests: no environment, no config and no data of theirs is seen."""

from __future__ import annotations

import os
import sys
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


@pytest.fixture(autouse=True)
def forgetful() -> None:
    """Under mutation testing: each test runs all that it reaches, whatever an earlier one left remembered."""
    if "MUTANT_UNDER_TEST" not in os.environ:
        return
    for name, module in list(sys.modules.items()):
        if name.startswith("watchkeeper."):
            for value in vars(module).values():
                remembers = getattr(value, "cache_parameters", None)
                if remembers is not None and (remembers()["maxsize"] or 0) > 1:  # else a table that is read once
                    value.cache_clear()
