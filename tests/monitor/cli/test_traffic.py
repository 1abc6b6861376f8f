"""The lines that show what arrives."""

from __future__ import annotations

import json

from watchkeeper.cli.traffic import describe
from watchkeeper.schema.examples import EXAMPLES
from watchkeeper.schema.wire import decode, decode_event, encode


def test_what_arrives_is_shown_with_its_refusals() -> None:
    datagram = json.dumps(
        [EXAMPLES["farewell"], {**EXAMPLES["heard"], "text": "\x1b[2J", "snr_db": "loud\u202e"}]
    ).encode()
    lines = list(describe(("127.0.0.1", 4711), datagram, decode(datagram), 1_777_636_815_250))
    assert lines[0].startswith('12:00:15.250 127.0.0.1:4711 farewell {"kind":"farewell",')
    assert lines[1] == "12:00:15.250 127.0.0.1:4711 REFUSED bad_value at [1].snr_db: snr_db: Expected float, got str"
    assert lines[2].startswith("12:00:15.250 127.0.0.1:4711   in [{")
    assert all(line.isprintable() for line in lines)
    event = decode_event(json.dumps(dict(EXAMPLES["heard"], text="\x1b[2J")))
    (line,) = describe(None, b"", decode(encode(event)), 0)
    assert "\\u001b[2J" in line


def test_a_datagram_that_holds_no_event_is_shown_as_well() -> None:
    lines = list(describe(("127.0.0.1", 4711), b"[]", decode(b"[]"), 1_777_636_815_250))
    assert lines == ["12:00:15.250 127.0.0.1:4711 holds no event", "12:00:15.250 127.0.0.1:4711   in []"]
