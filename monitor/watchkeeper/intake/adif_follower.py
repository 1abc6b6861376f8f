"""Contacts from a growing ADIF file, for decoder programs that log but cannot speak the event schema.

Nothing is kept across restarts: a contact's ``id`` is the digest of its record, so one that is read again is the same
contact to the log, and is not forwarded again.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from ..adif import contact as adif_contact
from ..adif.reader import RECORD_LIMIT, read
from ..adif.record import Record
from ..adif.values import AdifValueError
from ..model import Contact
from ..schema import events
from .arrival import Arrival
from .tail import Tail

#: chunks read in one call, so that a large log leaves the loop a turn
CHUNKS_A_POLL = 8
#: how far behind the oldest byte of an unfinished record the newest may lie
_REST_LIMIT = 2 * RECORD_LIMIT
_FIELD = re.compile(r" - at `\$\.(\w+)")
_REQUIRED = frozenset(field.encode_name for field in msgspec.structs.fields(events.Contact) if field.required)

#: what goes from the log's contact into the event by the same name
_SAME = (
    "call", "mode", "offset_hz", "report_sent", "report_received", "locator", "station_call", "operator", "own_locator",
    "power_w", "contest_id", "exchange_sent", "exchange_received", "serial_sent", "serial_received", "comment",
)  # fmt: skip


class Followed(NamedTuple):
    """What one look at the file brought: contacts, and in words what could not be taken or had to be left out.

    ``more``: it ended before the file did, so look again at once.
    """

    arrivals: list[Arrival]
    problems: list[str]
    more: bool


class AdifFollower:
    """Follows one ADI file through growth, rotation and rewriting; every record comes once.

    Records that ended before ``since_ms`` are passed over: they are old, and are taken by an import if at all.
    ``clock_ms`` gives the host's time.
    """

    def __init__(self, path: Path, source: str, since_ms: int, clock_ms: Callable[[], int]) -> None:
        """Raises OSError for a file that is there but cannot be read; one that is not there yet is waited for."""
        self.passed_over = 0
        self._path = path
        self._source = source
        self._since_ms = since_ms
        self._clock_ms = clock_ms
        self._tail = Tail(path)
        self._rest = b""
        self._seen: set[int] = set()
        self._number = 0  # of the last record in the file

    def poll(self) -> Followed:
        """Take what has been finished since the last look. Never waits. Raises OSError when reading fails."""
        found = Followed([], [], more=False)
        for _ in range(CHUNKS_A_POLL):
            chunk = self._tail.read()
            if chunk is None:
                return found
            if chunk.begins:
                self._rest, self._number = b"", 0
            self._rest += chunk.data
            self._take_finished(found)
        return found._replace(more=True)

    def close(self) -> None:
        """Close the file."""
        self._tail.close()

    def _take_finished(self, found: Followed) -> None:
        """Read up to the last end mark; what stands behind it is not finished yet."""
        consumed = 0
        reader = read(io.BytesIO(self._rest))
        if reader.is_adx:
            found.problems.append(f"{self._path.name}: ADX cannot be followed, only ADI")
            self._rest = b""
            return
        for record in reader:
            if record.complete:
                consumed = record.end
                self._number += 1
                self._take(record, found)
        self._rest = self._rest[consumed:][-_REST_LIMIT:]

    def _take(self, record: Record, found: Followed) -> None:
        key = adif_contact.digest(record)
        short = int(key[:16], 16)
        if short in self._seen:
            return
        self._seen.add(short)
        try:
            taken = adif_contact.from_record(record).contact
        except AdifValueError as error:
            found.problems.append(f"{self._path.name} record {self._number}: {error}")
            return
        if taken.ended_ms < self._since_ms:
            self.passed_over += 1
            return
        now_ms = self._clock_ms()
        event, left_out = contact_event(taken, self._source, key, now_ms)
        found.problems.extend(f"{self._path.name} record {self._number}: {problem}" for problem in left_out)
        if event is not None:
            found.arrivals.append(Arrival(event, None, now_ms))


def contact_event(contact: Contact, source: str, key: str, now_ms: int) -> tuple[events.Contact | None, list[str]]:
    """The event that announces ``contact``, and what had to be left out; None where what is left is no contact."""
    values: dict[str, Any] = {name: getattr(contact, name) for name in _SAME}
    values |= {
        "v": events.VERSION,
        "kind": "contact",
        "source": source,
        "id": key,
        # it is announced now, however old: neither an old date nor one to come may move the event clock
        "at": events.from_ms(now_ms),
        "started_at": events.from_ms(contact.started_ms),
        "ended_at": events.from_ms(contact.ended_ms),
        "dial_hz": _dial_hz(contact),
        "activations": [{"programme": name, "reference": reference} for name, reference in contact.activations],
    }
    return _valid({name: value for name, value in values.items() if value is not None})


def _dial_hz(contact: Contact) -> int:
    """A log knows the frequency of the signal alone; 0 stands for not known."""
    if contact.dial_hz is not None:
        return contact.dial_hz
    return (contact.frequency_hz or 0) - round(contact.offset_hz or 0)


def _valid(values: Mapping[str, Any]) -> tuple[events.Contact | None, list[str]]:
    """Leave out what the schema refuses, as long as it is not the contact itself."""
    left = dict(values)
    problems: list[str] = []
    while True:
        try:
            return msgspec.convert(left, events.Contact), problems
        except msgspec.ValidationError as error:
            field = _FIELD.search(str(error))
            name = field[1] if field else ""
            problems.append(f"{name} {str(left.get(name))[:40]!r} cannot be taken")
            if name in _REQUIRED or name not in left:
                return None, problems
            del left[name]
