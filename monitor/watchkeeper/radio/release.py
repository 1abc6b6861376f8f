"""A release of the country file: read, checked, and written in the compact form that ``entity`` looks call signs up in.

The country file (the Country Files' comma-separated form, www.country-files.com) has one row an entity: primary prefix
(a ``*`` before it: counted by one award only), name, entity code, continent, CQ zone, ITU zone, latitude, longitude
(positive WEST), UTC offset, and the prefixes, ``=`` before an exact call, with overrides ``(CQ zone)[ITU
zone]<latitude/longitude>{continent}~UTC offset~``. ``=VER20260915`` dates the release and ``=VERSION`` is a mark too:
neither is a call.

The compact form is text, tab-separated, longitudes positive east: an ``R`` line names the release, an ``E`` line an
entity, the ``P`` (prefixes) and ``C`` (calls) lines after it what leads there with the CQ zone, ITU zone, continent,
latitude and longitude that hold for them.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import NamedTuple

COMPACT_FORM = "# watchkeeper entities 1"
SOURCE = "Country Files (www.country-files.com)"

_CONTINENTS = frozenset({"AF", "AN", "AS", "EU", "NA", "OC", "SA"})
_CQ_ZONES = range(1, 41)
_ITU_ZONES = range(1, 91)
_COLUMNS = 10
_TOKEN = re.compile(
    r"(=?)([A-Z0-9/]+)(?:\(([0-9]+)\))?(?:\[([0-9]+)\])?(?:<(-?[0-9.]+)/(-?[0-9.]+)>)?(?:\{([A-Z]{2})\})?(?:~-?[0-9.]+~)?"
)
_VERSION_MARK = re.compile(r"VER([0-9]{4})([0-9]{2})([0-9]{2})")


class ReleaseError(ValueError):
    """A release that must not be used: what is wrong, and in which line (0: in the whole)."""

    def __init__(self, line: int, what: str) -> None:
        super().__init__(f"line {line}: {what}" if line else what)
        self.line = line


@dataclass(frozen=True, slots=True)
class Release:
    """Which country file the looked-up entities come from."""

    name: str  #: the release's own mark, such as 20260915
    date: date
    source: str


class Attributes(NamedTuple):
    """What holds for a prefix or call: the entity's own values or overrides. Degrees, north and east positive."""

    cq_zone: int
    itu_zone: int
    continent: str
    latitude: float
    longitude: float


@dataclass(frozen=True, slots=True)
class Row:
    """One entity of the country file with everything that leads to it."""

    line: int
    name: str
    code: int
    prefix: str
    extra: bool  #: counted by one award only; its code is that of the entity it lies in
    attributes: Attributes
    prefixes: Mapping[str, Attributes]
    calls: Mapping[str, Attributes]


@dataclass(frozen=True, slots=True)
class Countries:
    """A whole country file."""

    release: Release
    rows: tuple[Row, ...]


def parse_country_file(text: str) -> Countries:
    """Read a country file; ``ReleaseError`` names the line that cannot be read or holds a value out of range."""
    marked: list[date] = []
    rows = tuple(_parse_rows(text, marked))
    if len(marked) != 1:
        raise ReleaseError(0, f"one mark =VERyyyymmdd must date the release, {len(marked)} found")
    return Countries(Release(f"{marked[0]:%Y%m%d}", marked[0], SOURCE), rows)


def check(countries: Countries, entity_codes: Mapping[int, bool], known_calls: Mapping[str, int]) -> None:
    """Refuse a release that is incomplete or contradicts what is known.

    ``entity_codes``: ADIF's entity codes → whether deleted; ``known_calls``: prefix or call → the entity code it must
    lead to. Raises ``ReleaseError`` with the line.
    """
    seen: dict[int, int] = {}
    for row in countries.rows:
        if row.code not in entity_codes:
            raise ReleaseError(row.line, f"entity code {row.code} ({row.name}) is not in ADIF's list")
        if entity_codes[row.code]:
            raise ReleaseError(row.line, f"entity code {row.code} ({row.name}) is deleted in ADIF's list")
        if not row.extra and row.code in seen:
            raise ReleaseError(row.line, f"entity code {row.code} stands in line {seen[row.code]} already")
        if not row.extra:
            seen[row.code] = row.line
    _check_completeness(countries, seen, entity_codes)
    _check_keys(countries)
    _check_known(countries, known_calls)


def to_compact(countries: Countries) -> str:
    """The compact form of a release, the same for the same release."""
    release = countries.release
    lines = [COMPACT_FORM, "\t".join(("R", release.name, release.date.isoformat(), release.source))]
    for row in countries.rows:
        flag = "*" if row.extra else ""
        lines.append("\t".join(("E", str(row.code), row.prefix, flag, row.name, *_attribute_fields(row.attributes))))
        for kind, keys in (("P", row.prefixes), ("C", row.calls)):
            grouped: dict[Attributes, list[str]] = {}
            for key, attributes in keys.items():
                grouped.setdefault(attributes, []).append(key)
            lines.extend("\t".join((kind, *_attribute_fields(a), " ".join(names))) for a, names in grouped.items())
    return "\n".join(lines) + "\n"


def release_of(path: Path) -> Release:
    """Which release the compact file at ``path`` holds, told by its head alone; ``OSError`` or ``ReleaseError``."""
    with path.open(encoding="utf-8") as file:
        return from_compact(file.readline() + file.readline()).release


def from_compact(text: str) -> Countries:
    """Read the compact form back; ``ReleaseError`` names the line that cannot be read."""
    lines = text.splitlines()
    if not lines or lines[0] != COMPACT_FORM:
        raise ReleaseError(1, f"must be {COMPACT_FORM!r}")
    release: Release | None = None
    rows: list[Row] = []
    for number, line in enumerate(lines[1:], start=2):
        kind, *fields = line.split("\t")
        try:
            if kind == "R":
                name, day, source = fields
                release = Release(name, date.fromisoformat(day), source)
            elif kind == "E":
                code, prefix, flag, entity, *rest = fields
                rows.append(Row(number, entity, int(code), prefix, flag == "*", _attributes(*rest), {}, {}))
            else:
                *rest, names = fields
                keys = {"P": rows[-1].prefixes, "C": rows[-1].calls}[kind]
                assert isinstance(keys, dict)
                keys.update(dict.fromkeys(names.split(" "), _attributes(*rest)))
        except (ValueError, TypeError, LookupError) as error:
            raise ReleaseError(number, f"cannot be read: {error}") from None
    if release is None:
        raise ReleaseError(0, "no R line names the release")
    return Countries(release, tuple(rows))


def _attribute_fields(attributes: Attributes) -> tuple[str, ...]:
    cq_zone, itu_zone, continent, latitude, longitude = attributes
    return str(cq_zone), str(itu_zone), continent, f"{latitude:g}", f"{longitude:g}"


def _attributes(cq_zone: str, itu_zone: str, continent: str, latitude: str, longitude: str) -> Attributes:
    return Attributes(int(cq_zone), int(itu_zone), continent, float(latitude), float(longitude))


def _parse_rows(text: str, marked: list[date]) -> Iterator[Row]:
    for number, line in enumerate(text.splitlines(), start=1):
        if line.strip():
            yield _parse_row(number, line, marked)


def _parse_row(number: int, line: str, marked: list[date]) -> Row:
    fields = next(csv.reader([line]))
    if len(fields) != _COLUMNS:
        raise ReleaseError(number, f"{_COLUMNS} columns expected, {len(fields)} found")
    primary, name, code, continent, cq_zone, itu_zone, latitude, longitude, _utc_offset, tokens = fields
    if not tokens.endswith(";"):
        raise ReleaseError(number, "the list of prefixes must end with a semicolon")
    try:
        own = Attributes(int(cq_zone), int(itu_zone), continent, float(latitude), _east(longitude))
        entity_code = int(code)
    except ValueError as error:
        raise ReleaseError(number, f"a number cannot be read: {error}") from None
    _check_attributes(number, primary, own)
    prefixes: dict[str, Attributes] = {}
    calls: dict[str, Attributes] = {}
    for token in tokens[:-1].split():
        exact, key, attributes = _parse_token(number, token, own)
        if exact and _is_mark(number, key, marked):
            continue
        (calls if exact else prefixes)[key] = attributes
    return Row(number, name, entity_code, primary.lstrip("*"), primary.startswith("*"), own, prefixes, calls)


def _is_mark(number: int, key: str, marked: list[date]) -> bool:
    if key == "VERSION":
        return True
    found = _VERSION_MARK.fullmatch(key)
    if found is None:
        return False
    try:
        marked.append(date(int(found[1]), int(found[2]), int(found[3])))
    except ValueError as error:
        raise ReleaseError(number, f"the mark ={key} is no date: {error}") from None
    return True


def _parse_token(number: int, token: str, own: Attributes) -> tuple[bool, str, Attributes]:
    found = _TOKEN.fullmatch(token)
    if found is None:
        raise ReleaseError(number, f"{token!r} cannot be read")
    exact, key, cq_zone, itu_zone, latitude, longitude, continent = found.groups()
    if not (cq_zone or itu_zone or latitude or continent):
        return bool(exact), key, own
    try:
        attributes = Attributes(
            int(cq_zone or own.cq_zone),
            int(itu_zone or own.itu_zone),
            continent or own.continent,
            float(latitude) if latitude else own.latitude,
            _east(longitude) if longitude else own.longitude,
        )
    except ValueError as error:
        raise ReleaseError(number, f"{token!r} cannot be read: {error}") from None
    _check_attributes(number, token, attributes)
    return bool(exact), key, attributes


def _east(west: str) -> float:
    return 0.0 - float(west)


def _check_attributes(number: int, where: str, attributes: Attributes) -> None:
    cq_zone, itu_zone, continent, latitude, longitude = attributes
    if cq_zone not in _CQ_ZONES:
        raise ReleaseError(number, f"{where}: CQ zone {cq_zone} is not within 1 to 40")
    if itu_zone not in _ITU_ZONES:
        raise ReleaseError(number, f"{where}: ITU zone {itu_zone} is not within 1 to 90")
    if continent not in _CONTINENTS:
        raise ReleaseError(number, f"{where}: there is no continent {continent!r}")
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise ReleaseError(number, f"{where}: {latitude}, {longitude} is no place on the Earth")


# A release may come before or after ADIF's list of the same decision: so many current entities may be without a row.
_MISSING_ENTITIES = 5
_LEAST_KEYS = 6000


def _check_completeness(countries: Countries, seen: Mapping[int, int], entity_codes: Mapping[int, bool]) -> None:
    missing = [code for code, deleted in entity_codes.items() if code and not deleted and code not in seen]
    if len(missing) > _MISSING_ENTITIES:
        shown = ", ".join(map(str, missing[:5]))
        raise ReleaseError(0, f"{len(countries.rows)} rows: {len(missing)} current entities have none, such as {shown}")
    keys = sum(len(row.prefixes) + len(row.calls) for row in countries.rows)
    if keys < _LEAST_KEYS:
        raise ReleaseError(0, f"only {keys} prefixes and calls, at least {_LEAST_KEYS} expected")


def _check_keys(countries: Countries) -> None:
    """No prefix or call may lead to two entities (an extra one shares those of the entity it lies in)."""
    owner: dict[str, Row] = {}
    for row, key in _keys(countries.rows):
        first = owner.setdefault(key, row)
        if first.code != row.code:
            raise ReleaseError(row.line, f"{key.lstrip('=')} belongs to {first.name} in line {first.line} already")


def _keys(rows: Iterable[Row]) -> Iterator[tuple[Row, str]]:
    for row in rows:
        yield from ((row, prefix) for prefix in row.prefixes)
        yield from ((row, f"={call}") for call in row.calls)


def _check_known(countries: Countries, known_calls: Mapping[str, int]) -> None:
    owner = {key: row for row, key in _keys(countries.rows)}
    for call, code in known_calls.items():
        lengths = range(len(call), 0, -1)
        row = owner.get(f"={call}") or next((owner[call[:n]] for n in lengths if call[:n] in owner), None)
        if row is None:
            raise ReleaseError(0, f"nothing leads from {call} to its entity (code {code})")
        if row.code != code:
            raise ReleaseError(row.line, f"{call} leads to entity code {row.code} ({row.name}), not {code}")
