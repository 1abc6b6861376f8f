"""Bands and modes of the ADIF Specification 3.1.7 (adif.org, released 2026-03-22): the standard's published tables."""

from __future__ import annotations

import pytest

from watchkeeper.radio import band, mode, tables

#: Band enumeration, limits in MHz as printed
BANDS_MHZ = """
2190m .1357 .1378 | 630m .472 .479 | 560m .501 .504 | 160m 1.8 2.0 | 80m 3.5 4.0 | 60m 5.06 5.45 | 40m 7.0 7.3
30m 10.1 10.15 | 20m 14.0 14.35 | 17m 18.068 18.168 | 15m 21.0 21.45 | 12m 24.890 24.99 | 10m 28.0 29.7 | 8m 40 45
6m 50 54 | 5m 54.000001 69.9 | 4m 70 71 | 2m 144 148 | 1.25m 222 225 | 70cm 420 450 | 33cm 902 928 | 23cm 1240 1300
13cm 2300 2450 | 9cm 3300 3500 | 6cm 5650 5925 | 3cm 10000 10500 | 1.25cm 24000 24250 | 6mm 47000 47200
4mm 75500 81000 | 2.5mm 119980 123000 | 2mm 134000 149000 | 1mm 241000 250000 | submm 300000 7500000
"""
ROWS = [row.split() for line in BANDS_MHZ.strip().splitlines() for row in line.split("|")]


def hz(mhz: str) -> int:
    return round(float(mhz) * 1e6)


@pytest.mark.parametrize(("name", "low_mhz", "high_mhz"), ROWS)
def test_band_limits_are_inclusive(name: str, low_mhz: str, high_mhz: str) -> None:
    low_hz, high_hz = hz(low_mhz), hz(high_mhz)
    assert band.get(name) == (name, low_hz, high_hz)
    assert [band.of(low_hz), band.of(high_hz), band.of((low_hz + high_hz) // 2)] == [name] * 3
    assert band.of(low_hz - 1) != name
    assert band.of(high_hz + 1) != name


def test_there_are_33_bands_in_order() -> None:
    assert len(band.BANDS) == len(ROWS) == 33
    assert all(left.high_hz < right.low_hz for left, right in zip(band.BANDS, band.BANDS[1:], strict=False))


#: how contacts by these modes are written
MODES = [
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
    ("CW", "CW", None),
]


@pytest.mark.parametrize(("name", "adif_mode", "adif_submode"), MODES)
def test_mode_and_submode(name: str, adif_mode: str, adif_submode: str | None) -> None:
    assert mode.to_adif(name) == (adif_mode, adif_submode)
    assert mode.from_adif(adif_mode, adif_submode) == name


#: MODE values that the standard allows on import only
IMPORT_ONLY_TEXT = """
AMTORFEC ASCI C4FM CHIP64 CHIP128 DOMINOF DSTAR FMHELL FSK31 GTOR HELL80 HFSK JT4A JT4B JT4C JT4D JT4E JT4F JT4G JT65A
JT65B JT65C MFSK8 MFSK16 PAC2 PAC3 PAX2 PCW PSK10 PSK31 PSK63 PSK63F PSK125 PSKAM10 PSKAM31 PSKAM50 PSKFEC31 PSKHELL
QPSK31 QPSK63 QPSK125 THRBX
"""
IMPORT_ONLY = IMPORT_ONLY_TEXT.split()


@pytest.mark.parametrize("name", IMPORT_ONLY)
def test_import_only_modes_are_written_as_submodes(name: str) -> None:
    written, submode = mode.to_adif(name)
    assert submode == name
    assert written not in IMPORT_ONLY
    assert mode.from_adif(name) == name


def test_counts_of_the_release() -> None:
    rows = list(tables.rows("adif-modes.csv"))
    submodes = [row for row in rows if row["submode"]]
    assert len(rows) - len(submodes) == 91
    assert len(submodes) == 187
    assert sum(row["import_only"] == "yes" for row in rows) == len(IMPORT_ONLY) == 42
    assert sum(row["mode"] == "MFSK" for row in submodes) == 19
