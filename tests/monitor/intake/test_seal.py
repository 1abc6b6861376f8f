"""Sealed datagrams. HMAC-SHA-256 itself is checked against RFC 4231, section 4.3 (test case 2)."""

from __future__ import annotations

import hashlib
import hmac
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.intake import seal as seal_module
from watchkeeper.intake.seal import WINDOW_MS, Seal, SealError, SealKeyError, load_key
from watchkeeper.schema.wire import Reason
from watchkeeper.sender import send

KEY = b"a key of the bench, 32 bytes ..."
NOW = 1_777_636_815_000


def reason_of(seal: Seal, datagram: bytes, now_ms: int = NOW) -> Reason:
    with pytest.raises(SealError) as caught:
        seal.open(datagram, now_ms)
    return caught.value.reason


def test_the_code_is_that_of_the_standard() -> None:
    # RFC 4231, test case 2: key "Jefe", data "what do ya want for nothing?"
    assert hmac.new(b"Jefe", b"what do ya want for nothing?", hashlib.sha256).hexdigest() == (
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    )
    head = b"WK1 1777636815000 " + b"0" * 32 + b" "
    sealed = Seal(KEY, nonce=lambda: "0" * 32).close(b"{}", NOW)
    assert sealed == head + hmac.new(KEY, head + b"{}", hashlib.sha256).hexdigest().encode() + b" {}"


@given(st.binary(max_size=500), st.integers(-WINDOW_MS, WINDOW_MS))
def test_what_is_sealed_opens_unchanged_within_the_window(body: bytes, late_ms: int) -> None:
    assert Seal(KEY).open(Seal(KEY).close(body, NOW), NOW + late_ms) == body


@given(st.binary(max_size=100))
def test_the_copied_sender_speaks_the_same_seal(body: bytes) -> None:
    assert Seal(KEY).open(send.seal(body, KEY, NOW), NOW) == body
    assert send.unseal(Seal(KEY).close(body, NOW), KEY) == body


@given(st.data())
def test_no_altered_byte_passes(data: st.DataObject) -> None:
    sealed = bytearray(Seal(KEY).close(b'{"v":1}', NOW))
    at = data.draw(st.integers(0, len(sealed) - 1))
    sealed[at] ^= data.draw(st.integers(1, 255))
    assert reason_of(Seal(KEY), bytes(sealed)) in {Reason.UNSEALED, Reason.BAD_SEAL}
    assert send.unseal(bytes(sealed), KEY) is None


def test_another_key_does_not_open_it() -> None:
    assert reason_of(Seal(KEY), Seal(b"x" * 32).close(b"{}", NOW)) is Reason.BAD_SEAL


def test_outside_the_window_it_is_too_late_or_too_early() -> None:
    sealed = Seal(KEY).close(b"{}", NOW)
    assert reason_of(Seal(KEY), sealed, NOW + WINDOW_MS + 1) is Reason.SEAL_TIME
    assert reason_of(Seal(KEY), sealed, NOW - WINDOW_MS - 1) is Reason.SEAL_TIME


def test_the_same_datagram_opens_once_as_long_as_its_time_would_hold() -> None:
    seal = Seal(KEY)
    early = seal.close(b"{}", NOW - WINDOW_MS)
    sealed = seal.close(b"{}", NOW + WINDOW_MS)
    seal.open(sealed, NOW)
    seal.open(early, NOW)
    for later in (NOW, NOW + WINDOW_MS, NOW + 2 * WINDOW_MS):
        assert reason_of(seal, sealed, later) is Reason.SEAL_REPEATED


def test_a_full_memory_refuses_and_never_forgets(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(seal_module, "MAX_NONCES", 2)
    seal = Seal(KEY)
    first = seal.close(b"1", NOW)
    seal.open(first, NOW)
    seal.open(seal.close(b"2", NOW), NOW)
    assert reason_of(seal, seal.close(b"3", NOW)) is Reason.SEAL_BUSY
    assert reason_of(seal, first) is Reason.SEAL_REPEATED
    later = NOW + WINDOW_MS + 1
    assert seal.open(seal.close(b"4", later), later) == b"4"


def test_what_has_left_the_window_is_forgotten_and_nothing_else() -> None:
    seal = Seal(KEY)
    old = seal.close(b"old", NOW)
    newer = seal.close(b"newer", NOW + 20_000)
    seal.open(old, NOW)
    seal.open(newer, NOW + 20_000)
    later = NOW + WINDOW_MS + 1
    seal.open(seal.close(b"newest", later), later)
    assert reason_of(seal, newer, later) is Reason.SEAL_REPEATED
    assert reason_of(seal, old, later) is Reason.SEAL_TIME


@pytest.mark.parametrize(
    ("late_ms", "why"),
    [(31_000, "sealed +31 s from this host's clock"), (-45_000, "sealed -45 s from this host's clock")],
)
def test_a_clock_that_is_off_is_told_by_how_much(late_ms: int, why: str) -> None:
    sealed = Seal(KEY).close(b"{}", NOW)
    with pytest.raises(SealError) as caught:
        Seal(KEY).open(sealed, NOW + late_ms)
    assert str(caught.value) == why


def test_a_refusal_says_in_words_what_is_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    seal = Seal(KEY)
    sealed = seal.close(b"{}", NOW)
    seal.open(sealed, NOW)
    monkeypatch.setattr(seal_module, "MAX_NONCES", 1)
    for datagram, why in (
        (b"{}", "not sealed"),
        (sealed + b" ", "the seal does not fit the key or the content"),
        (sealed, "this datagram came before"),
        (seal.close(b"{}", NOW), "more than 1 sealed datagrams in 60 s"),
    ):
        with pytest.raises(SealError) as caught:
            seal.open(datagram, NOW)
        assert str(caught.value) == why


def test_a_key_of_sixteen_bytes_is_long_enough() -> None:
    seal = Seal(b"k" * 16)
    assert seal.open(seal.close(b"{}", NOW), NOW) == b"{}"


@pytest.mark.parametrize("datagram", [b"", b"{}", b"WK1", b"WK1 1 2 3 {}", b"WK2 " + b"0" * 200])
def test_unsealed_is_said_so(datagram: bytes) -> None:
    assert reason_of(Seal(KEY), datagram) is Reason.UNSEALED


def test_keys_come_from_a_file_or_the_environment(tmp_path: Path) -> None:
    file = tmp_path / "key"
    file.write_bytes(KEY + b"\n")
    assert load_key(file=file) == KEY
    assert load_key(variable="WATCH_KEY", environ={"WATCH_KEY": KEY.decode()}) == KEY


def test_a_key_that_cannot_be_used_is_named_but_never_shown(tmp_path: Path) -> None:
    with pytest.raises(SealKeyError, match="needs at least 16"):
        Seal(b"short")
    with pytest.raises(SealKeyError, match=r"gone: No such file"):
        load_key(file=tmp_path / "gone")
    with pytest.raises(SealKeyError, match="WATCH_KEY for the key is not set"):
        load_key(variable="WATCH_KEY", environ={})
    with pytest.raises(SealKeyError, match="no key"):
        load_key()
