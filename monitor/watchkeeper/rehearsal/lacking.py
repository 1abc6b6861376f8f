"""Says why a figure of a score is missing: what did not happen that it could be made of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_NO_ADVICE = "no ranked station was one whose real reach the band wrote down"
_WHY: Mapping[str, str] = {
    "hails.precision": "no hail of the highest level told of a station",
    "hails.recall": "no call to the own station was copied",
    "hails.median_delay_s": "no call to the own station was copied and hailed",
    "hails.in_time": "no hail of the highest level told of a station",
    "report.median_abs_error_db": _NO_ADVICE,
    "report.median_abs_error_given_db": "no station gave a report after the first 20 and was ranked before",
    "chance.brier": _NO_ADVICE,
    "chance.brier_constant": _NO_ADVICE,
    "chance.worst_bin_gap": "no tenth of chance holds enough predictions",
    "vitals.median_delay_periods": "no injected fault was found",
    "openings.median_delay_min": "no direction that opened was shown",
    "openings.false_per_day": "no openings were shown",
    "openings.median_delay_meanwhile_min": "no direction opened and was shown in the course of the session",
    "phantoms.precision": "no hearing was disbelieved",
    "phantoms.recall": "no phantom was sent",
}


def lacking(figures: Mapping[str, Any]) -> dict[str, str]:
    """Return the reason for each missing figure, by ``group.name``."""
    missing = (
        f"{group}.{name}"
        for group, found in figures.items()
        if isinstance(found, Mapping)
        for name, value in found.items()
        if value is None
    )
    return {name: _WHY[name] for name in missing}
