"""The worked index: what is in the log by call, entity, zone, … and on which bands, in which modes. Pure, no I/O.

It is built from contacts in the order of the log and answers in microseconds. Whether modes count one by one or as a
group is the asker's policy, so the index keeps every (band, mode) apart.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import msgspec

from ..radio import callsign, entity
from ..radio import mode as radio_mode
from .bits import BitTable, DumpedBits, numbers

_DAY_MS = 86_400_000
#: contacts remembered for "worked today": more than anybody makes in two days
_RECENT_LIMIT = 20_000


class Dimension(StrEnum):
    """By what contacts are counted."""

    # the enumeration's own hash is a call in Python, and every look-up here hashes a dimension
    __hash__ = str.__hash__

    CALL = "call"  # as sent, with what stands before and after a slash
    BASE = "base"  # the home call alone
    ENTITY = "entity"  # ADIF's entity code
    CQ_ZONE = "cq_zone"
    ITU_ZONE = "itu_zone"
    CONTINENT = "continent"
    LOCATOR = "locator"  # its first four characters
    STATE = "state"  # behind the entity code: states of two countries can have one name
    PREFIX = "prefix"


#: the rarer the first, the more it means (common practice, no source)
ALL: tuple[Dimension, ...] = (
    Dimension.ENTITY,
    Dimension.CQ_ZONE,
    Dimension.ITU_ZONE,
    Dimension.CONTINENT,
    Dimension.STATE,
    Dimension.PREFIX,
    Dimension.LOCATOR,
    Dimension.BASE,
    Dimension.CALL,
)


class Scope(StrEnum):
    """In what way something is new, the strongest first."""

    EVER = "first ever"
    BAND = "first here (band)"
    MODE = "first here (mode)"
    BAND_MODE = "first here (band and mode)"
    UNCONFIRMED = "unconfirmed"


_STRENGTH = {scope: rank for rank, scope in enumerate(Scope)}


class Need(NamedTuple):
    """Something that a contact would add: the dimension, its value there, and in what way it is new."""

    dimension: Dimension
    value: str
    scope: Scope


@dataclass(frozen=True, slots=True)
class Facts:
    """What a station counts for: dimension → value, for those that are known."""

    values: dict[Dimension, str]

    def get(self, dimension: Dimension) -> str | None:
        """The value in ``dimension``, or None where it is not known."""
        return self.values.get(dimension)


def facts(
    call: str, locator: str | None = None, state: str | None = None, placed: entity.Placed | None = None
) -> Facts:
    """What a contact with ``call`` counts for. ``placed`` saves the look-up to who has it already."""
    where = placed if placed is not None else entity.lookup(call)
    base, prefix = _base_and_prefix(where.call)
    values = {Dimension.CALL: where.call, Dimension.BASE: base}
    if where.entity is not None:
        values[Dimension.ENTITY] = str(where.entity.code)
    if where.cq_zone is not None:
        values[Dimension.CQ_ZONE] = str(where.cq_zone)
    if where.itu_zone is not None:
        values[Dimension.ITU_ZONE] = str(where.itu_zone)
    if where.continent is not None:
        values[Dimension.CONTINENT] = where.continent
    if locator and len(locator) >= 4:
        values[Dimension.LOCATOR] = locator[:4].upper()
    if state and where.entity is not None:
        values[Dimension.STATE] = f"{where.entity.code} {state.upper()}"
    if prefix is not None:
        values[Dimension.PREFIX] = prefix
    return Facts(values)


def _base_and_prefix(call: str) -> tuple[str, str | None]:
    """The home call and the prefix of a call in capitals; most are plain, and a large log holds very many of them."""
    plain = callsign.HOME_CALL.fullmatch(call)
    if plain is not None:
        stem, number, _, digit_prefix, *_ = plain.groups()
        return call, digit_prefix or stem + number
    parts = callsign.parse_cached(call)
    return (parts.base, parts.prefix) if parts is not None else (call, None)


class Activated(NamedTuple):
    """A contact of the log that was made from a reference of ours: what counting activations needs of it."""

    #: the same for every revision of a contact
    key: str
    call: str
    band: str | None
    mode: str
    started_ms: int


def _none_activated(_programme: str, _reference: str) -> tuple[Activated, ...]:
    """The contacts of a log that is not at hand."""
    return ()


class _Dump(msgspec.Struct, frozen=True, kw_only=True):
    """An index as it is kept."""

    order: str
    count: int
    pairs: list[tuple[str | None, str]]
    recent: list[tuple[str, str | None, str, int]]
    worked: dict[Dimension, DumpedBits]
    confirmed: dict[Dimension, DumpedBits]


class WorkedIndex:
    """What has been worked, and what of it is confirmed."""

    def __init__(self) -> None:
        self.count = 0
        self._worked = {dimension: BitTable() for dimension in Dimension}
        self._confirmed = {dimension: BitTable() for dimension in Dimension}
        self._pairs: dict[tuple[str | None, str], int] = {}
        self._masks: dict[tuple[str | None, str | None, bool], int] = {}
        self._recent: dict[tuple[str, str | None, str], int] = {}
        self._session: set[tuple[str, str | None, str]] = set()
        self._read_activated: Callable[[str, str], tuple[Activated, ...]] = _none_activated
        self._activated: dict[tuple[str, str], tuple[Activated, ...]] = {}

    def add(
        self, facts: Facts, band: str | None, mode: str, at_ms: int, confirmed: bool = False, counts: bool = True
    ) -> None:
        """Take in a contact that started at ``at_ms``. One that is like an earlier one does not ``count`` again."""
        bit = self.bit(band, mode)
        for dimension, value in facts.values.items():
            self._worked[dimension].add(value, bit)
            if confirmed:
                self._confirmed[dimension].add(value, bit)
        self.count += counts
        base = facts.values[Dimension.BASE]
        self._session.add((base, band, mode))
        self.touch(base, band, mode, at_ms)

    def add_sets(
        self, worked: dict[Dimension, dict[str, int]], confirmed: dict[Dimension, dict[str, int]], count: int
    ) -> None:
        """Take in many contacts at once: for each dimension, value → the bits of its bands and modes."""
        for tables, added in ((self._worked, worked), (self._confirmed, confirmed)):
            for dimension, sets in added.items():
                tables[dimension].update(sets)
        self.count += count

    def bit(self, band: str | None, mode: str) -> int:
        """The bit that stands for a band and mode."""
        number = self._pairs.get((band, mode))
        if number is None:
            number = self._pairs[band, mode] = len(self._pairs)
            self._masks.clear()
        return 1 << number

    def touch(self, base: str, band: str | None, mode: str, at_ms: int) -> None:
        """Remember when a station was worked last."""
        key = (base, band, mode)
        self._recent[key] = max(at_ms, self._recent.get(key, at_ms))
        if len(self._recent) > 2 * _RECENT_LIMIT:
            self._recent = dict(sorted(self._recent.items(), key=lambda item: item[1])[-_RECENT_LIMIT:])

    def begin_session(self) -> None:
        """From now on :meth:`worked_this_session` knows only what is added after this call."""
        self._session.clear()

    def go_on_from(self, before: WorkedIndex) -> None:
        """Take the session over from the index that this one takes the place of."""
        self._session |= before._session

    def is_worked(
        self,
        dimension: Dimension,
        value: str,
        band: str | None = None,
        mode: str | None = None,
        *,
        as_one: bool = False,
    ) -> bool:
        """Whether ``value`` is in the log: on any band, or on ``band``; in any mode, or in ``mode``.

        With ``as_one`` a timed data mode stands for all data modes.
        """
        return bool(self._worked[dimension].get(value) & self._mask(band, mode, as_one))

    def is_confirmed(
        self,
        dimension: Dimension,
        value: str,
        band: str | None = None,
        mode: str | None = None,
        *,
        as_one: bool = False,
    ) -> bool:
        """Whether a contact with ``value`` is confirmed; the rest as for :meth:`is_worked`."""
        return bool(self._confirmed[dimension].get(value) & self._mask(band, mode, as_one))

    def needs(
        self,
        facts: Facts,
        band: str | None,
        mode: str | None,
        dimensions: Sequence[Dimension] = ALL,
        unconfirmed: bool = False,
        as_one: bool = False,
    ) -> tuple[Need, ...]:
        """What a contact now would add, the strongest first; of equals in the order of ``dimensions``.

        What is new for good is not also said to be new on the band; ``unconfirmed`` asks also for what is worked but
        confirmed nowhere.
        """
        on_band = self._mask(band, None, as_one)
        in_mode = self._mask(None, mode, as_one)
        found: list[Need] = []
        for dimension in dimensions:
            value = facts.values.get(dimension)
            if value is None:
                continue
            worked = self._worked[dimension].get(value)
            if not worked:
                found.append(Need(dimension, value, Scope.EVER))
                continue
            if band is not None and not worked & on_band:
                found.append(Need(dimension, value, Scope.BAND))
            if mode is not None and not worked & in_mode:
                found.append(Need(dimension, value, Scope.MODE))
            if worked & on_band and worked & in_mode and not worked & on_band & in_mode:
                found.append(Need(dimension, value, Scope.BAND_MODE))
            if unconfirmed and not self._confirmed[dimension].get(value):
                found.append(Need(dimension, value, Scope.UNCONFIRMED))
        found.sort(key=lambda need: _STRENGTH[need.scope])
        return tuple(found)

    def worked_today(self, base: str, band: str | None, mode: str, now_ms: int) -> bool:
        """Whether the station was worked on this band in this mode since 00:00 UTC of the day of ``now_ms``."""
        return self._recent.get((base, band, mode), -1) >= now_ms - now_ms % _DAY_MS

    def worked_this_session(self, base: str, band: str | None, mode: str) -> bool:
        """Whether the station was worked on this band in this mode since the session began."""
        return (base, band, mode) in self._session

    def read_activated_by(self, read: Callable[[str, str], tuple[Activated, ...]]) -> None:
        """For the store alone: ask ``read`` for the contacts of the log made from a programme's reference."""
        self._read_activated = read
        self._activated.clear()

    def activated(self, programme: str, reference: str) -> tuple[Activated, ...]:
        """The contacts made from a reference of ours, as the log stood when this index was built; none added since.

        Read once from the log by an index, then remembered; the letter case of both names does not count.
        """
        asked = (programme.upper(), reference.upper())
        found = self._activated.get(asked)
        if found is None:
            found = self._activated[asked] = self._read_activated(*asked)
        return found

    def where(self, dimension: Dimension, value: str) -> tuple[tuple[str | None, str], ...]:
        """The (band, mode) pairs on which ``value`` is worked, in the order of their names."""
        pairs = list(self._pairs)
        found = (pairs[number] for number in numbers(self._worked[dimension].get(value)))
        return tuple(sorted(found, key=lambda pair: (pair[0] or "", pair[1])))

    def size(self, dimension: Dimension) -> int:
        """How many different values are worked."""
        return len(self._worked[dimension])

    def dump(self) -> bytes:
        """All but the session as bytes, for :meth:`load` on a machine of the same byte order."""
        return msgspec.msgpack.encode(
            _Dump(
                order=sys.byteorder,
                count=self.count,
                pairs=list(self._pairs),
                recent=[(*key, at_ms) for key, at_ms in self._recent.items()],
                worked={dimension: table.dump() for dimension, table in self._worked.items()},
                confirmed={dimension: table.dump() for dimension, table in self._confirmed.items()},
            )
        )

    @classmethod
    def load(cls, dumped: bytes) -> WorkedIndex | None:
        """The index that :meth:`dump` gave, or None where this machine or release cannot read it."""
        try:
            found = msgspec.msgpack.decode(dumped, type=_Dump)
        except msgspec.DecodeError:
            return None
        if found.order != sys.byteorder:
            return None
        index = cls()
        index.count = found.count
        index._pairs = {(band, mode): number for number, (band, mode) in enumerate(found.pairs)}
        index._recent = {(base, band, mode): at_ms for base, band, mode, at_ms in found.recent}
        index._worked |= {dimension: BitTable.load(table) for dimension, table in found.worked.items()}
        index._confirmed |= {dimension: BitTable.load(table) for dimension, table in found.confirmed.items()}
        return index

    def _mask(self, band: str | None, mode: str | None, as_one: bool) -> int:
        """The bits of all pairs on ``band`` (None: on any) in ``mode`` (None: in any)."""
        found = self._masks.get((band, mode, as_one))
        if found is None:
            found = 0
            for (on_band, in_mode), number in self._pairs.items():
                if (band is None or on_band == band) and (mode is None or _same_mode(in_mode, mode, as_one)):
                    found |= 1 << number
            self._masks[band, mode, as_one] = found
        return found


def _same_mode(one: str, other: str, as_one: bool) -> bool:
    if one == other:
        return True
    return as_one and radio_mode.timed(other) is not None and radio_mode.group(one) == radio_mode.group(other)
