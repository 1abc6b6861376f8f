"""All that a plugin may import, beside ``watchkeeper.radio``, ``watchkeeper.adif`` and ``watchkeeper.view``."""

from .hookspecs import API_VERSION, hookimpl
from .host.context import Check, CheckState, Context
from .model import (
    Contact,
    Destination,
    Doing,
    Hail,
    Hearing,
    Note,
    OnAir,
    Own,
    Period,
    Sending,
    SendResult,
)
from .schema.events import (
    Event,
    Farewell,
    Gauge,
    Heard,
    Reception,
    Sent,
    Station,
    Tuning,
    from_ms,
    stamp,
    to_ms,
)
from .store.worked import Dimension, Facts, Need, Scope, WorkedIndex, facts
from .view import Urgency

__all__ = [
    "API_VERSION",
    "Check",
    "CheckState",
    "Contact",
    "Context",
    "Destination",
    "Dimension",
    "Doing",
    "Event",
    "Facts",
    "Farewell",
    "Gauge",
    "Hail",
    "Heard",
    "Hearing",
    "Need",
    "Note",
    "OnAir",
    "Own",
    "Period",
    "Reception",
    "Scope",
    "SendResult",
    "Sending",
    "Sent",
    "Station",
    "Tuning",
    "Urgency",
    "WorkedIndex",
    "facts",
    "from_ms",
    "hookimpl",
    "stamp",
    "to_ms",
]
