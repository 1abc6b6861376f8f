"""ITU Radio Regulations, Appendix 42: the allocation of call sign series, against the entities of the Country Files.

The series are the ITU's own; that an entity belongs to an administration is geography. Where a series leads elsewhere,
the reason stands beside it.
"""

from __future__ import annotations

import unicodedata
from collections import defaultdict

import pytest

from watchkeeper.radio import datafile, entity, itu

UK = "United Kingdom of Great Britain and Northern Ireland"

#: administration → ADIF's name of its (only, or main) entity, where the two differ
OTHER_NAMES = {
    "Antigua and Barbuda": "ANTIGUA & BARBUDA",
    "Argentine Republic": "ARGENTINA",
    "Bosnia and Herzegovina": "BOSNIA-HERZEGOVINA",
    "Cabo Verde (Republic of)": "CAPE VERDE",
    "Central African Republic": "CENTRAL AFRICA",
    "China (People's Republic of) - Hong Kong": "HONG KONG",
    "China (People's Republic of) - Macao": "MACAO",
    "Congo (Republic of the)": "REPUBLIC OF THE CONGO",
    "Democratic People's Republic of Korea": "DEMOCRATIC PEOPLE'S REP. OF KOREA",
    "Eswatini (Kingdom of)": "KINGDOM OF ESWATINI",
    "Gabonese Republic": "GABON",
    "Gambia (Republic of the)": "THE GAMBIA",
    "Germany (Federal Republic of)": "FEDERAL REPUBLIC OF GERMANY",
    "Kiribati (Republic of)": "W. KIRIBATI (GILBERT IS. )",
    "Korea (Republic of)": "REPUBLIC OF KOREA",
    "Kyrgyz Republic": "KYRGYZSTAN",
    "Lao People's Democratic Republic": "LAOS",
    "Malaysia": "WEST MALAYSIA",
    "Marshall Islands (Republic of the)": "MARSHALL IS.",
    "Netherlands (Kingdom of the) - Aruba": "ARUBA",
    "New Zealand - Cook Islands": "SOUTH COOK IS.",
    "New Zealand - Niue": "NIUE",
    "North Macedonia (Republic of)": "NORTH MACEDONIA (REPUBLIC OF)",
    "Republic of Türkiye": "TURKEY",
    "Russian Federation": "EUROPEAN RUSSIA",
    "Saint Kitts and Nevis (Federation of)": "ST. KITTS & NEVIS",
    "Saint Lucia": "ST. LUCIA",
    "Saint Vincent and the Grenadines": "ST. VINCENT",
    "Sao Tome and Principe (Democratic Republic of)": "SAO TOME & PRINCIPE",
    "Solomon Islands": "SOLOMON IS.",
    "South Africa (Republic of)": "REPUBLIC OF SOUTH AFRICA",
    "South Sudan (Republic of)": "SOUTH SUDAN (REPUBLIC OF)",
    "State of Palestine (In accordance with Resolution 99 Rev. Dubai, 2018)": "PALESTINE",
    "Syrian Arab Republic": "SYRIA",
    "Togolese Republic": "TOGO",
    "Trinidad and Tobago": "TRINIDAD & TOBAGO",
    UK: "ENGLAND",
    "Vatican City State": "VATICAN",
}

#: administration → further entities under it: parts, islands and territories that count as entities of their own
FURTHER = {
    "Australia": {189},  # Norfolk Island
    "Canada": {211, 252},  # Sable and St. Paul Island
    "Chile": {47},  # Easter Island
    "Colombia (Republic of)": {216},  # San Andres
    "Costa Rica": {37},  # Cocos Island
    "Denmark": {222, 237},  # Faroe Islands, Greenland
    "Ecuador": {71},  # Galapagos
    "Equatorial Guinea (Republic of)": {195},  # Annobon
    "Finland": {5, 167},  # Åland, Market Reef
    "France": {63, 79, 84, 162, 169, 175, 213, 214, 277, 298, 453, 516},  # Corsica and the overseas territories
    "Greece": {40, 45},  # Crete, Dodecanese
    "India (Republic of)": {11, 142},  # Andamans, Lakshadweep
    "Italy": {225},  # Sardinia
    "Japan": {192},  # Ogasawara
    "Kiribati (Republic of)": {31, 48, 490},
    "Malaysia": {46},  # East Malaysia
    "Mauritius (Republic of)": {4, 207},
    "Mexico": {204},  # Revillagigedo
    "Netherlands (Kingdom of the)": {517, 518, 519, 520},  # Curaçao, Sint Maarten, Saba, Bonaire
    "New Zealand": {16, 34, 133, 270},
    "Norway": {118, 259},  # Jan Mayen, Svalbard
    "Portugal": {149, 256},  # Azores, Madeira
    "Russian Federation": {15, 126},  # Asiatic Russia, Kaliningrad
    "Solomon Islands": {507},  # Temotu
    "South Africa (Republic of)": {201},  # Prince Edward and Marion Islands
    "Spain": {21, 29, 32},  # Balearic and Canary Islands, Ceuta and Melilla
    UK: {33, 64, 69, 89, 106, 114, 122, 141, 172, 205, 233, 250, 265, 274, 279, 283, 294},  # its parts and territories
    "United States of America": {6, 9, 20, 43, 103, 110, 123, 166, 174, 182, 197, 202, 285, 297},
    "Venezuela (Bolivarian Republic of)": {17},  # Aves Island
}

#: (administration, entity code) → why a series leads to an entity that is not under the administration
EXCEPTIONS = {
    ("Australia", 13): "Antarctica: calls of the expeditions of many states (VK0)",
    ("New Zealand", 13): "Antarctica (ZL5)",
    ("Norway", 13): "Antarctica (3Y)",
    ("South Africa (Republic of)", 13): "Antarctica (ZS7)",
    ("Chile", 241): "South Shetland Islands: Chilean bases there (CE9)",
    ("China (People's Republic of)", 386): "Taiwan uses BM-BQ and BU-BX of China's series",
    ("Malaysia", 247): "Spratly Islands, claimed by several states, Malaysia among them (9M0)",
    ("Switzerland (Confederation of)", 251): "Liechtenstein uses HB0 and HE0 by treaty with Switzerland",
    ("Sudan (Republic of the)", 478): "the country file gives all of SS to Egypt; Sudan does not use its half of it",
    (
        "United Nations",
        248,
    ): "the country file gives 4U to Italy (Brindisi) but for the exact calls of the headquarters",
}

#: series that lead to no entity, as no amateur stations use them in this release
UNUSED = {
    "Australia": {"VH", "VM", "VN", "VZ"},
    "China (People's Republic of)": {"BR", "BS"},  # Scarborough Reef is found by exact calls only
    "Democratic People's Republic of Korea": {"HM"},
    "Fiji (Republic of)": {"3DN"},  # uses 3D2
    "Indonesia (Republic of)": {"JZ"},
    "International Civil Aviation Organization": {"4Y"},
    "Japan": {"JB", "JC"},
    "World Meteorological Organization": {"C7"},
    UK: {f"2{letter}" for letter in "BCFGHKLNOPQRSTVXYZ"} | {"VS", "ZE", "ZH", "ZI", "ZJ", "ZN", "ZO", "ZQ"},
}


def heads() -> dict[str, list[str]]:
    """Administration → the first two characters of its series, or three of half a series."""
    found: dict[str, list[str]] = defaultdict(list)
    for first, last, administration in itu.series():
        if (first[2], last[2]) != ("A", "Z"):
            found[administration].append(first)
            continue
        found[administration].extend(first[0] + chr(second) for second in range(ord(first[1]), ord(last[1]) + 1))
    return found


def home_code(administration: str, names: dict[str, int]) -> int:
    plain = unicodedata.normalize("NFKD", administration.split(" (")[0]).encode("ascii", "ignore").decode().upper()
    return names[OTHER_NAMES.get(administration, plain)]


def test_every_series_leads_to_an_entity_of_its_administration() -> None:
    rows = (line.split("\t") for line in datafile.read("entity-codes.txt").splitlines())
    names = {name: int(code) for code, deleted, name in rows if not deleted}
    unused: dict[str, set[str]] = defaultdict(set)
    used_exceptions = set()
    for administration, series in heads().items():
        for head in series:
            placed = [entity.lookup(f"{head}{digit}QRM").entity for digit in range(10)]
            codes = {found.code for found in placed if found}
            if not codes:
                unused[administration].add(head)
                continue
            used_exceptions |= {(administration, code) for code in codes} & EXCEPTIONS.keys()
            codes -= {code for name, code in EXCEPTIONS if name == administration}
            if codes:
                assert codes <= {home_code(administration, names)} | FURTHER.get(administration, set()), head
    assert unused == UNUSED
    assert used_exceptions == EXCEPTIONS.keys()


def test_the_series_of_the_table_are_all_there() -> None:
    """Appendix 42 as of December 2024: 950 series, 205 names.

    PJ stands there three times, for three parts of the Kingdom of the Netherlands; here it is the kingdom's.
    """
    assert sum(map(len, heads().values())) == 950
    assert len(heads()) == 205 - 3


ALLOCATED = [
    ("K1QRM", "United States of America"),
    ("G4QRS", UK),
    ("M0QRM", UK),
    ("2E0QRM", UK),
    ("W9QRM", "United States of America"),
    ("R3QRM", "Russian Federation"),
    ("B1QRM", "China (People's Republic of)"),
    ("3A2QRM", "Monaco (Principality of)"),
    ("3DA0QR", "Eswatini (Kingdom of)"),
    ("3DN1QR", "Fiji (Republic of)"),
    ("SSA1QR", "Egypt (Arab Republic of)"),
    ("SSN1QR", "Sudan (Republic of the)"),
    ("ST2QRM", "Sudan (Republic of the)"),
    ("SU1QRM", "Egypt (Arab Republic of)"),
    ("4U1QRM", "United Nations"),
    ("4Y1QRM", "International Civil Aviation Organization"),
    ("C7QRM", "World Meteorological Organization"),
    ("C4QRM", "Cyprus (Republic of)"),
    ("5B4QRM", "Cyprus (Republic of)"),
    ("H22QRM", "Cyprus (Republic of)"),
    ("P33QRM", "Cyprus (Republic of)"),
    ("8J1QRM", "Japan"),
    ("7K1QRM", "Japan"),
    ("9A1QRM", "Croatia (Republic of)"),
    ("E71QRM", "Bosnia and Herzegovina"),
    ("T77QRM", "San Marino (Republic of)"),
    ("ZB2QRM", UK),
    ("S51QRM", "Slovenia (Republic of)"),
    ("S61QRM", "Singapore (Republic of)"),
    ("HV0QRM", "Vatican City State"),
    ("4O1QRM", "Montenegro"),
    ("YU1QRM", "Serbia (Republic of)"),
    ("Z31QRM", "North Macedonia (Republic of)"),
    ("Z81QRM", "South Sudan (Republic of)"),
    ("E51QRM", "New Zealand - Cook Islands"),
    ("E6QRM", "New Zealand - Niue"),
    ("P41QRM", "Netherlands (Kingdom of the) - Aruba"),
    ("VR2QRM", "China (People's Republic of) - Hong Kong"),
    ("3Y0QRM", "Norway"),
    ("D71QRM", "Korea (Republic of)"),
    ("9W2QRM", "Malaysia"),
    ("9V1QRM", "Singapore (Republic of)"),
    ("AX2QRM", "Australia"),
    ("XM3QRM", "Canada"),
    ("L21QRM", "Argentine Republic"),
    ("Y21QRM", "Germany (Federal Republic of)"),
    ("UR5QRM", "Ukraine"),
    ("UN7QRM", "Kazakhstan (Republic of)"),
    ("UK8QRM", "Uzbekistan (Republic of)"),
    ("AL7QRM", "United States of America"),
    ("AM1QRM", "Spain"),
    ("3H1QRM", "China (People's Republic of)"),
    ("A21QRM", "Botswana (Republic of)"),
]


@pytest.mark.parametrize(("call", "administration"), ALLOCATED)
def test_allocated(call: str, administration: str) -> None:
    assert itu.allocated_to(call) == administration


@pytest.mark.parametrize(
    "call",
    [
        *("QRZ1A", "Q1QRM", "0A1QRM", "1A0QRM", "A1QRM", "E0QRM", "4N1QRM", "S4QRM", "T9QRM", "V9QRM", "S01QRM"),
        *("Z4QRM", "Z5QRM", "Z61QRM", "Z7QRM", "Z9QRM", "J9QRM", "H5QRM", "E8QRM", "E9QRM", "YZ1QRM", ""),
    ],
)
def test_not_allocated(call: str) -> None:
    """Among them 1A, S0 and Z6, which are entities without a series."""
    assert itu.allocated_to(call) is None


@pytest.mark.parametrize(
    ("call", "administration"),
    [
        ("3D2QRM", "Fiji (Republic of)"),
        ("PJ2QRM", "Netherlands (Kingdom of the) - Curaçao"),
        ("PJ4QRM", "Netherlands (Kingdom of the) - Bonaire, Sint Eustatius and Saba"),
        ("PJ7QRM", "Netherlands (Kingdom of the) - Sint Maarten (Dutch part)"),
        ("PJQRM", "Netherlands (Kingdom of the)"),
        ("U1QRM", "Russian Federation"),
        ("U5QRM", "Ukraine"),
        ("SS1QRM", None),
        ("3D1QRM", None),
    ],
)
def test_where_use_decides(call: str, administration: str | None) -> None:
    """Common practice, no source: the table asks for a third letter, or gives one series to several."""
    assert itu.allocated_to(call) == administration
