"""Contacts from a growing ADIF file. The records follow ADIF 3.1.7, "ADI Data Format"."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watchkeeper.intake.adif_follower import AdifFollower, Followed
from watchkeeper.schema.events import Contact, to_ms
from watchkeeper.schema.wire import decode, encode

NOW = to_ms(datetime(2026, 5, 1, 13, 0, tzinfo=UTC))
HEADER = b"a log\n<ADIF_VER:5>3.1.7 <PROGRAMID:5>bench <EOH>\n"


def record(call: str, **more: str) -> bytes:
    fields = {
        "CALL": call,
        "QSO_DATE": "20260501",
        "TIME_ON": "120015",
        "TIME_OFF": "120130",
        "FREQ": "14.075850",
        "MODE": "FT8",
        **more,
    }
    text = "".join(f"<{name}:{len(value)}>{value} " for name, value in fields.items())
    return (text + "<EOR>\n").encode()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "decoder.adi"


def append(path: Path, data: bytes) -> None:
    with path.open("ab") as file:
        file.write(data)


def follower(path: Path, since_ms: int = 0) -> AdifFollower:
    return AdifFollower(path, "follow", since_ms, lambda: NOW)


def look(path: Path) -> Followed:
    """What a follower finds that looks once."""
    log = follower(path)
    found = log.poll()
    log.close()
    return found


def contacts(found: Followed) -> list[Contact]:
    assert all(isinstance(arrival.event, Contact) for arrival in found.arrivals)
    return [arrival.event for arrival in found.arrivals if isinstance(arrival.event, Contact)]


def calls(found: Followed) -> list[str]:
    return [contact.call for contact in contacts(found)]


def test_a_record_becomes_the_event_that_announces_its_contact(path: Path) -> None:
    append(path, HEADER + record("JA1QRV", SUBMODE="", RST_SENT="-12", GRIDSQUARE="PM95", STATION_CALLSIGN="DL5QRM"))
    found = look(path)
    (contact,) = contacts(found)
    assert found.problems == []
    assert (contact.source, contact.call, contact.mode, contact.dial_hz) == ("follow", "JA1QRV", "FT8", 14_075_850)
    assert (contact.report_sent, contact.locator, contact.station_call) == ("-12", "PM95", "DL5QRM")
    assert contact.started_at == datetime(2026, 5, 1, 12, 0, 15, tzinfo=UTC)
    assert contact.ended_at == datetime(2026, 5, 1, 12, 1, 30, tzinfo=UTC)
    assert to_ms(contact.at) == NOW
    assert decode(encode(contact)).events == (contact,)
    assert (found.arrivals[0].peer, found.arrivals[0].arrived_ms) == (None, NOW)


def test_a_submode_names_the_mode(path: Path) -> None:
    # ADIF 3.1.7, Submode enumeration: FT4 is a submode of MFSK
    append(path, record("JA1QRV", MODE="MFSK", SUBMODE="FT4"))
    assert contacts(look(path))[0].mode == "FT4"


def test_torn_tails_wait_for_their_end(path: Path) -> None:
    whole = HEADER + record("JA1QRV") + record("W1QSB")
    log = follower(path)
    assert calls(log.poll()) == []  # no file yet
    found: list[str] = []
    for start in range(0, len(whole), 7):
        append(path, whole[start : start + 7])
        found += calls(log.poll())
    log.close()
    assert found == ["JA1QRV", "W1QSB"]


@settings(max_examples=30)
@given(st.lists(st.integers(0, 400), max_size=8))
def test_pieces_do_not_matter(tmp_path_factory: pytest.TempPathFactory, cuts: list[int]) -> None:
    whole = HEADER + b"".join(record(f"DL{number}QRM", COMMENT="a < b > c <EO") for number in range(4))
    path = tmp_path_factory.mktemp("log") / "log.adi"
    log = follower(path)
    found: list[str] = []
    edges = [0, *sorted(cuts), len(whole)]
    for start, end in pairwise(edges):
        append(path, whole[start:end])
        found += calls(log.poll())
    log.close()
    assert found == ["DL0QRM", "DL1QRM", "DL2QRM", "DL3QRM"]


def test_rewriting_and_rotation_bring_each_contact_once(path: Path) -> None:
    log = follower(path)
    append(path, HEADER + record("JA1QRV"))
    assert calls(log.poll()) == ["JA1QRV"]
    path.write_bytes(HEADER + record("JA1QRV", COMMENT="edited") + record("W1QSB"))  # in place
    assert calls(log.poll()) == ["JA1QRV", "W1QSB"]  # what was edited is another record
    fresh = path.with_suffix(".new")
    fresh.write_bytes(HEADER + record("JA1QRV") + record("W1QSB") + record("VE3QSL"))
    fresh.replace(path)  # as programs save that write a file anew
    assert calls(log.poll()) == ["VE3QSL"]
    path.rename(path.with_suffix(".old"))
    append(path, HEADER + record("SV1QRZ"))
    assert calls(log.poll()) == ["SV1QRZ"]
    log.close()


def test_the_id_is_the_same_in_every_run(path: Path) -> None:
    append(path, record("JA1QRV"))
    assert contacts(look(path))[0].id == contacts(look(path))[0].id


def test_old_contacts_are_passed_over(path: Path) -> None:
    append(path, record("JA1QRV", QSO_DATE="20200501") + record("W1QSB"))
    log = follower(path, since_ms=NOW - 86_400_000)
    assert calls(log.poll()) == ["W1QSB"]
    log.close()
    assert log.passed_over == 1


def test_a_contact_of_any_date_is_announced_now(path: Path) -> None:
    append(path, record("JA1QRV", QSO_DATE="20300501"))
    (contact,) = contacts(look(path))
    assert to_ms(contact.at) == NOW
    assert contact.ended_at.year == 2030


def test_what_cannot_be_taken_is_told_and_loses_nothing_else(path: Path) -> None:
    append(
        path, record("") + record("JA1QRV", GRIDSQUARE="near PM95") + record("J A 1") + record("W1QSB", TIME_ON="noon")
    )
    found = look(path)
    (contact,) = contacts(found)
    assert (contact.call, contact.locator) == ("JA1QRV", None)
    assert [problem.partition(":")[0] for problem in found.problems] == [
        "decoder.adi record 1",
        "decoder.adi record 2",
        "decoder.adi record 3",
        "decoder.adi record 4",
    ]
    assert "locator 'near PM95' cannot be taken" in found.problems[1]


def test_the_other_form_of_adif_is_named(path: Path) -> None:
    append(path, b'<?xml version="1.0"?><ADX><HEADER/><RECORDS></RECORDS></ADX>')
    assert look(path).problems == ["decoder.adi: ADX cannot be followed, only ADI"]


def test_a_large_log_is_taken_over_several_looks(path: Path) -> None:
    append(path, b"".join(record(f"DL{number}QRM", COMMENT="x" * 200) for number in range(3000)))
    log = follower(path)
    found: list[str] = []
    looks = 0
    while more := calls(log.poll()):
        found += more
        looks += 1
    log.close()
    assert len(found) == 3000
    assert looks > 1
