"""Exported journals read back."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from watchkeeper.intake.recorded import Recording
from watchkeeper.schema.examples import EXAMPLES
from watchkeeper.schema.wire import decode_event
from watchkeeper.watch.journal import Chunk, Header, JournalError

HEADER = Header(watchkeeper="0", started_ms=1, config={}, data="none", baseline=0)


def journal(tmp_path: Path, *lines: bytes) -> Path:
    path = tmp_path / "session.jsonl"
    path.write_bytes(b"".join(lines))
    return path


def entries() -> bytes:
    chunk = Chunk()
    for number, example in enumerate(EXAMPLES.values()):
        chunk.number(1000 + number, event=decode_event(msgspec.json.encode(example)))
    chunk.number(2000)
    taken = chunk.take()
    assert taken is not None
    return taken[2]


def test_what_was_journaled_comes_back(tmp_path: Path) -> None:
    path = journal(tmp_path, msgspec.json.encode(HEADER), b"\n", entries())
    with Recording(path) as recording:
        assert recording.header == HEADER
        found = list(recording.entries())
    assert [entry.event.kind for entry in found if entry.event] == list(EXAMPLES)
    assert [entry.t for entry in found] == [*range(1000, 1000 + len(EXAMPLES)), 2000]


def test_a_torn_last_line_does_not_count(tmp_path: Path) -> None:
    path = journal(tmp_path, msgspec.json.encode(HEADER), b"\n", entries(), b'{"n":11,"t":20')
    with Recording(path) as recording:
        assert len(list(recording.entries())) == len(EXAMPLES) + 1


@pytest.mark.parametrize("line", [b"", b"\n", b"[]\n", b"{}\n", b"\xff\n", b"[" * 5000 + b"\n"])
def test_what_is_no_journal_is_named(tmp_path: Path, line: bytes) -> None:
    with pytest.raises(JournalError, match="journal line 1: not the header of a journal"):
        Recording(journal(tmp_path, line))


def test_a_later_edition_is_refused(tmp_path: Path) -> None:
    later = msgspec.structs.replace(HEADER, journal=2)
    with pytest.raises(JournalError, match="edition 2; this program reads 1"):
        Recording(journal(tmp_path, msgspec.json.encode(later), b"\n"))


@pytest.mark.parametrize(
    ("body", "complaint"),
    [
        (b'{"n":1,"t":1}\nnonsense\n', "journal line 3"),
        (b'{"n":2,"t":1}\n{"n":2,"t":1}\n', "entry 2 stands behind entry 2"),
    ],
)
def test_damage_is_named(tmp_path: Path, body: bytes, complaint: str) -> None:
    path = journal(tmp_path, msgspec.json.encode(HEADER), b"\n", body)
    with Recording(path) as recording, pytest.raises(JournalError, match=complaint):
        list(recording.entries())
