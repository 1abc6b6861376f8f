"""Worlds that differ from what anybody expects: the watch is judged on them too."""

from __future__ import annotations

from dataclasses import dataclass, field

import msgspec

from watchkeeper.rehearsal.ionosphere import Conditions
from watchkeeper.rehearsal.scenario import Scenario


@dataclass(frozen=True, slots=True)
class Variant:
    """Factors and differences on top of a scenario; ``sky`` holds factors for sunspots and K index."""

    sky: Conditions = field(default_factory=lambda: Conditions(1.0, 1.0))
    noise_db: float = 0.0
    limit_db: float = 0.0
    phantoms: float = 1.0
    patience: float = 1.0
    directed: float = 1.0
    late: float = 1.0


VARIANTS: dict[str, Variant] = {
    "usual": Variant(),
    "propagation": Variant(sky=Conditions(0.6, 1.8, muf_factor=0.9, absorption_factor=1.4)),
    "noise": Variant(noise_db=7.0),
    "habits": Variant(patience=0.6, directed=2.5),
    "decoder": Variant(limit_db=1.5, phantoms=3.0, late=3.0),
    "all": Variant(
        sky=Conditions(0.7, 1.5, muf_factor=0.93, absorption_factor=1.25),
        noise_db=4.0, limit_db=1.0, phantoms=2.0, patience=0.75, directed=2.0, late=2.0,
    ),
}  # fmt: skip


def changed(scenario: Scenario, variant: Variant) -> Scenario:
    """Return the scenario as it is in the world of ``variant``; the sky's part is up to ``Sky``."""
    decoder, habits = scenario.decoder, scenario.habits
    return msgspec.structs.replace(
        scenario,
        decoder=msgspec.structs.replace(
            decoder,
            limit_db=decoder.limit_db + variant.limit_db,
            phantoms_per_period=decoder.phantoms_per_period * variant.phantoms,
            own_call_phantoms_per_hour=decoder.own_call_phantoms_per_hour * variant.phantoms,
            late_share=min(1.0, decoder.late_share * variant.late),
        ),
        habits=msgspec.structs.replace(
            habits,
            patience=habits.patience * variant.patience,
            directed=min(1.0, habits.directed * variant.directed),
        ),
    )
