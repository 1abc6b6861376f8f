"""The small log on the web: each key once, and in trouble when told so."""

from __future__ import annotations

import http.client
from collections.abc import Iterator

import pytest

from watchkeeper.rehearsal.httplog import HttpLog, Trouble


@pytest.fixture
def log() -> Iterator[HttpLog]:
    found = HttpLog(0)
    found.start()
    yield found
    found.stop()


def post(log: HttpLog, key: str | None, body: bytes, timeout: float = 5.0) -> int:
    connection = http.client.HTTPConnection("127.0.0.1", log.port, timeout=timeout)
    try:
        connection.request("POST", "/contacts", body, {} if key is None else {"Idempotency-Key": key})
        return connection.getresponse().status
    finally:
        connection.close()


def test_each_key_is_taken_once(log: HttpLog) -> None:
    assert post(log, "a", b"one") == 201
    assert post(log, "b", b"two") == 201
    assert post(log, "a", b"one") == 409
    assert log.received == 2


def test_a_key_with_another_body_is_refused(log: HttpLog) -> None:
    """As the IETF draft on the Idempotency-Key header has it."""
    assert post(log, "a", b"one") == 201
    assert post(log, "a", b"other") == 422
    assert log.received == 1


def test_a_request_without_a_key_is_refused(log: HttpLog) -> None:
    assert post(log, None, b"one") == 400
    assert log.received == 0


def test_it_fails_when_told_so(log: HttpLog) -> None:
    log.trouble = Trouble.FAILS
    assert post(log, "a", b"one") == 503
    log.trouble = Trouble.NONE
    assert post(log, "a", b"one") == 201


def test_it_closes_early_when_told_so(log: HttpLog) -> None:
    log.trouble = Trouble.CLOSES
    with pytest.raises((http.client.RemoteDisconnected, ConnectionError)):
        post(log, "a", b"one")
    assert log.received == 0


def test_it_stalls_when_told_so(log: HttpLog) -> None:
    log.trouble = Trouble.STALLS
    with pytest.raises(TimeoutError):
        post(log, "a", b"one", timeout=0.2)
    assert (log.received, log.requests) == (0, 1)
