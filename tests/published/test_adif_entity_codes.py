"""ADIF 3.1.7 (adif.org, 2026-03-22), enumeration DXCC_Entity_Code: 403 records, 340 current, 62 deleted, 0 for none."""

from __future__ import annotations

import pytest

from watchkeeper.radio import datafile, entity
from watchkeeper.radio.known import KNOWN_CALLS, entity_codes


def test_the_list_has_the_published_numbers() -> None:
    codes = entity_codes()
    assert len(codes) == 403
    assert sum(codes.values()) == 62
    assert sum(not deleted for code, deleted in codes.items() if code) == 340


def test_every_entity_code_is_a_current_one_and_every_current_one_is_there() -> None:
    current = {code for code, deleted in entity_codes().items() if code and not deleted}
    assert {found.code for found in entity.all_entities()} == current


# Codes as the enumeration prints them.
@pytest.mark.parametrize(
    ("code", "name", "deleted"),
    [
        (1, "CANADA", False),
        (2, "ABU AIL IS.", True),
        (6, "ALASKA", False),
        (13, "ANTARCTICA", False),
        (54, "EUROPEAN RUSSIA", False),
    ],
)
def test_names(code: int, name: str, deleted: bool) -> None:
    rows = {int(line.split("\t")[0]): line.split("\t") for line in datafile.read("entity-codes.txt").splitlines()}
    assert rows[code][2] == name
    assert entity_codes()[code] is deleted


def test_the_known_calls_name_current_codes() -> None:
    assert all(entity_codes()[code] is False for code in KNOWN_CALLS.values())
