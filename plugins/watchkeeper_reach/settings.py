"""What can be set: what is assumed as long as nobody has told how strongly he hears us."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

Surroundings = Literal["city", "residential", "rural", "quiet rural"]


class ReachConfig(msgspec.Struct, frozen=True, kw_only=True):
    """The prior, and how long reports count."""

    surroundings: Annotated[
        Surroundings, Meta(description="the noise round your antenna: city, residential, rural, quiet rural (ITU-R)")
    ] = "residential"
    their_surroundings: Annotated[
        Surroundings, Meta(description="the noise round the usual station, as long as there are no reports")
    ] = "residential"
    their_power_w: Annotated[
        float, Meta(gt=0, le=10_000, description="the power of the usual station in watts, as long as there are none")
    ] = 25.0
    shown_min: Annotated[
        float, Meta(ge=5, le=1440, description="minutes of event time for which a report of you is shown")
    ] = 60.0
