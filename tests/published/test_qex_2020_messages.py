"""The example messages of "The FT4 and FT8 Communication Protocols": Franke, Somerville, Taylor, QEX July/August 2020.

Table 1 of the paper gives one or two examples for each structured type. The paper's text was not at hand: examples and
type numbers are from memory. Call signs are the paper's own.
"""

from __future__ import annotations

import pytest

from watchkeeper.radio.message import Form, Part, Reading, Step, read

#: paper's type, message, our form, sender, addressee, step
EXAMPLES: list[tuple[str, str, Form, str | None, str | None, Step]] = [
    ("0.0", "TNX BOB 73 GL", "free_text", None, None, "free_text"),
    ("0.1", "K1ABC RR73; W9XYZ <KH1/KH7Z> -08", "two_addressees", "KH1/KH7Z", "K1ABC", "roger_farewell"),
    ("0.3", "K1ABC W9XYZ 6A WI", "class_and_section", "W9XYZ", "K1ABC", "report"),
    ("0.4", "W9XYZ K1ABC R 17B EMA", "class_and_section", "K1ABC", "W9XYZ", "roger_report"),
    ("0.5", "123456789ABCDEF012", "telemetry", None, None, "telemetry"),
    ("1", "CQ K1ABC FN42", "standard", "K1ABC", None, "calling"),
    ("1", "K1ABC W9XYZ EN37", "standard", "W9XYZ", "K1ABC", "answering"),
    ("1", "W9XYZ K1ABC -11", "standard", "K1ABC", "W9XYZ", "report"),
    ("1", "K1ABC W9XYZ R-09", "standard", "W9XYZ", "K1ABC", "roger_report"),
    ("1", "W9XYZ K1ABC RRR", "standard", "K1ABC", "W9XYZ", "roger"),
    ("1", "W9XYZ K1ABC RR73", "standard", "K1ABC", "W9XYZ", "roger_farewell"),
    ("1", "K1ABC W9XYZ 73", "standard", "W9XYZ", "K1ABC", "farewell"),
    ("1", "K1ABC W9XYZ -08", "standard", "W9XYZ", "K1ABC", "report"),
    ("1", "K1ABC/R W9XYZ/R R EN37", "standard", "W9XYZ/R", "K1ABC/R", "roger_report"),
    ("2", "G4ABC/P PA9XYZ JO22", "standard_portable", "PA9XYZ", "G4ABC/P", "answering"),
    ("3", "K1ABC W9XYZ 579 WI", "report_and_region", "W9XYZ", "K1ABC", "report"),
    ("3", "TU; W9XYZ K1ABC R 589 MA", "report_and_region", "K1ABC", "W9XYZ", "roger_report"),
    ("4", "<W9XYZ> PJ4/K1ABC RRR", "full_call", "PJ4/K1ABC", "W9XYZ", "roger"),
    ("5", "<G4ABC> <PA9XYZ> R 570007 JO22DB", "serial_and_locator", "PA9XYZ", "G4ABC", "roger_report"),
]


@pytest.mark.parametrize(("number", "text", "form", "sender", "addressee", "step"), EXAMPLES)
def test_example_is_read_with_its_type_parties_and_step(
    number: str, text: str, form: Form, sender: str | None, addressee: str | None, step: Step
) -> None:
    found = read(text)
    assert (found.type, found.sender, found.addressee, found.step) == (form, sender, addressee, step)


def test_the_two_addressee_form_has_two_parts() -> None:
    assert read("K1ABC RR73; W9XYZ <KH1/KH7Z> -08").parts == (
        Part("KH1/KH7Z", "K1ABC", "roger_farewell", None, sender_hashed=True),
        Part("KH1/KH7Z", "W9XYZ", "report", -8, sender_hashed=True),
    )


def test_every_other_form_has_no_parts() -> None:
    assert [text for number, text, *_ in EXAMPLES if number != "0.1" and read(text).parts is not None] == []


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("K1ABC/R W9XYZ/R R EN37", {"locator": "EN37", "report_db": None}),
        ("CQ K1ABC FN42", {"locator": "FN42", "directed_to": None}),
        ("K1ABC W9XYZ -08", {"report_db": -8, "locator": None}),
        ("G4ABC/P PA9XYZ JO22", {"locator": "JO22"}),
        ("K1ABC W9XYZ 6A WI", {"exchange": "6A WI", "report_db": None}),
        ("W9XYZ K1ABC R 17B EMA", {"exchange": "17B EMA"}),
        ("K1ABC W9XYZ 579 WI", {"exchange": "579 WI", "report_db": None}),
        ("TU; W9XYZ K1ABC R 589 MA", {"exchange": "589 MA"}),
        ("<W9XYZ> PJ4/K1ABC RRR", {"addressee_hashed": True, "sender_hashed": False}),
        (
            "<G4ABC> <PA9XYZ> R 570007 JO22DB",
            {"exchange": "570007 JO22DB", "locator": "JO22DB", "addressee_hashed": True, "sender_hashed": True},
        ),
        ("TNX BOB 73 GL", {"free_text": "TNX BOB 73 GL"}),
    ],
)
def test_example_is_read_with_its_contents(text: str, expected: dict[str, object]) -> None:
    found: Reading = read(text)
    assert {name: getattr(found, name) for name in expected} == expected
