"""Remembers where a station said that it is, for the messages that have no room for a locator."""

from __future__ import annotations


class LocatorMemory:
    """Last locator of each call as sent, slashes and all: a compound or roving station is somewhere else than at home.

    The newest locator wins, so a rover's does; but a coarse one does not wipe out a finer one that it contains.
    """

    def __init__(self, limit: int = 20_000) -> None:
        """Keep at most ``limit`` calls; those not heard for longest are forgotten first."""
        if limit < 1:
            raise ValueError(f"a memory for {limit} calls holds none")
        self._limit = limit
        self._locators: dict[str, str] = {}

    def note(self, call: str, locator: str) -> None:
        """Remember that ``call`` gave ``locator``."""
        before = self._locators.pop(call, "")
        self._locators[call] = before if before.startswith(locator) else locator
        if len(self._locators) > self._limit:
            del self._locators[next(iter(self._locators))]

    def get(self, call: str) -> str | None:
        """Return the locator that ``call`` gave last, or None."""
        return self._locators.get(call)
