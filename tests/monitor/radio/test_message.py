"""Messages beyond the published examples: variants, traps, and what never raises."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio.message import Reading, matches_own, read, reports_own

CALLS = st.from_regex(r"(?:[BFGIKMNRW]|[A-PR-Z][A-Z2-9]|[2-9][A-Z])[0-9][A-Z]{1,3}", fullmatch=True)
SUFFIXED = st.tuples(CALLS, st.sampled_from(["", "", "/R", "/P"])).map("".join)
COMPOUNDS = st.one_of(
    st.tuples(st.sampled_from(["PJ4", "F", "VK9", "3D2"]), st.just("/"), CALLS).map("".join),
    st.tuples(CALLS, st.sampled_from(["/M", "/MM", "/7", "/VE3"])).map("".join),
)
LOCATORS = st.from_regex(r"[A-R]{2}[0-9]{2}", fullmatch=True).filter(lambda word: word != "RR73")
REPORTS = st.integers(-30, 32)
WORD_TEXT = "R 73 RRR RR73; TU; CQ DE QRZ DX 123 -08 R+3 6A WI 579 570007 JO62 JO62AA DL5QRM <W1QSB> <...>"
WORDS = WORD_TEXT.split()


def shown(report_db: int) -> str:
    return f"{report_db:+03d}"


# --- calls to all ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "directed_to", "sender", "locator"),
    [
        ("CQ DL5QRM JO62", None, "DL5QRM", "JO62"),
        ("CQ DX DL5QRM JO62", "DX", "DL5QRM", "JO62"),
        ("CQ EU W1QSB", "EU", "W1QSB", None),
        ("CQ TEST W1QSB/R FN42", "TEST", "W1QSB/R", "FN42"),
        ("CQ 290 JA1QRV PM95", "290", "JA1QRV", "PM95"),
        ("CQ A W1Q FN42", "A", "W1Q", "FN42"),
        ("CQ W1Q FN42", None, "W1Q", "FN42"),
        ("CQ PJ4/W1QSB", None, "PJ4/W1QSB", None),
        ("CQ DL2026QRM", None, "DL2026QRM", None),
        ("QRZ DL5QRM", None, "DL5QRM", None),
        ("DE DL5QRM JO62", None, "DL5QRM", "JO62"),
        ("cq  dl5qrm   jo62 ", None, "DL5QRM", "JO62"),
    ],
)
def test_call_to_all(text: str, directed_to: str | None, sender: str, locator: str | None) -> None:
    found = read(text)
    assert (found.step, found.directed_to, found.sender, found.locator) == ("calling", directed_to, sender, locator)
    assert found.addressee is None
    assert found.is_call_to_all


def test_de_with_an_acknowledgement_is_not_calling_any_more() -> None:
    found = read("DE DL5QRM RR73")
    assert (found.step, found.addressee, found.is_call_to_all) == ("roger_farewell", None, True)


def test_an_unresolved_caller_to_all_stays_unknown() -> None:
    found = read("CQ <...> FN42")
    assert (found.step, found.sender, found.sender_hashed, found.locator) == ("calling", None, True, "FN42")
    assert found.is_call_to_all


# --- the locator that is none ---------------------------------------------------------------------------------------


def test_rr73_closes_and_is_no_locator() -> None:
    found = read("DL5QRM W1QSB RR73")
    assert (found.step, found.locator, found.is_closing) == ("roger_farewell", None, True)


def test_its_neighbours_are_locators() -> None:
    assert [read(f"DL5QRM W1QSB {word}").locator for word in ("RR72", "RR74", "RQ73")] == ["RR72", "RR74", "RQ73"]


def test_rr73_after_a_call_to_all_is_no_locator_either() -> None:
    assert read("CQ W1QSB RR73").locator is None


def test_an_acknowledged_rr73_is_no_message_of_the_protocol() -> None:
    assert read("DL5QRM W1QSB R RR73").type == "other"


# --- hashed and compound calls --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "sender", "addressee", "hashes"),
    [
        ("<...> W1QSB R-12", "W1QSB", None, (False, True)),
        ("W1QSB <...> -12", None, "W1QSB", (True, False)),
        ("<PJ4/W1QSB> DL5QRM -03", "DL5QRM", "PJ4/W1QSB", (False, True)),
        ("DL5QRM <PJ4/W1QSB> FK52", "PJ4/W1QSB", "DL5QRM", (True, False)),
        ("PJ4/W1QSB <DL5QRM> 73", "DL5QRM", "PJ4/W1QSB", (True, False)),
        ("<DL5QRM> PJ4/W1QSB", "PJ4/W1QSB", "DL5QRM", (False, True)),
    ],
)
def test_hashed_calls_are_marked(
    text: str, sender: str | None, addressee: str | None, hashes: tuple[bool, bool]
) -> None:
    found = read(text)
    assert (found.sender, found.addressee) == (sender, addressee)
    assert (found.sender_hashed, found.addressee_hashed) == hashes


def test_two_calls_in_full_are_read_although_no_payload_holds_them() -> None:
    found = read("PJ4/W1QSB G4QRS/M RR73")
    assert (found.type, found.sender, found.addressee) == ("full_call", "G4QRS/M", "PJ4/W1QSB")


def test_beside_a_hash_nonsense_of_a_phantom_is_still_taken_apart() -> None:
    found = read("<...> X7/KQ0//ZAB RR73")
    assert (found.type, found.sender, found.step) == ("full_call", "X7/KQ0//ZAB", "roger_farewell")


@pytest.mark.parametrize(
    ("own", "named", "same"),
    [
        ("DL5QRM", "DL5QRM", True),
        ("dl5qrm", "DL5QRM", True),
        ("DL5QRM", "<DL5QRM>", True),
        ("DL5QRM", "DL5QRM/P", True),
        ("DL5QRM", "F/DL5QRM/P", True),
        ("DL5QRM/P", "DL5QRM", True),
        ("VE3/G4QRS", "G4QRS", True),
        ("VE3/G4QRS", "<VE3/G4QRS>", True),
        ("DL5QRM", "DL5QRN", False),
        ("DL5QRM", "DL/W1QSB", False),
        ("DL5QRM", "...", False),
        ("DL5QRM", "<...>", False),
        ("DL5QRM", "", False),
        ("DL5QRM", None, False),
        ("", "DL5QRM", False),
    ],
)
def test_own_call_is_known_in_all_its_forms(own: str, named: str | None, same: bool) -> None:
    assert matches_own(own, named) is same


@pytest.mark.parametrize(
    ("own", "heard", "ours"),
    [
        ("DL5QRM", None, True),
        ("DL5QRM", "DL5QRM/P", True),
        ("DL5QRM", "W1QSB", False),
        (None, None, True),
        (None, "W1QSB", False),
    ],
)
def test_a_report_is_ours_where_it_names_us_or_nobody(own: str | None, heard: str | None, ours: bool) -> None:
    assert reports_own(own, heard) is ours


# --- contests -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "form", "step", "exchange"),
    [
        ("DL5QRM W1QSB 32F NTX", "class_and_section", "report", "32F NTX"),
        ("DL5QRM W1QSB R 1D DX", "class_and_section", "roger_report", "1D DX"),
        ("DL5QRM W1QSB 529 0013", "report_and_region", "report", "529 0013"),
        ("TU; DL5QRM W1QSB 599 ONT", "report_and_region", "report", "599 ONT"),
        ("<DL5QRM> <G4QRS> 520001 IO91NP", "serial_and_locator", "report", "520001 IO91NP"),
    ],
)
def test_contest_exchange(text: str, form: str, step: str, exchange: str) -> None:
    found = read(text)
    assert (found.type, found.step, found.exchange) == (form, step, exchange)
    assert (found.sender, found.report_db) == (text.split()[-3 if step == "report" else -4].strip("<>"), None)


@pytest.mark.parametrize("exchange", ["33A WI", "0A WI", "6J WI", "6A", "519 WI", "R 6A WI EMA", "559 00013"])
def test_near_misses_of_an_exchange_are_none(exchange: str) -> None:
    assert read(f"DL5QRM W1QSB {exchange}").exchange is None


# --- free text and telemetry ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "CQ ANYONE",
        "73",
        "W1QSB 73",
        "GL ES 73",
        "RR73",
        "CQ",
        "5W VERTICAL",
        "TEST 599",
        "W1QSB",
        "CQ CQ CQ",
        "0123456789ABC",
    ],
)
def test_free_text(text: str) -> None:
    found = read(text)
    assert (found.type, found.step, found.free_text, found.sender) == ("free_text", "free_text", text, None)


@pytest.mark.parametrize("text", ["0123456789ABCDEF01", "7FFFFFFFFFFFFFFFFF", "ABCDEF01234567"])
def test_telemetry(text: str) -> None:
    assert (read(text).type, read(text).step) == ("telemetry", "telemetry")


@pytest.mark.parametrize(
    "text", ["", "   ", "8000000000000000000", "FFFFFFFFFFFFFFFFFF", "MORE THAN THIRTEEN", "ÄÖÜ", "A,B"]
)
def test_what_fits_nothing_is_kept_as_other(text: str) -> None:
    assert read(text) == Reading(text, "other")


# --- parts ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["CQ W1QSı JO62", "CQ W1Qß", "Ｗ１QSB DL5QRM 73", "cq dl5qrm ﬀ"])
def test_letters_beyond_the_alphabet_make_no_call(text: str) -> None:
    assert read(text) == Reading(text, "other")


def test_blanks_of_any_kind_part_words() -> None:
    assert read("CQ\u00a0W1QSB\u2003FN42").locator == "FN42"


def test_all_parts_covers_every_form() -> None:
    assert [(p.addressee, p.step) for p in read("DL5QRM RR73; G4QRS <W1QSB> +02").all_parts] == [
        ("DL5QRM", "roger_farewell"),
        ("G4QRS", "report"),
    ]
    assert [(p.sender, p.report_db) for p in read("DL5QRM W1QSB -11").all_parts] == [("W1QSB", -11)]
    assert read("TNX 73").all_parts == ()


@pytest.mark.parametrize("text", ["DL5QRM RR73; G4QRS <W1QSB> R+02", "DL5QRM RRR; G4QRS <W1QSB> +02", "A RR73; B C D"])
def test_near_misses_of_the_two_addressee_form(text: str) -> None:
    assert read(text).parts is None


# --- properties -----------------------------------------------------------------------------------------------------


@given(st.text())
def test_any_text_can_be_read(text: str) -> None:
    assert read(text).text == text


@given(st.lists(st.sampled_from(WORDS), max_size=7))
def test_words_of_messages_in_any_order_can_be_read(words: list[str]) -> None:
    found = read(" ".join(words))
    assert (found.step is None) == (found.type == "other")
    assert found.sender not in {"RR73", "JO62", "R", "CQ"}
    assert all("<" not in (part.sender or "") + (part.addressee or "") for part in found.all_parts)


@given(SUFFIXED, SUFFIXED, LOCATORS, st.booleans())
def test_locator_reads_back(addressee: str, sender: str, locator: str, acknowledged: bool) -> None:
    found = read(f"{addressee} {sender} {'R ' if acknowledged else ''}{locator}")
    assert (found.addressee, found.sender, found.locator) == (addressee, sender, locator)
    assert found.step == ("roger_report" if acknowledged else "answering")


@given(SUFFIXED, SUFFIXED, REPORTS, st.booleans())
def test_report_reads_back(addressee: str, sender: str, report_db: int, acknowledged: bool) -> None:
    found = read(f"{addressee} {sender} {'R' if acknowledged else ''}{shown(report_db)}")
    assert (found.addressee, found.sender, found.report_db) == (addressee, sender, report_db)
    assert found.step == ("roger_report" if acknowledged else "report")


@given(CALLS, COMPOUNDS, st.sampled_from(["", " RRR", " RR73", " 73"]), st.booleans())
def test_a_call_in_full_reads_back(plain: str, compound: str, end: str, compound_sends: bool) -> None:
    text = f"<{plain}> {compound}{end}" if compound_sends else f"{compound} <{plain}>{end}"
    found = read(text)
    assert found.type == ("full_call" if len(compound) <= 11 else "other")
    if found.type == "full_call":
        assert (found.sender, found.addressee) == ((compound, plain) if compound_sends else (plain, compound))
        assert (found.sender_hashed, found.addressee_hashed) == (not compound_sends, compound_sends)


@given(CALLS, CALLS, COMPOUNDS, st.integers(-15, 16))
def test_the_two_addressee_form_reads_back(first: str, second: str, sender: str, half_report: int) -> None:
    hashed = sender[:11]
    parts = read(f"{first} RR73; {second} <{hashed}> {shown(2 * half_report)}").parts
    assert parts is not None
    assert [(p.sender, p.addressee, p.report_db) for p in parts] == [
        (hashed, first, None),
        (hashed, second, 2 * half_report),
    ]


@given(CALLS, COMPOUNDS)
def test_own_call_matches_its_compounds_and_no_other(own: str, other: str) -> None:
    assert matches_own(own, f"PJ4/{own}")
    assert matches_own(own, other) == (own in other.split("/"))


@pytest.mark.parametrize(
    "text",
    [
        "CQ DX W1QSB FN42", "CQ PJ4/W1QSB", "DE W1QSB -08", "W1QSB DL5QRM JO62", "<W1QSB> PJ4/DL5QRM RRR",
        "W1QSB RR73; G4QRS <DL5QRM> -08", "W1QSB DL5QRM R 6A WI", "W1QSB DL5QRM 579 MA",
        "<W1QSB> <DL5QRM> 570007 JO62QM", "TNX BOB 73 GL", "0123456789ABCDEF01", "no message at all, of any kind",
    ],
)  # fmt: skip
def test_every_reading_keeps_its_text(text: str) -> None:
    assert read(text).text == text


def test_a_call_to_all_may_name_any_eleven_characters() -> None:
    # QEX July/August 2020, Table 1, type 4: 58 bits hold a call of up to eleven characters
    found = read("CQ AZEEU9LTISO")
    assert (found.sender, found.sender_hashed, found.type, found.step) == (
        "AZEEU9LTISO", False, "full_call", "calling",
    )  # fmt: skip
    for text in ("QRZ AZEEU9LTISO", "CQ AZEEU9LTISO JO62", "CQ DX"):
        assert read(text).sender is None
    assert read("VP2E/DL5QRM W1QSB -08").addressee == "VP2E/DL5QRM"
    assert read("VP2E/DL50QRM W1QSB -08").addressee is None


def test_de_with_a_report_tells_it() -> None:
    found = read("DE W1QSB -08")
    assert (found.sender, found.addressee, found.step, found.report_db) == ("W1QSB", None, "report", -8)


def test_beside_a_hashed_sender_any_string_is_whom_it_calls() -> None:
    found = read("AZEEU9LTISO <W1QSB> RR73")
    assert (found.addressee, found.addressee_hashed, found.sender, found.sender_hashed) == (
        "AZEEU9LTISO", False, "W1QSB", True,
    )  # fmt: skip
    found = read("<W1QSB> AZEEU9LTISO RR73")
    assert (found.addressee_hashed, found.sender_hashed) == (True, False)


@pytest.mark.parametrize(
    "text",
    [
        "A.B DL5QRM 73", "DL5QRM A.B 73", "A.B <DL5QRM> 73",
        "A.B RR73; G4QRS <DL5QRM> -08", "W1QSB RR73; A.B <DL5QRM> -08", "W1QSB RR73; G4QRS A.B -08",
        "W1QSB RR73; G4QRS <DL5QRM> A.B",
        "A.B DL5QRM 6A WI", "W1QSB A.B 6A WI", "A.B DL5QRM 579 MA", "W1QSB A.B 579 MA",
        "W1QSB <DL5QRM> 570007 JO62QM", "<W1QSB> DL5QRM 570007 JO62QM",
        "<W1QSB> <DL5QRM> 57007 JO62QM", "<W1QSB> <DL5QRM> 570007 JO62", "<W1QSB> <DL5QRM> R 57007 JO62",
    ],
)  # fmt: skip
def test_one_part_that_does_not_fit_spoils_the_form(text: str) -> None:
    found = read(text)
    assert found.type in ("other", "free_text")
    assert (found.sender, found.addressee, found.exchange, found.all_parts) == (None, None, None, ())


def test_the_hashes_of_two_addressees_are_marked_in_their_own_parts() -> None:
    first, second = read("<W1QSB> RR73; G4QRS <DL5QRM> -08").all_parts
    assert (first.addressee_hashed, second.addressee_hashed) == (True, False)
    first, second = read("W1QSB RR73; <G4QRS> DL5QRM -08").all_parts
    assert (first.addressee_hashed, second.addressee_hashed) == (False, True)
    assert (first.sender_hashed, second.sender_hashed) == (False, False)
