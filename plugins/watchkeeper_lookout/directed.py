"""Directed calls: whom a call to all is not for."""

from __future__ import annotations

from functools import lru_cache

from watchkeeper.api import Doing, OnAir, Own
from watchkeeper.radio import entity

_CONTINENTS = frozenset({"AF", "AN", "AS", "EU", "NA", "OC", "SA"})
#: a call to one's own states or provinces, in two letters that would else pass for another country's prefix
_WITH_STATES = frozenset({"K", "VE"})


def excludes(station: OnAir, own: Own) -> bool:
    """Whether a directed call is for others: another continent, another entity, or far stations while we are near."""
    word = station.directed_to
    if word is None or own.call is None or station.doing is not Doing.CALLING:
        return False
    return _excludes(word, station.call, own.call)


@lru_cache(maxsize=4096)
def _excludes(word: str, call: str, own_call: str) -> bool:
    mine, theirs = entity.lookup(own_call), entity.lookup(call)
    if word == "DX":
        return theirs.continent is not None and mine.continent == theirs.continent
    if word in _CONTINENTS:
        return mine.continent != word
    if theirs.entity is not None and theirs.entity.prefix in _WITH_STATES and len(word) == 2:
        return mine.entity is None or mine.entity.prefix not in _WITH_STATES
    wanted = entity.prefix_entity(word)
    return wanted is not None and (mine.entity is None or mine.entity.code != wanted.code)
