"""The event language, version 1: one struct a kind, joined in one tagged union.

Every field's unit stands in its name (``_hz``, ``_db``, ``_w``, ``_s``). The bounds below are those of the trade with
room to spare; what lies outside is refused as a whole, because half an event misleads more than none.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, ClassVar

import msgspec
from msgspec import Meta

VERSION = 1
MAX_DATAGRAM = 8192
#: larger datagrams are fragmented on most networks, and a lost fragment loses them silently
MAX_NETWORK_DATAGRAM = 1200
MAX_BATCH = 64

# `(?!\n)$` because Python's `$` alone lets a trailing line break pass, and JSON Schema knows no `\Z`
Source = Annotated[
    str, Meta(min_length=1, max_length=32, pattern=r"^[A-Za-z0-9._-]+(?!\n)$", description="which feeding program")
]
Moment = Annotated[datetime, Meta(tz=True, description="RFC 3339, UTC, to the millisecond")]
Hz = Annotated[int, Meta(ge=0, le=10_000_000_000_000)]
AudioHz = Annotated[float, Meta(ge=-20_000, le=200_000)]
Db = Annotated[float, Meta(ge=-200, le=200)]
Watts = Annotated[float, Meta(ge=0, le=100_000)]
Name = Annotated[
    str, Meta(min_length=1, max_length=16, pattern=r"^[A-Za-z0-9_./+-]+(?!\n)$", description="an ADIF mode or submode")
]
Call = Annotated[
    str,
    Meta(min_length=1, max_length=24, pattern=r"^[A-Za-z0-9/_.-]+(?!\n)$", description="a call sign, without marks"),
]
Short = Annotated[str, Meta(max_length=64)]
Text = Annotated[str, Meta(max_length=256)]
Locator = Annotated[
    str, Meta(max_length=12, pattern=r"^[A-Za-z0-9]*(?!\n)$", description="a Maidenhead locator; empty: not known")
]
Parity = Annotated[int, Meta(ge=0, le=1, description="floor(UTC seconds / period length) mod 2")]
Count = Annotated[int, Meta(ge=0, le=1_000_000)]
Fraction = Annotated[float, Meta(ge=0, le=1)]


class Event(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", omit_defaults=True):
    """What every kind carries: who says it, when it happened, and where it stands in the sender's run."""

    v: Annotated[int, Meta(ge=1, le=1, description="schema version")]
    source: Source
    at: Moment
    receiver: Annotated[str, Meta(max_length=32)] | None = None
    run: Annotated[str, Meta(max_length=32)] | None = None
    seq: Annotated[int, Meta(ge=0, le=2**53)] | None = None
    id: Annotated[str, Meta(min_length=1, max_length=64)] | None = None
    ack: bool = False
    live: bool = True

    kind: ClassVar[str] = ""

    @property
    def at_ms(self) -> int:
        """``at`` in whole milliseconds since 1970-01-01 UTC."""
        return to_ms(self.at)


class Activation(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One reference that the station activates, as ADIF's MY_SIG and MY_SIG_INFO name it."""

    programme: Annotated[str, Meta(min_length=1, max_length=32)]
    reference: Annotated[str, Meta(min_length=1, max_length=64)]


Activations = Annotated[tuple[Activation, ...], Meta(max_length=16)]


class Station(Event, frozen=True, kw_only=True, tag="station", omit_defaults=True):
    """Who operates, from where, with what."""

    kind: ClassVar[str] = "station"
    call: Call
    locator: Locator | None = None
    operator: Call | None = None
    power_w: Watts | None = None
    antenna: Text | None = None
    activations: Activations = ()


class Tuning(Event, frozen=True, kw_only=True, tag="tuning", omit_defaults=True):
    """Where the receiver listens and where the station would send."""

    kind: ClassVar[str] = "tuning"
    dial_hz: Hz
    mode: Name
    sideband: Annotated[str, Meta(max_length=8)] | None = None
    filter_low_hz: AudioHz | None = None
    filter_high_hz: AudioHz | None = None
    search_low_hz: AudioHz | None = None
    search_high_hz: AudioHz | None = None
    send_dial_hz: Hz | None = None
    send_offset_hz: AudioHz | None = None
    send_parity: Parity | None = None
    calling: Call | None = None


class Heard(Event, frozen=True, kw_only=True, tag="heard", omit_defaults=True):
    """One decoded message; ``at`` is the period's nominal start."""

    kind: ClassVar[str] = "heard"
    mode: Name
    dial_hz: Hz
    offset_hz: AudioHz
    snr_db: Db
    text: Annotated[str, Meta(min_length=1, max_length=64)]
    late_s: Annotated[float, Meta(ge=-60, le=60)] | None = None
    pass_: Annotated[int, Meta(ge=0, le=100)] | None = msgspec.field(default=None, name="pass")
    decoded_at: Moment | None = None
    aided: bool = False
    aided_by: Annotated[tuple[Annotated[str, Meta(max_length=32)], ...], Meta(max_length=8)] = ()
    low_confidence: bool = False


class Period(Event, frozen=True, kw_only=True, tag="period", omit_defaults=True):
    """Decoding of a period, or of one pass over it, is complete; ``at`` is the period's nominal start."""

    kind: ClassVar[str] = "period"
    mode: Name
    dial_hz: Hz
    count: Count
    pass_: Annotated[int, Meta(ge=0, le=100)] | None = msgspec.field(default=None, name="pass")
    final: bool = False
    listened_s: Annotated[float, Meta(ge=0, le=3600)] | None = None
    audio_dbfs: Db | None = None
    noise_dbfs_hz: Db | None = None
    occupied: Annotated[tuple[tuple[AudioHz, AudioHz], ...], Meta(max_length=256)] | None = None


class Sent(Event, frozen=True, kw_only=True, tag="sent", omit_defaults=True):
    """One own transmission."""

    kind: ClassVar[str] = "sent"
    mode: Name
    dial_hz: Hz
    offset_hz: AudioHz
    text: Annotated[str, Meta(min_length=1, max_length=64)]
    power_w: Watts | None = None
    started_at: Moment | None = None
    aborted: bool = False


class Contact(Event, frozen=True, kw_only=True, tag="contact", omit_defaults=True):
    """One completed contact; needs ``id``, unique for ever within the source and the same on every repeat."""

    kind: ClassVar[str] = "contact"
    id: Annotated[str, Meta(min_length=1, max_length=64)]
    call: Call
    started_at: Moment
    ended_at: Moment
    dial_hz: Hz
    mode: Name
    offset_hz: AudioHz | None = None
    report_sent: Annotated[str, Meta(max_length=16)] | None = None
    report_received: Annotated[str, Meta(max_length=16)] | None = None
    locator: Locator | None = None
    station_call: Call | None = None
    operator: Call | None = None
    own_locator: Locator | None = None
    power_w: Watts | None = None
    activations: Activations = ()
    contest_id: Short | None = None
    exchange_sent: Short | None = None
    exchange_received: Short | None = None
    serial_sent: Count | None = None
    serial_received: Count | None = None
    comment: Text | None = None
    revision: Annotated[int, Meta(ge=0, le=1_000_000)] = 0


class Reception(Event, frozen=True, kw_only=True, tag="reception", omit_defaults=True):
    """Somebody else heard a station, most often us; arrives minutes late, ``at`` says when it was heard."""

    kind: ClassVar[str] = "reception"
    by_call: Call
    snr_db: Db
    dial_hz: Hz
    mode: Name
    call: Call | None = None
    by_locator: Locator | None = None
    offset_hz: AudioHz | None = None


class Gauge(Event, frozen=True, kw_only=True, tag="gauge", omit_defaults=True):
    """Readings of the station: whichever of them there are."""

    kind: ClassVar[str] = "gauge"
    forward_w: Watts | None = None
    power_set_w: Watts | None = None
    swr: Annotated[float, Meta(ge=1, le=1000)] | None = None
    alc_fraction: Annotated[float, Meta(ge=0, le=10)] | None = None
    sending: bool | None = None
    supply_v: Annotated[float, Meta(ge=0, le=1000)] | None = None
    supply_a: Annotated[float, Meta(ge=-1000, le=1000)] | None = None
    heatsink_c: Annotated[float, Meta(ge=-100, le=300)] | None = None
    clock_error_s: Annotated[float, Meta(ge=-86_400, le=86_400)] | None = None
    clock_synchronised: bool | None = None
    host_battery_fraction: Fraction | None = None


class Farewell(Event, frozen=True, kw_only=True, tag="farewell", omit_defaults=True):
    """The source stops."""

    kind: ClassVar[str] = "farewell"


AnyEvent = Station | Tuning | Heard | Period | Sent | Contact | Reception | Gauge | Farewell

KINDS: dict[str, type[Event]] = {
    cls.kind: cls for cls in (Station, Tuning, Heard, Period, Sent, Contact, Reception, Gauge, Farewell)
}


class Receipt(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="receipt", omit_defaults=True):
    """What the watch sends back for an event that asked with ``ack``."""

    v: Annotated[int, Meta(ge=1, le=1)]
    source: Source
    of: Annotated[str, Meta(min_length=1, max_length=64)]
    status: Annotated[str, Meta(pattern="^(stored|repeated|refused)$")]
    why: str | None = None


def to_ms(moment: datetime) -> int:
    """Whole milliseconds since 1970-01-01 UTC of an aware ``moment``."""
    return round(moment.timestamp() * 1000)


def from_ms(at_ms: int) -> datetime:
    """The aware UTC moment of ``at_ms`` milliseconds since 1970-01-01 UTC."""
    seconds, rest = divmod(at_ms, 1000)
    return datetime.fromtimestamp(seconds, UTC).replace(microsecond=rest * 1000)


def stamp(at_ms: int) -> str:
    """RFC 3339 text of ``at_ms`` in UTC with milliseconds, as the schema writes it."""
    return from_ms(at_ms).isoformat(timespec="milliseconds").replace("+00:00", "Z")
