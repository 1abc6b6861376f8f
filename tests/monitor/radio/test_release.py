"""A release of the country file: read, checked, compacted. The sound one is that which pyhamcty carries."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watchkeeper.radio.known import KNOWN_CALLS, entity_codes
from watchkeeper.radio.release import (
    COMPACT_FORM,
    Attributes,
    Countries,
    Release,
    ReleaseError,
    Row,
    check,
    from_compact,
    parse_country_file,
    to_compact,
)

SOUND = files("pyhamcty").joinpath("data/cty.csv").read_text(encoding="utf-8").splitlines()
LINE = next(number for number, line in enumerate(SOUND, 1) if line.startswith("DL,"))
MARKED = next(number for number, line in enumerate(SOUND, 1) if "=VER2" in line)


def refused(line: int, old: str, new: str, count: int = 1) -> ReleaseError:
    """What is said of the sound release with one line changed."""
    lines = list(SOUND)
    assert old in lines[line - 1]
    lines[line - 1] = lines[line - 1].replace(old, new, count)
    with pytest.raises(ReleaseError) as caught:
        check(parse_country_file("\n".join(lines)), entity_codes(), KNOWN_CALLS)
    return caught.value


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        (",230,", ",9999,", "entity code 9999 .* is not in ADIF's list"),
        (",230,", ",2,", "entity code 2 .* is deleted in ADIF's list"),
        (",14,28,", ",41,28,", "CQ zone 41 is not within 1 to 40"),
        (",14,28,", ",14,0,", "ITU zone 0 is not within 1 to 90"),
        (",EU,", ",XX,", "there is no continent 'XX'"),
        (",51.00,", ",91.00,", "is no place on the Earth"),
        (",51.00,", ",north,", "a number cannot be read"),
        (",EU,", ",", "10 columns expected, 9 found"),
        (";", "", "must end with a semicolon"),
        (";", " =DL1QRM(99);", r"CQ zone 99 is not within 1 to 40"),
        (";", " =DL1QRM[0];", r"ITU zone 0 is not within 1 to 90"),
        (";", " DL?;", "'DL\\?' cannot be read"),
        (";", " =DL1QRM<5.x/1>;", "cannot be read"),
    ],
)
def test_a_bad_line_is_named(old: str, new: str, what: str) -> None:
    error = refused(LINE, old, new)
    assert error.line == LINE
    assert re.match(f"line {LINE}: .*{what}", str(error))


def test_what_stands_twice_is_named_with_both_lines() -> None:
    english = next(number for number, line in enumerate(SOUND, 1) if line.startswith("G,"))
    assert str(refused(english, ",223,", ",230,")) == f"line {english}: entity code 230 stands in line {LINE} already"
    assert str(refused(english, ";", " DL;")) == (
        f"line {english}: DL belongs to Fed. Rep. of Germany in line {LINE} already"
    )


def test_a_known_call_that_leads_elsewhere_is_named_with_the_line() -> None:
    error = refused(LINE, ";", " =KH6QRN;")
    assert error.line == LINE
    assert str(error) == f"line {LINE}: KH6QRN leads to entity code 230 (Fed. Rep. of Germany), not 110"


def test_a_known_call_that_leads_nowhere_is_named() -> None:
    assert "nothing leads from DL5QRM" in str(refused(LINE, SOUND[LINE - 1].split(",")[9], "=DA0QRM;"))


def test_missing_rows_are_counted() -> None:
    with pytest.raises(ReleaseError, match=r"300 rows: .* current entities have none"):
        check(parse_country_file("\n".join(SOUND[:300])), entity_codes(), KNOWN_CALLS)


def test_too_few_prefixes_and_calls_are_refused() -> None:
    thinned = [
        f"{line.split(';')[0].rsplit(',', 1)[0]},{line.rsplit(',', 1)[1].split()[0].rstrip(';')};" for line in SOUND
    ]
    marked = thinned[MARKED - 1].replace(";", " =VER20270101;")
    lines = [line for line in [*thinned[: MARKED - 1], marked, *thinned[MARKED:]] if not line.startswith("*")]
    with pytest.raises(ReleaseError, match="prefixes and calls, at least 6000 expected"):
        check(parse_country_file("\n".join(lines)), entity_codes(), KNOWN_CALLS)


def test_the_release_must_be_dated_once() -> None:
    assert refused(MARKED, "=VER20260915", "=VER20261315").line == MARKED
    assert "0 found" in str(refused(MARKED, "=VER20260915 ", ""))
    assert "2 found" in str(refused(LINE, ";", " =VER20270101;"))


def test_overrides_and_marks() -> None:
    text = "XX,Nowhere,230,EU,14,28,51.00,-10.00,-1.0,XX XY(1)[2]<-3.5/4.5>{AF}~5.0~ =XX1QRM =VERSION =VER20270102;"
    countries = parse_country_file(text)
    (row,) = countries.rows
    own = Attributes(14, 28, "EU", 51.0, 10.0)
    assert countries.release.name == "20270102"
    assert (row.attributes, row.calls) == (own, {"XX1QRM": own})
    assert row.prefixes == {"XX": own, "XY": Attributes(1, 2, "AF", -3.5, -4.5)}


KEYS = st.text(alphabet="ABCXYZ0189/", min_size=1, max_size=6)
ATTRIBUTES = st.builds(
    Attributes,
    st.integers(1, 40),
    st.integers(1, 90),
    st.sampled_from(["AF", "AN", "AS", "EU", "NA", "OC", "SA"]),
    st.integers(-9000, 9000).map(lambda hundredths: hundredths / 100),
    st.integers(-18000, 18000).map(lambda hundredths: hundredths / 100),
)
ROWS = st.builds(
    Row,
    st.just(0),
    st.text(alphabet="Abc .&'-é", min_size=1),
    st.integers(1, 999),
    KEYS,
    st.booleans(),
    ATTRIBUTES,
    st.dictionaries(KEYS, ATTRIBUTES, max_size=5),
    st.dictionaries(KEYS, ATTRIBUTES, max_size=5),
)


@given(st.lists(ROWS, max_size=5), st.dates())
def test_the_compact_form_keeps_everything(rows: list[Row], day: date) -> None:
    countries = Countries(Release("mark", day, "a source"), tuple(rows))
    back = from_compact(to_compact(countries))
    assert back.release == countries.release
    assert tuple(replace(row, line=0) for row in back.rows) == countries.rows
    assert to_compact(back) == to_compact(countries)


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        ("", 1, "must be"),
        ("# other\n", 1, "must be"),
        (f"{COMPACT_FORM}\n", 0, "no R line"),
        (f"{COMPACT_FORM}\nR\tname\n", 2, "cannot be read"),
        (f"{COMPACT_FORM}\nR\tname\tyesterday\tsource\n", 2, "cannot be read"),
        (f"{COMPACT_FORM}\nR\tname\t2026-09-15\tsource\nP\t1\t1\tEU\t0\t0\tDL\n", 3, "cannot be read"),
        (f"{COMPACT_FORM}\nR\tname\t2026-09-15\tsource\nE\tx\tDL\t\tname\t1\t1\tEU\t0\t0\n", 3, "cannot be read"),
        (f"{COMPACT_FORM}\nR\tname\t2026-09-15\tsource\nZ\t1\n", 3, "cannot be read"),
    ],
)
def test_a_damaged_compact_file_is_refused(text: str, line: int, what: str) -> None:
    with pytest.raises(ReleaseError, match=what) as caught:
        from_compact(text)
    assert caught.value.line == line
