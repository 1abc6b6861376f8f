"""Why a station did hail and why not, from a live watch or from one whose journal was read again."""

from __future__ import annotations

import msgspec

from ..host.plugin_host import PluginHost
from ..model import Hail
from ..radio import callsign
from .pipeline import Watch


class Explanation(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of ``call``: the newest hails of it, and what each plugin says, in sentences."""

    call: str
    on_the_air: bool
    hails: tuple[Hail, ...]
    because: tuple[str, ...]


def explain(watch: Watch, host: PluginHost, call: str) -> Explanation:
    """Ask every plugin about ``call``, as it was heard; the angle brackets of a hashed one are no part of it."""
    read = callsign.parse(call)
    if read is None:
        call = call.strip().upper()
        return Explanation(call=call, on_the_air=False, hails=(), because=(f"{call!r} is no call sign",))
    call = read.text
    return Explanation(
        call=call,
        on_the_air=watch.station(call) is not None,
        hails=tuple(hail for hail in watch.hails.recent if hail.call == call),
        because=tuple(host.explain(call)),
    )
