"""What can be set: one struct a section. The descriptions here are the documentation of every key."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Mapping
from enum import StrEnum
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from watchkeeper.radio import locator
from watchkeeper.schema.events import Source

_CALL = re.compile(r"(?=[A-Z0-9/]*[0-9])(?=[A-Z0-9/]*[A-Z])[A-Z0-9]+(/[A-Z0-9]+){0,3}")
_QUIET = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])-([01][0-9]|2[0-3]):([0-5][0-9])")


class Section(msgspec.Struct, frozen=True, kw_only=True):
    """Base of all sections."""


class Activation(Section, frozen=True, kw_only=True):
    """One reference that the station activates."""

    programme: Annotated[str, Meta(min_length=1, max_length=32, description="the award programme's short name")]
    reference: Annotated[str, Meta(min_length=1, max_length=64, description="the reference within the programme")]


class Station(Section, frozen=True, kw_only=True):
    """Who operates, from where, with what. A `station` event of a source outweighs what stands here."""

    call: Annotated[str | None, Meta(description="own call sign as sent on the air")] = None
    locator: Annotated[str | None, Meta(description="own locator, 4 to 10 characters")] = None
    operator: Annotated[str | None, Meta(description="the operator's own call, where it differs")] = None
    power_w: Annotated[float, Meta(gt=0, le=100_000, description="transmitter power in watts")] | None = None
    antenna: Annotated[str, Meta(max_length=256, description="the antenna in words")] | None = None
    region: Annotated[int, Meta(ge=1, le=3, description="ITU region; told from the locator if absent")] | None = None
    activations: Annotated[tuple[Activation, ...], Meta(max_length=16, description="references being activated")] = ()

    def __post_init__(self) -> None:
        wrong = [
            f"{name}: {call!r} is no call sign"
            for name, call in (("call", self.call), ("operator", self.operator))
            if call is not None and not _CALL.fullmatch(call.upper())
        ]
        if self.locator is not None and not (locator.is_locator(self.locator) and len(self.locator) >= 4):
            wrong.append(f"locator: {self.locator!r} is no locator of 4 to 10 characters, like 'JN58td'")
        if wrong:
            raise ValueError("\n".join(wrong))


class Listen(Section, frozen=True, kw_only=True):
    """Where events come in. On any address but a loopback one, only sealed datagrams are taken."""

    address: Annotated[str, Meta(description="IP address to listen on")] = "127.0.0.1"
    port: Annotated[int, Meta(ge=1, le=65535, description="UDP port to listen on")] = 41815
    seal_key_file: Annotated[Path | None, Meta(description="file that holds the key of sealed datagrams")] = None
    seal_key_env: Annotated[str | None, Meta(description="environment variable that holds that key")] = None

    def __post_init__(self) -> None:
        try:
            loopback = ipaddress.ip_address(self.address).is_loopback
        except ValueError:
            raise ValueError(f"address: {self.address!r} is no IP address") from None
        if self.seal_key_file and self.seal_key_env:
            raise ValueError("seal_key_file and seal_key_env: give one of the two, not both")
        if not loopback and not (self.seal_key_file or self.seal_key_env):
            raise ValueError(
                f"address: {self.address} is no loopback address, so datagrams must be sealed: "
                "set seal_key_file or seal_key_env"
            )


class Watch(Section, frozen=True, kw_only=True):
    """How the watch judges, and how often it may speak up."""

    grace_s: Annotated[
        float,
        Meta(ge=0, le=60, description="seconds after its end at which a period is closed without its final marker"),
    ] = 3.0
    silence_ms: Annotated[
        int, Meta(ge=10, le=5000, description="silence in milliseconds that ends a burst which no marker ended")
    ] = 200
    session_gap_h: Annotated[
        float, Meta(gt=0, le=48, description="hours without an event after which a new session begins")
    ] = 2.0
    hail_hold_off_min: Annotated[
        float,
        Meta(ge=0, le=10_080, description="minutes before one matter may hail again, unless its rule says else"),
    ] = 30.0
    hails_per_hour: Annotated[
        int, Meta(ge=0, le=3600, description="most hails of stations within an hour of event time; 0 for no limit")
    ] = 60
    quiet: Annotated[
        tuple[str, ...], Meta(max_length=24, description="hours in UTC without hails, like '22:00-06:00'")
    ] = ()

    def __post_init__(self) -> None:
        wrong = [hours for hours in self.quiet if not _QUIET.fullmatch(hours)]
        if wrong:
            raise ValueError(
                "\n".join(f"quiet: {hours!r} is no span of UTC hours, like '22:00-06:00'" for hours in wrong)
            )

    def quiet_minutes(self) -> tuple[tuple[int, int], ...]:
        """The quiet spans as (first minute, minute after the last) of the UTC day; a span may run past midnight."""
        found = (_QUIET.fullmatch(hours) for hours in self.quiet)
        numbers = (tuple(map(int, match.groups())) for match in found if match)
        return tuple((a * 60 + b, c * 60 + d) for a, b, c, d in numbers)


class Unannounced(StrEnum):
    """What happens to an exchange that looks complete and that no source announces as a contact."""

    OFFER = "offer"
    LOG = "log"


class Log(Section, frozen=True, kw_only=True):
    """Where the durable record is kept, and what goes into it."""

    folder: Annotated[
        Path | None, Meta(description="data folder; the platform's usual place if absent, `--data` outweighs it")
    ] = None
    unannounced: Annotated[
        Unannounced,
        Meta(description="offer or log an exchange that looks complete and that no source announces in two minutes"),
    ] = Unannounced.OFFER


class FollowedLog(Section, frozen=True, kw_only=True):
    """One ADIF file that another program writes."""

    path: Annotated[Path, Meta(description="the ADIF file (ADI); it need not be there yet")]
    source: Source
    reach_back_h: Annotated[
        float,
        Meta(ge=0, le=8760, description="hours before the start of the watch from which contacts are still taken"),
    ] = 24.0


class Follow(Section, frozen=True, kw_only=True):
    """Logs of decoders that cannot speak the event schema: finished contacts are taken from them as they grow."""

    adif: Annotated[tuple[FollowedLog, ...], Meta(max_length=16, description="ADIF files to follow")] = ()

    def __post_init__(self) -> None:
        paths = [log.path for log in self.adif]
        doubled = {path for path in paths if paths.count(path) > 1}
        if doubled:
            raise ValueError("\n".join(f"adif: {path} is followed twice" for path in sorted(doubled)))


class Theme(StrEnum):
    """How the faces are coloured."""

    DARK = "dark"
    LIGHT = "light"
    SUNLIGHT = "sunlight"


class Display(Section, frozen=True, kw_only=True):
    """How things are shown."""

    theme: Annotated[Theme, Meta(description="dark, light, or sunlight (large type, strong contrast)")] = Theme.DARK


class PluginSettings(Section, frozen=True, kw_only=True):
    """Which plugins run, and what each may take. The section of a plugin is `[plugins.NAME]`; all know `enabled`."""

    folder: Annotated[Path | None, Meta(description="folder of single-file plugins (*.py)")] = None
    allow: Annotated[tuple[str, ...] | None, Meta(description="start these plugins alone; all if absent")] = None
    block: Annotated[tuple[str, ...], Meta(description="never start these plugins")] = ()
    budget_ms: Annotated[
        float, Meta(gt=0, le=10_000, description="time one call of a plugin may take, in milliseconds")
    ] = 250.0
    burst_budget_ms: Annotated[
        float,
        Meta(
            gt=0,
            le=10_000,
            description="time a plugin's notes on all hearings of one burst may take, in milliseconds",
        ),
    ] = 500.0
    rest_min: Annotated[
        float, Meta(gt=0, le=1440, description="minutes of event time after which a rested plugin is tried again")
    ] = 10.0
    sections: dict[str, dict[str, Any]] = {}


class Config(Section, frozen=True, kw_only=True):
    """Everything that can be set, checked; only the plugins' own sections are checked by the host."""

    station: Station = Station()
    listen: Listen = Listen()
    watch: Watch = Watch()
    log: Log = Log()
    follow: Follow = Follow()
    display: Display = Display()
    plugins: PluginSettings = PluginSettings()

    def digest(self) -> str:
        """SHA-256, in hexadecimal, of the effective values. A different digest may mean different hails."""
        return sha256(msgspec.json.encode(self, enc_hook=_plain, order="deterministic")).hexdigest()


def _plain(value: object) -> object:
    """Write what msgspec does not know: paths, and the untyped values of plugin sections."""
    if isinstance(value, Mapping):
        return dict(value)
    return str(value)
