"""The Country Files, release 3631 of 15 September 2026 (www.country-files.com), as the package pyhamcty carries them.

The raw file is read here by rules of its own (those of the file's published description), not by ours.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib.resources import files
from typing import NamedTuple

import pytest

from watchkeeper.radio import entity
from watchkeeper.radio.known import KNOWN_CALLS, entity_codes
from watchkeeper.radio.release import check, from_compact, parse_country_file, to_compact

HOME = "G4QRS"  # whose calls only lend themselves to be prefixed


class Expected(NamedTuple):
    """What the raw file says of one prefix or call."""

    key: str
    exact: bool
    extra: bool
    name: str
    code: int
    continent: str
    cq_zone: int
    itu_zone: int
    latitude: float
    longitude: float


def raw() -> str:
    return files("pyhamcty").joinpath("data/cty.csv").read_text(encoding="utf-8")


def expected() -> Iterator[Expected]:
    for line in raw().splitlines():
        prefix, name, code, continent, cq, itu, latitude, west, _, keys = line.rstrip(";").split(",")
        for token in keys.split():
            key = re.split(r"[(\[<{~]", token)[0]
            if key.startswith("=VER"):
                continue
            cq_zone, itu_zone = re.search(r"\((\d+)\)", token), re.search(r"\[(\d+)\]", token)
            yield Expected(
                key.lstrip("="),
                key.startswith("="),
                prefix.startswith("*"),
                name,
                int(code),
                continent,
                int(cq_zone[1] if cq_zone else cq),
                int(itu_zone[1] if itu_zone else itu),
                float(latitude),
                -float(west),
            )


EXPECTED = list(expected())
EXTRA_CALLS = {row.key for row in EXPECTED if row.extra and row.exact}


def told(call: str) -> tuple[object, ...]:
    placed = entity.lookup(call)
    assert placed.entity is not None, call
    return (placed.entity.name, placed.entity.code, *placed[3:8], placed.matched)


def said(row: Expected) -> tuple[object, ...]:
    return (row.name, row.code, row.cq_zone, row.itu_zone, row.continent, row.latitude, row.longitude, row.key)


def test_every_exact_call_resolves_to_its_own_row() -> None:
    """A call that stands both with an entity and with a part of it (counted by one award) belongs to the part."""
    calls = [row for row in EXPECTED if row.exact and (row.extra or row.key not in EXTRA_CALLS)]
    assert len(calls) > 4000
    for row in calls:
        assert told(row.key) == said(row)
        assert entity.lookup(row.key).valid


def test_every_prefix_resolves_to_its_own_row() -> None:
    """Each prefix before a foreign call names the place of operation, with all its overrides."""
    prefixes = [row for row in EXPECTED if not row.exact]
    assert len(prefixes) > 4700
    for row in prefixes:
        assert told(f"{row.key}/{HOME}") == said(row)
        assert entity.lookup(f"{row.key}/{HOME}").status == "portable"


def test_every_prefix_with_a_number_begins_calls_of_its_own_row() -> None:
    exact = {row.key for row in EXPECTED if row.exact}
    numbered = [row for row in EXPECTED if not row.exact and re.fullmatch("..+[0-9][A-Z]*", row.key)]
    assert len(numbered) > 3800
    for row in numbered:
        call = row.key + ("QR" if row.key[-1].isdigit() else "Q")
        if call not in exact:
            assert told(call) == said(row), call


def test_there_are_over_nine_thousand_checks_in_all() -> None:
    assert len(EXPECTED) + len(raw().splitlines()) > 9000


def test_every_entity_of_the_file_is_known_by_code() -> None:
    rows = {row.code: row for row in EXPECTED if not row.extra}
    assert len(entity.all_entities()) == len(rows) == 340
    for code, row in rows.items():
        found = entity.by_code(code)
        assert found is not None
        assert (found.name, found.extra) == (row.name, False)


def test_the_bundled_data_are_those_of_the_raw_file() -> None:
    countries = parse_country_file(raw())
    check(countries, entity_codes(), KNOWN_CALLS)
    assert entity.BUNDLED.read_text(encoding="utf-8") == to_compact(countries)
    assert from_compact(to_compact(countries)).release == countries.release == entity.release()
    assert entity.release().date.isoformat() == "2026-09-15"


# Single calls and rows of the file, one line for each trap.
AWKWARD = [
    ("KG4NE", "Guantanamo Bay"),  # exact, and of the two-letter form
    ("KG4HZF", "Alaska"),  # exact, beats the prefixes
    ("4U1ITU", "ITU HQ"),
    ("4U1UN", "United Nations HQ"),
    ("4U1VIC", "Vienna Intl Ctr"),
    ("4U1WB", "United States"),
    ("3D2CCC", "Conway Reef"),
    ("3D2RI", "Rotuma Island"),
    ("JD1YBJ", "Minami Torishima"),
    ("JG8NQJ/JD1", "Minami Torishima"),
    ("JD1BPS/1", "Japan"),
    ("SV2RSG/A", "Mount Athos"),
    ("SV0XAZ", "Crete"),
    ("TX3X", "Chesterfield Islands"),
    ("TX5S", "Clipperton Island"),
    ("TX5EU", "Austral Islands"),
    ("FO5QS", "Marquesas Islands"),
    ("E51WL", "North Cook Islands"),
    ("VK0EK", "Heard Island"),
    ("VK0MQ", "Macquarie Island"),
    ("VP6A", "Ducie Island"),
    ("3Y0X", "Peter 1 Island"),
    ("3Y/LB5SH", "Bouvet"),
    ("K9CS/KH8S", "Swains Island"),
    ("W6CAS/R7", "United States"),  # would else be in Russia
    ("KH7XS/4", "United States"),
    ("NP2R/4", "Puerto Rico"),
    ("IT9CLY/4", "Italy"),
    ("JW/LB2PG", "Bear Island"),
    ("RA2FA/0", "Asiatic Russia"),
    ("HD5MW/8", "Galapagos Islands"),
    ("EA5PC/9", "Ceuta & Melilla"),
]


@pytest.mark.parametrize(("call", "name"), AWKWARD)
def test_awkward_calls_of_the_file(call: str, name: str) -> None:
    placed = entity.lookup(call)
    assert placed.entity is not None
    assert placed.entity.name == name
    assert placed.matched == call


def test_an_exact_call_keeps_its_row_when_portable() -> None:
    assert told("VE2EKA/P")[2:4] == (2, 4)
    assert entity.lookup("VE2EKA/P").status == "portable"


# Rows of the same release, read by hand: entity code, continent, CQ zone, ITU zone.
@pytest.mark.parametrize(
    ("call", "code", "continent", "cq_zone", "itu_zone"),
    [
        ("3A2QRM", 260, "EU", 14, 27),
        ("3DA0QR", 468, "AF", 38, 57),
        ("3D2QRM", 176, "OC", 32, 56),
        ("5B4QRM", 215, "AS", 20, 39),
        ("9A1QRM", 497, "EU", 15, 28),
        ("E71QRM", 501, "EU", 15, 28),
        ("T77QRM", 278, "EU", 15, 28),
        ("ZB2QRM", 233, "EU", 14, 37),
        ("S51QRM", 499, "EU", 15, 28),
        ("4W1QRM", 511, "OC", 28, 54),
        ("JA1QRV", 339, "AS", 25, 45),
        ("KG4QR", 105, "NA", 8, 11),
        ("Z61QRM", 522, "EU", 15, 28),
    ],
)
def test_entities_and_zones(call: str, code: int, continent: str, cq_zone: int, itu_zone: int) -> None:
    placed = entity.lookup(call)
    assert placed.entity is not None
    assert (placed.entity.code, placed.continent, placed.cq_zone, placed.itu_zone) == (
        code,
        continent,
        cq_zone,
        itu_zone,
    )
