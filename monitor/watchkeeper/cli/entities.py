"""Which country file the commands look up in: the one of the package, or a newer one that was brought in."""

from __future__ import annotations

from pathlib import Path

import click

from watchkeeper.radio import entity
from watchkeeper.radio.release import ReleaseError, release_of
from watchkeeper.store.folder import data_folder

#: the refreshed release within the data folder
FILE_NAME = "entities.tsv"


def newest(folder: Path) -> Path | None:
    """The data folder's refreshed release; None where none can be read or the bundled one is newer."""
    path = folder / FILE_NAME
    if not path.exists():
        return None
    try:
        refreshed = release_of(path)
    except (OSError, ValueError) as error:
        _ignore(path, error)
        return None
    return path if refreshed.date >= release_of(entity.BUNDLED).date else None


def use_newest(option: Path | None) -> None:
    """Look up in the newest release of the data folder or the package; a damaged one is named and passed over."""
    path = newest(data_folder(option))
    try:
        entity.use(path)
    except (OSError, ReleaseError, UnicodeDecodeError) as error:
        _ignore(path, error)
        entity.use(None)


def _ignore(path: Path | None, error: Exception) -> None:
    click.echo(f"{path} is not used: {error}; `watchkeeper data refresh` replaces it", err=True)
