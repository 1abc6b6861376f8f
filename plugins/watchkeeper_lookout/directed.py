"""Directed calls: whom a call to all is not for."""

from __future__ import annotations

from functools import lru_cache

from watchkeeper.api import Doing, OnAir, Own
from watchkeeper.radio import entity
from watchkeeper.radio.contest_words import REGIONS

#: continents as they are called (common practice, no source)
_CONTINENTS = {
    "AF": "AF", "AFR": "AF", "AN": "AN", "AS": "AS", "ASIA": "AS", "EU": "EU", "EURO": "EU", "NA": "NA", "OC": "OC",
    "SA": "SA",
}  # fmt: skip
#: countries that are called by name and not by a prefix (common practice, no source)
_COUNTRIES = {"USA": "K"}
#: an event or a habit, for whoever takes part, and no prefix though it looks like one: field day, a worldwide contest,
#: *from*, *I listen higher up* (common practice, no source)
_FOR_ALL = frozenset({"DE", "FD", "UP", "WW"})
#: who may mean a state or province of theirs, by a code that would else pass for another country's prefix
_WITH_STATES = frozenset({"K", "VE"})


def excludes(station: OnAir, own: Own) -> bool:
    """Whether its last call to all is for others: another continent, another entity, or far stations while we are near.

    Whoever has just finished with one of those goes on looking for them. A station that answers us takes us for good.
    """
    word = station.directed_to
    if word is None or own.call is None or station.to_me:
        return False
    return _excludes(word, station.call, own.call)


def why_not(station: OnAir) -> str:
    """Why one that :func:`excludes` us is not to be called, in words."""
    calls = "it calls" if station.doing is Doing.CALLING else "its last call was for"
    return f"{calls} {station.directed_to}, which is not you"


@lru_cache(maxsize=4096)
def _excludes(word: str, call: str, own_call: str) -> bool:
    mine, theirs = entity.lookup(own_call), entity.lookup(call)
    if word == "DX":
        return theirs.continent is not None and mine.continent == theirs.continent
    if word in _FOR_ALL:
        return False
    if word in _CONTINENTS:
        return mine.continent != _CONTINENTS[word]
    if theirs.entity is not None and theirs.entity.prefix in _WITH_STATES and word in REGIONS:
        return mine.entity is None or mine.entity.prefix not in _WITH_STATES
    wanted = entity.prefix_entity(_COUNTRIES.get(word, word))
    return wanted is not None and (mine.entity is None or mine.entity.code != wanted.code)
