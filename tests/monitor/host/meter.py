"""A meter that tests move by hand."""

from __future__ import annotations

from watchkeeper.host.guard import Meter, Usage


class Clock:
    """A meter that tests move by hand."""

    def __init__(self) -> None:
        self.ns = 0
        self.cpu_ns = 0
        self.waits = 0

    def meter(self) -> Meter:
        return Meter(lambda: self.ns, lambda: Usage(self.cpu_ns, self.waits))
