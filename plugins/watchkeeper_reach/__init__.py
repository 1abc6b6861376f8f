"""Reach: who hears us and how strongly, what report a station would give us, and the chance that it decodes us.

Public: :class:`ReachNote`, which it puts on every hearing of a station in a timed mode.
"""

from .notes import ReachNote
from .plugin import Reach
from .settings import ReachConfig

__all__ = ["Reach", "ReachConfig", "ReachNote"]
