"""The value types that flow from the watch to plugins, store and faces.

Times are milliseconds of event time since 1970-01-01 UTC (``_ms``). Plugins treat everything here as read-only.
"""

from __future__ import annotations

from collections.abc import Awaitable
from enum import StrEnum
from typing import Any, Protocol, TypeVar

import msgspec

from .radio.credibility import Credibility
from .radio.entity import Placed
from .radio.message import Reading
from .view import Urgency

N = TypeVar("N", bound="Note")


class Note(msgspec.Struct, frozen=True, kw_only=True):
    """Base of what a plugin puts on a hearing. Subclass it in the plugin's public module; the type is the key."""


class Hearing(msgspec.Struct, kw_only=True, eq=False):
    """One text of one station in one period, whatever the number of passes and receivers that decoded it."""

    source: str
    receivers: tuple[str, ...]
    period_ms: int
    mode: str
    band: str | None
    dial_hz: int
    offset_hz: float
    snr_db: float
    text: str
    reading: Reading
    call: str | None  # who sends; None when hashed and not resolved
    placed: Placed | None
    locator: str | None  # the newest known of that call, sent now or remembered
    distance_km: float | None
    azimuth_deg: float | None
    parity: int
    credibility: Credibility
    late_s: float | None = None
    aided: bool = False
    live: bool = True
    late: bool = False  # came after its period was closed
    copies: int = 1
    images: tuple[float, ...] = ()  # other offsets of the same text: overload images
    to_me: bool = False
    noted: dict[type[Note], Note] = {}

    def note(self, kind: type[N]) -> N | None:
        """The note of that type, or None where no plugin put one."""
        return self.noted.get(kind)  # type: ignore[return-value]  # each note stands under its own type


class Period(msgspec.Struct, kw_only=True, eq=False):
    """One receive period of one source on one dial frequency: what was heard in it so far."""

    source: str
    mode: str
    band: str | None
    dial_hz: int
    start_ms: int
    length_ms: int
    parity: int
    hearings: list[Hearing] = []
    fresh: list[Hearing] = []  # those that the burst now judged brought
    listened_s: float | None = None
    sent: bool = False  # we transmitted in it, so nothing was heard
    closed: bool = False
    audio_dbfs: float | None = None
    noise_dbfs_hz: float | None = None
    occupied: tuple[tuple[float, float], ...] | None = None

    @property
    def end_ms(self) -> int:
        """When the period ends, in event time."""
        return self.start_ms + self.length_ms


class Losses(msgspec.Struct, frozen=True, kw_only=True):
    """How many numbered events of a source came, and how many never did."""

    received: int
    lost: int


class Doing(StrEnum):
    """What a station on the air is doing, read from its own last message and its partner's."""

    CALLING = "calling"
    ANSWERING = "answering"
    REPORTING = "reporting"
    CLOSING = "closing"
    FREE = "free"
    UNKNOWN = "unknown"


class OnAir(msgspec.Struct, kw_only=True, eq=False):
    """One station on the air, as the exchange tracker knows it."""

    call: str
    band: str | None
    mode: str
    source: str
    placed: Placed | None
    locator: str | None
    distance_km: float | None
    azimuth_deg: float | None
    dial_hz: int
    offset_hz: float
    snr_db: float
    parity: int
    first_ms: int
    last_ms: int  # start of the period in which it was last heard
    copied: int  # periods in which it was copied
    doing: Doing
    since_ms: int  # since when it does that
    partner: str | None = None
    directed_to: str | None = None  # "DX", "EU", … where its last call to all was a directed one
    to_me: bool = False
    text: str = ""
    lacks: tuple[str, ...] = ()  # what its exchange with us still lacks, in the order it comes
    drift_hz: float = 0.0
    waited_since_ms: int | None = None  # first call to us that we have not answered
    best: Hearing | None = None  # the newest hearing
    calls_me: bool = False  # it wants an exchange with us, and that exchange is neither complete nor logged
    free_since_ms: int | None = None  # since when it takes calls; None while it is busy or nobody knows
    called_ms: int | None = None  # when it last called to all
    calls_in_vain: int = 0  # its calls to all since anybody was heard to answer
    rivals: tuple[tuple[str, int], ...] = ()  # who was heard to call it, and in which period, the newest last
    tries: int = 0  # our calls to it since it last said something to us
    tried_ms: int | None = None  # when we last called it
    missed: int = 0  # its turns since it was last heard in which we listened
    fading: bool = False  # each of its last hearings was clearly weaker than the one before
    leaving: bool = False  # it only answers others, and has just said goodbye
    said_ms: int | None = None  # the period of ``text``
    trail: tuple[tuple[int, float], ...] = ()  # its last levels, (period, SNR in dB), the newest last


class Own(msgspec.Struct, frozen=True, kw_only=True):
    """The own station as the last ``station`` and ``tuning`` events and the config say."""

    call: str | None = None
    locator: str | None = None
    operator: str | None = None
    power_w: float | None = None
    antenna: str | None = None
    activations: tuple[tuple[str, str], ...] = ()  # (programme, reference)
    dial_hz: int | None = None
    mode: str | None = None
    send_parity: int | None = None
    send_offset_hz: float | None = None
    calling: str | None = None


class Contact(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One contact as the log keeps it. ``key`` is global: own call, source, the source's id (a digest on import)."""

    key: str
    source: str
    source_id: str
    revision: int = 0
    call: str
    started_ms: int
    ended_ms: int
    band: str | None
    frequency_hz: int | None  # dial plus offset
    dial_hz: int | None = None
    offset_hz: float | None = None
    mode: str  # as on the air: FT8, FT4, SSB, …
    report_sent: str | None = None
    report_received: str | None = None
    locator: str | None = None
    station_call: str | None = None
    operator: str | None = None
    own_locator: str | None = None
    power_w: float | None = None
    distance_km: float | None = None
    entity_code: int | None = None
    entity: str | None = None
    cq_zone: int | None = None
    itu_zone: int | None = None
    continent: str | None = None
    state: str | None = None
    name: str | None = None
    propagation: str | None = None
    activations: tuple[tuple[str, str], ...] = ()  # ours: (programme, reference)
    their_activations: tuple[tuple[str, str], ...] = ()
    contest_id: str | None = None
    exchange_sent: str | None = None
    exchange_received: str | None = None
    serial_sent: int | None = None
    serial_received: int | None = None
    comment: str | None = None
    confirmed: bool = False
    filled: tuple[str, ...] = ()  # fields that we supplied from other events
    flags: tuple[str, ...] = ()  # what looks impossible, in words; the contact is kept all the same
    extra: dict[str, str] = {}  # further ADIF fields of an import, kept as they came


#: ends the key of a hail that raises a matter once more
AGAIN = "|again"


class Hail(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One alert. Two hails with the same ``key`` are one matter: it goes out once, until its hold-off ends.

    ``key`` + ``AGAIN`` raises the matter once more: whoever has seen to the one has seen to the other.
    """

    key: str
    urgency: Urgency
    sentence: str
    rule: str
    at_ms: int  # event time
    call: str | None = None
    band: str | None = None
    reasons: tuple[str, ...] = ()
    act_by_ms: int | None = None
    hold_off_min: float | None = None  # how long the same key stays quiet; None: as the config says
    rarity: float = 0.0  # 0…1, how seldom such a chance comes: decides when there are too many hails
    own_station: bool = False  # about us, none of those heard: the hour's limit neither counts it nor holds it back


class SendResult(StrEnum):
    """How one try to forward a payload ended."""

    DELIVERED = "delivered"
    ALREADY_THERE = "already there"
    TRY_LATER = "try later"
    REFUSED = "refused"  # for good: a dead letter


class Sending(msgspec.Struct, frozen=True, kw_only=True):
    """The outcome of one try: ``retry_after_s`` where the other side named a time."""

    result: SendResult
    why: str | None = None
    retry_after_s: float | None = None


class Destination(Protocol):
    """Where contacts go. The core's dispatcher keeps the outbox, the order and the retries."""

    name: str

    def encode(self, contact: Contact) -> bytes:
        """The payload, frozen at commit time: every retry sends the same bytes."""
        ...

    def send(self, payload: bytes, key: str) -> Awaitable[Sending]:
        """One try. Raises nothing for a remote fault: it returns TRY_LATER or REFUSED and why."""
        ...


Json = dict[str, Any]
