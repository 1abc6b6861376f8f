"""Random streams, one for each purpose, so that drawing more for one thing never shifts another."""

from __future__ import annotations

from random import Random


def stream(seed: int, *purpose: str | int) -> Random:
    """Return the random stream of ``purpose`` under ``seed``: the same in every process, whatever its hash seed."""
    return Random("/".join(str(part) for part in (seed, *purpose)))  # noqa: S311 - a simulation, no secret
