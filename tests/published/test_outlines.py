"""The Census and Natural Earth outlines against places that other sources give."""

from __future__ import annotations

import pytest

from watchkeeper.radio import entity
from watchkeeper.radio.locator import from_point
from watchkeeper.radio.subdivision import countries, us_states

# State capitols, latitude and longitude: from memory.
CAPITALS = {
    "AL": (32.377, -86.300), "AK": (58.302, -134.420), "AZ": (33.448, -112.097), "AR": (34.747, -92.289),
    "CA": (38.577, -121.494), "CO": (39.739, -104.985), "CT": (41.764, -72.682), "DE": (39.157, -75.520),
    "DC": (38.890, -77.009), "FL": (30.438, -84.281), "GA": (33.749, -84.388), "HI": (21.307, -157.857),
    "ID": (43.618, -116.200), "IL": (39.798, -89.655), "IN": (39.769, -86.163), "IA": (41.591, -93.604),
    "KS": (39.048, -95.678), "KY": (38.187, -84.875), "LA": (30.457, -91.187), "ME": (44.307, -69.782),
    "MD": (38.979, -76.491), "MA": (42.358, -71.064), "MI": (42.734, -84.555), "MN": (44.955, -93.102),
    "MS": (32.304, -90.182), "MO": (38.579, -92.173), "MT": (46.586, -112.018), "NE": (40.808, -96.700),
    "NV": (39.164, -119.766), "NH": (43.207, -71.538), "NJ": (40.220, -74.770), "NM": (35.682, -105.940),
    "NY": (42.653, -73.757), "NC": (35.780, -78.639), "ND": (46.821, -100.783), "OH": (39.961, -82.999),
    "OK": (35.492, -97.503), "OR": (44.938, -123.030), "PA": (40.264, -76.884), "RI": (41.831, -71.415),
    "SC": (34.000, -81.033), "SD": (44.367, -100.346), "TN": (36.166, -86.784), "TX": (30.275, -97.740),
    "UT": (40.777, -111.888), "VT": (44.262, -72.581), "VA": (37.539, -77.434), "WA": (47.036, -122.905),
    "WV": (38.336, -81.612), "WI": (43.075, -89.384), "WY": (41.140, -104.820),
}  # fmt: skip


@pytest.mark.parametrize(("state", "place"), CAPITALS.items())
def test_a_capital_lies_in_its_state(state: str, place: tuple[float, float]) -> None:
    locator = from_point(*place, 6)
    assert us_states(locator)[0][0] == state
    assert state in dict(us_states(locator[:4]))
    assert state in dict(us_states(locator[:2]))
    assert dict(countries(locator))["United States of America"] == pytest.approx(1)


def test_entities_of_the_country_files_lie_in_the_country_of_their_name() -> None:
    """The Country Files' places of 191 entities; the Marshall Islands' is an atoll too small for these outlines."""
    named = dict.fromkeys(name for field in FIELDS for name, _ in countries(field))
    agreeing, missing = 0, []
    for found in entity.all_entities():
        if found.name in named:
            inside = found.name in dict(countries(from_point(found.latitude, found.longitude, 4)))
            agreeing += inside
            missing += [] if inside else [found.name]
    assert missing == ["Marshall Islands"]
    assert agreeing == 191


FIELDS = [chr(65 + east) + chr(65 + north) for east in range(18) for north in range(18)]
