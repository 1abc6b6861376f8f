"""The journal's format: what is written is read back, and what is no journal is refused with its line."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.monitor.watch.build import contact, heard, marker, sent

from watchkeeper.config import Config, Station
from watchkeeper.host.status import Rest
from watchkeeper.watch.journal import Act, Chunk, Header, JournalError, Outcome, decode, plain

WHAT = st.one_of(
    st.builds(
        lambda n, snr: {"event": heard("CQ W1QSB FN42", n, snr_db=snr)},
        st.integers(0, 10_000),
        st.floats(-30, 30),
    ),
    st.builds(lambda n: {"event": marker(n)}, st.integers(0, 200)),
    st.just({"event": sent("CQ DL5QRM JO62", 3)}),
    st.just({"event": contact("W1QSB")}),
    st.builds(lambda key: {"outcome": Outcome(key=key, status="stored", contact=1)}, st.text(max_size=20)),
    st.builds(lambda key: {"act": Act(act="done", key=key)}, st.text(max_size=20)),
    st.builds(lambda why: {"rest": Rest(plugin="p", resting=True, reason=why)}, st.text(max_size=20)),
    st.just({"rebase": 7}),
    st.just({}),
)


@given(st.lists(st.tuples(WHAT, st.integers(0, 2**42)), max_size=20))
def test_what_is_written_is_read_back_in_order_with_time_never_running_back(
    items: list[tuple[dict[str, Any], int]],
) -> None:
    chunk = Chunk()
    written = [chunk.number(t, **what) for what, t in items]
    taken = chunk.take()
    if not items:
        assert taken is None
        return
    assert taken is not None
    first, count, body = taken
    assert (first, count) == (1, len(items))
    assert list(decode(body.splitlines(keepends=True))) == written
    times = [entry.t for entry in written]
    assert times == sorted(times)
    assert chunk.take() is None


@given(st.binary(max_size=200))
def test_no_bytes_make_it_raise_anything_but_its_own_error(line: bytes) -> None:
    try:
        list(decode([line]))
    except JournalError as error:
        assert "line 1" in str(error)  # noqa: PT017 most inputs raise, some need not


def test_the_line_that_is_wrong_is_named() -> None:
    with pytest.raises(JournalError, match="journal line 3"):
        list(decode([b'{"n":1,"t":5}\n', b"\n", b'{"n":"x","t":5}\n']))


def test_a_text_that_is_not_utf_8_is_named_too() -> None:
    with pytest.raises(JournalError, match="journal line 1"):  # found by fuzzing
        list(decode([b'{"n":3,"t":5,"act":{"act":"done","key":"\xf8"}}\n']))


def test_the_header_carries_the_whole_configuration() -> None:
    config = Config(station=Station(call="DL5QRM", locator="JO62qm"))
    header = Header(watchkeeper="0", started_ms=1, config=plain(config), data="r", baseline=3)
    again = msgspec.json.decode(msgspec.json.encode(header), type=Header)
    assert again.settings == config
    assert again.settings.digest() == config.digest()
