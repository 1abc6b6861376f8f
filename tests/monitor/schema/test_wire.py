"""Taking datagrams apart. The rules are the schema page's; RFC 8259 (JSON) and RFC 3339 (times) stand behind them."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.schema.events import KINDS, MAX_BATCH, MAX_DATAGRAM, Contact, Heard, from_ms, stamp
from watchkeeper.schema.wire import MAX_DEPTH, Decoded, Reason, decode, decode_event, encode

HEARD: dict[str, Any] = {
    "v": 1,
    "kind": "heard",
    "source": "bench",
    "run": "r1",
    "seq": 7,
    "at": "2026-05-01T12:00:15.000Z",
    "mode": "FT8",
    "dial_hz": 14_074_000,
    "offset_hz": 1520.5,
    "snr_db": -12,
    "text": "CQ DL5QRM JO62",
}
CONTACT: dict[str, Any] = {
    "v": 1,
    "kind": "contact",
    "source": "bench",
    "at": "2026-05-01T12:02:00.000Z",
    "id": "bench-1",
    "ack": True,
    "call": "JA1QRV",
    "started_at": "2026-05-01T12:00:30Z",
    "ended_at": "2026-05-01T12:01:30Z",
    "dial_hz": 14_074_000,
    "mode": "FT8",
}


def packed(value: Any) -> bytes:
    return json.dumps(value).encode()


def refused(decoded: Decoded) -> tuple[Reason, str]:
    assert not decoded.events
    (refusal,) = decoded.refusals
    assert refusal.why
    return refusal.reason, refusal.where


def test_a_single_object_becomes_one_event() -> None:
    (event,) = decode(packed(HEARD)).events
    assert isinstance(event, Heard)
    assert (event.at, event.dial_hz, event.offset_hz) == (
        datetime(2026, 5, 1, 12, 0, 15, tzinfo=UTC),
        14_074_000,
        1520.5,
    )


def test_unknown_fields_are_ignored() -> None:
    decoded = decode(packed({**HEARD, "mood": {"deep": [1, 2]}}))
    assert len(decoded.events) == 1
    assert not decoded.refusals


def test_a_bad_element_does_not_lose_the_others() -> None:
    decoded = decode(packed([HEARD, {**HEARD, "dial_hz": -1}, CONTACT, 17]))
    assert [event.kind for event in decoded.events] == ["heard", "contact"]
    assert [(r.reason, r.where) for r in decoded.refusals] == [
        (Reason.BAD_VALUE, "[1].dial_hz"),
        (Reason.NOT_OBJECT, "[3]"),
    ]


def test_batches_hold_64_events() -> None:
    assert len(decode(packed([HEARD] * 30)).events) == 30
    small = {"v": 1, "kind": "farewell", "source": "a", "at": "2026-05-01T12:00:00Z"}
    assert len(decode(packed([small] * MAX_BATCH)).events) == MAX_BATCH
    assert refused(decode(packed([small] * (MAX_BATCH + 1)))) == (Reason.TOO_MANY, "")
    nothing = decode(b" [ ] ")
    assert not nothing.events
    assert not nothing.refusals


@pytest.mark.parametrize(
    ("element", "reason"),
    [
        (b'{"v":NaN}', Reason.NOT_FINITE),
        (rb'{"v":"\ud800"}', Reason.LONE_SURROGATE),
        (b"[" * 2000 + b"]" * 2000, Reason.TOO_DEEP),
        (b"nonsense", Reason.NOT_JSON),
        (b"", Reason.NOT_JSON),
        (rb'"a \" ] , ["', Reason.NOT_OBJECT),
    ],
)
def test_not_even_an_element_that_is_no_json_loses_the_others(element: bytes, reason: Reason) -> None:
    body = packed(HEARD)
    decoded = decode(b"[" + body + b"," + element + b" , " + body + b"]")
    assert len(decoded.events) == 2
    assert [(refusal.reason, refusal.where) for refusal in decoded.refusals] == [(reason, "[1]")]


def test_quotes_without_end_are_refused_at_once() -> None:
    # a pattern that looked for each quote's end anew would take seconds
    assert refused(decode(b"[" + b'"' + rb"\"" * 4000 + b","))[0] is Reason.NOT_JSON


@pytest.mark.parametrize("number", [b"14074000.0", b"1.4074e7", b"14074000"])
def test_a_whole_number_is_whole_however_it_is_written(number: bytes) -> None:
    # JSON Schema 2020-12 (Validation, 6.1.1): any number with a zero fractional part is an integer
    (event,) = decode(packed(HEARD).replace(b"14074000", number)).events
    assert isinstance(event, Heard)
    assert event.dial_hz == 14_074_000


def test_a_byte_order_mark_is_passed_over() -> None:
    assert len(decode(b"\xef\xbb\xbf" + packed(HEARD)).events) == 1


def test_white_space_around_is_allowed_and_anything_else_is_not() -> None:
    assert len(decode(b"\r\n " + packed(HEARD) + b"\n").events) == 1
    assert refused(decode(packed(HEARD) + b"\0"))[0] is Reason.NOT_JSON


def field(name: str, raw: str) -> bytes:
    """A heard event whose field ``name`` is written as ``raw``."""
    return packed({**HEARD, name: "@@"}).replace(b'"@@"', raw.encode("utf-8", "surrogatepass"))


@pytest.mark.parametrize(
    ("datagram", "reason", "where"),
    [
        (b"", Reason.NOT_JSON, ""),
        (b"CQ CQ", Reason.NOT_JSON, ""),
        (b"{", Reason.NOT_JSON, ""),
        (b"[1,", Reason.NOT_JSON, ""),
        (b"null", Reason.NOT_OBJECT, ""),
        (b'"text"', Reason.NOT_OBJECT, ""),
        (b" " * (MAX_DATAGRAM + 1), Reason.TOO_LARGE, ""),
        (b"\xff\xfe{}", Reason.NOT_UTF8, ""),
        (field("text", '"\ud800"'), Reason.NOT_UTF8, ""),
        (field("text", r'"\ud800"'), Reason.LONE_SURROGATE, ""),
        (field("text", r'"\udc00x"'), Reason.LONE_SURROGATE, ""),
        (field("snr_db", "NaN"), Reason.NOT_FINITE, ""),
        (field("snr_db", "-Infinity"), Reason.NOT_FINITE, ""),
        (field("snr_db", "1e999"), Reason.NOT_FINITE, ""),
        (field("snr_db", "1e99"), Reason.BAD_VALUE, "snr_db"),
        (field("snr_db", '"loud"'), Reason.BAD_VALUE, "snr_db"),
        (field("dial_hz", "9" * 40), Reason.BAD_VALUE, "dial_hz"),
        (field("dial_hz", "9" * 5000), Reason.NOT_FINITE, ""),
        (field("dial_hz", "14074000.5"), Reason.BAD_VALUE, "dial_hz"),
        (field("dial_hz", "true"), Reason.BAD_VALUE, "dial_hz"),
        (field("seq", "-1"), Reason.BAD_VALUE, "seq"),
        (field("seq", "18446744073709551616"), Reason.BAD_VALUE, "seq"),
        (field("aided_by", '["own_call",3]'), Reason.BAD_VALUE, "aided_by[1]"),
        (field("mode", r'"FT8\u0007"'), Reason.BAD_VALUE, "mode"),
        (field("source", r'"bench\n"'), Reason.BAD_VALUE, "source"),
        (field("at", '"yesterday"'), Reason.BAD_VALUE, "at"),
        (field("at", '"2026-05-01T12:00:15"'), Reason.BAD_VALUE, "at"),
        (field("at", "1777636815"), Reason.BAD_VALUE, "at"),
        (field("at", '"1999-12-31T23:59:59.999Z"'), Reason.BAD_TIME, "at"),
        (field("at", '"2101-01-01T00:00:00Z"'), Reason.BAD_TIME, "at"),
        (field("at", '"0001-01-01T00:00:00+23:59"'), Reason.BAD_TIME, "at"),
        (field("decoded_at", '"9999-12-31T23:59:59Z"'), Reason.BAD_TIME, "decoded_at"),
        (field("v", "2"), Reason.VERSION, "v"),
        (field("v", "2.5"), Reason.VERSION, "v"),
        (field("v", "0"), Reason.BAD_VALUE, "v"),
        (field("v", "true"), Reason.BAD_VALUE, "v"),
        (field("v", '"1"'), Reason.BAD_VALUE, "v"),
        (field("kind", '"smelt"'), Reason.UNKNOWN_KIND, "kind"),
        (field("kind", "[]"), Reason.BAD_VALUE, "kind"),
        (b"[" * 4000 + b"]" * 4000, Reason.TOO_DEEP, "[0]"),
        (b"[" * 8000, Reason.TOO_DEEP, ""),
        (b'{"v":' * 40 + b"1" + b"}" * 40, Reason.TOO_DEEP, ""),
        (field("text", "[" * 3000 + "]" * 3000), Reason.TOO_DEEP, ""),
    ],
    ids=lambda value: repr(value)[:24],
)
def test_what_is_wrong_is_refused_by_reason_and_place(datagram: bytes, reason: Reason, where: str) -> None:
    assert refused(decode(datagram)) == (reason, where)


@pytest.mark.parametrize("name", ["v", "kind", "source", "at", "mode", "dial_hz", "offset_hz", "snr_db", "text"])
def test_each_required_field_is_missed(name: str) -> None:
    rest = {key: value for key, value in HEARD.items() if key != name}
    assert refused(decode(packed(rest))) == (Reason.MISSING_FIELD, name)


def test_a_later_version_is_named_before_anything_it_may_have_changed() -> None:
    for later in ({"v": 3, "kind": "hologram"}, {"v": 2}, {"v": 2, "kind": 7}, {**HEARD, "v": 1.5}):
        assert refused(decode(packed(later))) == (Reason.VERSION, "v")


def test_a_refused_contact_tells_whom_to_answer() -> None:
    (refusal,) = decode(packed({**CONTACT, "call": "JA1 QRV"})).refusals
    assert (refusal.source, refusal.of) == ("bench", "bench-1")
    (silent,) = decode(packed({**CONTACT, "call": "JA1 QRV", "ack": False})).refusals
    assert silent.of is None


@pytest.mark.parametrize(
    "wrong",
    [
        {"dial_hz": -1},  # of the shape
        {"ended_at": "2200-01-01T00:00:00Z"},  # well formed, but in no year of ours
        {"v": 9},
    ],
)
def test_a_refusal_keeps_the_envelope_as_far_as_it_can_be_read(wrong: dict[str, Any]) -> None:
    longest = {"source": "s" * 32, "run": "r" * 32, "id": "i" * 64}
    for envelope in (
        {"source": "b", "run": "r", "seq": 0, "id": "i"},
        {**longest, "seq": 2**53},
    ):
        for body in (packed({**CONTACT, **envelope, **wrong}), packed([HEARD, {**CONTACT, **envelope, **wrong}])):
            (refusal,) = decode(body).refusals
            assert (refusal.source, refusal.run, refusal.seq, refusal.of) == tuple(
                envelope[key] for key in ("source", "run", "seq", "id")
            )
        (silent,) = decode(packed({**CONTACT, **envelope, **wrong, "ack": False})).refusals
        assert (silent.source, silent.of) == (envelope["source"], None)


@pytest.mark.parametrize(
    "envelope",
    [
        {"source": "s" * 33, "run": "r" * 33, "seq": 2**53 + 1, "id": "i" * 65},
        {"source": "", "run": "", "seq": -1, "id": ""},
        {"source": 1, "run": ["r"], "seq": "1", "id": {}},
        {"source": None, "run": None, "seq": True, "id": None},
    ],
)
def test_what_cannot_be_read_of_an_envelope_is_left_out_of_the_refusal(envelope: dict[str, Any]) -> None:
    (refusal,) = decode(packed({**CONTACT, **envelope})).refusals
    assert (refusal.source, refusal.run, refusal.seq, refusal.of) == (None, None, None, None)


def test_an_element_out_of_its_time_loses_no_other() -> None:
    early = {**HEARD, "at": "1999-12-31T23:59:59Z"}
    decoded = decode(packed([HEARD, early, {**early, "dial_hz": 14_074_000.0}, CONTACT]))
    assert [event.kind for event in decoded.events] == ["heard", "contact"]
    assert [(refusal.reason, refusal.where) for refusal in decoded.refusals] == [
        (Reason.BAD_TIME, "[1].at"),
        (Reason.BAD_TIME, "[2].at"),
    ]


@pytest.mark.parametrize(
    ("datagram", "why"),
    [
        (b" " * (MAX_DATAGRAM + 1), f"{MAX_DATAGRAM + 1} bytes; a datagram holds at most {MAX_DATAGRAM}"),
        (b"[1,", "the array does not end where the datagram does"),
        (b"null", "an event is a JSON object, not null"),
        (b'"text"', "an event is a JSON object, not a string"),
        (b"false", "an event is a JSON object, not a boolean"),
        (b"-1.5", "an event is a JSON object, not a number"),
        (b"[[]]", "an event is a JSON object, not an array"),
        (b"{}", "v is missing"),
        (b'{"v":1}', "kind is missing"),
        (b'{"v":1,"kind":"%s"}' % (b"x" * 40), f"no such kind: '{'x' * 32}'"),
        (b'{"v":2}', "schema version 2; this program reads 1"),
        (b'{"v":1,"kind":"heard"}', "source is missing"),
        (b"{", "Input data was truncated"),
        (b"{]", "object keys must be strings (byte 1)"),
        (field("snr_db", "NaN"), "NaN, Infinity or a number beyond all range"),
        (field("dial_hz", "-1"), "dial_hz: Expected int >= 0"),
        (field("at", '"1999-12-31T23:59:59.999Z"'), "at lies outside the years 2000 to 2100"),
    ],
    ids=lambda value: repr(value)[:24],
)
def test_a_refusal_says_in_words_what_is_wrong(datagram: bytes, why: str) -> None:
    (refusal,) = decode(datagram).refusals
    assert refusal.why == why


def test_a_part_of_a_list_is_missed_at_its_place() -> None:
    station = {"v": 1, "kind": "station", "source": "a", "at": HEARD["at"], "call": "DL5QRM", "activations": [{}]}
    (refusal,) = decode(packed(station)).refusals
    assert (refusal.reason, refusal.where) == (Reason.MISSING_FIELD, "activations[0].programme")


def test_a_datagram_and_a_batch_may_be_as_large_as_the_limit() -> None:
    body = packed(HEARD)
    assert len(decode(body + b" " * (MAX_DATAGRAM - len(body))).events) == 1
    small = {"v": 1, "kind": "farewell", "source": "a", "at": "2026-05-01T12:00:00Z"}
    decoded = decode(packed([small] * (MAX_BATCH - 1) + [{**small, "at": "1999-01-01T00:00:00Z"}]))
    assert (len(decoded.events), len(decoded.refusals)) == (MAX_BATCH - 1, 1)


@pytest.mark.parametrize("white", [b"\xc2\xa0", b"\x0b", b"\x0c"])
def test_only_the_white_space_of_json_is_white(white: bytes) -> None:
    # RFC 8259, section 2: space, tab, line feed, carriage return
    body = packed(HEARD)
    assert refused(decode(white + b"[" + body + b"]"))[0] is Reason.NOT_JSON
    assert refused(decode(b"[" + body + b"]" + white))[0] is Reason.NOT_JSON
    assert refused(decode(b"[" + white + b"]")) == (Reason.NOT_JSON, "[0]")


def test_what_is_deep_is_told_from_what_is_broad() -> None:
    for depth, reason in ((MAX_DEPTH, Reason.BAD_VALUE), (MAX_DEPTH + 1, Reason.TOO_DEEP)):
        nested = "[" * (depth - 1) + "]" * (depth - 1)
        assert refused(decode(field("dial_hz", nested)))[0] is reason
    broad = ",".join(["[[]]", "{}"] * 50)
    assert refused(decode(field("dial_hz", f"[{broad}]")))[0] is Reason.BAD_VALUE
    deep = "[" * MAX_DEPTH + "]" * MAX_DEPTH
    assert refused(decode(field("dial_hz", f"[{broad},{deep}]")))[0] is Reason.TOO_DEEP
    # an array without end: deep, or only not closed
    assert refused(decode(b"[" * MAX_DEPTH))[0] is Reason.NOT_JSON
    assert refused(decode(b"[" * (MAX_DEPTH + 1)))[0] is Reason.TOO_DEEP
    assert refused(decode(b"[" + b"[[]],{}," * 50))[0] is Reason.NOT_JSON


def test_an_element_that_is_too_deep_is_named_by_its_place() -> None:
    decoded = decode(packed([HEARD, 0]).replace(b"0]", b"[" * 40 + b"]" * 40 + b"]"))
    (refusal,) = decoded.refusals
    assert (refusal.reason, refusal.where, refusal.why) == (
        Reason.TOO_DEEP, "[1]", f"nested deeper than {MAX_DEPTH} levels",
    )  # fmt: skip


def test_a_float_is_a_whole_number_only_as_far_as_floats_are_exact() -> None:
    for value, exact in ((float(2**53 - 1), True), (float(2**53), False)):
        decoded = decode(packed({**HEARD, "seq": value}))
        assert bool(decoded.events) is exact


def test_a_contact_needs_an_id() -> None:
    rest = {key: value for key, value in CONTACT.items() if key != "id"}
    assert refused(decode(packed(rest))) == (Reason.MISSING_FIELD, "id")


def test_text_from_the_air_is_kept_as_it_came() -> None:
    (event,) = decode(packed({**HEARD, "text": "\x1b[31m[red] \u202e"})).events
    assert isinstance(event, Heard)
    assert event.text == "\x1b[31m[red] \u202e"


def test_both_ends_of_a_contact_lie_in_time() -> None:
    late = {**CONTACT, "ended_at": "2200-01-01T00:00:00Z"}
    assert refused(decode(packed(late))) == (Reason.BAD_TIME, "ended_at")


def test_a_moment_is_written_to_the_millisecond() -> None:
    # RFC 3339, section 5.8: 20 minutes and 50.52 seconds after the 23rd hour of April 12th, 1985, in UTC
    at = datetime(1985, 4, 12, 23, 20, 50, 520_000, tzinfo=UTC)
    assert stamp(round(at.timestamp() * 1000)) == "1985-04-12T23:20:50.520Z"
    assert from_ms(1_777_636_815_123) == datetime(2026, 5, 1, 12, 0, 15, 123_000, tzinfo=UTC)


moments = st.integers(946_684_800_000, 4_133_980_799_999).map(from_ms)  # the years 2000 to 2100
events = st.builds(
    Heard,
    v=st.just(1),
    source=st.text("abcXYZ09._-", min_size=1, max_size=32),
    at=moments,
    seq=st.none() | st.integers(0, 2**53),
    mode=st.sampled_from(["FT8", "FT4", "Q65-30B"]),
    dial_hz=st.integers(0, 10**13),
    offset_hz=st.floats(-20_000, 200_000),
    snr_db=st.floats(-200, 200),
    text=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=64),
    aided=st.booleans(),
) | st.builds(
    Contact,
    v=st.just(1),
    source=st.just("bench"),
    at=moments,
    id=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=64),
    call=st.text("ABC019/", min_size=1, max_size=24),
    started_at=moments,
    ended_at=moments,
    dial_hz=st.integers(0, 10**13),
    mode=st.just("FT8"),
    revision=st.integers(0, 1_000_000),
)


@given(events)
def test_what_is_encoded_is_decoded_equal(event: Heard | Contact) -> None:
    body = encode(event)
    assert decode(body) == Decoded((event,))
    assert decode_event(body) == event
    assert decode(b"[" + body + b"," + body + b"]").events == [event, event]


@given(st.binary(max_size=200) | st.binary(max_size=60).map(lambda noise: b"[" + noise + b"]"))
def test_no_bytes_raise(noise: bytes) -> None:
    assert isinstance(decode(noise), Decoded)


any_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@given(any_json)
def test_no_json_raises_and_every_element_is_accounted_for(value: Any) -> None:
    decoded = decode(packed(value))
    elements = len(value) if isinstance(value, list) else 1
    assert len(decoded.events) + len(decoded.refusals) == elements


fields_of_any_kind = sorted({name for kind in KINDS.values() for name in kind.__struct_encode_fields__} | {"kind", "v"})


@given(st.sampled_from([HEARD, CONTACT]), st.sampled_from(fields_of_any_kind), any_json)
def test_a_valid_event_with_one_field_replaced_is_taken_or_refused(
    valid: dict[str, Any], name: str, value: Any
) -> None:
    decoded = decode(packed({**valid, name: value}))
    assert len(decoded.events) + len(decoded.refusals) == 1
    for event in decoded.events:
        assert decode(encode(event)).events == (event,)


@given(st.sampled_from([packed(HEARD), packed([HEARD, CONTACT])]), st.data())
def test_a_damaged_datagram_never_raises(datagram: bytes, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(datagram) - 1))
    damaged = datagram[:at] + data.draw(st.binary(max_size=3)) + datagram[at + data.draw(st.integers(0, 3)) :]
    for event in decode(damaged).events:
        assert msgspec.json.decode(encode(event))["v"] == 1
