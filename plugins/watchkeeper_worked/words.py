"""The words for needs, as the operator reads them."""

from __future__ import annotations

from functools import lru_cache

from watchkeeper.api import Dimension, Need, Scope
from watchkeeper.radio import entity
from watchkeeper.radio.band import words as band_words

_CONTINENTS = {
    "AF": "Africa",
    "AN": "Antarctica",
    "AS": "Asia",
    "EU": "Europe",
    "NA": "North America",
    "OC": "Oceania",
    "SA": "South America",
}
_THINGS = {
    Dimension.CQ_ZONE: "CQ zone",
    Dimension.ITU_ZONE: "ITU zone",
    Dimension.LOCATOR: "locator",
    Dimension.PREFIX: "prefix",
}


@lru_cache(maxsize=4096)
def need_words(need: Need, band: str | None, mode: str) -> str:
    """The need in words: ``first Chile for you on 20 m``."""
    thing = _thing(need)
    if need.scope is Scope.UNCONFIRMED:
        return f"{thing} not confirmed yet"
    if need.dimension in (Dimension.BASE, Dimension.CALL):
        first = f"first contact with {thing}"
    else:
        first = f"first {thing} for you"
    on_band = f" on {band_words(band)}" if need.scope in (Scope.BAND, Scope.BAND_MODE) else ""
    in_mode = f" in {mode}" if need.scope in (Scope.MODE, Scope.BAND_MODE) else ""
    return first + on_band + in_mode


def _thing(need: Need) -> str:
    if need.dimension is Dimension.ENTITY:
        found = entity.by_code(int(need.value))
        return found.name if found else f"entity {need.value}"
    if need.dimension is Dimension.CONTINENT:
        return _CONTINENTS.get(need.value, need.value)
    if need.dimension is Dimension.STATE:
        return need.value.partition(" ")[2]
    name = _THINGS.get(need.dimension)
    return f"{name} {need.value}" if name else need.value
