"""What the operator says of the battery."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import msgspec
from msgspec import Meta

from watchkeeper.radio.supply import CHEMISTRIES, Battery

_LITHIUM = ("LiFePO4", "Li-ion")
#: four cells of LiFePO4, three of lithium ion, six of lead
_USUAL_V = 12.0


class SupplyConfig(msgspec.Struct, frozen=True, kw_only=True):
    """The battery and the radio's needs. Capacity alone is enough; everything else makes it better."""

    capacity_ah: Annotated[
        float | None, Meta(description="rated capacity in Ah; absent: no battery to watch, only voltage and laptop")
    ] = None
    chemistry: Annotated[str, Meta(description="LiFePO4, AGM, flooded or Li-ion")] = "LiFePO4"
    cells: Annotated[
        int | None,
        Meta(description="cells in series; absent: those of a 12 V battery, 4 of LiFePO4, 3 of Li-ion, 6 of lead"),
    ] = None
    charged: Annotated[float, Meta(gt=0, le=1, description="share of the capacity in it at the start")] = 1.0
    minimum_v: Annotated[float, Meta(ge=0, le=1000, description="the radio's lowest voltage under load")] = 11.0
    receiving_a: Annotated[float | None, Meta(description="current while receiving, where no gauge tells it")] = None
    sending_a: Annotated[float | None, Meta(description="current while sending, where no gauge tells it")] = None
    temperature_c: Annotated[float, Meta(ge=-40, le=60, description="the battery's temperature in °C")] = 25.0
    warn_min: Annotated[float, Meta(ge=0, le=1440, description="hail when fewer minutes are left")] = 30.0
    host_warn_fraction: Annotated[
        float, Meta(ge=0, le=1, description="hail when the computer's own battery is below this share")
    ] = 0.15

    def __post_init__(self) -> None:
        if self.chemistry not in CHEMISTRIES:
            raise ValueError(f"chemistry: {self.chemistry!r} is none of {', '.join(CHEMISTRIES)}")
        for name in ("capacity_ah", "receiving_a", "sending_a", "cells"):
            value = getattr(self, name)
            if value is not None and value <= 0:
                raise ValueError(f"{name}: {value} is not above 0")

    @property
    def battery(self) -> Battery | None:
        """The battery, where its capacity is told.

        It ends where the radio goes off, so all of the charge counts. What a lithium cell gives hardly hangs on the
        current (common practice, no source); Peukert's law is for lead.
        """
        if self.capacity_ah is None:
            return None
        known = CHEMISTRIES[self.chemistry]
        chemistry = replace(known, usable=1.0, peukert=1.0 if self.chemistry in _LITHIUM else known.peukert)
        cells = self.cells or max(1, round(_USUAL_V / chemistry.cell_v))
        return Battery(self.capacity_ah, chemistry, cells)

    @property
    def planned_depth(self) -> float:
        """The share of the capacity that is planned with, for the sake of the battery's life."""
        return CHEMISTRIES[self.chemistry].usable
