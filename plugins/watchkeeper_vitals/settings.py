"""What the operator may set: the bounds between good and poor. They are common practice, no source, unless told."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

Fraction = Annotated[float, Meta(ge=0, le=10)]


class VitalsConfig(msgspec.Struct, frozen=True, kw_only=True):
    """Bounds of the station's vitals."""

    habitual_late_s: Annotated[
        float, Meta(ge=-2, le=2, description="how late stations usually appear to the decoder, in seconds")
    ] = 0.2
    clock_off_s: Annotated[float, Meta(gt=0, le=3, description="clock error in seconds from which it matters")] = 0.5
    audio_low_dbfs: Annotated[float, Meta(ge=-120, le=0, description="receive audio below this is too low")] = -60.0
    audio_high_dbfs: Annotated[float, Meta(ge=-120, le=0, description="receive audio above this is too high")] = -6.0
    alc_low_fraction: Annotated[Fraction, Meta(description="least ALC while sending; zero is one practice")] = 0.0
    alc_high_fraction: Annotated[Fraction, Meta(description="most ALC while sending, as share of its scale")] = 0.7
    swr_high: Annotated[float, Meta(ge=1, le=20, description="SWR above this is a poor match")] = 2.0
    swr_stop: Annotated[float, Meta(ge=1, le=20, description="SWR above this: stop sending")] = 3.0
    power_share: Annotated[
        float, Meta(gt=0, le=1, description="forward power below this share of what is set has sagged")
    ] = 0.7
    heatsink_high_c: Annotated[float, Meta(ge=0, le=200, description="heat sink above this is too hot, °C")] = 65.0
    duty_high: Annotated[
        float, Meta(gt=0, le=1, description="share of time on the air above this is too much for most radios")
    ] = 0.6
    supply_low_v: Annotated[
        float, Meta(ge=0, le=1000, description="supply below this, sending too, is poor: 13.8 V less 15 %")
    ] = 11.7
    supply_high_v: Annotated[float, Meta(ge=0, le=1000, description="supply above this harms: 13.8 V and 15 %")] = 15.9
    loss_share: Annotated[float, Meta(gt=0, le=1, description="share of a source's events lost that matters")] = 0.05
    sheet: Annotated[
        dict[str, str | float],
        Meta(
            max_length=40,
            description="set-up sheet of the station as it was when all was well: interface, serial speed, data and "
            "stop bits, audio devices, levels; fields of `tuning` by their names (filter_low_hz, …) are compared",
        ),
    ] = {}
    stale_periods: Annotated[
        int, Meta(ge=2, le=1000, description="periods of silence after which a source is stale")
    ] = 8
