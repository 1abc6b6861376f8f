"""The published tables of the ADIF standard: fields, data types, enumerations.

``data/adif.json`` is made by :mod:`watchkeeper.adif.build_tables` from the CSV tables of ADIF 3.1.7.
``data/more.json`` holds the few short enumerations that are not among them, each with its source beside it.
Enumeration values are looked up in capitals: the standard compares them without regard to case.
"""

from __future__ import annotations

import json
from decimal import Decimal
from functools import cache
from importlib import resources
from typing import Any, NamedTuple

#: the release of the standard that this package reads and writes
RELEASE = "3.1.7"


class Field(NamedTuple):
    """One field of the standard; limits are inclusive, ``enumerations`` names the tables that list its values."""

    name: str
    types: tuple[str, ...]
    header: bool
    minimum: Decimal | None
    maximum: Decimal | None
    enumerations: tuple[str, ...]
    #: the field whose value picks the part of the enumeration, as DXCC does for STATE
    depends_on: str | None
    import_only: bool


class Value(NamedTuple):
    """One value of an enumeration, spelled as the standard prints it."""

    code: str
    import_only: bool = False
    deleted: bool = False


class Band(NamedTuple):
    """A band with its limits in MHz, both inclusive: the standard's, not anybody's licence."""

    name: str
    lower_mhz: Decimal
    upper_mhz: Decimal


#: fields that the standard takes in but no longer lets out → the field that holds the same today
REPLACED_FIELDS = {"GUEST_OP": "OPERATOR", "VE_PROV": "STATE"}


@cache
def _data(name: str) -> dict[str, Any]:
    text = resources.files(__package__).joinpath("data", name).read_text(encoding="utf-8")
    loaded = json.loads(text)
    assert isinstance(loaded, dict)
    return loaded


def _table(name: str, width: int) -> list[list[str]]:
    """The rows of one published table, filled up to its width: the file leaves out empty tails."""
    return [[*row, *[""] * (width - len(row))] for row in _data("adif.json")[name]]


@cache
def fields() -> dict[str, Field]:
    """Every field of the standard by name; ``USERDEFn`` stands for USERDEF1, USERDEF2 and so on."""
    found = {}
    for name, types, header, low, high, enumeration, import_only in _table("fields", 7):
        enumeration, _, key = enumeration.rstrip("]").partition("[")
        found[name] = Field(
            name,
            tuple(types.split(",")),
            header == "true",
            Decimal(low) if low else None,
            Decimal(high) if high else None,
            tuple(enumeration.split(",")) if enumeration else (),
            key or None,
            import_only == "true",
        )
    return found


@cache
def type_indicators() -> dict[str, str]:
    """Data type indicator letter → data type name (B → Boolean)."""
    return {indicator: name for name, indicator, _, _ in _table("types", 4) if indicator}


@cache
def type_names() -> frozenset[str]:
    """The names of all data types of the standard."""
    return frozenset(row[0] for row in _table("types", 4))


@cache
def import_only_types() -> frozenset[str]:
    """The data types that may be read but no longer written."""
    return frozenset(name for name, _, _, import_only in _table("types", 4) if import_only == "true")


@cache
def bands() -> dict[str, Band]:
    """Every band by its name in capitals, from the lowest up."""
    return {row[0].upper(): Band(row[0], Decimal(row[1]), Decimal(row[2])) for row in _table("Band", 3)}


def band_of(mhz: Decimal) -> str | None:
    """The band that holds a frequency in MHz, or None outside all bands."""
    return next((band.name for band in bands().values() if band.lower_mhz <= mhz <= band.upper_mhz), None)


@cache
def submodes() -> dict[str, tuple[str, str]]:
    """Submode in capitals → (submode, mode), both spelled as the standard prints them."""
    return {submode.upper(): (submode, mode) for submode, mode in _table("Submode", 2)}


@cache
def subdivisions() -> dict[int, dict[str, Value]]:
    """Entity code → its primary administrative subdivisions by code in capitals."""
    found: dict[int, dict[str, Value]] = {}
    for entity, code, deleted, import_only in _table("Primary_Administrative_Subdivision", 4):
        value = Value(code, import_only == "true", deleted == "true")
        known = found.setdefault(int(entity), {}).setdefault(code.upper(), value)
        if known.import_only or known.deleted:  # some codes were given again: the current meaning counts
            found[int(entity)][code.upper()] = value
    return found


@cache
def enumeration(name: str) -> dict[str, Value] | None:
    """The values of an enumeration by code in capitals, or None when no table of it is kept."""
    if name in _PLAIN:
        return _PLAIN[name]()
    if name in _data("more.json"):
        part = _data("more.json")[name]
        listed = {code: Value(code) for code in part["values"]}
        return listed | {code: Value(code, import_only=True) for code in part.get("import_only", ())}
    return None


def _marked(name: str, *, import_only: int | None = None, deleted: int | None = None) -> dict[str, Value]:
    """A table whose first column is the code; ``import_only`` and ``deleted`` tell the columns that mark a value."""
    return {
        row[0].upper(): Value(
            row[0],
            import_only is not None and row[import_only] == "true",
            deleted is not None and bool(row[deleted]),
        )
        for row in _table(name, 3)
    }


_PLAIN = {
    "ARRL_Section": lambda: _marked("ARRL_Section", deleted=1),
    "Band": lambda: _marked("Band"),
    "Contest_ID": lambda: _marked("Contest_ID", import_only=1),
    "Continent": lambda: _marked("Continent"),
    "DXCC_Entity_Code": lambda: _marked("DXCC_Entity_Code", deleted=2),
    "Mode": lambda: _marked("Mode", import_only=1),
    "Propagation_Mode": lambda: _marked("Propagation_Mode"),
    "QSO_Complete": lambda: _marked("QSO_Complete"),
    "Region": lambda: _marked("Region"),
    "Submode": lambda: _marked("Submode"),
}
