"""The tables in the tree against what ADIF 3.1.7 (released 2026-03-22, adif.org) prints, and every value both ways.

The counts are those of the standard's own machine-readable resources ("all.json"), the band edges and modes those of
its enumeration tables.
"""

from __future__ import annotations

import io
from collections import Counter
from decimal import Decimal

import pytest

from watchkeeper.adif import check, normalise, on_air, read, tables, to_adif, write_record

GOOD = {"CALL": "DL5QRM", "QSO_DATE": "20260713", "TIME_ON": "201509"}


def listed(name: str) -> dict[str, tables.Value]:
    found = tables.enumeration(name)
    assert found is not None
    return found


def written_and_checked(fields: dict[str, str]) -> list[tuple[str | None, str]]:
    """Write, read back equal, check: the problems left."""
    data = write_record(GOOD | fields)
    assert [dict(record) for record in read(io.BytesIO(data))] == [GOOD | fields]
    return [(problem.field, problem.severity) for problem in check(io.BytesIO(data))]


@pytest.mark.parametrize(
    ("name", "count", "import_only", "deleted"),
    [
        ("DXCC_Entity_Code", 403, 0, 62),
        ("Band", 33, 0, 0),
        ("Mode", 91, 42, 0),
        ("Contest_ID", 256, 4, 0),
        ("Propagation_Mode", 20, 0, 0),
        ("Continent", 7, 0, 0),
        ("Ant_Path", 4, 0, 0),
        ("Morse_Key_Type", 7, 0, 0),
    ],
)
def test_enumerations_have_the_published_counts(name: str, count: int, import_only: int, deleted: int) -> None:
    values = listed(name).values()
    assert len(values) == count
    assert sum(value.import_only for value in values) == import_only
    assert sum(value.deleted for value in values) == deleted


def test_fields_types_and_subdivisions_have_the_published_counts() -> None:
    fields = tables.fields().values()
    assert (len(fields), sum(field.header for field in fields)) == (186, 5)
    assert (
        {field.name for field in fields if field.import_only} == {"GUEST_OP", "VE_PROV"} == set(tables.REPLACED_FIELDS)
    )
    assert len(tables.type_names()) == 28
    assert "".join(sorted(tables.type_indicators())) == "BDEGILMNST"
    assert len(tables.submodes()) == 187
    assert len(tables.subdivisions()) == 66


@pytest.mark.parametrize(
    ("spoken", "mode", "submode"),
    [
        ("FT8", "FT8", None),
        ("FT4", "MFSK", "FT4"),
        ("FT2", "MFSK", "FT2"),
        ("FST4", "MFSK", "FST4"),
        ("FST4W", "MFSK", "FST4W"),
        ("Q65", "MFSK", "Q65"),
        ("JS8", "MFSK", "JS8"),
        ("JT65A", "JT65", "JT65A"),
        ("PSK31", "PSK", "PSK31"),
        ("USB", "SSB", "USB"),
        ("LSB", "SSB", "LSB"),
        ("C4FM", "DIGITALVOICE", "C4FM"),
    ],
)
def test_modes_are_filed_by_the_enumeration(spoken: str, mode: str, submode: str | None) -> None:
    assert to_adif(spoken) == (mode, submode)
    assert on_air(mode, submode) == spoken


def test_the_import_only_modes_are_the_published_ones() -> None:
    published = (
        "AMTORFEC ASCI C4FM CHIP64 CHIP128 DOMINOF DSTAR FMHELL FSK31 GTOR HELL80 HFSK "
        "JT4A JT4B JT4C JT4D JT4E JT4F JT4G JT65A JT65B JT65C MFSK8 MFSK16 PAC2 PAC3 PAX2 PCW "
        "PSK10 PSK31 PSK63 PSK63F PSK125 PSKAM10 PSKAM31 PSKAM50 PSKFEC31 PSKHELL QPSK31 QPSK63 QPSK125 THRBX"
    )
    assert {name for name, value in listed("Mode").items() if value.import_only} == set(published.split())
    assert Counter(mode for _, mode in tables.submodes().values())["MFSK"] == 19


def test_every_mode_goes_both_ways() -> None:
    for name, value in listed("Mode").items():
        found = normalise(name)
        assert found.mended == value.import_only
        assert on_air(found.mode, found.submode) == name
        filed = {"BAND": "20m", "MODE": found.mode} | ({"SUBMODE": found.submode} if found.submode else {})
        assert written_and_checked(filed) == []
        assert written_and_checked({"BAND": "20m", "MODE": name}) == (
            [("MODE", "warning")] if value.import_only else []
        )


def test_every_submode_goes_both_ways() -> None:
    for submode, mode in tables.submodes().values():
        assert to_adif(submode) == (mode, submode)
        assert on_air(mode, submode) == submode
        assert normalise(mode, submode) == (mode, submode, False, "")
        assert written_and_checked({"BAND": "20m", "MODE": mode, "SUBMODE": submode}) == []


def test_every_band_goes_both_ways_at_its_published_edges() -> None:
    for band in tables.bands().values():
        for edge in (band.lower_mhz, band.upper_mhz):
            assert tables.band_of(edge) == band.name
            assert written_and_checked({"BAND": band.name, "FREQ": str(edge), "MODE": "FT8"}) == []


@pytest.mark.parametrize(
    ("mhz", "band"),
    [
        ("54", "6m"),
        ("54.000001", "5m"),
        ("7.2", "40m"),
        ("7.3", "40m"),
        ("7.300001", None),
        ("5.06", "60m"),
        ("13", None),
    ],
)
def test_band_limits_are_inclusive(mhz: str, band: str | None) -> None:
    assert tables.band_of(Decimal(mhz)) == band
