"""A place on the Earth."""

from __future__ import annotations

from typing import NamedTuple


class Point(NamedTuple):
    """A place on WGS 84: degrees, north and east positive."""

    latitude: float
    longitude: float
