"""What goes wrong, and when: the timeline of a scenario, and the short form on the command line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

from watchkeeper.rehearsal.scenario import Fault, FaultKind

#: what a fault does when the short form gives no value; the words are the scenario file's
USUAL: dict[str, float] = {
    "passband": 500.0,
    "clock": 1.8,
    "drift": 2.0,
    "alc": 1.4,
    "swr": 3.5,
    "audio": -78.0,
    "deaf": 30.0,
    "battery": 0.25,
    "lossy": 0.2,
    "interference": 12.0,
    "http": 1.0,
    "offline": 1.0,
    "farewell_lost": 1.0,
    "pile": 2.0,
}
_WIRE_NAMES = ("loss", "double", "reorder", "corrupt", "oversize", "unknown")
_PART = re.compile(r"(?P<name>[a-z_]+)(?:=(?P<value>[0-9.+-]+))?(?:@(?P<from>[0-9.]+)(?:-(?P<to>[0-9.]+))?)?")


@dataclass(frozen=True, slots=True)
class WireFaults:
    """Shares (0…1) of datagrams that the way to the watch does something to."""

    loss: float = 0.0
    double: float = 0.0
    reorder: float = 0.0
    corrupt: float = 0.0
    oversize: float = 0.0
    unknown: float = 0.0

    @property
    def any(self) -> bool:
        """Whether anything happens at all."""
        return any(getattr(self, name) > 0 for name in _WIRE_NAMES)


#: what ``wire`` alone means
WIRE = WireFaults(loss=0.1, double=0.1, reorder=0.1)


def parse(spec: str | None) -> tuple[WireFaults, tuple[Fault, ...]]:
    """Read ``wire``, ``loss=0.1,double=0.1``, ``clock=3@600-1800,swr``: parts joined by commas.

    Names of the wire take a share; the others are kinds of the scenario file with a value and a span in seconds of the
    session. Raises ValueError with a sentence.
    """
    shares: dict[str, float] = {}
    faults: list[Fault] = []
    for part in (spec or "").split(","):
        if not part.strip():
            continue
        found = _PART.fullmatch(part.strip())
        if found is None:
            raise ValueError(f"fault {part.strip()!r} is not of the form name, name=value or name=value@from-to")
        name, value = found["name"], _number(found["value"], part)
        if name == "wire":
            shares |= dict.fromkeys(("loss", "double", "reorder"), WIRE.loss if value is None else _share(value, part))
        elif name in _WIRE_NAMES:
            shares[name] = _share(0.1 if value is None else value, part)
        elif name in USUAL:
            faults.append(_fault(name, value, _number(found["from"], part), _number(found["to"], part)))
        else:
            raise ValueError(f"no fault is named {name!r}: there are wire, {', '.join((*_WIRE_NAMES, *USUAL))}")
    return WireFaults(**shares), tuple(faults)


def _fault(name: str, value: float | None, from_s: float | None, to_s: float | None) -> Fault:
    kind = next(kind for kind in get_args(FaultKind) if kind == name)
    return Fault(kind=kind, from_s=from_s or 0.0, to_s=to_s or 1e9, value=USUAL[name] if value is None else value)


def _number(text: str | None, part: str) -> float | None:
    try:
        return None if text is None else float(text)
    except ValueError as error:
        raise ValueError(f"fault {part.strip()!r}: {text!r} is no number") from error


def _share(value: float, part: str) -> float:
    if not 0 <= value <= 1:
        raise ValueError(f"fault {part.strip()!r}: a share lies between 0 and 1")
    return value


class Timeline:
    """The faults of a session by event time."""

    def __init__(self, faults: Sequence[Fault], start_ms: int) -> None:
        self.faults = tuple(faults)
        self._start_ms = start_ms

    def active(self, kind: FaultKind, at_ms: int) -> Fault | None:
        """Return the first fault of a kind that is there at ``at_ms``, or None."""
        at_s = (at_ms - self._start_ms) / 1000
        return next((one for one in self.faults if one.kind == kind and one.from_s <= at_s < one.to_s), None)

    def value(self, kind: FaultKind, at_ms: int, otherwise: float) -> float:
        """Return the value of the fault of a kind at ``at_ms``, or ``otherwise``."""
        found = self.active(kind, at_ms)
        return otherwise if found is None else found.value

    def age_s(self, fault: Fault, at_ms: int) -> float:
        """Return since how many seconds a fault is there."""
        return (at_ms - self._start_ms) / 1000 - fault.from_s
