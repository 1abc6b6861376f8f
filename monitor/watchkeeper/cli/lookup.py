"""``watchkeeper lookup``: which entity, zones and place a call sign belongs to."""

from __future__ import annotations

from pathlib import Path

import click
import msgspec

from watchkeeper.cli.entities import use_newest
from watchkeeper.cli.lines import answer
from watchkeeper.faces.clean import clean
from watchkeeper.radio import entity
from watchkeeper.radio.callsign import Status


class Line(msgspec.Struct):
    """One answer as JSON. Degrees, north and east positive; null for what the call does not tell."""

    call: str
    valid: bool
    entity: str | None
    entity_code: int | None
    cq_zone: int | None
    itu_zone: int | None
    continent: str | None
    latitude: float | None
    longitude: float | None
    matched: str | None
    status: Status


_encode = msgspec.json.Encoder().encode


@click.command()
@click.argument("calls", nargs=-1, required=True, metavar="CALL...")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.option(
    "--data", type=click.Path(path_type=Path, file_okay=False), help="The data folder. [default: the platform's]"
)
def command(calls: tuple[str, ...], as_json: bool, data: Path | None) -> None:
    """Tell the entity, zones, continent and place of each CALL; - reads them from the standard input, one a line.

    Calls may carry what is added before and after a slash (VE3/G4QRS, SV1QRM/5, W1QSB/MM). What is no call sign is
    answered too, as not valid; the exit code is 0 then as well.

    \b
    Example:
      watchkeeper lookup JA1QRV DL5QRM/P
    """
    use_newest(data)
    answer(calls, _json if as_json else _text)


def _json(call: str) -> bytes:
    placed = entity.lookup(call)
    found = placed.entity
    name, code = (found.name, found.code) if found else (None, None)
    return _encode(
        Line(
            placed.call,
            placed.valid,
            name,
            code,
            placed.cq_zone,
            placed.itu_zone,
            placed.continent,
            placed.latitude,
            placed.longitude,
            placed.matched,
            placed.status,
        )
    )


def _text(call: str) -> str:
    placed = entity.lookup(call)
    label = f"{clean(placed.call):<12}"
    if not placed.valid:
        prefix = entity.prefix_entity(placed.call)
        return f"{label} no call sign" + (f"; the prefix is that of {prefix.name}" if prefix else "")
    if placed.entity is None or placed.latitude is None or placed.longitude is None:
        return f"{label} {placed.status}: no entity"
    latitude = f"{abs(placed.latitude):.2f}° {'SN'[placed.latitude >= 0]}"
    longitude = f"{abs(placed.longitude):.2f}° {'WE'[placed.longitude >= 0]}"
    return (
        f"{label} {placed.entity.name} ({placed.entity.code}), {placed.continent}, CQ zone {placed.cq_zone}, "
        f"ITU zone {placed.itu_zone}, {latitude} {longitude}, {placed.status}, by {placed.matched}"
    )
