"""Lookout: raises whom the operator waits for, and ranks whom to call now.

Public: :class:`LookoutNote`, which it puts on every hearing that matches a rule.
"""

from .notes import LookoutNote
from .plugin import Lookout
from .rules import LookoutConfig, Rule

__all__ = ["Lookout", "LookoutConfig", "LookoutNote", "Rule"]
