"""Deliver: brings hails to the operator by bell, sound, desktop notification and HTTP webhook."""

from .plugin import Deliver
from .settings import DeliverConfig

__all__ = ["Deliver", "DeliverConfig"]
