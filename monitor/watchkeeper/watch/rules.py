"""What the watch takes from the configuration."""

from __future__ import annotations

import msgspec

from ..config import Config, Unannounced
from ..model import Own
from .hails import HailRules


class Rules(msgspec.Struct, frozen=True, kw_only=True):
    """How the watch judges."""

    silence_ms: int = 200
    grace_ms: int = 3_000
    log_unannounced: bool = False
    hails: HailRules = HailRules()


def rules_of(config: Config) -> Rules:
    """How the watch judges, by the configuration."""
    watch = config.watch
    return Rules(
        silence_ms=watch.silence_ms,
        grace_ms=round(watch.grace_s * 1000),
        log_unannounced=config.log.unannounced is Unannounced.LOG,
        hails=HailRules(
            hold_off_min=watch.hail_hold_off_min, per_hour=watch.hails_per_hour, quiet=watch.quiet_minutes()
        ),
    )


def own_of(config: Config) -> Own:
    """The own station as the configuration tells it; ``station`` events outweigh it."""
    station = config.station
    return Own(
        call=station.call.upper() if station.call else None,
        locator=station.locator,
        operator=station.operator.upper() if station.operator else None,
        power_w=station.power_w,
        antenna=station.antenna,
        activations=tuple((one.programme, one.reference) for one in station.activations),
    )
