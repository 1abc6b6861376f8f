"""The one sanitiser, against Unicode's own categories (The Unicode Standard, chapter 4.5) and ECMA-48's sequences."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.faces.clean import MAX_MARKS, clean, formula_safe, scrub

# every code point, lone surrogates included, and the pieces that hostile texts are made of
PIECES = st.sampled_from(
    ["\x1b[31m", "\x1b]0;title\x07", "\x9b2J", "\x1bPq\x1b\\", "\u202e", "\u200b", "\ue000", "[bold]", "[/red]", "\r\n"]
)
HOSTILE = st.lists(st.one_of(PIECES, st.text(alphabet=st.characters(), max_size=8)), max_size=12).map("".join)


@given(HOSTILE)
def test_only_visible_characters_come_through(text: str) -> None:
    for character in clean(text):
        assert unicodedata.category(character) not in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
        assert character == " " or unicodedata.category(character) != "Zs"


@given(HOSTILE, st.integers(0, 40))
def test_is_idempotent_bounded_and_encodable(text: str, limit: int) -> None:
    cleaned = clean(text, limit)
    assert len(cleaned) <= limit
    assert clean(cleaned, limit) == cleaned
    assert cleaned.encode("utf-8")[:0] == b""


@given(st.text(alphabet=st.characters(min_codepoint=0x21, max_codepoint=0x7E), max_size=60))
def test_plain_text_is_left_alone(text: str) -> None:
    assert clean(text) == text


@given(HOSTILE)
def test_marks_never_pile_up(text: str) -> None:
    run = 0
    for character in clean(text + "a" + "\u0301" * 9):
        run = run + 1 if unicodedata.category(character) in {"Mn", "Mc", "Me"} else 0
        assert run <= MAX_MARKS


@pytest.mark.parametrize(
    ("text", "cleaned"),
    [
        ("CQ \x1b[2J\x1b[1;31mDL5QRM\x1b[0m", "CQ DL5QRM"),  # ECMA-48 CSI
        ("\x1b]8;;http://example.invalid\x1b\\link\x1b]8;;\x1b\\", "link"),  # ECMA-48 OSC
        ("\x9b31mred", "red"),
        ("broken \x1b[12", "broken 12"),
        ("one\r\ntwo\u2028three", "one two three"),
        ("abc\u202edef\u2066", "abcdef"),  # Unicode UAX #9: explicit directional formatting characters
        ("z\u200be\u200dr\ufeffo", "zero"),
        ("[bold red]x[/]", "[bold red]x[/]"),  # harmless: it never meets a reader of markup
        ("  much   space ", "much space"),
        ("\ud800lone", "lone"),
    ],
)
def test_known_cases(text: str, cleaned: str) -> None:
    assert clean(text) == cleaned


def test_what_is_too_long_ends_in_an_ellipsis() -> None:
    assert clean("x" * 500, 10) == "x" * 9 + "…"


@given(HOSTILE)
def test_no_cell_runs_as_a_formula(text: str) -> None:
    cell = formula_safe(text)
    assert not cell.startswith(("=", "@", "\t", "\r", "|", "%"))
    if cell.startswith(("+", "-")):
        assert float(cell.rstrip("dBHzkmWVs \u00a0").replace(",", ".")) is not None


# OWASP's page on CSV injection names these beginnings
@pytest.mark.parametrize("text", ["=1+1", "+cmd|' /C calc'!A0", "-2+3+cmd|x", "@SUM(A1)", "\t=1", "＝1+1"])
def test_formulas_are_quoted(text: str) -> None:
    assert formula_safe(text).startswith("'")


@pytest.mark.parametrize("text", ["-12", "+3", "-05 dB", "-0.5"])
def test_reports_stay_numbers(text: str) -> None:
    assert formula_safe(text) == text


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | HOSTILE,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=10,
)


@given(JSON)
def test_scrub_reaches_every_text(plain: object) -> None:
    def texts(value: object) -> list[str]:
        if isinstance(value, str):
            return [value]
        if isinstance(value, dict):
            return [text for one in value.values() for text in texts(one)]
        return [text for one in value for text in texts(one)] if isinstance(value, list) else []

    assert all(clean(text) == text for text in texts(scrub({"texts": plain})))


def test_scrub_leaves_identifiers_alone() -> None:
    hail = {"key": "a\x1bb", "sentence": "a\x1bb"}
    assert scrub([hail]) == [{"key": "a\x1bb", "sentence": "a"}]
