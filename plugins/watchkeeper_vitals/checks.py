"""The station's part of the preflight: each check turns good by evidence, and says what to do until then."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from watchkeeper.api import Check, CheckState, Own, Tuning
from watchkeeper.radio import locator
from watchkeeper.view import counted, minus

from .settings import VitalsConfig
from .trials import Trial
from .vital import Vital

#: no amateur's transmitter lies outside (common practice, no source)
_LEAST_W, _MOST_W = 0.001, 2000.0
_TUNE = "When you are ready, send a short carrier at low power on a clear frequency, within your licence; I only read."


class Evidence(NamedTuple):
    """What is known by now."""

    own: Own
    vitals: Mapping[str, Vital]
    periods: int
    stations: int
    #: of a receiver whose noise has not fallen; None where no level is told
    noise_dbfs_hz: float | None
    #: the last voltages, sending and not
    supply_v: Mapping[bool, float]
    trials: tuple[Trial, ...]
    best: Trial | None
    config: VitalsConfig
    tuned: Tuning | None


def checks(known: Evidence) -> list[Check]:
    """All checks of the station, in the order in which an operator sets up."""
    return [
        _own(known.own),
        _power(known.own),
        _vital(known, "clock", "Computer clock", 20, "Let the decoder run a few periods."),
        _vital(known, "audio", "Audio level", 21, "Have the decoder tell the level of its audio (`period` events)."),
        _vital(known, "passband", "Receiver passband", 22, "Listen for a few periods: a 500 Hz filter hides most."),
        _decodes(known),
        _vital(known, "receiver", "Receiver", 24, "Listen for a few periods."),
        _vital(known, "drive", "Drive", 30, _TUNE),
        _vital(known, "power", "Forward power", 31, _TUNE),
        _vital(known, "match", "Match", 32, _TUNE),
        *_trials(known),
        _supply(known),
        *_sheet(known),
    ]


def _own(own: Own) -> Check:
    lacks = [word for word, value in (("call sign", own.call), ("locator", own.locator)) if not value]
    wrong = own.locator is not None and not locator.is_locator(own.locator)
    state = CheckState.POOR if wrong else CheckState.WAITING if lacks else CheckState.GOOD
    return Check(
        key="own",
        label="Own call and locator",
        state=state,
        evidence=f"no {' and no '.join(lacks)}" if lacks else f"{own.call} in {own.locator}",
        remedy=None if state is CheckState.GOOD else "Set them under [station], or have the decoder tell them.",
        rank=15,
    )


def _power(own: Own) -> Check:
    watts = own.power_w
    state, remedy = CheckState.GOOD, None
    if watts is None:
        state, remedy = CheckState.WAITING, "Set power_w under [station]: the chance to be heard hangs on it."
    elif not _LEAST_W <= watts <= _MOST_W:
        state, remedy = (
            CheckState.POOR,
            f"It should be watts, {_LEAST_W:g} to {_MOST_W:g}: set power_w under [station].",
        )
    return Check(
        key="power_set",
        label="Own power",
        state=state,
        evidence="not told" if watts is None else f"{watts:g} W",
        remedy=remedy,
        rank=16,
    )


def _vital(known: Evidence, key: str, label: str, rank: int, waiting: str) -> Check:
    vital = known.vitals.get(key)
    if vital is None or not (vital.known or vital.wrong):
        evidence = "no evidence yet" if vital is None else vital.text
        return Check(key=key, label=label, state=CheckState.WAITING, evidence=evidence, remedy=waiting, rank=rank)
    return Check(
        key=key,
        label=label,
        state=CheckState.POOR if vital.wrong else CheckState.GOOD,
        evidence=vital.sentence if vital.wrong and vital.sentence else vital.text,
        remedy=vital.remedy,
        rank=rank,
    )


def _decodes(known: Evidence) -> Check:
    """Decodes, or at least noise: a band may be closed."""
    if known.stations:
        evidence, state = f"{counted(known.stations, 'station')} in the last period", CheckState.GOOD
    elif known.noise_dbfs_hz is not None:
        evidence, state = f"no station, but noise at {minus(f'{known.noise_dbfs_hz:.0f}')} dBFS/Hz", CheckState.GOOD
    else:
        evidence, state = "no station yet" if known.periods else "no period yet", CheckState.WAITING
    remedy = None if state is CheckState.GOOD else "Compare mode, dial frequency, audio device and clock."
    return Check(key="decodes", label="Decodes or noise", state=state, evidence=evidence, remedy=remedy, rank=23)


def _trials(known: Evidence) -> Iterator[Check]:
    if known.best is None:
        return
    words = ", ".join(f"{one.number}: SWR {one.swr:.1f} {one.word}" for one in known.trials)
    good = known.best.swr <= known.config.swr_high
    yield Check(
        key="trials",
        label="Matching trials",
        state=CheckState.GOOD if good else CheckState.POOR,
        evidence=f"{words}; best is {known.best.number}",
        remedy=None if good else "Adjust, and send another short carrier.",
        rank=33,
    )


def _supply(known: Evidence) -> Check:
    """The lower of the voltages, sending and not, has to be enough, and the higher one not too much."""
    fallen = known.vitals.get("supply")
    volts = known.supply_v
    state, evidence, remedy = CheckState.GOOD, _volts(volts), None
    if not volts:
        state = CheckState.WAITING
        remedy = "Have the voltage told by `gauge` events, or read it off the radio under load."
    elif min(volts.values()) < known.config.supply_low_v:
        state = CheckState.POOR
        remedy = "Charge or change the battery; shorten and thicken the leads; send with less power."
    elif max(volts.values()) > known.config.supply_high_v:
        state, remedy = CheckState.POOR, "Turn the supply down before it harms the radio."
    elif fallen is not None and fallen.wrong:
        state, evidence, remedy = CheckState.POOR, fallen.sentence or evidence, fallen.remedy
    return Check(key="supply", label="Supply", state=state, evidence=evidence, remedy=remedy, rank=40)


def _volts(volts: Mapping[bool, float]) -> str:
    words = {False: "receiving", True: "sending"}
    told = [f"{volts[sending]:.1f} V {words[sending]}" for sending in (False, True) if sending in volts]
    return ", ".join(told) or "no voltage told"


def _sheet(known: Evidence) -> Iterator[Check]:
    """The operator's own set-up sheet: what the decoder tells is compared, the rest is for the eye."""
    for rank, (name, wanted) in enumerate(known.config.sheet.items(), 60):
        told = None if known.tuned is None else getattr(known.tuned, name, None)
        same = _same(told, wanted)
        evidence = f"should be {_shown(wanted)}"
        if told is not None:
            evidence = f"{_shown(told)}, {'as noted' if same else f'not {_shown(wanted)}'}"
        good = told is None or same
        yield Check(
            key=f"sheet:{name}",
            label=f"Set-up: {name.replace('_', ' ')}",
            state=CheckState.GOOD if good else CheckState.POOR,
            evidence=evidence,
            remedy=None if good else "It differs from your set-up sheet: set it back, or note it anew.",
            rank=rank,
        )


def _shown(value: object) -> str:
    return f"{value:.10g}" if isinstance(value, int | float) else str(value)


def _same(told: object, wanted: str | float) -> bool:
    if isinstance(told, int | float) and isinstance(wanted, int | float):
        return abs(told - wanted) < 1e-6
    return str(told) == str(wanted)
