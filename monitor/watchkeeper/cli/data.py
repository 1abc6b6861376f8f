"""``watchkeeper data``: the country file that call signs are looked up in."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import click
import msgspec

from watchkeeper.cli.entities import FILE_NAME, newest
from watchkeeper.radio import entity
from watchkeeper.radio.known import KNOWN_CALLS, entity_codes
from watchkeeper.radio.release import Countries, ReleaseError, check, from_compact, parse_country_file, to_compact
from watchkeeper.store.folder import data_folder

_folder = click.option(
    "--data", type=click.Path(path_type=Path, file_okay=False), help="The data folder. [default: the platform's]"
)
_as_json = click.option("--json", "as_json", is_flag=True, help="One JSON object.")


class Shown(msgspec.Struct):
    """The release in use as JSON."""

    release: str
    date: str
    age_days: int
    source: str
    refreshed: bool  #: brought in by ``data refresh``, not the one that came with the package
    path: str
    rows: int
    prefixes: int
    calls: int


@click.group()
def command() -> None:
    """Show or refresh the country file that call signs are looked up in.

    \b
    Example:
      watchkeeper data show
    """


@command.command()
@_folder
@_as_json
def show(data: Path | None, as_json: bool) -> None:
    """Show which release is in use, and its age.

    \b
    Example:
      watchkeeper data show
    """
    path = newest(data_folder(data))
    _show(path, as_json)


@command.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@_folder
@_as_json
def refresh(file: Path, data: Path | None, as_json: bool) -> None:
    """Check FILE, a newer release of the country file (the comma-separated form), and use it from now on.

    It is refused, and the release in use kept, where a line cannot be read, an entity code is not a current one of
    ADIF's, a zone is out of range, rows are missing, a known call sign leads elsewhere, or the release in use is newer.

    \b
    Example:
      watchkeeper data refresh cty.csv
    """
    folder = data_folder(data)
    try:
        countries = parse_country_file(_decoded(file.read_bytes()))
        check(countries, entity_codes(), KNOWN_CALLS)
        in_use = _read(newest(folder)).release
        if countries.release.date < in_use.date:
            raise ReleaseError(0, f"release {countries.release.name} is older than {in_use.name}, which is in use")
    except (OSError, ValueError) as error:
        raise click.ClickException(f"{file}: {error}. Nothing was changed.") from None
    _write(folder / FILE_NAME, to_compact(countries))
    _show(newest(folder), as_json)


def _decoded(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ReleaseError(content.count(b"\n", 0, error.start) + 1, "is no UTF-8 text") from None


def _read(path: Path | None) -> Countries:
    return from_compact((path or entity.BUNDLED).read_text(encoding="utf-8"))


def _write(path: Path, text: str) -> None:
    """Put the file in place whole or not at all."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        with fresh.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except OSError as error:
        raise click.ClickException(f"{path} cannot be written: {error}") from None


def _show(path: Path | None, as_json: bool) -> None:
    countries = _read(path)
    release, rows = countries.release, countries.rows
    shown = Shown(
        release=release.name,
        date=release.date.isoformat(),
        age_days=(datetime.now(UTC).date() - release.date).days,
        source=release.source,
        refreshed=path is not None,
        path=str(path or entity.BUNDLED),
        rows=len(rows),
        prefixes=sum(len(row.prefixes) for row in rows),
        calls=sum(len(row.calls) for row in rows),
    )
    if as_json:
        click.echo(msgspec.json.encode(shown))
        return
    origin = f"refreshed, in {shown.path}" if shown.refreshed else "as it came with the package"
    click.echo(f"{shown.source}, release {shown.release} of {shown.date}, {shown.age_days} days old ({origin})")
    click.echo(f"{shown.rows} entities and parts of entities, {shown.prefixes} prefixes, {shown.calls} exact calls")
