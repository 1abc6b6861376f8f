"""Which entity, zones, continent and place a call sign belongs to: exact calls first, then the longest prefix."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from watchkeeper.radio import callsign, datafile, itu
from watchkeeper.radio.callsign import HOME_CALL, CallSign, Status
from watchkeeper.radio.release import Attributes, Countries, Release, Row, from_compact

#: the release that comes with the package
BUNDLED = datafile.FOLDER / "entities.tsv"

_CACHED_CALLS = 4096
_NO_HEAD = (0, None)
_GUANTANAMO_LENGTH = len("KG4QR")


@dataclass(frozen=True, slots=True)
class Entity:
    """A DXCC entity, or (``extra``) a part of one that another award counts; degrees, north and east positive."""

    name: str
    code: int  #: ADIF's entity code; of an extra one that of the entity it lies in
    prefix: str
    continent: str
    cq_zone: int
    itu_zone: int
    latitude: float
    longitude: float
    extra: bool = False


class Placed(NamedTuple):
    """What a call sign tells about the place it is used at; None for what it does not tell."""

    call: str
    valid: bool  #: a call sign by its shape that leads to an entity or is of an allocated series
    entity: Entity | None
    cq_zone: int | None
    itu_zone: int | None
    continent: str | None
    latitude: float | None
    longitude: float | None
    matched: str | None  #: the prefix or exact call of the country file that decided
    status: Status


class _Match(NamedTuple):
    """``Placed`` without the call, made once for each prefix: a look-up only puts the call before it."""

    valid: bool
    entity: Entity
    cq_zone: int
    itu_zone: int
    continent: str
    latitude: float
    longitude: float
    matched: str
    status: Status


class _Table:
    """A release, ready to be looked up in."""

    def __init__(self, countries: Countries) -> None:
        self.release = countries.release
        self.entities: dict[int, Entity] = {}
        self.calls: dict[str, _Match] = {}
        self.prefixes: dict[str, _Match] = {}
        for row in countries.rows:
            entity = Entity(row.name, row.code, row.prefix, *_entity_values(row.attributes), row.extra)
            if not row.extra:
                self.entities[row.code] = entity
            self._add(self.calls, entity, row, row.calls)
            self._add(self.prefixes, entity, row, row.prefixes)
        self.heads = self._heads()
        self.guantanamo = self.prefixes.get("KG4")

    def _heads(self) -> dict[str, tuple[int, _Match | None]]:
        """First two characters → length of the longest prefix that begins so, and the match if nothing longer fits."""
        heads: dict[str, tuple[int, _Match | None]] = {}
        for prefix in self.prefixes:
            head = prefix[:2]
            longest = max(len(prefix), heads.get(head, (0,))[0])
            heads[head] = longest, self.prefixes.get(head) or self.prefixes.get(prefix[0])
        for one in [prefix for prefix in self.prefixes if len(prefix) == 1]:
            for second in "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ":
                heads.setdefault(one + second, (2, self.prefixes[one]))
        return heads

    @staticmethod
    def _add(matches: dict[str, _Match], entity: Entity, row: Row, keys: Mapping[str, Attributes]) -> None:
        """Where an extra entity and the one it lies in name the same key, the extra one, which says more, keeps it."""
        for key, attributes in keys.items():
            if row.extra or key not in matches:
                matches[key] = _Match(True, entity, *attributes, key, "home")

    def longest(self, text: str) -> _Match | None:
        """The match of the longest prefix that ``text`` begins with."""
        length, found = self.heads.get(text[:2], _NO_HEAD)
        while length > 2:
            deeper = self.prefixes.get(text[:length])
            if deeper is not None:
                return deeper
            length -= 1
        return found


def _entity_values(attributes: Attributes) -> tuple[str, int, int, float, float]:
    cq_zone, itu_zone, continent, latitude, longitude = attributes
    return continent, cq_zone, itu_zone, latitude, longitude


_table: _Table | None = None
_edition = 0


def use(path: Path | None) -> Release:
    """Look up in the compact release at ``path`` from now on (None: in the bundled one); returns it.

    ``OSError`` or ``ReleaseError`` where it cannot be read; what was in use stays in use then.
    """
    global _table, _edition
    _table = _Table(from_compact((path or BUNDLED).read_text(encoding="utf-8")))
    _edition += 1
    lookup.cache_clear()
    return _table.release


def edition() -> int:
    """Counts the releases that were used: what is remembered of look-ups under one holds for no other."""
    return _edition


def _current() -> _Table:
    if _table is None:
        use(None)
        assert _table is not None
    return _table


def release() -> Release:
    """The release in use."""
    return _current().release


def by_code(code: int) -> Entity | None:
    """The entity of an ADIF entity code; None where no current entity has it."""
    return _current().entities.get(code)


def all_entities() -> tuple[Entity, ...]:
    """All DXCC entities in the country file's order, without the extra ones."""
    return tuple(_current().entities.values())


def prefix_entity(prefix: str) -> Entity | None:
    """The entity of a prefix of the country file, in capitals; None where that has no such prefix."""
    found = _current().prefixes.get(prefix)
    return found.entity if found else None


_PLAIN = HOME_CALL.fullmatch
_NEW = tuple.__new__


@lru_cache(maxsize=_CACHED_CALLS)
def lookup(call: str) -> Placed:
    """Place a call sign given in any case, with its slashes, with or without the angle brackets of a hashed call.

    What is no call sign is not ``valid``, its status is unknown, the rest None. On the high seas and in the air there
    is no entity. Longitudes are positive east.
    """
    table = _table or _current()
    if _PLAIN(call):
        found = table.calls.get(call) or table.longest(call)
        if found is not None and (found is not table.guantanamo or len(call) == _GUANTANAMO_LENGTH):
            return _NEW(Placed, (call,) + found)  # noqa: RUF005 - a third of the time that unpacking takes
    return _place(table, call)


def _place(table: _Table, text: str) -> Placed:
    """Place what is more, or less, than a plain call in capitals."""
    call = text.strip()
    if not call.isascii():  # never capitals of it, which can be ASCII: ı becomes I
        return _unknown(call)
    call = call.upper().removeprefix("<").removesuffix(">")
    parts = callsign.parse(text)
    status: Status = parts.status if parts else "home"
    exact = table.calls.get(call)
    if exact is not None:
        return _placed(call, exact, status)
    if parts is None:
        return _unknown(call)
    if status in ("maritime", "aeronautical"):
        return Placed(call, True, None, None, None, None, None, None, None, status)
    found = _operating_match(table, parts)
    if found is not None:
        return _placed(call, found, status)
    if itu.allocated_to(parts.base) is None:
        return _unknown(call)
    return Placed(call, True, None, None, None, None, None, None, None, status)


def _operating_match(table: _Table, parts: CallSign) -> _Match | None:
    if parts.operating != parts.base:
        abroad = table.longest(parts.operating)
        if abroad is not None:
            return abroad
    found = table.calls.get(parts.base) or table.longest(parts.base)
    if found is not None and found is table.guantanamo and len(parts.base) != _GUANTANAMO_LENGTH:
        # KG4 is Guantanamo Bay with a suffix of two letters only; with one or three it is the mainland's (common
        # practice).
        return table.longest("K4")
    return found


def _placed(call: str, found: _Match, status: Status) -> Placed:
    return _NEW(Placed, (call, *found[:-1], status))


def _unknown(call: str) -> Placed:
    return Placed(call, False, None, None, None, None, None, None, None, "unknown")
