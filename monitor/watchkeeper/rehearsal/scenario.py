"""Scenarios: what a rehearsal plays, read from TOML and checked as a whole before anything starts."""

from __future__ import annotations

import tomllib
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from watchkeeper.radio.mode import timed

DEFAULT = "evening-20m"

Share = Annotated[float, Meta(ge=0, le=1)]
Environment = Literal["city", "residential", "rural", "quiet rural"]
FaultKind = Literal[
    "passband", "clock", "drift", "alc", "swr", "audio", "deaf", "battery", "lossy", "interference",
    "http", "offline", "farewell_lost", "pile",
]  # fmt: skip


#: what the value of a fault must lie between, where it matters
_VALUES: dict[str, tuple[float, float]] = {
    "passband": (1, 10_000),
    "alc": (0, 10),
    "swr": (1, 1000),
    "audio": (-200, 0),
    "battery": (0, 1),
    "lossy": (0, 1),
    "http": (1, 3),
    "pile": (1, 100),
}


class _Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A table of the file: a key that is not known is an error."""


class Activation(_Table, frozen=True, kw_only=True):
    """A reference that the own station activates."""

    programme: str
    reference: str


class Supply(_Table, frozen=True, kw_only=True):
    """The own station's battery: lithium iron phosphate, as most portable stations use."""

    capacity_ah: Annotated[float, Meta(gt=0)] = 12.0
    charged: Share = 1.0
    sending_a: Annotated[float, Meta(ge=0)] = 5.0
    receiving_a: Annotated[float, Meta(ge=0)] = 1.2
    resistance_ohm: Annotated[float, Meta(ge=0)] = 0.06


class Own(_Table, frozen=True, kw_only=True):
    """The own station: ``style`` says whether it mostly answers or mostly calls."""

    call: str = "DL5QRM"
    locator: str = "JO50qx"
    power_w: Annotated[float, Meta(gt=0)] = 10.0
    antenna: str = "20 m of wire, 6 m high"
    gain_dbi: float = -2.0
    surroundings: Environment = "residential"
    style: Literal["hunt", "run"] = "hunt"
    patience: Annotated[int, Meta(ge=1, le=20)] = 4
    activations: tuple[Activation, ...] = ()
    supply: Supply | None = None


class Sky(_Table, frozen=True, kw_only=True):
    """What the Sun and the Earth's field do."""

    sunspots: Annotated[float, Meta(ge=0, le=300)] = 80.0
    k_index: Annotated[float, Meta(ge=0, le=9)] = 2.0
    sporadic_per_day: Annotated[float, Meta(ge=0, le=500)] = 12.0


class Band(_Table, frozen=True, kw_only=True):
    """One frequency: the stations there and what the source that feeds from it is like.

    Bands with the same source share one radio, which is on one of them at a time; ``name`` tells them apart.
    """

    source: str
    dial_hz: Annotated[int, Meta(gt=0)]
    name: str = ""
    mode: str = "FT8"
    receivers: tuple[str, ...] = ("a",)
    stations: Annotated[int, Meta(ge=0, le=5000)] = 150
    runners: Share = 0.4
    contest: bool = False
    own: bool = False
    batched: bool = False

    @property
    def key(self) -> str:
        """What tells this band from the others of the scenario."""
        return self.name or self.source


class Decoder(_Table, frozen=True, kw_only=True):
    """How the decoding program behaves: shares of hearings, and rates per period."""

    late_share: Share = 0.015
    repeat_share: Share = 0.04
    phantoms_per_period: Annotated[float, Meta(ge=0, le=10)] = 0.02
    own_call_phantoms_per_hour: Annotated[float, Meta(ge=0, le=60)] = 1.0
    limit_db: float = 0.0
    habitual_late_s: float = 0.2


class Habits(_Table, frozen=True, kw_only=True):
    """How people behave: factors on what they do by themselves."""

    patience: Annotated[float, Meta(gt=0, le=10)] = 1.0
    directed: Share = 0.12
    tail_ending: Share = 0.3
    compound: Share = 0.02
    multi_stream: Share = 0.25  # of the stations in rare places
    reporting: Share = 0.35
    stay_min: Annotated[float, Meta(gt=0)] = 40.0


class Fault(_Table, frozen=True, kw_only=True):
    """Something that goes wrong from ``from_s`` to ``to_s`` of the session; what ``value`` means depends on the kind.

    passband: width in Hz; clock: error in s; drift: s per hour; alc: fraction of the scale; swr: the ratio reached;
    audio: dBFS; deaf: loss in dB; battery: share of the charge that is left; lossy: share of events lost before they
    are sent; interference: dB; http: 1 fails, 2 stalls, 3 closes early; pile: so many stations call at once. The others
    need no value: offline (no internet: no reports of others, no log on the web) and farewell_lost (a partner never
    copies the last word).
    """

    kind: FaultKind
    from_s: Annotated[float, Meta(ge=0)] = 0.0
    to_s: Annotated[float, Meta(gt=0)] = 1e9
    value: float = 0.0

    def __post_init__(self) -> None:
        low, high = _VALUES.get(self.kind, (-1e9, 1e9))
        if not low <= self.value <= high:
            raise ValueError(f"fault {self.kind}: the value must lie between {low:g} and {high:g}, not {self.value:g}")


class Change(_Table, frozen=True, kw_only=True):
    """The own station goes to another band at ``at_s`` of the session: to its name, or to its source."""

    at_s: Annotated[float, Meta(ge=0)]
    band: str


class Scenario(_Table, frozen=True, kw_only=True):
    """All of a rehearsal but its seed."""

    title: str
    start: datetime
    periods: Annotated[int, Meta(ge=1, le=1_000_000)]
    band: Annotated[tuple[Band, ...], Meta(min_length=1, max_length=16)]
    own: Own = msgspec.field(default_factory=Own)
    sky: Sky = msgspec.field(default_factory=Sky)
    decoder: Decoder = msgspec.field(default_factory=Decoder)
    habits: Habits = msgspec.field(default_factory=Habits)
    fault: tuple[Fault, ...] = ()
    change: tuple[Change, ...] = ()


def load(name: str) -> Scenario:
    """Return the scenario in the file ``name``, or the one of that name that comes with the program.

    Raises ValueError with a sentence that says what is wrong and where.
    """
    path = Path(name)
    if not path.suffix:
        shelf = _shelf()
        known = sorted(entry.name.removesuffix(".toml") for entry in shelf.iterdir() if entry.name.endswith(".toml"))
        if name not in known:
            raise ValueError(f"no scenario is named {name!r}: there are {', '.join(known)}, or give a file")
        path = shelf / f"{name}.toml"
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise ValueError(f"cannot read the scenario {name}: {error.strerror}") from error
    return parse(text, str(name))


def parse(text: str, name: str) -> Scenario:
    """Return the scenario that TOML ``text`` describes; ``name`` is for the error. Raises ValueError."""
    try:
        found = msgspec.convert(tomllib.loads(text), Scenario)
    except (tomllib.TOMLDecodeError, msgspec.ValidationError) as error:
        raise ValueError(f"{name}: {error}") from error
    _check(found, name)
    return found


def _check(found: Scenario, name: str) -> None:
    if found.start.tzinfo is None:
        raise ValueError(f"{name}: start needs a time zone, e.g. 2025-03-15T18:00:00Z")
    keys = [band.key for band in found.band]
    if len(set(keys)) != len(keys):
        raise ValueError(f"{name}: two bands have the same name: bands of one source need names of their own")
    if sum(band.own for band in found.band) != 1:
        raise ValueError(f"{name}: exactly one band must be the own station's (own = true)")
    for band in found.band:
        if timed(band.mode) is None:
            raise ValueError(f"{name}: band {band.key}: {band.mode!r} is no timed mode")
    for change in found.change:
        if change.band not in keys:
            raise ValueError(f"{name}: change names the unknown band {change.band!r}")


def _shelf() -> Path:
    """Return the folder of the scenarios: of the installed program, or of the working tree when run from it."""
    root = files("watchkeeper")
    installed = Path(str(root)).parent / "watchkeeper_configs" / "rehearsal"
    return installed if installed.is_dir() else Path(str(root)).parents[1] / "configs" / "rehearsal"
