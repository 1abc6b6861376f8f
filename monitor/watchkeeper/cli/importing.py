"""Changing the log of a standing watch: `watchkeeper log import` and `undo` ask for it over the watch's socket.

The file to import is laid into the data folder first, and named: a watch reads no other file for anybody.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Annotated, Any, Literal

import msgspec
from msgspec import Meta

from ..store.errors import StoreError

if TYPE_CHECKING:
    from ..store.imports import Imported
    from ..store.store import Store
    from ..watch.keeper import Keeper

IMPORT, UNDO = "log-import", "log-undo"
#: how the names of files begin that are laid into the data folder
LAID = ".import-"


class Import(msgspec.Struct, frozen=True, kw_only=True):
    """What is asked for: a file in the data folder, and the name that the log shall know it by."""

    act: Literal["log-import"]
    file: Annotated[str, Meta(pattern=rf"^{re.escape(LAID)}[A-Za-z0-9_]+$")]
    name: Annotated[str, Meta(max_length=1024)]


class Undo(msgspec.Struct, frozen=True, kw_only=True):
    """What is asked for: an import to take back, by its number."""

    act: Literal["log-undo"]
    number: int


async def change_log(keeper: Keeper, asked: Mapping[str, Any]) -> dict[str, Any]:
    """Do what is asked of a standing watch's log. Raises ValueError for what cannot be understood or done."""
    try:
        if asked["act"] == IMPORT:
            done = await keeper.change_log(partial(_import, msgspec.convert(asked, Import)))
            return dict(msgspec.to_builtins(done))
        return {"taken_back": await keeper.change_log(partial(_undo, msgspec.convert(asked, Undo).number))}
    except (msgspec.ValidationError, StoreError) as fault:
        raise ValueError(str(fault)) from fault
    except OSError as fault:
        raise ValueError(fault.strerror) from fault


def _import(wanted: Import, store: Store) -> Imported:
    return store.import_adif(store.folder / wanted.file, wanted.name, lambda _done: None, shared=True)


def _undo(number: int, store: Store) -> int:
    try:
        return store.undo_import(number)
    except KeyError as fault:
        raise ValueError(f"there is no import {number} to take back") from fault
