"""Tables that grow as long as a session lasts: their rows lie in a temporary file without a name."""

from __future__ import annotations

import json
from collections.abc import Iterator
from tempfile import TemporaryFile
from typing import Any
from weakref import finalize


def compact(value: Any) -> str:
    """Return ``value`` as JSON without blanks."""
    return json.dumps(value, separators=(",", ":"))


class Spool:
    """One table: rows are appended, and read again from the first. A full disk is an OSError of either."""

    def __init__(self) -> None:
        self._file = TemporaryFile("w+", encoding="utf-8")  # noqa: SIM115 - closed when nobody needs the table any more
        finalize(self, self._file.close)

    def append(self, row: Any) -> None:
        """Add a row: anything that JSON can carry."""
        self._file.write(compact(row) + "\n")

    def lines(self) -> Iterator[str]:
        """Yield each row as JSON; nothing may be appended meanwhile."""
        self._file.seek(0)
        for line in self._file:
            yield line[:-1]
