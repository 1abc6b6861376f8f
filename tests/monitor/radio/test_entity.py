"""What a call leads to: entities of the Country Files (release 3631), rules of common practice without a source."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio import entity
from watchkeeper.radio.release import ReleaseError


def name(call: str) -> str | None:
    found = entity.lookup(call).entity
    return found.name if found else None


@pytest.mark.parametrize(
    ("call", "entity_name", "status"),
    [
        # KG4: Guantanamo Bay with two letters, else the mainland
        ("KG4QR", "Guantanamo Bay", "home"),
        ("KG4QRM", "United States", "home"),
        ("KG4Q", "United States", "home"),
        ("KG4QR/P", "Guantanamo Bay", "portable"),
        ("KG4QRM/P", "United States", "portable"),
        ("KG4/W1QSB", "Guantanamo Bay", "portable"),
        ("W1QSB/KG4", "Guantanamo Bay", "portable"),
        ("KG6QRM/4", "United States", "portable"),
        # the islands of the United States, and their calls elsewhere
        ("KH6QRM", "Hawaii", "home"),
        ("KH7KQR", "Kure Island", "home"),
        ("KL7QRM", "Alaska", "home"),
        ("KP4QRM", "Puerto Rico", "home"),
        ("KP2QRM", "US Virgin Islands", "home"),
        ("KL7QRM/4", "United States", "portable"),
        ("KH6QRM/KP4", "Puerto Rico", "portable"),
        ("DL5QRM/KH6", "Hawaii", "portable"),
        ("KH0/JA1QRV", "Mariana Islands", "portable"),
        # the islands of Australia, France, Chile, New Zealand, the United Kingdom
        ("VK9NQR", "Norfolk Island", "home"),
        ("VK9XQR", "Christmas Island", "home"),
        ("VK9/DL5QRM", "Norfolk Island", "portable"),
        ("VK0QRM", "Antarctica", "home"),
        ("JD1QRM", "Ogasawara", "home"),
        ("JD1QRM/1", "Japan", "portable"),
        ("FT5WQR", "Crozet Island", "home"),
        ("FT4XQR", "Kerguelen Islands", "home"),
        ("FT5ZQR", "Amsterdam & St. Paul Is.", "home"),
        ("FK8QRM", "New Caledonia", "home"),
        ("TX7QRM", "France", "home"),  # the islands that have used TX are exact calls
        ("CE0YQR", "Easter Island", "home"),
        ("CE0ZQR", "Juan Fernandez Islands", "home"),
        ("CE0XQR", "San Felix & San Ambrosio", "home"),
        ("CE0/DL5QRM", "Easter Island", "portable"),
        ("CE3QRM", "Chile", "home"),
        ("3Y0QRM", "Antarctica", "home"),
        ("E51QRM", "South Cook Islands", "home"),
        ("3D2QRM", "Fiji", "home"),
        ("VP2EQR", "Anguilla", "home"),
        ("VP2MQR", "Montserrat", "home"),
        ("VP2VQR", "British Virgin Islands", "home"),
        ("VP6QRM", "Pitcairn Island", "home"),
        ("VP8QRM", "Falkland Islands", "home"),
        ("VP8/G4QRS", "Falkland Islands", "portable"),
        ("ZL7QRM", "Chatham Islands", "home"),
        # Greece and Russia, by call area
        ("SV1QRM", "Greece", "home"),
        ("SV1QRM/5", "Dodecanese", "portable"),
        ("SV1QRM/9", "Crete", "portable"),
        ("SV5QRM/1", "Greece", "portable"),
        ("SV2QRM/A", "Greece", "portable"),  # Mount Athos is in the file by exact calls
        ("UA2FQR", "Kaliningrad", "home"),
        ("UA9QRM", "Asiatic Russia", "home"),
        ("UA9QRM/1", "European Russia", "portable"),
        ("UA1QRM/9", "Asiatic Russia", "portable"),
        ("RA3QRM/2", "Kaliningrad", "portable"),
        # without series, of organisations
        ("1A0QR", "Sov Mil Order of Malta", "home"),
        ("S01QR", "Western Sahara", "home"),
        ("Z61QR", "Republic of Kosovo", "home"),
        ("4U1QRM", "Italy", "home"),
        # places
        ("VE3/G4QRS", "Canada", "portable"),
        ("G4QRS/VE3", "Canada", "portable"),
        ("DL/W1QSA/P", "Fed. Rep. of Germany", "portable"),
        ("OH1QRM/0", "Aland Islands", "portable"),
        ("EA1QRM/8", "Canary Islands", "portable"),
        ("9A50QRM", "Croatia", "home"),
        ("C4QRM", "Cyprus", "home"),
        ("<DL5QRM>", "Fed. Rep. of Germany", "home"),
        ("dl5qrm/p", "Fed. Rep. of Germany", "portable"),
        ("3D2QRM/1", "Fiji", "portable"),  # a call area that the file does not know leaves the home call
    ],
)
def test_where_a_call_belongs(call: str, entity_name: str, status: str) -> None:
    placed = entity.lookup(call)
    assert placed.valid
    assert name(call) == entity_name
    assert placed.status == status
    assert placed.call == call.upper().strip("<>")


def test_coordinates_are_positive_east_and_north() -> None:
    assert entity.lookup("JA1QRV")[6:8] == (36.4, 138.38)
    assert entity.lookup("PY2QRZ")[6:8] == (-10.0, -53.0)


@pytest.mark.parametrize(
    ("call", "status"), [("W1QSB/MM", "maritime"), ("DL/W1QSB/MM", "maritime"), ("W1QSB/AM", "aeronautical")]
)
def test_at_sea_and_in_the_air_there_is_no_entity(call: str, status: str) -> None:
    assert entity.lookup(call) == (call, True, *[None] * 7, status)


@pytest.mark.parametrize("text", ["HELLO", "CQ", "RR73", "73", "", "VP8", "DL5", "Q1QRM", "<...>", "DL5QRM//P"])
def test_what_is_no_call_sign_leads_nowhere(text: str) -> None:
    assert entity.lookup(text) == (text.strip("<>"), False, *[None] * 7, "unknown")


def test_letters_that_only_look_like_it_make_no_exact_call() -> None:
    assert entity.lookup("4u1itu").entity is not None
    assert entity.lookup("4u1ıtu") == ("4u1ıtu", False, *[None] * 7, "unknown")


def test_a_series_of_nobody_is_not_valid_one_without_amateurs_is() -> None:
    assert entity.lookup("T9QRM") == ("T9QRM", False, *[None] * 7, "unknown")
    assert entity.lookup("4Y1QRM") == ("4Y1QRM", True, *[None] * 7, "home")


@given(st.text(max_size=16))
def test_any_text_has_an_answer(text: str) -> None:
    placed = entity.lookup(text)
    assert placed.valid or placed.status == "unknown"
    assert (placed.entity is None) == (placed.cq_zone is None) == (placed.matched is None)


@given(st.from_regex("[A-Z0-9]{1,3}[0-9][A-Z]{1,4}(/[A-Z0-9]{1,4})?", fullmatch=True))
def test_remembered_answers_are_the_first_ones(call: str) -> None:
    assert entity.lookup(call) == entity.lookup.__wrapped__(call) == entity.lookup(call.lower())


def test_a_prefix_of_the_file_leads_to_its_entity() -> None:
    found = entity.prefix_entity("VP8")
    assert found is not None
    assert found.name == "Falkland Islands"
    assert entity.prefix_entity("Q") is None


def test_entities_by_code() -> None:
    germany = entity.by_code(230)
    assert germany is not None
    assert (germany.prefix, germany.continent, germany.cq_zone, germany.itu_zone) == ("DL", "EU", 14, 28)
    assert entity.by_code(2) is None  # deleted
    assert entity.by_code(9999) is None


def test_a_part_that_one_award_counts_shares_the_code_it_lies_in() -> None:
    sicily = entity.lookup("IT9QRM").entity
    assert sicily is not None
    assert (sicily.name, sicily.code, sicily.extra) == ("Sicily", 248, True)
    assert sicily not in entity.all_entities()


def test_another_release_can_be_used(tmp_path: Path) -> None:
    other = tmp_path / "entities.tsv"
    values = "14\t28\tEU\t51\t10"
    other.write_text(
        "# watchkeeper entities 1\nR\t20270101\t2027-01-01\tmade up\n"
        f"E\t230\tDL\t\tElsewhere\t{values}\nP\t{values}\tDL\n",
        encoding="utf-8",
    )
    bundled = entity.release()
    editions = [entity.edition()]
    try:
        assert entity.use(other).name == "20270101"
        editions.append(entity.edition())
        assert name("DL5QRM") == "Elsewhere"
        assert entity.use(other) == entity.release()
        editions.append(entity.edition())
        assert len(set(editions)) == 3, "what was remembered under one release would be taken for the other's"
        other.write_text("# something else\n", encoding="utf-8")
        with pytest.raises(ReleaseError, match="line 1"):
            entity.use(other)
        assert name("DL5QRM") == "Elsewhere"
    finally:
        entity.use(None)
    assert name("DL5QRM") == "Fed. Rep. of Germany"
    assert entity.release() == bundled
