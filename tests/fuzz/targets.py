# ruff: noqa: PT017 - these run outside pytest too
"""What is fuzzed, and what has to hold whatever comes: each target takes one input, and raises when something breaks.

A target that only waits for exceptions misses most of what can go wrong, so each also states what is true of every
answer.
"""

from __future__ import annotations

import json
import tempfile
import tomllib
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from io import BytesIO
from itertools import islice
from pathlib import Path
from typing import NamedTuple

import msgspec

from watchkeeper.adif import AdifValueError, check, read, write_record
from watchkeeper.adif.contact import from_record, to_record
from watchkeeper.config import ConfigError, load
from watchkeeper.faces.clean import clean, formula_safe
from watchkeeper.intake.lines import LineEvent, LineReader
from watchkeeper.intake.pattern import PatternError
from watchkeeper.intake.pattern import load as load_pattern
from watchkeeper.intake.seal import Seal, SealError
from watchkeeper.intake.udp import MAX_AHEAD_MS
from watchkeeper.radio import callsign, credibility, entity, locator, message
from watchkeeper.schema.events import MAX_BATCH, to_ms
from watchkeeper.schema.examples import EXAMPLES
from watchkeeper.schema.wire import Reason, decode, encode
from watchkeeper.testing import Bench
from watchkeeper.watch.journal import JournalError
from watchkeeper.watch.journal import decode as decode_journal

NOW_MS = to_ms(datetime(2026, 5, 1, 12, 1, tzinfo=UTC))
_CONFIGS = Path(__file__).parents[2] / "configs"
_EXAMPLES = [json.dumps(example).encode() for example in EXAMPLES.values()]
_MESSAGES = (
    "CQ DL5QRM JO62", "CQ DX W1QSB FN42", "W1QSB DL5QRM -12", "DL5QRM W1QSB R+03", "W1QSB DL5QRM RR73",
    "DL5QRM W1QSB 73", "W1QSB RR73; DK5QTA <DL5QRM> -08", "<...> PJ4/W1QSB RRR", "W1QSB DK5QTA 6A WI",
    "TU; W1QSB DK5QTA R 589 MA", "<G4QRS> <PA9QRT> R 570007 JO22DB", "TNX BOB 73 GL", "0123456789ABCDEF01", "DE W1QSB",
)  # fmt: skip
_CALLS = (
    "W1QSB", "DL5QRM/P", "VE3/G4QRS", "PJ4/W1QSB/MM", "<W1QSB>", "3DA0QRS", "KG4QR", "E51QRS", "W1QSB/4", "2E0QRT",
    "FN42", "JO62QM12ab", "R9QTA/9", "SV2QRA/A", "ZS8QRZ", "AM/DL5QRM", "W1QSB/AM", "W1QSB/QRP", "4U1QRS", "BV9PQRT",
)  # fmt: skip
_ADIF = (
    b"<ADIF_VER:5>3.1.7 <EOH>\n<CALL:5>W1QSB <QSO_DATE:8>20260501 <TIME_ON:6>120000 <BAND:3>20m <MODE:4>MFSK "
    b"<SUBMODE:3>FT4 <GRIDSQUARE:4>FN42 <RST_SENT:3>-10 <FREQ:9>14.074500 <TX_PWR:2>10 <EOR>\n",
    b"note\n<EOH><call:6:S>DL5QRM<qso_date:8:D>20260501<time_on:4>1200<freq:6>14.074<mode:3>FT8<comment:4>gr\xfc\xdf<eor>",
    b"<CALL:5>W1QSB<QSO_DATE:8>20260501<TIME_ON:6>115900<TIME_OFF:6>000100<BAND:3>40M<MODE:2>CW<EOR><CALL:3>X<EOR>",
    b'<?xml version="1.0" encoding="UTF-8"?><ADX><HEADER><ADIF_VER>3.1.7</ADIF_VER></HEADER><RECORDS><RECORD>'
    b"<CALL>W1QSB</CALL><QSO_DATE>20260501</QSO_DATE><TIME_ON>120000</TIME_ON><BAND>20M</BAND><MODE>FT8</MODE>"
    b'<APP PROGRAMID="X" FIELDNAME="Y" TYPE="S">z</APP></RECORD></RECORDS></ADX>',
)
_JOURNAL = (
    b'{"n":1,"t":1777636812345,"event":' + _EXAMPLES[2] + b"}",
    b'{"n":2,"t":1777636812600}\n{"n":3,"t":1777636812700,"act":{"act":"done","key":"x"}}',
    b'{"n":4,"t":1777636812800,"outcome":{"key":"k","status":"stored","contact":1}}',
    b'{"n":5,"t":1777636812900,"rest":{"plugin":"lookout","resting":true,"reason":"r","until_ms":1}}\n{"n":6,"t":7,"rebase":4}',
)
_HTTP = (
    b"GET /api/snapshot HTTP/1.1\r\nHost: watch\r\n\r\n",
    b"GET /api/snapshot?source=s&run=r&seq=1&wait=0 HTTP/1.1\r\nHost: watch\r\n\r\n",
    b"POST /api/act HTTP/1.1\r\nHost: watch\r\nContent-Type: application/json\r\nContent-Length: 15\r\n\r\n"
    b'{"act":"pause"}',
    b"GET /metrics HTTP/1.1\r\nHost: watch\r\nAccept-Encoding: gzip\r\n\r\n",
    b"GET / HTTP/1.0\r\nHost: watch\r\n\r\n",
    b"POST /api/act HTTP/1.1\r\nHost: watch\r\nTransfer-Encoding: chunked\r\n\r\n2\r\n{}\r\n0\r\n\r\n",
)


class Target(NamedTuple):
    """What to feed, what to begin from, and how many inputs a short run takes."""

    feed: Callable[[bytes], None]
    seeds: Sequence[bytes]
    short: int


def datagrams(data: bytes) -> None:
    """Every datagram becomes events and named refusals; what is accepted is written and read again to the same."""
    decoded = decode(data)
    assert decoded.events or decoded.refusals or data.strip(b" \t\r\n\xef\xbb\xbf").startswith(b"[")
    assert len(decoded.events) <= MAX_BATCH
    for refusal in decoded.refusals:
        assert refusal.reason in Reason
        assert refusal.why
    for event in decoded.events:
        written = encode(event)
        assert decode(written).events == (event,)
        assert 946_684_800_000 <= event.at_ms < 4_133_980_800_000


_KEY = b"0123456789abcdef0123456789abcdef"
_SEALED = [Seal(_KEY, nonce=lambda: "ab" * 16).close(body, NOW_MS) for body in _EXAMPLES[:4]]


def seals(data: bytes) -> None:
    """Nothing but what the key has sealed is opened, and that once."""
    seal = Seal(_KEY)
    try:
        body = seal.open(data, NOW_MS)
    except SealError as error:
        assert error.reason in Reason
        assert data not in _SEALED
        return
    assert data in _SEALED
    assert data.endswith(body)
    try:
        seal.open(data, NOW_MS)
    except SealError as error:
        assert error.reason is Reason.SEAL_REPEATED
    else:
        raise AssertionError("a repeated datagram was opened")


def messages(data: bytes) -> None:
    """Any text is read and judged; reading it in other case or spacing changes nothing but the text."""
    text = data.decode(errors="replace")
    found = message.read(text)
    assert found.text == text
    assert found.has_parties or not found.all_parts
    verdict = credibility.judge(credibility.Evidence(found.sender, found, snr_db=-10, heard_before=1))
    assert 0 <= verdict.score <= 1
    again = message.read(" " + " ".join(text.split()) + "\t")
    assert (again.type, again.sender, again.addressee, again.step) == (
        found.type, found.sender, found.addressee, found.step,
    )  # fmt: skip


def calls(data: bytes) -> None:
    """Any text can be looked up; taking apart what was taken apart gives the same."""
    text = data.decode(errors="replace")
    placed = entity.lookup(text)
    assert placed.valid or placed.entity is None
    parts = callsign.parse(text)
    if parts is not None:
        assert callsign.base_call(text) == callsign.base_call(parts.base) == parts.base
        again = callsign.parse(parts.text)
        assert again is not None
        assert (again.base, again.operating, again.status) == (parts.base, parts.operating, parts.status)
    if locator.is_locator(text):
        centre = locator.centre(text)
        assert -90 <= centre.latitude <= 90
        assert -180 <= centre.longitude <= 180


def adif(data: bytes) -> None:
    """A file is read and checked to its end, whatever it holds; a contact taken from it survives being written."""
    for record in islice(read(BytesIO(data)), 100):
        try:
            contact = from_record(record).contact
        except AdifValueError:
            continue
        if not (contact.call.isascii() and contact.call.isprintable()):
            continue  # ADIF has no way to write it
        [again] = read(BytesIO(b"<EOH>" + write_record(to_record(contact))))
        assert from_record(again).contact.call == contact.call
        assert from_record(again).contact.started_ms == contact.started_ms
    for problem in islice(check(BytesIO(data)), 1_000):
        assert str(problem)


#: in memory where the system has such a place
_PLACE = Path("/dev/shm") if Path("/dev/shm").is_dir() else Path(tempfile.gettempdir())


def config(data: bytes) -> None:
    """A configuration is whole, or all that is wrong with it is told."""
    with tempfile.NamedTemporaryFile(dir=_PLACE, suffix=".toml") as file:
        file.write(data)
        file.flush()
        try:
            load(Path(file.name), environ={})
        except ConfigError as error:
            assert str(error)


def patterns(data: bytes) -> None:
    """A pattern file reads lines, or all that is wrong with it is told."""
    with tempfile.NamedTemporaryFile(dir=_PLACE, suffix=".toml") as file:
        file.write(data)
        file.flush()
        try:
            load_pattern(Path(file.name))
        except PatternError as error:
            assert str(error)


_LINES = [
    line.removeprefix("#").strip().encode()
    for path in sorted((_CONFIGS / "patterns").glob("*.toml"))
    for line in path.read_text(encoding="utf-8").splitlines()
    if line.startswith("#   ")
]
_READERS = [load_pattern(path) for path in sorted((_CONFIGS / "patterns").glob("*.toml"))]


def lines(data: bytes) -> None:
    """A line becomes an event that the schema takes, or is passed over, or said to be unread."""
    for pattern in _READERS:
        found = LineReader(pattern, lambda: NOW_MS, day=datetime(2026, 5, 1, tzinfo=UTC).date()).read(data)
        if isinstance(found, LineEvent):
            assert found


def journal(data: bytes) -> None:
    """A journal is read, or the line that is none is named."""
    try:
        for entry in decode_journal(data.split(b"\n")):
            msgspec.json.encode(entry)
    except JournalError as error:
        assert "line" in str(error)


def shown(data: bytes) -> None:
    """What is shown holds no control character, and cleaning it again changes nothing."""
    text = data.decode("utf-8", errors="surrogatepass") if _is_utf8(data) else data.decode("latin-1")
    for made in (clean(text), formula_safe(text)):
        assert all(character.isprintable() for character in made)
    assert clean(clean(text)) == clean(text)


def _is_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8", errors="surrogatepass")
    except UnicodeDecodeError:
        return False
    return True


class _Watch:
    """A watch that stands from one input to the next, and begins anew now and then."""

    def __init__(self) -> None:
        self._fed = 0
        self._bench = self._new()

    @staticmethod
    def _new() -> Bench:
        from watchkeeper_lookout import Lookout
        from watchkeeper_openings import Openings
        from watchkeeper_worked import Worked

        return Bench(Lookout, Openings, Worked)

    def feed(self, data: bytes) -> None:
        """Whatever valid events say, the watch and its plugins take it."""
        self._fed += 1
        if self._fed % 2_000 == 0:
            self._bench = self._new()
        for event in decode(data).events:
            if event.at_ms <= NOW_MS + MAX_AHEAD_MS:
                self._bench.feed(event)
                self._bench.journal.clear()
        if self._fed % 50 == 0:
            self._bench.judge()
            self._bench.views()
        for status in self._bench.host.status():
            assert status.errors == 0, status.reason


def _watching(data: bytes, _kept: list[_Watch] = []) -> None:  # noqa: B006 one watch for all inputs
    if not _kept:
        _kept.append(_Watch())
    _kept[0].feed(data)


def _http(data: bytes) -> None:
    from .http import server

    server().feed(data)


def _tomls(folder: Path) -> Iterator[bytes]:
    for path in sorted(folder.glob("*.toml")):
        text = path.read_bytes()
        tomllib.loads(text.decode())
        yield text


def _batches() -> list[bytes]:
    heard = [one for one in _EXAMPLES if b'"heard"' in one]
    texts = [heard[0].replace(json.loads(heard[0])["text"].encode(), text.encode()) for text in _MESSAGES]
    return [*_EXAMPLES, *texts, b"[" + b",".join(_EXAMPLES) + b"]", b"[" + b",".join(texts) + b"]"]


TARGETS: dict[str, Target] = {
    "datagrams": Target(datagrams, _batches(), 20_000),
    "seals": Target(seals, _SEALED, 20_000),
    "messages": Target(messages, [text.encode() for text in _MESSAGES], 20_000),
    "calls": Target(calls, [text.encode() for text in _CALLS], 20_000),
    "adif": Target(adif, _ADIF, 5_000),
    "config": Target(config, list(_tomls(_CONFIGS)), 500),
    "patterns": Target(patterns, list(_tomls(_CONFIGS / "patterns")), 500),
    "lines": Target(lines, _LINES, 5_000),
    "journal": Target(journal, _JOURNAL, 20_000),
    "shown": Target(shown, [text.encode() for text in _MESSAGES], 20_000),
    "watch": Target(_watching, _batches(), 5_000),
    "http": Target(_http, _HTTP, 300),
}
