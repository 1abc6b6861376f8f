"""``watchkeeper exposure``: from which distance on the station's field keeps the limits for people."""

from __future__ import annotations

import json
import re
from math import isnan
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from ..radio.exposure import Rules

#: share of the averaging time that a timed mode takes when every second period is sent, to the next half
_ALTERNATING = 0.5
#: over what the power is averaged
_AVERAGED = {
    "fcc": "averaged over 30 min for the public and 6 min for those who know",
    "icnirp": "averaged over 30 min for the whole body and 6 min for parts of it",
}
_FREQUENCY = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*(k|M|G)?(?:Hz)?", re.IGNORECASE)
_FACTORS = {"": 1.0, "K": 1e3, "M": 1e6, "G": 1e9}


class _Number(click.FloatRange):
    """A number in a range; what is no number lies in none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The number. Raises BadParameter."""
        found = super().convert(value, param, ctx)
        if isnan(found):
            self.fail(f"{value!r} is no number.", param, ctx)
        return found


class _Share(_Number):
    """A share, as 0.5 or 50%."""

    name = "share"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The share, 0 to 1. Raises BadParameter."""
        if not isinstance(value, str) or not value.strip().endswith("%"):
            return super().convert(value, param, ctx)
        try:
            return super().convert(float(value.strip().removesuffix("%")) / 100, param, ctx)
        except ValueError:
            self.fail(f"{value!r} is no share, such as 0.5 or 50%.", param, ctx)


@click.command()
@click.option("--power", "power_w", type=_Number(min=0, max=100_000, min_open=True), required=True,
              metavar="W", help="Power at the antenna, peak envelope, in watts.")  # fmt: skip
@click.option("--band", "band_name", metavar="BAND", help="Band, as 20m: its stricter edge counts.")
@click.option("--frequency", metavar="HZ", help="Frequency instead of a band: 14074000, 14.074M or 14074k.")
@click.option("--gain", "gain_dbi", type=_Number(-100, 100), default=2.15, show_default=True, metavar="DBI",
              help="Antenna gain over isotropic, line losses taken off.")  # fmt: skip
@click.option("--mode", "mode_name", default="FT8", show_default=True, metavar="MODE",
              help="A timed mode, or SSB, CW, FM or DATA: sets the average over the peak power.")  # fmt: skip
@click.option("--rules", type=click.Choice(["fcc", "icnirp"], case_sensitive=False), default="fcc", show_default=True,
              help="47 CFR 1.1310, or ICNIRP 2020.")  # fmt: skip
@click.option("--share", type=_Share(0, 1, min_open=True), metavar="SHARE",
              help="Share of the averaging time that you send. [default: 50%, every second period]")  # fmt: skip
@click.option("--no-ground", is_flag=True, help="Leave the ground's reflection out (the field is 1.6 times with it).")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(
    power_w: float,
    band_name: str | None,
    frequency: str | None,
    gain_dbi: float,
    mode_name: str,
    rules: str,
    share: float | None,
    no_ground: bool,
    as_json: bool,
) -> None:
    """Tell the distances at which the limits for the public and for those who know are met.

    \b
    Example:
      watchkeeper exposure --power 100 --band 20m --gain 2.15 --mode FT8
    """
    from ..radio import exposure

    share = _ALTERNATING if share is None else share
    average_w = exposure.average_power_w(power_w, _duty(mode_name), share)

    rules_of: Rules = "FCC" if rules.lower() == "fcc" else "ICNIRP"
    try:
        frequency_hz, found = max(
            (
                (hz, exposure.distances(average_w, gain_dbi, hz, rules=rules_of, ground_reflection=not no_ground))
                for hz in _frequencies_hz(band_name, frequency)
            ),
            key=lambda each: each[1].general_m,
        )
    except ValueError as error:
        raise click.UsageError(str(error)) from None
    told = {
        "rules": rules.lower(),
        "frequency_hz": round(frequency_hz),
        "power_w": power_w,
        "average_w": round(average_w, 3),
        "gain_dbi": gain_dbi,
        "mode": mode_name.upper(),
        "mode_duty": _duty(mode_name),
        "share": share,
        "averaged": _AVERAGED[rules.lower()],
        "ground_reflection": not no_ground,
        "general_m": round(found.general_m, 2),
        "controlled_m": round(found.controlled_m, 2),
        "far_field_m": round(found.far_field_m, 2),
    }
    _say(told, as_json=as_json)


def _say(told: dict[str, Any], *, as_json: bool) -> None:
    from .. import cautions

    near = told["general_m"] < told["far_field_m"]
    warning = (
        f"Nearer than {told['far_field_m']:.1f} m (λ/2π) the far field does not hold: keep at least that distance too."
    )
    if as_json:
        click.echo(json.dumps(told | {"cautions": [*([warning] if near else []), *cautions.RF]}, ensure_ascii=False))
        return
    rules = "47 CFR 1.1310" if told["rules"] == "fcc" else "ICNIRP 2020"
    click.echo(
        f"{told['power_w']:g} W in {told['mode']} at {told['frequency_hz'] / 1e6:g} MHz, {told['gain_dbi']:g} dBi, "
        f"sending {told['share']:.0%} of the time: {told['average_w']:.3g} W, {told['averaged']}."
    )
    click.echo(f"{rules}: the public from {told['general_m']:.1f} m on, those who know from "
               f"{told['controlled_m']:.1f} m on, in the main direction.")  # fmt: skip
    for sentence in (*([warning] if near else []), *cautions.RF):
        click.echo(sentence)


def _duty(mode_name: str) -> float:
    from ..radio.exposure import MODE_DUTY
    from ..radio.mode import timed

    name = mode_name.strip().upper()
    if timed(name) is not None:
        return 1.0  # constant envelope; the pauses are in the share
    known = {key.upper(): value for key, value in MODE_DUTY.items()}
    if name not in known:
        raise click.BadParameter(
            f"{mode_name!r} is neither a timed mode nor one of {', '.join(MODE_DUTY)}", param_hint="--mode"
        )
    return known[name]


def _frequencies_hz(band_name: str | None, frequency: str | None) -> tuple[float, ...]:
    """The frequency, or both edges of the band, the upper one first."""
    from ..radio import band

    if (band_name is None) == (frequency is None):
        raise click.UsageError("give one of --band and --frequency")
    if band_name is not None:
        found = band.get(band_name.replace(" ", "").lower())
        if found is None:
            raise click.BadParameter(f"{band_name!r} is no band, such as 20m", param_hint="--band")
        return float(found.high_hz), float(found.low_hz)
    assert frequency is not None
    match = _FREQUENCY.fullmatch(frequency.strip())
    if match is None or not float(match[1]):
        raise click.BadParameter(f"{frequency!r} is no frequency, such as 14.074M", param_hint="--frequency")
    return (float(match[1]) * _FACTORS[(match[2] or "").upper()],)
