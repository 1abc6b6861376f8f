"""Our data types against the XML schema that adif.org publishes with the standard.

The schema is ``adx314.xsd`` (ADX 3.1.4, 2022-11-01), as pyadif-file carries it; its patterns decide here whether a text
is of a type, and ours must decide the same.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import resources
from typing import Any

import pytest
import xmlschema
from hypothesis import given, settings
from hypothesis import strategies as st

from watchkeeper.adif.types import fault


@pytest.fixture(scope="module")
def published() -> Callable[[str, str], bool]:
    """Does the published schema take a text as one of its types?"""
    text = resources.files("adif_file").joinpath("xsd", "adx314.xsd").read_text("utf-8-sig")
    library: Any = xmlschema  # its constructors are not annotated
    schema = library.XMLSchema(text)
    return lambda type_name, value: bool(schema.types[type_name].is_valid(value))


#: ours → the schema's name for it
TYPES = {
    "Boolean": "Boolean",
    "PositiveInteger": "PositiveInteger",
    "Date": "Date",
    "Time": "Time",
    "GridSquare": "GridSquare",
    "GridSquareExt": "GridSquareExt",
    "IOTARefNo": "IOTARefNo",
    "Location": "Location",
    "POTARefList": "POTARefList",
    "SOTARef": "SOTARef",
    "WWFFRef": "WWFFRef",
    "String": "String",
    "Number": "Number",
    "Integer": "Integer",
    "IntlString": "IntlString",
    "CreditList": "CreditList",
    "SponsoredAwardList": "SponsoredAwardList",
}
#: shapes near to the types, so that many texts are nearly right
SHAPES = st.from_regex(
    r"[YNyn]|-?[0-9]{1,8}|-?[0-9]{0,3}\.[0-9]{0,3}|[A-Ra-r]{2}[0-9]{2}[A-Xa-x]{0,2}[0-9]{0,2}"
    r"|[0-9]{4}(0[0-9]|1[0-3])[0-3][0-9]|(NA|eu|AF|XX)-[0-9]{3}|[NSEWx](0[0-9]{2}|1[0-9]{2}) [0-6][0-9]\.[0-9]{3}"
    r"|[A-Z0-9]{1,5}-[0-9]{3,6}(@[A-Z]{2}-[A-Z]{1,3})?|[A-Z0-9]{1,4}/[A-Z]{2}-0[0-9]{2}|[A-Z]{0,4}FF-[0-9]{4}"
    r"|[ -~]{0,8}|[0-2][0-9][0-6][0-9]([0-6][0-9])?",
    fullmatch=True,
)

#: where the schema is known to be looser than the text of the standard, or we hold more to it
DIFFERENT: dict[str, Callable[[str], bool]] = {
    # a pattern cannot know the calendar, nor that the poles and the date line end the degrees
    "Date": lambda text: text[6:] in {"29", "30", "31"},
    "Location": lambda text: text[1:4] == "180",
    # the schema lists awards and sponsors by name, which we do not keep; those lists are tested by example below
    "CreditList": lambda text: True,
    "SponsoredAwardList": lambda text: True,
}


@settings(max_examples=300)
@given(text=SHAPES)
def test_our_types_take_what_the_published_patterns_take(published: Callable[[str, str], bool], text: str) -> None:
    for ours, theirs in TYPES.items():
        if ours in DIFFERENT and DIFFERENT[ours](text):
            continue
        assert (fault(ours, text) is None) == published(theirs, text), (ours, text)


@pytest.mark.parametrize(
    ("type_name", "text"),
    [
        ("CreditList", "DXCC:card,DXCC_BAND:card,DXCC_MODE:card"),
        ("CreditList", "IOTA,WAS:LOTW&CARD,DXCC:CARD"),
        ("SponsoredAwardList", "ADIF_CENTURY_BASIC,ADIF_CENTURY_SILVER,ADIF_SPECTRUM_100-160m"),
        ("Date", "20240229"),
        ("Location", "W117 23.513"),
        ("Location", "E180 00.000"),
    ],
)
def test_examples_that_both_take(published: Callable[[str, str], bool], type_name: str, text: str) -> None:
    assert published(TYPES[type_name], text)
    assert fault(type_name, text) is None


@pytest.mark.parametrize(
    ("type_name", "text"), [("CreditList", "DXCC:paper"), ("SponsoredAwardList", "ADIF CENTURY"), ("Date", "20261301")]
)
def test_examples_that_both_refuse(published: Callable[[str, str], bool], type_name: str, text: str) -> None:
    assert not published(TYPES[type_name], text)
    assert fault(type_name, text) is not None
