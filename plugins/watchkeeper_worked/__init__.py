"""Worked: says of each station whether a contact would add something, and keeps the Log panel.

Public: :class:`WorkedNote`, which it puts on every hearing with a known call, and the words for a need.
"""

from .activations import ActivationRule, Progress, Tally
from .notes import WorkedNote
from .plugin import Worked, WorkedConfig
from .words import need_words

__all__ = ["ActivationRule", "Progress", "Tally", "Worked", "WorkedConfig", "WorkedNote", "need_words"]
