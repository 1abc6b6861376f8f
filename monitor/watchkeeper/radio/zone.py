"""CQ and ITU zone of a station: by its call, and within the United States, where calls no longer tell, by its locator.

The zones of the states are those of ADIF 3.1.7's table of primary administrative subdivisions.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from watchkeeper.radio import datafile
from watchkeeper.radio.entity import Placed
from watchkeeper.radio.subdivision import us_states

_UNITED_STATES = 291


class Zones(NamedTuple):
    """None for a zone that is not known."""

    cq: int | None
    itu: int | None


def zones(placed: Placed, locator: str | None = None) -> Zones:
    """The zones a station is most likely in.

    ``locator``: where it says it is, four characters or more; the zone that most of its land lies in counts. A state
    that spans two zones leaves what the call tells. ``ValueError`` where it is no locator.
    """
    told = Zones(placed.cq_zone, placed.itu_zone)
    if locator is None or placed.entity is None or placed.entity.code != _UNITED_STATES:
        return told
    by_place = _zones_of_land(locator.upper())
    return Zones(by_place.cq or told.cq, by_place.itu or told.itu)


@lru_cache(maxsize=4096)
def _zones_of_land(locator: str) -> Zones:
    weights: tuple[dict[int | None, float], dict[int | None, float]] = ({}, {})
    for state, share in us_states(locator):
        for weight, zone in zip(weights, _state_zones().get(state, (None, None)), strict=True):
            weight[zone] = weight.get(zone, 0.0) + share
    cq, itu = (max(weight, key=weight.__getitem__) if weight else None for weight in weights)
    return Zones(cq, itu)


@lru_cache(maxsize=1)
def _state_zones() -> dict[str, Zones]:
    rows = (line.split("\t") for line in datafile.read("us-state-zones.txt").splitlines())
    return {state: Zones(int(cq) if cq else None, int(itu) if itu else None) for state, cq, itu in rows}
