"""Mending the outbox of a standing watch: `watchkeeper outbox retry` and `drop` ask for it over the watch's socket."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from ..store import outbox
from ..store.dispatch import Dispatcher
from ..store.store import Store

RETRY, DROP = "outbox-retry", "outbox-drop"


class Mend(msgspec.Struct, frozen=True, kw_only=True):
    """What is asked for: rows of the outbox, by their numbers. It is no act of the journal: no hail hangs on it."""

    act: Literal["outbox-retry", "outbox-drop"]
    rows: Annotated[tuple[int, ...], Meta(max_length=100_000)]


async def mend(store: Store, dispatcher: Dispatcher, asked: Mapping[str, Any], now_ms: int) -> dict[str, int]:
    """Do what is asked; how many rows it changed. Raises ValueError for what cannot be understood."""
    try:
        wanted = msgspec.convert(asked, Mend)
    except msgspec.ValidationError as error:
        raise ValueError(str(error)) from error
    if wanted.act == DROP:
        return {"rows": await store.change(partial(outbox.drop, ids=wanted.rows, now_ms=now_ms))}
    count: int = await store.change(partial(outbox.retry, ids=wanted.rows))
    dispatcher.retry_now()
    return {"rows": count}
